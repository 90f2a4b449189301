"""Words that undo one another and sound alike: "that's right" and "not right"."""

from __future__ import annotations

from .decide import Decision, named

OPPOSITE = {
    "check": ("no", "correct"),
    "done": ("no", "correct"),
    "sound": ("not_sound",),
    "clear": ("stop",),
    "holding": ("lost", "stop"),
    "released": ("lost", "stop"),
    "carry_on": ("stop",),
}
"""Meanings that let something pass, and those that would have held it up."""
DOUBT = 0.05
"""From this probability of the opposite on, what lets something pass is asked for again."""


def contradicted(meaning: str, decision: Decision) -> bool:
    """Whether the opposite of `meaning`, the likeliest one, may have been said as well."""
    against = OPPOSITE.get(meaning, ())
    return any(
        named(other.meaning) in against and other.probability >= DOUBT
        for other in decision.ranked[1:]
    )
