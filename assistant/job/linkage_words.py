"""What the linkage's geometry says of today's readings, in a breath and at length."""

from __future__ import annotations

from collections.abc import Mapping

from assistant.card import Card
from assistant.clutch.equations import Readings
from assistant.clutch.linkage.lost_motion import LostMotion, find_lost_motion
from assistant.clutch.linkage.protocol import LinkageError
from assistant.clutch.linkage.stroke import brake_stroke_in, free_travel_in, pedal_force_lbf
from assistant.clutch.uncertainty import Measured
from assistant.job import words


def found(
    card: Card, readings: Readings, joints: Mapping[str, Measured] | None = None
) -> LostMotion | None:
    """What geometry and readings say together; None without geometry on the card.

    Raises:
        LinkageError: the chain cannot reach, or a joint's name is none of its own.
    """
    if card.geometry is None:
        return None
    return find_lost_motion(card.geometry, readings, card.load, joints)


def spoken(lost: LostMotion, units: str) -> str:
    """One breath."""
    if lost.at is not None:
        size = words.length(lost.at.lost_in, units)
        return f"{size} is lost between {lost.at.before or 'pedal'} and {lost.at.after}."
    slack, give = words.length(lost.slack_in, units), words.length(lost.give_in, units)
    if lost.kind == "slack":
        return f"{slack} is lost before the fork; the joint is not known."
    if lost.kind == "gives":
        return f"{give} gives under load: stretch, flex, or air."
    if lost.kind == "slack and gives" and lost.slack_in > 0.0:
        return f"{slack} lost before the fork, {give} more under load."
    if lost.kind == "slack and gives":
        return f"{give} is lost; read free travel to tell where."
    if lost.kind == "free travel alone":
        return "Only free travel disagrees with geometry: read it again."
    if lost.kind == "too short":
        return "The pedal goes less far than geometry says: check the readings."
    if lost.kind == "no readings":
        return "Read free travel or brake contact to check the linkage."
    return "Geometry and readings agree: no motion is lost."


def why(lost: LostMotion, card: Card, readings: Readings) -> str:
    """The longer answer: both differences, where it could be, and what would tell."""
    units, told = card.units, []
    for name, value in (("Free travel", lost.free_lost), ("The stroke", lost.stroke_lost)):
        if value is not None:
            size = words.length(abs(value.value_in), units)
            way = "more" if value.value_in >= 0.0 else "less"
            told.append(f"{name} is {size} {way} than geometry gives.")
    if lost.if_at and lost.at is None:
        places = ", or ".join(f"{words.length(size, units)} at {name}" for name, size in lost.if_at)
        told.append(f"It would be {places}.")
        told.append("These readings cannot tell which: read a joint's travel at brake contact.")
    if lost.air_in3 is not None:
        told.append(f"Air of {lost.air_in3:.2f} cubic inches would explain the give: bleed it.")
    force = pedal_force(card, readings)
    if force is not None:
        told.append(f"About {force:.0f} pounds at the pedal, without friction.")
    return " ".join(told)


def pedal_force(card: Card, readings: Readings) -> float | None:
    """Pounds at the pad with the brake touched; None without geometry or load."""
    if card.geometry is None or not any(card.load):
        return None
    gap = readings.gap.value_in
    try:
        slack = card.geometry.idle_in + readings.lash_in
        pedal = brake_stroke_in(card.geometry, readings.clearance.value_in, gap, slack, card.load)
        at = min(pedal - slack, card.geometry.reach_in)
        return pedal_force_lbf(card.geometry, at, card.load.at(gap))
    except LinkageError:
        return None


def expected(card: Card, readings: Readings) -> tuple[float, float] | None:
    """Free travel and stroke to the brake by geometry alone, inches; None without geometry.

    Raises:
        LinkageError: the chain cannot reach.
    """
    if card.geometry is None:
        return None
    c, lash = readings.clearance.value_in, card.lash_in
    return (
        free_travel_in(card.geometry, c, lash),
        brake_stroke_in(card.geometry, c, readings.gap.value_in, lash, card.load),
    )
