"""The arithmetic with a truck's card: its figures, thread, ratio and lash filled in."""

from __future__ import annotations

from collections.abc import Mapping

from assistant.clutch.plan import AdjustmentPlan, Readings, plan_adjustment
from assistant.clutch.ring import MAX_LUGS, RingBelief
from assistant.clutch.uncertainty import Measured
from assistant.clutch.used_ratio import UsedRatio

from .card import Card


def plan_for(
    card: Card,
    measured: Mapping[str, Measured | None],
    belief: RingBelief | None = None,
    ratio: UsedRatio | None = None,
    *,
    max_lugs: int = MAX_LUGS,
    for_contact: bool = False,
) -> AdjustmentPlan:
    """`plan_adjustment` for one truck, from readings (inches) by the names of their quantities.

    Gap and clearance must be there. Without a belief the ring has not moved yet; a clutch that
    adjusts itself has no ring to move. The card's pedal ratio comes before `ratio`.

    Raises:
        ValueError: as `plan_adjustment`.
    """
    if card.clutch == "self-adjusting":
        max_lugs = 0
    gap, clearance = measured["gap"], measured["clearance"]
    assert gap is not None and clearance is not None
    readings = Readings(
        gap,
        clearance,
        measured.get("free-travel"),
        measured.get("pedal-height"),
        measured.get("brake-contact"),
        measured.get("total-travel"),
        card.lash_in,
    )
    return plan_adjustment(
        readings,
        card.figures,
        belief or RingBelief.prior(card.lug_in),
        card.lead_in,
        ratio if card.ratio is None else card.ratio,
        max_lugs=max_lugs,
        rod_per_fork=card.per_fork,
        for_contact=for_contact,
    )
