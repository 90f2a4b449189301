"""How wide the interval is that a value said this finely stands for."""

from __future__ import annotations

from .quantity import ANY, Quantity
from .speak import Form
from .units import MM_PER_IN


def half_width_in(form: Form, value_in: float, q: Quantity) -> float:
    """Half the interval that a value said this finely stands for, inches.

    A rule is read to its divisions whatever they reduce to; a decimal to half its last place; one
    or two places that sit on a sixteenth (.5, .25) are a rule read out in decimals.
    Common practice, no source.
    """
    kind, detail = form
    if kind == "f":
        return _rule_half(value_in, detail, q)
    if kind == "d":
        if detail <= 2 and (value_in * 16).is_integer():
            return q.rule_half_in
        return 0.5 * 10.0**-detail
    return 0.5 * 10.0**-detail / MM_PER_IN


def _rule_half(value_in: float, den: int, q: Quantity) -> float:
    if den < 32 or (value_in * 16).is_integer():
        return q.rule_half_in
    return 1 / 64 if (value_in * 32).is_integer() else 1 / 128


def step_in(form: Form, q: Quantity) -> float:
    """How far "shy", "fat" and "about" may reach, inches. Common practice, no source."""
    kind, detail = form
    if kind == "f":
        return 1 / 32 if q.small or q is ANY else 1 / 16
    if kind == "d":
        return 0.005 if detail >= 3 else 1 / 32
    return (1.0 if detail == 0 else 0.5) / MM_PER_IN
