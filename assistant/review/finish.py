"""A record's rows as they stand now: the job's own row, and what only the whole shows."""

from __future__ import annotations

from typing import Any

from assistant.record.chain import Fault
from assistant.review.arrow import places
from assistant.review.fold import MILES_PER, STEP_S, Fold, List

MANY_AGAIN, MANY_EDITS = 6, 4
"""So many in one job are worth a look, if they are also over a tenth of what was said: from memory
of no data; a first guess."""
_STEP, _READING = places("steps"), places("readings")
_TURNS, _AGAIN = _STEP["turns"], _STEP["say_agains"]
_STAGE, _QUANTITY, _DECISION = _READING["stage"], _READING["quantity"], _READING["decision"]
_COUNT, _UNIT, _ACCEPTED = _READING["count"], _READING["count_unit"], _READING["accepted"]
_REPLACED, _FOUND, _LEFT = _READING["replaced"], _READING["as_found"], _READING["as_left"]


def chain_word(fault: Fault | None) -> str:
    """good, torn, or BROKEN CHAIN."""
    if fault is None:
        return "good"
    return "torn" if fault.what == "torn" else "BROKEN CHAIN"


def finished(fold: Fold, fault: Fault | None, count: int, head: str) -> dict[str, list[Any]]:
    """Rows by table, as `Fold` has them; `jobs` has one. This uses the fold up."""
    job, kept = fold.job, fold.rows
    doubts, readings, steps = kept["doubts"], kept["readings"], list(fold.steps.values())
    turns, again = sum(s[_TURNS] for s in steps), sum(s[_AGAIN] for s in steps)

    def doubt(kind: str, words: str) -> None:
        fold.doubt(max(0, count - 1), fold.last_us, kind, words)

    if fault is not None:
        doubt("chain", f"{chain_word(fault)}: {fault.text}")
    if again >= MANY_AGAIN and again * 10 > turns:
        doubt("say-agains", f"{again} of {turns} utterances had to be said again")
    edits = job["edits"] + job["corrections"]
    if edits >= MANY_EDITS and edits * 10 > turns:
        doubt("edits", f"{job['corrections']} readings corrected, {job['edits']} steps back")
    _mark(readings)
    ring = [m for m in kept["moves"] if m["kind"] == "ring"]
    if job["signed_off"]:
        job["first_time_right"] = (
            len(ring) <= 1
            and not job["corrections"]
            and all(
                r[_DECISION] == "in" and not r[_ACCEPTED]
                for r in readings
                if r[_LEFT] and r[_DECISION]
            )
        )
    else:
        job["lugs"] = ring[-1]["total_lugs"] or 0 if ring else 0
        found = (m.get("gap_by_lugs") for m in ring)
        job["lugs_by_gap"] = sum(n for n in found if n is not None)
    held = [h["hold_s"] for h in kept["holds"] if h["hold_s"] is not None]
    job.update(
        turns=turns,
        say_agains=again,
        time_s=fold.at_work_us / 1e6,
        ended_utc=fold.last_us,
        odometer_miles=_odometer(readings),
        step=fold.step,
        events=count,
        holds=len(held),
        longest_hold_s=max(held, default=None),
        cautions=len(kept["cautions"]),
        doubts=len(doubts),
        ring_moves=len(ring),
        chain=chain_word(fault),
        head=head,
    )
    for hold in kept["holds"]:
        hold["ended"] = hold["ended"] or "open"
    for step in steps:
        step[STEP_S] /= 1e6
    return {**kept, "jobs": [job], "steps": steps}


def _mark(readings: list[List]) -> None:
    """As found and as left are those that stand: the last of their stage."""
    stands: dict[tuple[str, str], List] = {}
    for row in readings:
        if not row[_REPLACED] and row[_STAGE] in ("found", "final"):
            stands[row[_STAGE], row[_QUANTITY]] = row
    for (stage, _), row in stands.items():
        row[_FOUND if stage == "found" else _LEFT] = True


def _odometer(readings: list[List]) -> float | None:
    for row in readings:
        if row[_QUANTITY] == "odometer" and row[_FOUND] and row[_COUNT] is not None:
            return float(row[_COUNT]) * MILES_PER.get(row[_UNIT], 1.0)
    return None
