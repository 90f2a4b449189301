"""Readings and answers as findings: how well each state fits what was seen."""

from __future__ import annotations

from collections.abc import Mapping

from assistant.card import Card
from assistant.card.arithmetic import plan_for
from assistant.causes.table import Table
from assistant.clutch.conformity import Limits
from assistant.clutch.uncertainty import Measured, normal_cdf

Fits = tuple[float, ...]
NO: Fits = (1.0, 0.0)
YES: Fits = (0.0, 1.0)
_FOR_RATIOS = ("gap", "clearance")


def low_in_high(measured: Measured, limits: Limits) -> Fits:
    """Chance that the true value is below the limits, in them, above them; sums to 1."""
    value, u = measured.value_in, measured.u_in

    def beyond(depth_in: float) -> float:
        return normal_cdf(depth_in / u) if u > 0.0 else float(depth_in > 0.0)

    low = 0.0 if limits.low_in is None else beyond(limits.low_in - value)
    high = 0.0 if limits.high_in is None else beyond(value - limits.high_in)
    return low, max(0.0, 1.0 - low - high), high


def findings_of(table: Table, card: Card, read: Mapping[str, Measured]) -> dict[str, Fits]:
    """Finding -> fits, for all that these readings show.

    Free travel and fork clearance are one finding: the one is the other seen at the pedal, and
    counted twice they would make the table surer than it is. Where they contradict each other,
    that shows as ratios that disagree.
    """
    found: dict[str, Fits] = {}
    for finding in table.findings.values():
        for quantity in finding.readings:
            figure = card.figures.get(quantity)
            if quantity in read and figure is not None:
                found[finding.id] = low_in_high(read[quantity], figure.limits)
                break
    if "quarrel" in table.findings and all(q in read for q in _FOR_RATIOS):
        agree = _ratios_agree(card, read)
        if agree is not None:
            found["quarrel"] = NO if agree else YES
    return found


def _ratios_agree(card: Card, read: Mapping[str, Measured]) -> bool | None:
    """Whether the pedal ratio comes out the same two ways; None when it cannot be told."""
    try:
        finding = plan_for(card, read).ratio_finding
    except ValueError:  # readings too odd for any plan
        return None
    return None if finding is None else finding.agree
