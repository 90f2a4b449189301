"""Readings, moves and holds of a turn, into rows."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from assistant.review import doubtful
from assistant.review.columns import places
from assistant.review.plain import number, text, whole
from assistant.review.shapes import Closed, Corrected, Taken, Turn

if TYPE_CHECKING:
    from assistant.review.fold import Fold, List

Row = dict[str, Any]
_READING = places("readings")
_STAGE, _QUANTITY, _VALUE = _READING["stage"], _READING["quantity"], _READING["value_in"]
_FIGURES, _DECISION = _READING["figures"], _READING["decision"]
_ACCEPTED, _REPLACED = _READING["accepted"], _READING["replaced"]


def taken(fold: Fold, n: int, now: int, data: Turn, meaning: str) -> None:
    """Take in what a turn changed."""
    if data.taken is not None:
        fold.rows["readings"].append(_reading(n, now, data, data.taken))
    if data.corrected is not None:
        _corrected(fold, n, now, data, data.corrected)
    if meaning == "accept" and data.after != data.step:
        standing = next((r for r in reversed(fold.rows["readings"]) if not r[_REPLACED]), None)
        if standing is not None and standing[_DECISION] != "in":
            assert data.act is not None
            standing[_ACCEPTED] = data.act.text or "no reason given"
    if data.clip is not None:
        fold.job["clips"] += "file" in data.clip
    if data.ring is not None:
        _ring(fold, n, now, data.step, data.ring)
    if data.linkage is not None:
        _linkage(fold, n, now, data.linkage)
    if data.finding is not None:
        _found(fold, data.finding)
    if data.hold is not None:
        _hold(fold, n, now, data.after, data.hold)


def _reading(n: int, now: int, data: Turn, kept: Taken, corrects: str = "") -> List:
    """A row in columns' order; which stands as found and as left shows at the end."""
    counted, judged = kept.count is not None, kept.judged
    limits = (
        ("", None, None, None, "")
        if judged is None
        else (judged.decision, judged.probability, judged.low_in, judged.high_in, judged.source)
    )
    return [
        n, now, data.step, kept.stage, kept.quantity, kept.who,
        kept.value_in, kept.low_in, kept.high_in, kept.count, kept.kind if counted else "",
        kept.figures, *limits, kept.accepted, corrects, False, False, False,
        data.ear is not None, "" if data.clip is None else text(data.clip.get("file")),
    ]  # fmt: skip


def _corrected(fold: Fold, n: int, now: int, data: Turn, change: Corrected) -> None:
    was = change.was.figures
    new = _reading(n, now, data, change.now, was or "?")
    kept = fold.rows["readings"]
    fold.job["corrections"] += 1
    told = doubtful.edited(change.now.quantity, was, change.now.figures)
    fold.doubt(n, now, "edits", told)
    for place in range(len(kept) - 1, -1, -1):
        old = kept[place]
        same = (old[_QUANTITY], old[_STAGE]) == (new[_QUANTITY], new[_STAGE])
        if same and not old[_REPLACED] and old[_FIGURES] == was:
            old[_REPLACED] = True
            # In its place, so that it does not pass for a reading taken later.
            kept.insert(place + 1, new)
            return
    kept.append(new)


def _gap(fold: Fold) -> float | None:
    gaps = (r for r in reversed(fold.rows["readings"]) if r[_QUANTITY] == "gap")
    return next((r[_VALUE] for r in gaps if not r[_REPLACED]), None)


def _ring(fold: Fold, n: int, now: int, step: str, ring: Row) -> None:
    moves = fold.rows["moves"]
    last = moves[-1] if moves and moves[-1]["kind"] == "ring" else None
    held = any(h["held_utc"] is not None and h["n"] > last["n"] for h in fold.rows["holds"]) \
        if last else True  # fmt: skip
    if last is not None and not held and last["told_lugs"] == whole(ring.get("told")):
        # Without another hold, it is the count of the same move, corrected.
        moves.pop()
    earlier = sum(m["kind"] == "ring" for m in moves)
    moved = whole(ring["moved"])
    moves.append(
        {
            "n": n,
            "at_utc": now,
            "move": earlier + 1,
            "kind": "ring",
            "step": step,
            "what": f"{abs(moved or 0)} lugs {'looser' if (moved or 0) < 0 else 'tighter'}",
            "told_lugs": whole(ring.get("told")),
            "moved_lugs": moved,
            "total_lugs": whole(ring.get("total")),
            "gap_before_in": _gap(fold),
            "predicted_gap_in": number(ring.get("predicted_in")),
            "finding": "",
        }
    )


def _linkage(fold: Fold, n: int, now: int, change: Row) -> None:
    earlier = sum(m["kind"] == "linkage" for m in fold.rows["moves"])
    row = {"n": n, "at_utc": now, "move": earlier + 1, "kind": "linkage", "finding": ""}
    step, what = text(change.get("step")), text(change.get("what"))
    fold.rows["moves"].append({**row, "step": step, "what": what})


def _found(fold: Fold, found: Row) -> None:
    """What a move did is known from the first gap read after it; the final one says it again."""
    for row in reversed(fold.rows["moves"]):
        if row["kind"] == "ring":
            if not row["finding"]:
                measured, predicted = number(found["measured_in"]), number(found["predicted_in"])
                row["measured_gap_in"], row["predicted_gap_in"] = measured, predicted
                if measured is not None and predicted is not None:
                    row["error_in"] = measured - predicted
                row["finding"] = text(found["kind"])
                row["p_finding"] = number(found.get("probability"))
                row["gap_by_lugs"] = whole(found.get("lugs_moved"))
            return


def _hold(fold: Fold, n: int, now: int, after: str, state: str) -> None:
    holds = fold.rows["holds"]
    if state == "asked" or (state == "held" and not (holds and not holds[-1]["ended"])):
        asked = now if state == "asked" else None
        row = {"n": n, "at_utc": now, "step": after, "asked_utc": asked, "held_utc": None}
        holds.append({**row, "ended": "", "ended_utc": None, "hold_s": None, "long": False})
    if not holds:
        return
    last = holds[-1]
    if state == "held":
        last["held_utc"], last["n"] = now, n
    elif state in ("up", "unsure") and not last["ended"]:
        last["ended"], last["ended_utc"] = state, now
        if last["held_utc"] is not None:
            seconds = max(0.0, (now - last["held_utc"]) / 1e6)
            told = doubtful.long_hold(seconds)
            last["hold_s"], last["long"] = seconds, told is not None
            if told is not None:
                fold.doubt(n, now, "long hold", told)


def closed(fold: Fold, data: Closed) -> None:
    """What only the closing line says of readings: which were accepted, and why."""
    for quantity, left in data.as_left.items():
        for row in reversed(fold.rows["readings"]) if left.accepted else ():
            if row[_QUANTITY] == quantity and row[_STAGE] == "final" and not row[_REPLACED]:
                row[_ACCEPTED] = left.accepted
                break
