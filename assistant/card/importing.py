"""A card out of a finished record: the one it was opened with, and what the job left."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from assistant.readings import speak

from .load import CardError, card_from_text
from .taking_over import taken_over


def from_record(path: Path) -> dict[str, Any]:
    """The change that takes a record over, see `Making.change`.

    Raises:
        CardError: the record is damaged or not signed off, or its card cannot be read.
        RecordError: the file is no record, or cannot be read.
    """
    from assistant.record import read_events, verify_file

    if not path.is_file():
        raise CardError(f"there is no record {path}; check the name")
    verdict = verify_file(path)
    if not verdict.ok:
        raise CardError(
            f"{path.name} is no record, or damaged, so nothing is taken from it; "
            "lugcall verify tells where"
        )
    if not verdict.closed:
        raise CardError(f"{path.name} is not signed off; lugcall resume finishes it first")
    events, _ = read_events(path)
    opened = events[0].data
    closed = next(e.data for e in reversed(events) if e.kind == "closed")
    kept = opened.get("card", {})
    name = str(kept.get("name") or "no card")
    tables, answers = taken_over(str(kept["text"]), name) if kept.get("text") else ({}, {})
    if opened.get("unit") and "unit" not in answers:
        answers["unit"] = (str(opened["unit"]), "", "")
    units = card_from_text(kept.get("text", ""), name).units
    left = {"record": path.name, "by": str(closed["code"]), "lugs": int(closed["lugs"])}
    left |= {
        quantity: speak.limit_figures(taken["value_in"], units)
        for quantity, taken in closed["as_left"].items()
        if taken.get("value_in") is not None
    }
    return {
        "over": tables,
        "left": left,
        "from": f"record {path.name}, opened with {name}",
        "answers": {key: list(answer) for key, answer in answers.items()},
    }
