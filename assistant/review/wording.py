"""How the lead's desk says things, on a page or in a terminal; and the rules of what to look at.

The words are in `dialogs/en/desk.toml`. Every rule gives its words, or None where there is nothing
to look at. Lengths are as shown to people, times in seconds, probabilities from 0 to 1.
"""

from __future__ import annotations

from typing import Literal

from assistant.quantity import spoken_name
from assistant.sentences import sentences

LONG_S = 120.0
"""A pedal held longer tires a leg: common practice, no source."""
MANY_AGAIN = 3
"""Misheard this often at one step. Common practice, no source."""
MANY_BACK = 4
"""Gone back this often in one job: from memory of no data, a first guess."""
MOST_SIGNS = 60
"""Of one doubt among many."""
_BROKEN = "BROKEN CHAIN: "


def say(name: str, **fields: object) -> str:
    """An entry of the desk's words, its blanks filled in; they are never spoken."""
    return str(sentences("desk").texts[name]).format_map(fields)


def step_name(step: str) -> str:
    """A step by its id, in words."""
    return step.replace("_", " ")


# --- What a lead should look at.


def left(
    quantity: str, figures: str, decision: str, probability: float | None, accepted: str
) -> tuple[Literal["accepted", "out"], str] | None:
    """A reading as left that is not clearly in: out of its limits, or too close and accepted."""
    if decision in ("", "in"):
        return None
    why = say("doubts.why", why=accepted) if accepted else ""
    chance = say("doubts.chance", chance=probability) if probability is not None else ""
    words = say("doubts.left", what=spoken_name(quantity), figures=figures, decision=decision,
                chance=chance, why=why)  # fmt: skip
    return "out" if decision == "out" else "accepted", words


def skipped(step: str, why: str) -> str:
    """A step that was skipped."""
    return say("doubts.skipped" if why else "doubts.skipped_so", step=step_name(step), why=why)


def long_hold(seconds: float | None) -> str | None:
    """A pedal that was held for long."""
    if seconds is None or seconds <= LONG_S:
        return None
    return say("doubts.long_hold", span=span(seconds))


def many_again(step: str, times: int) -> str | None:
    """A step at which much had to be said again."""
    if times < MANY_AGAIN:
        return None
    return say("doubts.again", times=times, step=step_name(step))


def edited(quantity: str, was: str, now: str) -> str:
    """A reading that was corrected after it was kept."""
    return say("doubts.edited", what=spoken_name(quantity), was=was, now=now)


def gone_back(times: int) -> str | None:
    """Steps gone back to, again and again."""
    return say("doubts.gone_back", times=times) if times >= MANY_BACK else None


# --- In few words.


def short(text: str) -> str:
    """A doubt among many: without the reasons it gives after a colon, where it is long."""
    if text.startswith(_BROKEN):
        return _BROKEN + short(text.removeprefix(_BROKEN))
    if len(text) <= MOST_SIGNS:
        return text
    first = text.split(": ")[0]
    return first if len(first) <= MOST_SIGNS else text[: MOST_SIGNS - 1].rstrip() + "…"


def signed(count: int) -> str:
    """`+2`, `-1`, `0`."""
    return f"{count:+d}" if count else "0"


def lugs(count: int) -> str:
    """`+2 lugs`, `-1 lug`, `0 lugs`."""
    return f"{signed(count)} lug{'' if abs(count) == 1 else 's'}"


def span(seconds: float) -> str:
    """`45 s`, `3 min 20 s`, `2 h 5 min`."""
    whole = round(seconds)
    if whole < 60:
        return f"{whole} s"
    if whole < 3600:
        return f"{whole // 60} min {whole % 60} s" if whole % 60 else f"{whole // 60} min"
    if whole < 172_800:
        return f"{whole // 3600} h {whole % 3600 // 60} min"
    return f"{whole // 86_400} days"
