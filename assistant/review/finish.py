"""A record's rows as they stand now: the job's own row, and what only the whole shows."""

from __future__ import annotations

from typing import Any

from assistant.record.chain import Fault
from assistant.review import doubtful
from assistant.review.columns import places
from assistant.review.fold import MILES_PER, STEP_S, Fold, List

_STEP, _READING = places("steps"), places("readings")
_TURNS, _AGAIN = _STEP["turns"], _STEP["say_agains"]
_HEARING = places("hearing")
_SAID_AT, _SAID_AGAIN, _MEANING = _HEARING["step"], _HEARING["again"], _HEARING["meaning"]
_JUDGED = [_READING[name] for name in ("quantity", "figures", "decision", "p_in", "accepted")]
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
    _mark(readings)
    for row in readings:
        if row[_LEFT]:
            told = doubtful.left(*(row[place] for place in _JUDGED))
            if told is not None:
                fold.doubt(row[0], row[1], *told)
    _often(fold)
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


def _often(fold: Fold) -> None:
    """What is worth a look only when it came often."""
    heard = fold.rows["hearing"]
    for step in fold.steps.values():
        many = doubtful.many_again(step[0], step[_AGAIN])
        if many is not None:
            first = next(row for row in heard if row[_SAID_AT] == step[0] and row[_SAID_AGAIN])
            fold.doubt(first[0], first[1], "say-agains", many)
    back = [row for row in heard if row[_MEANING] == "back"]
    often = doubtful.gone_back(len(back))
    if often is not None:
        fold.doubt(back[-1][0], back[-1][1], "edits", often)


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
