"""The pedal stroke as one strip: free, release, brake, floor, with the bands of tolerance.

Along the strip every length is pedal travel from rest, in inches: rest is 0, the floor is the pedal
height H, and the brake is touched at H - h.
"""

from __future__ import annotations

from dataclasses import dataclass

from assistant.card import Card
from assistant.pictures.snapshot import VERDICT, Snapshot, limits_text


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
