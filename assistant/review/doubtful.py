"""What a lead should look at: the rules, from plain values to words, for the index and the pages.

Every rule gives its words, or None where there is nothing to look at. Lengths are as shown to
people, times in seconds, probabilities from 0 to 1.
"""

from __future__ import annotations

from typing import Literal

from assistant.quantity import spoken_name
from assistant.review.worded import span

LONG_S = 120.0
"""A pedal held longer tires a leg: common practice, no source."""
MANY_AGAIN = 3
"""Misheard this often at one step. Common practice, no source."""
MANY_BACK = 4
"""Gone back this often in one job: from memory of no data, a first guess."""


def left(
    quantity: str, figures: str, decision: str, probability: float | None, accepted: str
) -> tuple[Literal["accepted", "out"], str] | None:
    """A reading as left that is not clearly in: out of its limits, or too close and accepted."""
    if decision in ("", "in"):
        return None
    why = f", accepted: {accepted}" if accepted else ""
    chance = f" ({probability:.0%} in)" if probability is not None else ""
    words = f"{spoken_name(quantity)} left {figures}: {decision}{chance}{why}"
    return "out" if decision == "out" else "accepted", words


def skipped(step: str, reason: str) -> str:
    """A step that was skipped."""
    return f"{step.replace('_', ' ')} skipped" + (f": {reason}" if reason else ", no reason given")


def long_hold(seconds: float | None) -> str | None:
    """A pedal that was held for long."""
    if seconds is None or seconds <= LONG_S:
        return None
    return f"the pedal was held for {span(seconds)}"


def many_again(step: str, times: int) -> str | None:
    """A step at which much had to be said again."""
    if times < MANY_AGAIN:
        return None
    return f"{times} times not understood at {step.replace('_', ' ')}"


def edited(quantity: str, was: str, now: str) -> str:
    """A reading that was corrected after it was kept."""
    return f"{spoken_name(quantity)} corrected from {was} to {now}"


def gone_back(times: int) -> str | None:
    """Steps gone back to, again and again."""
    return f"went back {times} times" if times >= MANY_BACK else None
