"""A record's rows as they stand now: the job's own row, and what only the whole shows."""

from __future__ import annotations

from typing import Any

from assistant.record.chain import Fault
from assistant.review.fold import MILES_PER, Fold

MANY_AGAIN, MANY_EDITS = 6, 4
"""So many in one job are worth a look, if they are also over a tenth of what was said: from memory
of no data; a first guess."""
Row = dict[str, Any]


def chain_word(fault: Fault | None) -> str:
    """good, torn, or BROKEN CHAIN."""
    if fault is None:
        return "good"
    return "torn" if fault.what == "torn" else "BROKEN CHAIN"


def finished(fold: Fold, fault: Fault | None, count: int, head: str) -> dict[str, list[Any]]:
    """Rows by table, as `Fold` has them; `jobs` has one. The fold itself is left as it was."""
    job, kept = fold.job, fold.rows
    end: Row = {"n": max(0, count - 1), "at_utc": fold.last_us}
    doubts = list(kept["doubts"])

    def doubt(kind: str, words: str) -> None:
        doubts.append({**end, "kind": kind, "text": words})

    if fault is not None:
        doubt("chain", f"{chain_word(fault)}: {fault.text}")
    if job["say_agains"] >= MANY_AGAIN and job["say_agains"] * 10 > job["turns"]:
        doubt(
            "say-agains", f"{job['say_agains']} of {job['turns']} utterances had to be said again"
        )
    edits = job["edits"] + job["corrections"]
    if edits >= MANY_EDITS and edits * 10 > job["turns"]:
        doubt("edits", f"{job['corrections']} readings corrected, {job['edits']} steps back")
    readings = _marked(kept["readings"])
    ring = [m for m in kept["moves"] if m["kind"] == "ring"]
    left = [r for r in readings if r["as_left"] and r["decision"]]
    if job["signed_off"]:
        job["first_time_right"] = (
            len(ring) <= 1
            and not job["corrections"]
            and all(r["decision"] == "in" and not r["accepted"] for r in left)
        )
    job["odometer_miles"] = _odometer(readings)
    if not job["signed_off"]:
        job["lugs"] = ring[-1]["total_lugs"] or 0 if ring else 0
        found = (m.get("gap_by_lugs") for m in ring)
        job["lugs_by_gap"] = sum(n for n in found if n is not None)
    held = [h["hold_s"] for h in kept["holds"] if h["hold_s"] is not None]
    row = {
        **job,
        "step": fold.step,
        "events": count,
        "holds": len(held),
        "longest_hold_s": max(held, default=None),
        "cautions": len(kept["cautions"]),
        "doubts": len(doubts),
        "ring_moves": len(ring),
        "chain": chain_word(fault),
        "head": head,
    }
    holds = [h if h["ended"] else {**h, "ended": "open"} for h in kept["holds"]]
    steps = list(fold.steps.values())
    return {**kept, "jobs": [row], "readings": readings, "holds": holds,
            "doubts": doubts, "steps": steps}  # fmt: skip


def _marked(readings: list[Row]) -> list[Row]:
    """With `as_found` and `as_left` on those that stand: the last of their stage."""
    stands: dict[tuple[str, str], int] = {}
    for place, row in enumerate(readings):
        if not row["replaced"] and row["stage"] in ("found", "final"):
            stands[row["stage"], row["quantity"]] = place
    found = {place for (stage, _), place in stands.items() if stage == "found"}
    left = set(stands.values()) - found
    return [{**row, "as_found": i in found, "as_left": i in left} for i, row in enumerate(readings)]


def _odometer(readings: list[Row]) -> float | None:
    for row in readings:
        if row["quantity"] == "odometer" and row["as_found"] and row["count"] is not None:
            return float(row["count"]) * MILES_PER.get(row["count_unit"], 1.0)
    return None
