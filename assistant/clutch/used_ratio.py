"""Which pedal ratio to work with, and where it came from."""

from __future__ import annotations

from typing import Literal, NamedTuple

from assistant.clutch.pedal import DEFAULT_RATIO, DEFAULT_RATIO_U
from assistant.clutch.predict import Readings
from assistant.clutch.ratio import (
    Ratio,
    RatioFinding,
    compare_ratios,
    ratio_from_brake,
    ratio_from_free_travel,
)

RatioSource = Literal[
    "card", "linkage geometry", "free travel", "brake contact", "both", "common practice"
]
# Levers measured for the card are good to about this share of the ratio: from memory.
CARD_RATIO_SHARE_U = 0.02


class UsedRatio(NamedTuple):
    """The pedal ratio worked with, its standard uncertainty, and where it came from."""

    value: float
    u: float
    source: RatioSource

    @property
    def ratio(self) -> Ratio:
        """The ratio without its source."""
        return Ratio(self.value, self.u)

    @property
    def known(self) -> bool:
        """Whether it belongs to this truck, not to common practice."""
        return self.source != "common practice"


def finding_of(readings: Readings, confidence: float = 0.95) -> RatioFinding | None:
    """The two estimates compared, when the readings for both are there; else None.

    Raises:
        ValueError: ``confidence`` is not between 0 and 1.
    """
    free, height, brake = readings.free_travel, readings.pedal_height, readings.brake_contact
    if free is None or height is None or brake is None:
        return None
    return compare_ratios(
        free, height, brake, readings.clearance, readings.gap, readings.lash_in, confidence
    )


def used_ratio(readings: Readings, finding: RatioFinding | None, card: float | None) -> UsedRatio:
    """The card's ratio; else the readings', their mean when they agree; else common practice.

    Raises:
        ValueError: the card's ratio is not above zero.
    """
    if card is not None:
        if not card > 0.0:
            raise ValueError("The card's pedal ratio must be above zero: give one such as 12.")
        return UsedRatio(card, CARD_RATIO_SHARE_U * card, "card")
    if finding is not None and finding.best is not None and finding.best.value > 0.0:
        return UsedRatio(finding.best.value, finding.best.u, "both")
    c, lash = readings.clearance, readings.lash_in
    free, height, brake = readings.free_travel, readings.pedal_height, readings.brake_contact
    first = None if free is None else ratio_from_free_travel(free, c, lash)
    second = (
        None
        if height is None or brake is None
        else ratio_from_brake(height, brake, c, readings.gap, lash)
    )
    known: list[UsedRatio] = []
    if first is not None and first.value > 0.0:
        known.append(UsedRatio(first.value, first.u, "free travel"))
    if second is not None and second.value > 0.0:
        known.append(UsedRatio(second.value, second.u, "brake contact"))
    # When the two quarrel, the surer one is worked with and a note says they quarrel.
    if not known:
        return UsedRatio(DEFAULT_RATIO, DEFAULT_RATIO_U, "common practice")
    return min(known, key=lambda estimate: estimate.u)
