"""The lengths of one moment: as read, as they will be after the plan, or as they were left."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from assistant.card import Card
from assistant.card.arithmetic import truck_for
from assistant.clutch.conformity import Figure, Judgement, judge
from assistant.clutch.equations import brake_stroke_in, free_travel_in
from assistant.clutch.linkage import stroke
from assistant.clutch.linkage.stroke import LinkageError
from assistant.clutch.solver import FREE, Locked, solve
from assistant.clutch.uncertainty import Measured
from assistant.quantity import BRAKE_CONTACT, CLEARANCE, FREE_TRAVEL, GAP, JUDGED
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
    ratio = truck_for(card, read).ratio
    return _snapshot("TODAY", read, ratio.value, ratio.source, card)


def today_and_after(
    card: Card,
    read: Mapping[str, Measured],
    left: Mapping[str, Measured] | None = None,
    locked: Locked = FREE,
) -> list[Snapshot]:
    """Today, and after: as left when that was read, else as planned.

    The plan is the best setting of what is not `locked`; without a figure for the gap there is
    only today.

    Raises:
        PictureError: gap or fork clearance is not known.
    """
    today = today_of(card, read)
    if left and all(name in left for name in (GAP, CLEARANCE)):
        values = {**read, **left}
        for gone in (FREE_TRAVEL, BRAKE_CONTACT):
            if gone not in left:
                values.pop(gone, None)
        return [today, _snapshot("AS LEFT", values, today.ratio, today.ratio_source, card)]
    if card.figures.get(GAP) is None:
        return [today]
    found = solve(truck_for(card, read), locked, with_candidates=False)
    return [today, planned(today, found.chosen.after, card)]


def planned(today: Snapshot, after: Mapping[str, Measured], card: Card) -> Snapshot:
    """As planned, from where the plan's quantities end."""
    values = {q: value for q, value in after.items() if q in JUDGED}
    if today.ratio_source == "common practice":
        values.pop(BRAKE_CONTACT, None)
    return _snapshot("AFTER", values, today.ratio, today.ratio_source, card, read=False)


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


# --- The pedal stroke as one strip: free, release, brake, floor, with the bands of tolerance.
#
# Along the strip every length is pedal travel from rest, in inches: rest is 0, the floor is the
# pedal height H, and the brake is touched at H - h.


@dataclass(frozen=True, slots=True)
class Stretch:
    """Part of the stroke, from `start_in` to `end_in` of pedal travel: free, release or brake."""

    name: str
    start_in: float
    end_in: float


@dataclass(frozen=True, slots=True)
class Band:
    """Where a point of the stroke should lie, and where it lies; pedal travel in inches.

    `verdict` is "IN", "OUT" or "CLOSE"; `limits` is the tolerance in words and figures.
    """

    name: str
    low_in: float
    high_in: float
    at_in: float
    verdict: str
    limits: str
    source: str


@dataclass(frozen=True, slots=True)
class Stroke:
    """One strip.

    `end_in` is where the pedal ends; `floor_in` is None when the pedal height is not known;
    `brake_missed`: the pedal ends before it would touch the brake.
    """

    title: str
    stretches: tuple[Stretch, ...]
    bands: tuple[Band, ...]
    end_in: float
    floor_in: float | None
    brake_missed: bool

    @property
    def length_in(self) -> float:
        """How long the strip has to be, inches."""
        return max(self.end_in, self.floor_in or 0.0, *(b.high_in for b in self.bands), 0.0)


def stroke_of(shot: Snapshot, card: Card) -> Stroke:
    """The strip of one moment."""
    free = max(0.0, shot.get("free-travel") or 0.0)
    height, contact = shot.get("pedal-height"), shot.get("brake-contact")
    has_brake = card.transmission == "non-synchronized" and shot.brake_known
    touch = height - contact if height is not None and contact is not None else None
    if touch is None:
        gap, clearance = shot.get("gap") or 0.0, shot.get("clearance") or 0.0
        touch = shot.ratio * (clearance + gap) + card.lash_in
    known_end = shot.get("total-travel") or height
    end = known_end or touch
    if height is not None:
        end = min(end, height)
    stretches = [Stretch("free", 0.0, min(free, end))] if free > 0.0 else []
    stop = min(touch, end) if has_brake else end
    if stop > free:
        stretches.append(Stretch("release", free, stop))
    if has_brake and touch < end:
        stretches.append(Stretch("brake", touch, end))
    bands = [b for b in (_free_band(shot, card), _brake_band(shot, card, height)) if b]
    missed = has_brake and known_end is not None and touch >= end
    return Stroke(shot.title, tuple(stretches), tuple(bands), end, height, missed)


def _free_band(shot: Snapshot, card: Card) -> Band | None:
    figure, judged = card.figures.get("free-travel"), shot.judged("free-travel", card)
    value = shot.get("free-travel")
    if figure is None or judged is None or value is None:
        return None
    low, high = figure.limits.low_in, figure.limits.high_in
    return Band(
        "free",
        low if low is not None else 0.0,
        high if high is not None else max(value, low or 0.0),
        value,
        VERDICT[judged.decision],
        limits_text(low, high, card.units),
        figure.limits.source,
    )


def _brake_band(shot: Snapshot, card: Card, height: float | None) -> Band | None:
    figure, judged = card.figures.get("brake-contact"), shot.judged("brake-contact", card)
    value = shot.get("brake-contact")
    if figure is None or judged is None or value is None or height is None:
        return None
    if card.transmission != "non-synchronized":
        return None
    low, high = figure.limits.low_in, figure.limits.high_in
    return Band(
        "brake",
        height - (high if high is not None else max(value, low or 0.0)),
        height - (low if low is not None else 0.0),
        height - value,
        VERDICT[judged.decision],
        f"{limits_text(low, high, card.units)} high",
        figure.limits.source,
    )
