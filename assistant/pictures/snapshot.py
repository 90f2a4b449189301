"""The lengths of one moment: as read, as they will be after the plan, or as they were left."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from assistant.card import Card
from assistant.card.arithmetic import geometry_ratio, plan_for, readings_for
from assistant.clutch.conformity import Judgement, judge
from assistant.clutch.figures import Figure
from assistant.clutch.linkage import stroke
from assistant.clutch.linkage.protocol import LinkageError
from assistant.clutch.pedal import brake_stroke_in, free_travel_in
from assistant.clutch.uncertainty import Measured
from assistant.clutch.used_ratio import finding_of, used_ratio
from assistant.readings import speak


def figures_of(value_in: float, units: str) -> str:
    """A length as short as it is true: `9/16 in` on a rule's grid, else `0.526 in`; `13.4 mm`."""
    off = abs(value_in * 64 - round(value_in * 64)) / 64
    if units == "mm" or off < 0.002 or value_in > 1.0:
        return speak.near_figures(value_in, units)
    return speak.length_figures(value_in, ("d", 3)) if value_in >= 0 else f"{value_in:.3f} in"


VERDICT = {"in": "IN", "out": "OUT", "too close": "CLOSE"}


def limits_text(low: float | None, high: float | None, units: str) -> str:
    """`1/2 to 1 in`."""
    if low is None or high is None:
        bound = low if low is not None else high or 0.0
        return f"{'at least' if low is not None else 'at most'} {speak.limit_figures(bound, units)}"
    first = speak.limit_figures(low, units).rsplit(" ", 1)[0]
    return f"{first} to {speak.limit_figures(high, units)}"


def ratio_text(shot: Snapshot) -> str:
    """`12.0 to 1 from the readings`."""
    source = {
        "card": "the card",
        "linkage geometry": "the card's geometry",
        "common practice": "common practice",
    }.get(shot.ratio_source, "the readings")
    return f"{shot.ratio:.1f} to 1 from {source}"


class PictureError(Exception):
    """One clear line on what is missing for the picture."""


@dataclass(frozen=True, slots=True)
class Snapshot:
    """One moment. Lengths in inches, by quantity; what is unknown is not in it.

    Attributes:
        title: "TODAY", "AFTER" (as planned) or "AS LEFT".
        values: what is known.
        read: the quantities that were read; the others were worked out.
        ratio: pedal travel per fork travel; ratio_source: where that comes from.
        brake_known: whether it can be told where in the stroke the brake is touched: it was read,
            or the ratio is this truck's own and not common practice.
    """

    title: str
    values: Mapping[str, Measured]
    read: frozenset[str]
    ratio: float
    ratio_source: str
    brake_known: bool

    def get(self, quantity: str) -> float | None:
        """A length in inches, or None."""
        found = self.values.get(quantity)
        return None if found is None else found.value_in

    def judged(self, quantity: str, card: Card) -> Judgement | None:
        """Against the card's limits; None when there is no limit or no value."""
        figure: Figure | None = card.figures.get(quantity)
        value = self.values.get(quantity)
        return None if figure is None or value is None else judge(value, figure.limits)


def today_of(card: Card, read: Mapping[str, Measured]) -> Snapshot:
    """Today, from readings.

    Raises:
        PictureError: gap or fork clearance is not known.
    """
    missing = [name for name in ("gap", "clearance") if name not in read]
    if missing:
        first = "that" if len(missing) == 1 else "both"
        raise PictureError(
            f"no picture without the {' and the '.join(missing)}; read {first} first"
        )
    readings = readings_for(card, read)
    by_geometry = geometry_ratio(card, read)[0] if card.ratio is None else None
    used = by_geometry or used_ratio(readings, finding_of(readings), card.ratio)
    return _snapshot("TODAY", read, used.value, used.source, card)


def today_and_after(
    card: Card, read: Mapping[str, Measured], left: Mapping[str, Measured] | None = None
) -> list[Snapshot]:
    """Today, and after: as left when that was read, else as planned. Only today without a plan.

    Raises:
        PictureError: gap or fork clearance is not known.
    """
    today = today_of(card, read)
    ratio, source = today.ratio, today.ratio_source
    if left and all(name in left for name in ("gap", "clearance")):
        values = {**read, **left}
        for gone in ("free-travel", "brake-contact"):
            if gone not in left:
                values.pop(gone, None)
        return [today, _snapshot("AS LEFT", values, ratio, source, card)]
    try:
        plan = plan_for(card, read)
    except ValueError:  # a rod of over 30 turns, say: nothing to show
        return [today]
    after: dict[str, Measured] = {
        name: read[name] for name in ("pedal-height", "total-travel") if name in read
    }
    after |= {
        "gap": plan.gap_after,
        "clearance": plan.clearance_after,
        "free-travel": plan.free_travel_after,
    }
    if plan.brake_contact_after is not None and plan.ratio.known:
        after["brake-contact"] = plan.brake_contact_after
    return [today, _snapshot("AFTER", after, ratio, source, card, read=False)]


def _snapshot(
    title: str,
    known: Mapping[str, Measured],
    ratio: float,
    source: str,
    card: Card,
    read: bool = True,
) -> Snapshot:
    values = dict(known)
    clearance, gap = values["clearance"].value_in, values["gap"].value_in
    free, touch = geometry_strokes(card, clearance, gap)
    if "free-travel" not in values:
        if free is None:
            free = free_travel_in(ratio, clearance, card.lash_in)
        values["free-travel"] = Measured(free, 1 / 16)
    brake_known = "brake-contact" in values or source != "common practice"
    if brake_known and "brake-contact" not in values and "pedal-height" in values:
        height = values["pedal-height"].value_in
        if touch is None:
            touch = brake_stroke_in(ratio, clearance, gap, card.lash_in)
        values["brake-contact"] = Measured(height - touch, 1 / 4)
    was_read = frozenset(known) if read else frozenset()
    return Snapshot(title, values, was_read, ratio, source, brake_known)


def geometry_strokes(
    card: Card, clearance_in: float, gap_in: float
) -> tuple[float | None, float | None]:
    """Free travel, and pedal travel to the brake, by the card's geometry; None without, or where
    the chain does not reach."""
    if card.geometry is None:
        return None, None
    lash, clearance = card.lash_in, max(0.0, clearance_in)
    try:
        free = stroke.free_travel_in(card.geometry, clearance, lash)
        touch = stroke.brake_stroke_in(card.geometry, clearance, gap_in, lash, card.load)
    except LinkageError:
        return None, None
    return free, touch
