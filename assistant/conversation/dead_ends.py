"""Words that say why a job cannot go on, in more ways than the phrases of `words.toml`.

English, as in `safety`; the expressions stand in `dead_ends.txt`.
"""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

from assistant.interlocks import TROUBLES
from assistant.texts.normal import normal

MOST_WORDS = 20
"""Longer talk tells a story."""
_NAMED = re.compile(r"\{([A-Z]+)\}")


@cache
def _sections() -> dict[str, re.Pattern[str]]:
    """Section of `dead_ends.txt` -> an expression that finds any of its lines."""
    names: dict[str, str] = {}
    found: dict[str, list[str]] = {}
    section: list[str] = []
    for line in Path(__file__).with_suffix(".txt").read_text(encoding="utf-8").splitlines():
        name, is_name, words = line.partition(" = ")
        if is_name:
            names[name] = words
        elif line.endswith(":"):
            section = found.setdefault(line[:-1], [])
        elif line and not line.startswith("#"):
            section.append(_NAMED.sub(lambda m: names[m[1]], line))
    return {name: re.compile("|".join(lines)) for name, lines in found.items()}


_HERE = {
    **dict.fromkeys(("cover_off", "reopen_cover"), "cover"),
    "ring_turn": "seized",
    **dict.fromkeys(("fork_rod", "free_rod", "contact_rod", "height_stop", "total_stop"), "frozen"),
}
"""What it is that will not move, by the step."""


def dead_end(words: str, at: str = "") -> tuple[str, str] | None:
    """("trouble", its kind) or ("unfinished", "") where words say so; None where they do not.

    `at` is the step, for words that name nothing: "it won't budge".
    """
    text, of = normal(words).replace(",", " "), _sections()
    if len(text.split()) > MOST_WORDS or of["none"].search(text):
        return None
    if of["unfinished"].search(text):
        return "unfinished", ""
    kind = next((k for k in of if k in TROUBLES and of[k].search(text)), "")
    if not kind and at in _HERE and of["here"].search(text):
        kind = _HERE[at]
    return ("trouble", kind) if kind else None
