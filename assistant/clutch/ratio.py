"""The pedal ratio R, estimated twice from ordinary readings, and what a quarrel means.

Free travel gives ``R = (F - l) / c``; brake contact gives ``R = (H - h - l) / (c + g)``. Both
follow from the pedal geometry (F = R*c + l and H - h = R*(c + g) + l). Uncertainties are
propagated to first order (JCGM 100:2008, 5.1.2); the lash l is taken as known.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import NamedTuple

from assistant.clutch.uncertainty import Measured, combine, normal_quantile

# Clearance this small, or lost in its own uncertainty, cannot carry a ratio: from memory.
MIN_CLEARANCE_IN = 0.005
_MIN_CLEARANCE_U = 2.0


class Ratio(NamedTuple):
    """A pedal ratio (pedal inches per fork inch) and its standard uncertainty."""

    value: float
    u: float


class Suspect(NamedTuple):
    """A reading, the value it would have to be for the ratios to agree, and that change (in)."""

    reading: str
    value_in: float
    change_in: float


class RatioFinding(NamedTuple):
    """Whether the two ratios agree.

    ``first`` is from free travel, ``second`` from brake contact; ``z`` their difference over
    its standard uncertainty. ``best`` is the inverse-variance mean when they agree, else None.
    ``lost_motion_in`` is at the pedal: positive, slack taken up before the fork moves; negative,
    give under load after it bites. Like ``text`` it is an interpretation, 0 when they agree.
    ``suspects`` come easiest to believe first: the smallest change over uncertainty.
    """

    agree: bool
    first: Ratio
    second: Ratio
    z: float
    best: Ratio | None
    lost_motion_in: float
    suspects: tuple[Suspect, ...]
    text: str


def ratio_from_free_travel(
    free: Measured, clearance: Measured, lash_in: float = 0.0
) -> Ratio | None:
    """R from free travel and fork clearance (inches); None when the clearance is about zero."""
    if _too_small(clearance):
        return None
    c = clearance.value_in
    value = (free.value_in - lash_in) / c
    return Ratio(value, combine(free.u_in / c, value * clearance.u_in / c))


def ratio_from_brake(
    pedal_height: Measured,
    brake_height: Measured,
    clearance: Measured,
    gap: Measured,
    lash_in: float = 0.0,
) -> Ratio | None:
    """R from the stroke to brake contact, in inches; None when clearance + gap is about zero."""
    reach = Measured(clearance.value_in + gap.value_in, combine(clearance.u_in, gap.u_in))
    if _too_small(reach):
        return None
    value = (pedal_height.value_in - brake_height.value_in - lash_in) / reach.value_in
    stroke_u = combine(pedal_height.u_in, brake_height.u_in)
    return Ratio(value, combine(stroke_u / reach.value_in, value * reach.u_in / reach.value_in))


def _too_small(space: Measured) -> bool:
    return space.value_in <= max(MIN_CLEARANCE_IN, _MIN_CLEARANCE_U * space.u_in)


def compare_ratios(
    free: Measured,
    pedal_height: Measured,
    brake_height: Measured,
    clearance: Measured,
    gap: Measured,
    lash_in: float = 0.0,
    confidence: float = 0.95,
) -> RatioFinding | None:
    """Compare the two ratios; None when either cannot be had. All readings in inches.

    They agree when their difference is within ``confidence`` (two-sided) of zero. The clearance
    is in both, so its part of the difference is taken once, with both sensitivities.

    Raises:
        ValueError: ``confidence`` is not between 0 and 1.
    """
    first = ratio_from_free_travel(free, clearance, lash_in)
    second = ratio_from_brake(pedal_height, brake_height, clearance, gap, lash_in)
    limit = normal_quantile(0.5 + confidence / 2.0)
    if first is None or second is None:
        return None
    c, reach = clearance.value_in, clearance.value_in + gap.value_in
    difference = first.value - second.value
    u = combine(
        free.u_in / c,
        pedal_height.u_in / reach,
        brake_height.u_in / reach,
        (second.value / reach - first.value / c) * clearance.u_in,
        second.value / reach * gap.u_in,
    )
    if u > 0.0:
        z = difference / u
    else:
        z = 0.0 if abs(difference) < 1e-9 else math.copysign(math.inf, difference)
    agree = abs(z) <= limit
    readings = {"F": free, "c": clearance, "H": pedal_height, "h": brake_height, "g": gap}
    suspects = tuple(
        sorted(
            _suspects(readings, first.value, second.value, lash_in),
            key=lambda s: abs(s.change_in) / (readings[s.reading].u_in or 1e-9),
        )
    )
    shared = first.value / c * second.value / reach * clearance.u_in**2
    lost = 0.0 if agree else _lost_motion_in(readings, first.value, z, lash_in)
    return RatioFinding(
        agree=agree,
        first=first,
        second=second,
        z=z,
        best=_mean(first, second, shared) if agree else None,
        lost_motion_in=lost,
        suspects=suspects,
        text=_text(agree, z, first, second, suspects),
    )


def _mean(first: Ratio, second: Ratio, shared: float) -> Ratio:
    """Inverse-variance mean; ``shared`` is the covariance through the common clearance."""
    total = first.u**2 + second.u**2
    w = 0.5 if total == 0.0 else second.u**2 / total
    variance = (w * first.u) ** 2 + ((1 - w) * second.u) ** 2 + 2 * w * (1 - w) * shared
    return Ratio(w * first.value + (1 - w) * second.value, math.sqrt(max(0.0, variance)))


def _lost_motion_in(r: dict[str, Measured], first: float, z: float, lash_in: float) -> float:
    c, g, stroke = r["c"].value_in, r["g"].value_in, r["H"].value_in - r["h"].value_in
    if z < 0.0:
        # The pedal went further than F and c explain, so the chain gave way under load.
        return first * (c + g) + lash_in - stroke
    # One extra lash in both equations: R = (s - F)/g, so the lash is F - c*R.
    return r["F"].value_in - c * (stroke - r["F"].value_in) / g - lash_in if g > 0.0 else 0.0


def _suspects(
    r: dict[str, Measured], first: float, second: float, lash_in: float
) -> Iterator[Suspect]:
    """Each reading alone made to fit: both equations with the same R, solved for it."""
    f, c, g = r["F"].value_in, r["c"].value_in, r["g"].value_in
    stroke = r["H"].value_in - r["h"].value_in
    fitting_stroke = first * (c + g) + lash_in
    values = {
        "F": second * c + lash_in,
        "c": (f - lash_in) * g / (stroke - f) if stroke > f else math.nan,
        "H": r["h"].value_in + fitting_stroke,
        "h": r["H"].value_in - fitting_stroke,
        "g": (stroke - lash_in) / first - c if first > 0.0 else math.nan,
    }
    for reading, value in values.items():
        # A length below zero (or none, nan) is no reading: that one alone cannot be to blame.
        if value >= 0.0:
            yield Suspect(reading, value, value - r[reading].value_in)


_NAMES = {
    "F": "free travel",
    "c": "fork clearance",
    "H": "pedal height",
    "h": "brake contact height",
    "g": "the gap",
}


def _text(agree: bool, z: float, first: Ratio, second: Ratio, suspects: tuple[Suspect, ...]) -> str:
    if agree:
        return f"Free travel and brake contact agree on the pedal ratio, about {second.value:.1f}."
    where = (
        "The pedal moves before the fork does: look for worn pins, slack or a loose bracket"
        if z > 0
        else "The pedal goes too far before the brake: look for stretch, flex or air"
    )
    if not suspects:
        return f"{where}."
    s = suspects[0]
    return f"{where}, or {_NAMES[s.reading]} should read {s.value_in:.3f} in ({s.change_in:+.3f})."
