"""Readings from outside a job: called out on a command line, or kept in a record."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from assistant.card import Card, card_from_text, default_card
from assistant.cli.plan import PlanError
from assistant.clutch.uncertainty import Measured
from assistant.readings import read
from assistant.record import Event, RecordError, read_events


def measured_called(called: Mapping[str, str | None], card: Card) -> dict[str, Measured]:
    """Readings as called out, by quantity; names may have _ for -, and None is left out.

    Raises:
        PlanError: one of them was not understood.
    """
    out = {}
    for name, words in called.items():
        if words is None:
            continue
        quantity = name.replace("_", "-")
        got = read(words, quantity, card.units)
        if got.value_in is None or got.low_in is None or got.high_in is None:
            raise PlanError(f"--{quantity} {words!r}: {got.why or 'no reading'}")
        out[quantity] = Measured.from_interval(got.value_in, got.low_in, got.high_in)
    return out


def recorded(path: Path) -> tuple[Card, Sequence[Event]]:
    """The card and the events of a record.

    Raises:
        RecordError: it is damaged or not a record.
    """
    events, problem = read_events(path)
    if problem or not events:
        raise RecordError(f"{path.name}: {problem or 'it is empty'}")
    kept = events[0].data.get("card") or {}
    text = kept.get("text")
    return (card_from_text(text, kept.get("name", "card")) if text else default_card()), events


def readings_in(events: Sequence[Event], stage: str) -> dict[str, Measured]:
    """The last length of each quantity that was taken in one stage ("found", "final").

    Raises:
        RecordError: the record holds what lugcall does not write.
    """
    out = {}
    try:
        for event in events:
            taken = event.data.get("taken") or (event.data.get("corrected") or {}).get("is")
            if event.kind != "turn" or not taken or taken["stage"] != stage:
                continue
            if taken["value_in"] is not None:
                out[taken["quantity"]] = Measured.from_interval(
                    taken["value_in"], taken["low_in"], taken["high_in"]
                )
    except (KeyError, TypeError, ValueError, AttributeError):
        raise RecordError("the record holds what lugcall does not write") from None
    return out
