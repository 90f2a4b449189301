"""The lengths of one moment: as read, as they will be after the plan, or as they were left."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import NamedTuple

from assistant.card import Card
from assistant.card.arithmetic import truck_for
from assistant.clutch.conformity import Judgement, Limits, Measured, judge
from assistant.clutch.equations import Ratio, brake_stroke_in, free_travel_in
from assistant.clutch.linkage import stroke
from assistant.clutch.linkage.stroke import LinkageError
from assistant.clutch.solver import FREE, Locked, solve
from assistant.quantity import (
    BRAKE_CONTACT,
    CLEARANCE,
    FREE_TRAVEL,
    GAP,
    JUDGED,
    PEDAL_HEIGHT,
    TOTAL_TRAVEL,
)
from assistant.readings import speak
from assistant.sentences import sentences


def say(key: str, **fields: object) -> str:
    """An entry of `dialogs/en/pictures.toml`; a name with a blank or a "-" has "_" there."""
    return sentences("pictures").say(key.replace(" ", "_").replace("-", "_"), **fields)


def figures_of(value_in: float, units: str) -> str:
    """A length as short as it is true: `9/16 in` on a rule's grid, else `0.526 in`; `13.4 mm`."""
    off = abs(value_in * 64 - round(value_in * 64)) / 64
    if units == "mm" or off < 0.002 or value_in > 1.0:
        return speak.near_figures(value_in, units)
    return speak.length_figures(value_in, ("d", 3)) if value_in >= 0 else f"{value_in:.3f} in"


def limits_text(limits: Limits, units: str) -> str:
    """`1/2 to 1 in`."""
    low, high = (
        "" if end is None else speak.limit_figures(end, units)
        for end in (limits.low_in, limits.high_in)
    )
    if not (low and high):
        return say("at_least" if low else "at_most", limit=low or high)
    return say("between", low=low.rsplit(" ", 1)[0], high=high)


SHOWN = (GAP, CLEARANCE, FREE_TRAVEL, BRAKE_CONTACT)
"""What a picture shows of a truck that has limits."""


class PictureError(Exception):
    """One clear line on what is missing for the picture."""


@dataclass(frozen=True, slots=True)
class Snapshot:
    """One moment. Lengths in inches, by quantity; what is unknown is not in it.

    Attributes:
        title: "TODAY", "AS FOUND" (of a record), "AFTER" (as planned) or "AS LEFT".
        values: what is known.
        read: the quantities that were read; the others were worked out.
        ratio: pedal travel per fork travel, and where that comes from.
    """

    title: str
    values: Mapping[str, Measured]
    read: frozenset[str]
    ratio: Ratio

    @property
    def brake_known(self) -> bool:
        """Whether it can be told where in the stroke the brake is touched: it was read, or the
        ratio is this truck's own and not common practice."""
        return BRAKE_CONTACT in self.values or self.ratio.known

    def get(self, quantity: str) -> float | None:
        found = self.values.get(quantity)
        return None if found is None else found.value_in

    @property
    def spaces_in(self) -> tuple[float, float]:
        """Fork clearance, no less than none, and gap; inches."""
        return max(0.0, self.get(CLEARANCE) or 0.0), self.get(GAP) or 0.0

    def judged(self, quantity: str, card: Card) -> Judgement | None:
        """Against the card's limits; None when there is no limit or no value."""
        figure, value = card.figures.get(quantity), self.values.get(quantity)
        return None if figure is None or value is None else judge(value, figure)

    def told(self, name: str, quantity: str, card: Card) -> str:
        """`gap 21/32 in OUT (1/2 to 9/16 in)`."""
        length = figures_of(self.get(quantity) or 0.0, card.units)
        judged, figure = self.judged(quantity, card), card.figures.get(quantity)
        if judged is None or figure is None:
            return f"{name} {length}"
        verdict, limits = say(f"verdict.{judged.decision}"), limits_text(figure, card.units)
        return say("told", what=name, length=length, verdict=verdict, limits=limits)


def ratio_text(shot: Snapshot) -> str:
    """`12.0 to 1 from the readings`."""
    of_readings = shot.ratio.source in ("both", "free travel", "brake contact")
    source = say(f"ratio.{'readings' if of_readings else shot.ratio.source}")
    return say("ratio.text", ratio=f"{shot.ratio.value:.1f}", source=source)


def today_of(card: Card, read: Mapping[str, Measured]) -> Snapshot:
    """Today, from readings.

    Raises:
        PictureError: gap or fork clearance is not known.
    """
    missing = [name for name in (GAP, CLEARANCE) if name not in read]
    if missing:
        first = "that" if len(missing) == 1 else "both"
        raise PictureError(
            f"no picture without the {' and the '.join(missing)}; read {first} first"
        )
    return _snapshot("TODAY", read, truck_for(card, read).ratio, card)


def recorded(today: Snapshot) -> Snapshot:
    """The same moment in a record, where it is not of today any more."""
    return replace(today, title="AS FOUND")


def today_and_after(
    card: Card,
    read: Mapping[str, Measured],
    left: Mapping[str, Measured] | None = None,
    locked: Locked = FREE,
) -> list[Snapshot]:
    """Today, and after: as left when all of it was read that today shows, else as planned. As left
    nothing is worked out: it would pass for what somebody read.

    The plan is the best setting of what is not `locked`; without a figure for the gap there is
    only today.

    Raises:
        PictureError: gap or fork clearance is not known.
    """
    today = today_of(card, read)
    if left and all(name in left for name in SHOWN if name in read):
        return [today, _snapshot("AS LEFT", {**read, **left}, today.ratio, card)]
    if card.figures.get(GAP) is None:
        return [today]
    found = solve(truck_for(card, read), locked, with_candidates=False)
    return [today, planned(today, found.chosen.after, card)]


def planned(today: Snapshot, after: Mapping[str, Measured], card: Card) -> Snapshot:
    """As planned, from where the plan's quantities end."""
    kept = set(JUDGED) if today.ratio.known else set(JUDGED) - {BRAKE_CONTACT}
    values = {q: value for q, value in after.items() if q in kept}
    return _snapshot("AFTER", values, today.ratio, card, read=False)


def _snapshot(
    title: str, known: Mapping[str, Measured], ratio: Ratio, card: Card, read: bool = True
) -> Snapshot:
    values, lash = dict(known), card.lash_in
    clearance, gap = values[CLEARANCE].value_in, values[GAP].value_in
    free, touch = geometry_strokes(card, clearance, gap) or (
        free_travel_in(ratio.value, clearance, lash),
        brake_stroke_in(ratio.value, clearance, gap, lash),
    )
    values.setdefault(FREE_TRAVEL, Measured(free, 1 / 16))
    if ratio.known and PEDAL_HEIGHT in values:
        values.setdefault(BRAKE_CONTACT, Measured(values[PEDAL_HEIGHT].value_in - touch, 1 / 4))
    return Snapshot(title, values, frozenset(known if read else ()), ratio)


def geometry_strokes(card: Card, clearance_in: float, gap_in: float) -> tuple[float, float] | None:
    """Free travel, and pedal travel to the brake, by the card's geometry; None without, or where
    the chain does not reach."""
    if card.geometry is None:
        return None
    chain, lash, clearance = card.geometry, card.lash_in, max(0.0, clearance_in)
    try:
        free = stroke.free_travel_in(chain, clearance, lash)
        return free, stroke.brake_stroke_in(chain, clearance, gap_in, lash, card.load)
    except LinkageError:
        return None


# --- The pedal stroke as one strip: free, release, brake, floor, with the bands of tolerance.
#
# Along the strip every length is pedal travel from rest, in inches: rest is 0, the floor is the
# pedal height H, and the brake is touched at H - h.


class Stretch(NamedTuple):
    """Part of the stroke, from `start_in` to `end_in` of pedal travel: free, release or brake."""

    name: str
    start_in: float
    end_in: float


class Band(NamedTuple):
    """Where a point of the stroke should lie, and where it lies; pedal travel in inches.

    `name` is "free" or "brake", `verdict` "IN", "OUT" or "CLOSE", and `limits` the tolerance in
    words and figures.
    """

    name: str
    low_in: float
    high_in: float
    at_in: float
    verdict: str
    limits: str


class Stroke:
    """The strip of one moment.

    `end_in` is where the pedal ends; `floor_in` is None when the pedal height is not known;
    `brake_missed`: the pedal ends before it would touch the brake.
    """

    def __init__(self, shot: Snapshot, card: Card) -> None:
        self.title, self.floor_in = shot.title, shot.get(PEDAL_HEIGHT)
        braked = card.transmission == "non-synchronized"
        has_brake, touch = braked and shot.brake_known, _touch_in(shot, card)
        known_end = shot.get(TOTAL_TRAVEL) or self.floor_in
        end = min(known_end or touch, math.inf if self.floor_in is None else self.floor_in)
        self.end_in, free = end, max(0.0, shot.get(FREE_TRAVEL) or 0.0)
        stop = min(touch, end) if has_brake else end
        stretches = [Stretch("free", 0.0, min(free, end)), Stretch("release", free, stop)]
        if has_brake:
            stretches.append(Stretch("brake", touch, end))
        self.stretches = [s for s in stretches if s.end_in > s.start_in]
        self.brake_missed = has_brake and known_end is not None and touch >= end
        self.bands = [*_band("free", FREE_TRAVEL, None, shot, card)]
        if braked and self.floor_in is not None:
            self.bands += _band("brake", BRAKE_CONTACT, self.floor_in, shot, card)

    @property
    def length_in(self) -> float:
        """How long the strip has to be, inches."""
        return max(self.end_in, self.floor_in or 0.0, *(b.high_in for b in self.bands), 0.0)


def _touch_in(shot: Snapshot, card: Card) -> float:
    """Pedal travel at which the brake is touched, or would be, inches."""
    height, contact = shot.get(PEDAL_HEIGHT), shot.get(BRAKE_CONTACT)
    if height is not None and contact is not None:
        return height - contact
    return brake_stroke_in(shot.ratio.value, *shot.spaces_in, card.lash_in)


def _band(
    name: str, quantity: str, height: float | None, shot: Snapshot, card: Card
) -> Iterator[Band]:
    """A quantity's tolerance along the strip, if it has one; what is counted from the floor is
    `height` less it."""
    figure, judged = card.figures.get(quantity), shot.judged(quantity, card)
    value = shot.get(quantity)
    if figure is None or judged is None or value is None:
        return
    low, high = figure.low_in or 0.0, figure.high_in
    ends = low, max(value, low) if high is None else high
    verdict, limits = say(f"verdict.{judged.decision}"), limits_text(figure, card.units)
    if height is None:
        yield Band(name, *ends, value, verdict, limits)
    else:
        first, last = height - ends[1], height - ends[0]
        yield Band(name, first, last, height - value, verdict, say("high", limits=limits))
