"""Questions in place of guesses."""

from __future__ import annotations

from .quantity import Quantity
from .reading import Reading


def capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def ask_between(choices: list[Reading], q: Quantity) -> Reading:
    """The question that names every plausible meaning; the first refusal when none is."""
    choices = [c for c in choices if c.status == "read"] or choices
    if choices[0].status != "read":
        return choices[0]
    names = list(dict.fromkeys(c.readback for c in choices))
    text = names[0] if len(names) == 1 else ", ".join(names[:-1]) + " or " + names[-1]
    return Reading("ask", q.name, why=f"{capital(text)}?", choices=tuple(choices))
