"""Readings, moves and holds of a turn, into rows."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from assistant.review.plain import number, table, text, whole

if TYPE_CHECKING:
    from assistant.review.fold import Fold

LONG_S = 120.0
"""A pedal held longer tires a leg: common practice, no source."""
Row = dict[str, Any]


def taken(fold: Fold, base: Row, data: Row) -> None:
    """Take in what a turn changed."""
    if "taken" in data:
        fold.rows["readings"].append(_reading(base, data, table(data["taken"])))
    if "corrected" in data:
        _corrected(fold, base, data)
    act = table(data.get("act"))
    if act.get("meaning") == "accept" and data.get("after") != data.get("step"):
        standing = [r for r in fold.rows["readings"] if not r["replaced"]]
        if standing and standing[-1]["decision"] != "in":
            standing[-1]["accepted"] = text(act.get("text")) or "no reason given"
    fold.job["clips"] += "file" in table(data.get("clip"))
    if "ring" in data:
        _ring(fold, base, data)
    if "linkage" in data:
        _linkage(fold, base, table(data["linkage"]))
    if "finding" in data:
        _found(fold, table(data["finding"]))
    if "hold" in data:
        _hold(fold, base, data)


def _reading(base: Row, data: Row, kept: Row, corrects: str = "") -> Row:
    judged = table(kept.get("judged"))
    return {
        **base,
        "step": text(data.get("step")),
        "stage": text(kept["stage"]),
        "quantity": text(kept["quantity"]),
        "who": text(kept.get("who")),
        "value_in": number(kept.get("value_in")),
        "low_in": number(kept.get("low_in")),
        "high_in": number(kept.get("high_in")),
        "count": number(kept.get("count")),
        "count_unit": text(kept.get("kind")) if kept.get("count") is not None else "",
        "figures": text(kept.get("figures")),
        "decision": text(judged.get("decision")),
        "p_in": number(judged.get("probability")),
        "limit_low_in": number(judged.get("low_in")),
        "limit_high_in": number(judged.get("high_in")),
        "limit_source": text(judged.get("source")),
        "accepted": text(kept.get("accepted")),
        "corrects": corrects,
        "replaced": False,
        "spoken": bool(data.get("ear")),
        "clip": text(table(data.get("clip")).get("file")),
    }


def _corrected(fold: Fold, base: Row, data: Row) -> None:
    was, now = table(data["corrected"]["was"]), table(data["corrected"]["is"])
    new = _reading(base, data, now, text(was.get("figures")) or "?")
    kept = fold.rows["readings"]
    fold.job["corrections"] += 1
    for place in range(len(kept) - 1, -1, -1):
        old = kept[place]
        same = (old["quantity"], old["stage"]) == (new["quantity"], new["stage"])
        if same and not old["replaced"] and old["figures"] == was.get("figures"):
            old["replaced"] = True
            # In its place, so that it does not pass for a reading taken later.
            kept.insert(place + 1, new)
            return
    kept.append(new)


def _gap(fold: Fold) -> float | None:
    gaps = (r for r in reversed(fold.rows["readings"]) if r["quantity"] == "gap")
    return next((r["value_in"] for r in gaps if not r["replaced"]), None)


def _ring(fold: Fold, base: Row, data: Row) -> None:
    ring, moves = table(data["ring"]), fold.rows["moves"]
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
            **base,
            "move": earlier + 1,
            "kind": "ring",
            "step": text(data.get("step")),
            "what": f"{abs(moved or 0)} lugs {'looser' if (moved or 0) < 0 else 'tighter'}",
            "told_lugs": whole(ring.get("told")),
            "moved_lugs": moved,
            "total_lugs": whole(ring.get("total")),
            "gap_before_in": _gap(fold),
            "predicted_gap_in": number(ring.get("predicted_in")),
            "finding": "",
        }
    )


def _linkage(fold: Fold, base: Row, change: Row) -> None:
    earlier = sum(m["kind"] == "linkage" for m in fold.rows["moves"])
    row = {"move": earlier + 1, "kind": "linkage", "finding": ""}
    step, what = text(change.get("step")), text(change.get("what"))
    fold.rows["moves"].append({**base, **row, "step": step, "what": what})


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


def _hold(fold: Fold, base: Row, data: Row) -> None:
    state, holds, now = text(data["hold"]), fold.rows["holds"], base["at_utc"]
    if state == "asked" or (state == "held" and not (holds and not holds[-1]["ended"])):
        asked = now if state == "asked" else None
        row = {"step": text(data.get("after")), "asked_utc": asked, "held_utc": None, "ended": ""}
        holds.append({**base, **row, "ended_utc": None, "hold_s": None, "long": False})
    if not holds:
        return
    last = holds[-1]
    if state == "held":
        last["held_utc"], last["n"] = now, base["n"]
    elif state in ("up", "unsure") and not last["ended"]:
        last["ended"], last["ended_utc"] = state, now
        if last["held_utc"] is not None:
            seconds = max(0.0, (now - last["held_utc"]) / 1e6)
            last["hold_s"], last["long"] = seconds, seconds > LONG_S
            if last["long"]:
                fold.doubt(base, "long hold", f"the pedal was held for {seconds:,.0f} s")


def closed(fold: Fold, data: Row) -> None:
    """What only the closing line says of readings: which were accepted, and why."""
    for quantity, left in table(data["as_left"]).items():
        reason = text(table(left).get("accepted"))
        for row in reversed(fold.rows["readings"]) if reason else ():
            if row["quantity"] == quantity and row["stage"] == "final" and not row["replaced"]:
                row["accepted"] = reason
                break
