"""The truck of the equations, from its card and readings, with thread, ratio, lash and stops."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from assistant.card.card import Card
from assistant.clutch.conformity import Measured, judge
from assistant.clutch.equations import (
    LASH_IN,
    LASH_U_IN,
    STEPS_PER_TURN,
    STOP_STEP_IN,
    Adjusters,
    Ratio,
    Readings,
    Truck,
    lash_by,
    used_ratio,
)
from assistant.clutch.linkage.lost_motion import GEOMETRY_SHARE_U
from assistant.clutch.linkage.stroke import LinkageError, pedal_for
from assistant.clutch.ring import MAX_LUGS, RingBelief
from assistant.clutch.solver import Locked
from assistant.clutch.thread import FLATS_PER_TURN
from assistant.quantity import JUDGED, NEVER_TOUCHED, PEDAL_HEIGHT, TOTAL_TRAVEL
from assistant.record.history import ReadingKept


def length_kept(kept: ReadingKept | None) -> Measured | None:
    """A length of a record; None where it was not read, is a count, or has no length.

    Raises:
        ValueError: no gauge can have shown it.
    """
    if kept is None or (kept.quantity, kept.high_in) == NEVER_TOUCHED:
        return None
    within = kept.interval
    return None if within is None else Measured.from_interval(*within)


def lengths_kept(readings: Mapping[str, ReadingKept]) -> dict[str, Measured]:
    """The lengths among readings of a record. Raises as `length_kept`."""
    lengths = {name: length_kept(kept) for name, kept in readings.items()}
    return {name: length for name, length in lengths.items() if length is not None}


def readings_for(
    card: Card, measured: Mapping[str, Measured | None], untouched: bool = False
) -> Readings:
    """Readings (inches) by the names of their quantities; gap and clearance must be there.

    ``untouched``: the pedal was pressed to its end, and the brake not touched. A lash that the card
    does not say is as most trucks', and not sure; by geometry it is what `find_lost_motion` finds.
    """
    read: dict[str, Any] = {q.replace("-", "_"): measured.get(q) for q in JUDGED}
    unsure = not card.lash_known and card.geometry is None
    lash_in, u_in = (LASH_IN, LASH_U_IN) if unsure else (card.lash_in, 0.0)
    return Readings(**read, lash_in=lash_in, lash_u_in=u_in, untouched=untouched)


def geometry_ratios(card: Card, readings: Readings) -> tuple[Ratio, Ratio] | None:
    """The pedal ratio that the card's geometry gives where free travel ends, and at the brake."""
    if card.geometry is None:
        return None
    start = 0.0 if card.geometry.follows else max(0.0, readings.clearance.value_in)
    try:
        first, second = (
            card.geometry.ratio(pedal_for(card.geometry, fork_in))
            for fork_in in (start, start + readings.gap.value_in)
        )
    except LinkageError:
        return None  # `lost_motion` tells that this chain does not reach
    return (
        Ratio(first, GEOMETRY_SHARE_U * first, "linkage geometry"),
        Ratio(second, GEOMETRY_SHARE_U * second, "linkage geometry"),
    )


def truck_for(
    card: Card,
    measured: Mapping[str, Measured | None],
    belief: RingBelief | None = None,
    ratio: Ratio | None = None,
    untouched: bool = False,
) -> Truck:
    """One truck, from readings (inches) by the names of their quantities.

    Gap and clearance must be there. Without a belief the ring has not moved yet; a clutch that
    adjusts itself has no ring to move. The card's pedal ratio, and then its geometry's, come
    before `ratio`; without any it is worked out from the readings.

    Raises:
        ValueError: a reading or a figure is impossible; the message says what to do.
    """
    readings = readings_for(card, measured, untouched)
    likeliest = (belief or RingBelief.prior(card.lug_in)).best
    by_geometry = geometry_ratios(card, readings) if card.ratio is None else None
    if by_geometry is not None:
        first, second = by_geometry
    else:
        given = ratio if card.ratio is None else None
        first = second = given or used_ratio(readings, card.ratio)
    height, total = card.height_turn_in, card.total_turn_in
    adjusters = Adjusters(
        lug_in=likeliest.sense * likeliest.pitch_in,
        flat_in=card.lead_in / card.per_fork / FLATS_PER_TURN,
        height_step_in=height / STEPS_PER_TURN if height else STOP_STEP_IN,
        total_step_in=total / STEPS_PER_TURN if total else STOP_STEP_IN,
        height_turns=height is not None,
        total_turns=total is not None,
        rigid=card.linkage != "hydraulic",
        max_lugs=0 if card.clutch == "self-adjusting" else MAX_LUGS,
    )
    follows = card.geometry is not None and card.geometry.follows
    brake = card.transmission != "synchronized"
    lash = lash_by(readings, first)
    return Truck(readings, card.figures, adjusters, first, second, follows, brake, lash)


def stops_kept(card: Card, measured: Mapping[str, Measured | None]) -> Locked:
    """A job leaves a stop alone whose own reading is not out.

    Moving the upper one changes total travel too, so then the lower one may have to follow.
    """
    out = []
    for quantity in (PEDAL_HEIGHT, TOTAL_TRAVEL):
        figure, read = card.figures.get(quantity), measured.get(quantity)
        if figure is not None and read is not None:
            decided = judge(read, figure).decision
            out += [quantity] * (decided == "out")
    return Locked(height_steps=None if PEDAL_HEIGHT in out else 0, total_steps=None if out else 0)
