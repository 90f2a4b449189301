"""What it means when no setting puts everything in: the part to look at, and why.

The reasons follow from the geometry: with gap and clearance both set, the pedal's readings depend
on nothing but ratio, slack and stops (F = R*c + l, h = H - R*(c + g) - l). The parts named for
each are common practice, no source.
"""

from __future__ import annotations

from typing import NamedTuple

from assistant.clutch.effects import Effects
from assistant.clutch.settings import Settings


class Condemned(NamedTuple):
    """A quantity, the side it stays on, the part to look at in a breath, and why."""

    quantity: str
    side: str
    part: str
    why: str


# (quantity, side) -> part in at most five words, and why. Common practice, no source.
_PARTS: dict[tuple[str, str], tuple[str, str]] = {
    ("gap", "high"): (
        "Suspect a worn-out clutch.",
        "The ring has no more lugs that help, so the facings or the wrong brake hold the gap open.",
    ),
    ("gap", "low"): (
        "Check clutch brake and bearing.",
        "Even the loosest ring leaves too little, so something between is too thick or bent.",
    ),
    ("clearance", "low"): (
        "Suspect worn pins or levers.",
        "Free travel comes from slack in the linkage, not from the fork.",
    ),
    ("clearance", "high"): (
        "Suspect the wrong lever.",
        "The pedal moves the fork further than these figures allow for.",
    ),
    ("free-travel", "high"): (
        "Suspect worn pins or levers.",
        "With the fork set, free travel holds only the ratio and slack; slack makes it long.",
    ),
    ("free-travel", "low"): (
        "Suspect the wrong lever.",
        "With the fork set, free travel holds only the ratio and slack; the ratio is too small.",
    ),
    ("brake-contact", "low"): (
        "Suspect worn pins or levers.",
        "With gap and fork set, a brake touched this low means motion lost on the way.",
    ),
    ("brake-contact", "high"): (
        "Suspect the wrong lever.",
        "With gap and fork set, a brake touched this high means too small a ratio.",
    ),
    ("bearing-travel", "low"): (
        "Suspect pedal stops, or levers.",
        "The pedal is down before the bearing has gone far enough, whatever is set.",
    ),
    ("bearing-travel", "high"): (
        "Check the figures.",
        "The bearing can go further than the figure allows, whatever is set.",
    ),
    ("pedal-height", "low"): ("Check the pedal stop.", "The upper stop does not reach."),
    ("pedal-height", "high"): ("Check the pedal stop.", "The upper stop does not reach."),
    ("total-travel", "low"): ("Check the stops.", "The stops do not give this much stroke."),
    ("total-travel", "high"): ("Check the stops.", "The stops do not hold the stroke this short."),
}
_NO_LUG = (
    "One lug is too coarse.",
    "The gap lies between two lugs: one is too few and the next too many for these limits.",
)


def condemned(effects: Effects, settings: Settings) -> tuple[Condemned, ...]:
    """What no setting can put in, first in the trade's order, each with the part it points at."""
    out = []
    for quantity, miss_in in settings.given_up:
        side = "low" if miss_in < 0.0 else "high"
        at_end = abs(settings.chosen.setting.lugs) == effects.adjusters.max_lugs
        part, why = _PARTS[quantity, side]
        if quantity == "gap" and not at_end:
            part, why = _NO_LUG
        out.append(Condemned(quantity, side, part, why))
    return tuple(out)
