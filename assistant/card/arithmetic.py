"""The arithmetic with a truck's card: its figures, thread, ratio, lash and stops filled in."""

from __future__ import annotations

from collections.abc import Collection, Mapping

from assistant.card.card import Card
from assistant.clutch.equations import (
    STEPS_PER_TURN,
    STOP_STEP_IN,
    Adjusters,
    Effects,
    UsedRatio,
    finding_of,
    used_ratio,
)
from assistant.clutch.linkage.lost_motion import GEOMETRY_SHARE_U
from assistant.clutch.linkage.protocol import LinkageError
from assistant.clutch.linkage.stroke import pedal_for
from assistant.clutch.plan import AdjustmentPlan, Readings, plan_adjustment
from assistant.clutch.ring import MAX_LUGS, PITCH_U_IN, RingBelief
from assistant.clutch.thread import FLATS_PER_TURN
from assistant.clutch.uncertainty import Measured


def readings_for(card: Card, measured: Mapping[str, Measured | None]) -> Readings:
    """Readings (inches) by the names of their quantities; gap and clearance must be there."""
    gap, clearance = measured["gap"], measured["clearance"]
    assert gap is not None and clearance is not None
    return Readings(
        gap,
        clearance,
        measured.get("free-travel"),
        measured.get("pedal-height"),
        measured.get("brake-contact"),
        measured.get("total-travel"),
        card.lash_in,
    )


def geometry_ratio(
    card: Card, measured: Mapping[str, Measured | None]
) -> tuple[UsedRatio | None, UsedRatio | None]:
    """The pedal ratio that the card's geometry gives where free travel ends, and at the brake."""
    if card.geometry is None:
        return None, None
    readings = readings_for(card, measured)
    start = 0.0 if card.geometry.follows else max(0.0, readings.clearance.value_in)
    ratios = []
    for fork_in in (start, start + readings.gap.value_in):
        try:
            value = card.geometry.ratio(pedal_for(card.geometry, fork_in))
        except LinkageError:
            return None, None  # `lost_motion` tells that this chain does not reach
        ratios.append(UsedRatio(value, GEOMETRY_SHARE_U * value, "linkage geometry"))
    return ratios[0], ratios[1]


def plan_for(
    card: Card,
    measured: Mapping[str, Measured | None],
    belief: RingBelief | None = None,
    ratio: UsedRatio | None = None,
    *,
    max_lugs: int = MAX_LUGS,
    for_contact: bool = False,
    move: tuple[int, int] | None = None,
) -> AdjustmentPlan:
    """`plan_adjustment` for one truck, from readings (inches) by the names of their quantities.

    Gap and clearance must be there. Without a belief the ring has not moved yet; a clutch that
    adjusts itself has no ring to move. The card's pedal ratio, and then its geometry's, come
    before `ratio`.

    Raises:
        ValueError: as `plan_adjustment`.
    """
    if card.clutch == "self-adjusting":
        max_lugs = 0
    return plan_adjustment(
        readings_for(card, measured),
        card.figures,
        belief or RingBelief.prior(card.lug_in),
        card.lead_in,
        card.ratio or geometry_ratio(card, measured)[0] or ratio,
        max_lugs=max_lugs,
        rod_per_fork=card.per_fork,
        for_contact=for_contact,
        move=move,
        clutch_brake=card.transmission != "synchronized",
        self_adjusting=card.clutch == "self-adjusting",
    )


def effects_for(
    card: Card,
    measured: Mapping[str, Measured | None],
    belief: RingBelief | None = None,
    ratio: UsedRatio | None = None,
    max_lugs: int = MAX_LUGS,
    stops: Collection[str] = ("pedal-height", "total-travel"),
) -> Effects:
    """What ring, rod and stops of one truck do, for `clutch.settings.solve`; as `plan_for`.

    `stops` are those that may be moved, by the quantities they set.
    """
    readings = readings_for(card, measured)
    likeliest = (belief or RingBelief.prior(card.lug_in)).best
    stroke_ratio = None
    if card.ratio is None:
        by_geometry, stroke_ratio = geometry_ratio(card, measured)
        ratio = by_geometry or ratio
    if ratio is None or card.ratio is not None:
        ratio = used_ratio(readings, finding_of(readings), card.ratio)
    height, total = card.height_turn_in, card.total_turn_in
    adjusters = Adjusters(
        lug_in=likeliest.sense * likeliest.pitch_in,
        flat_in=card.lead_in / card.per_fork / FLATS_PER_TURN,
        lug_u_in=PITCH_U_IN,
        height_step_in=height / STEPS_PER_TURN if height else STOP_STEP_IN,
        total_step_in=total / STEPS_PER_TURN if total else STOP_STEP_IN,
        height_moves="pedal-height" in stops,
        total_moves="total-travel" in stops,
        height_turns=height is not None,
        total_turns=total is not None,
        rigid=card.linkage != "hydraulic",
        max_lugs=0 if card.clutch == "self-adjusting" else max_lugs,
    )
    follows = card.geometry is not None and card.geometry.follows
    brake = card.transmission != "synchronized"
    return Effects(readings, card.figures, adjusters, ratio, stroke_ratio or ratio, follows, brake)
