"""How the lead's desk says things, on a page or in a terminal: `dialogs/en/desk.toml`."""

from __future__ import annotations

from assistant.sentences import sentences

MOST_SIGNS = 60
"""Of one doubt among many."""
_BROKEN = "BROKEN CHAIN: "


def say(name: str, **fields: object) -> str:
    """An entry of the desk's words, its blanks filled in; they are never spoken."""
    return str(sentences("desk").texts[name]).format_map(fields)


def step_name(step: str) -> str:
    """A step by its id, in words."""
    return step.replace("_", " ")


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
