"""The picture in words: one breath for the ear, and the longer why."""

from __future__ import annotations

from collections.abc import Sequence

from assistant.card import Card
from assistant.pictures.snapshot import Snapshot, figures_of, limits_text, ratio_text
from assistant.readings import speak

_SPOKEN = (("free-travel", "free"), ("brake-contact", "brake"), ("gap", "gap"))
_WHEN = {"TODAY": "Today", "AFTER": "After", "AS LEFT": "As left"}


def spoken(shot: Snapshot, card: Card) -> str:
    """`Today: free 17/32 in is out; brake 1/32 in is out; gap 21/32 in is out.`"""
    parts = []
    for quantity, name in _SPOKEN:
        value = shot.get(quantity)
        if value is None or (name == "brake" and card.transmission != "non-synchronized"):
            continue
        judged = shot.judged(quantity, card)
        decided = (
            "" if judged is None else f" is {judged.decision}".replace("close", "close to call")
        )
        if quantity == "gap":
            length = figures_of(value, card.units)
        else:
            length = speak.near_figures(value, card.units)
        parts.append(f"{name} {length}{decided}")
    return f"{_WHEN[shot.title]}: {'; '.join(parts)}."


def why(shots: Sequence[Snapshot], card: Card) -> list[str]:
    """Each limit with whose it is, and what was worked out instead of read."""
    lines = [f"Pedal ratio {ratio_text(shots[0])}."]
    for quantity in ("gap", "clearance", "free-travel", "brake-contact"):
        figure = card.figures.get(quantity)
        if figure is not None:
            limits = limits_text(figure.limits.low_in, figure.limits.high_in, card.units)
            lines.append(f"{quantity}: {limits}, {figure.limits.source}.")
    derived = sorted(set(shots[0].values) - shots[0].read)
    if derived:
        lines.append(f"Worked out, not read: {', '.join(derived)}.")
    if "pedal-height" not in shots[0].values:
        lines.append("Pedal height was not read: where the floor is, is not known.")
    if len(shots) > 1 and not shots[1].read:
        lines.append("After: as planned; the readings after each move decide.")
    return lines
