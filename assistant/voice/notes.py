"""A note's own words, and the reason of an "accept": what no grammar can hold."""

from __future__ import annotations

import re
from collections.abc import Sequence

from .heard import Hearing

_NOTE = re.compile(
    r"(?:make a note|take a note|note that|note)\b[\s:,]*(?:[\w'-]+[\s,]+)[\w'-]+", re.I
)
_ACCEPT = re.compile(r"\W*(?:accept|except|leave it)\b", re.I)
_BEFORE = {
    "note": re.compile(r"\W*(?:make a note|take a note|note that|notes?)?\b[\s,.:]*", re.I),
    "accept": re.compile(
        r"\W*(?:(?:accepted|accept|except|leave)(?: it| that)?\b)?[\s,.]*"
        r"(?:(?:because|'?cause|since|as)\b)?[\s,]*",
        re.I,
    ),
}
_SENTENCE = re.compile(r"(?<=[.!?])\s+")


def dictated(hearings: Sequence[Hearing]) -> str:
    """What was heard freely, if that is "note" and two words or more; else "".

    They are written down as they were heard, wrong words included: a note moves nothing. What the
    model says again and again when the sound is over is said once.
    """
    for hearing in hearings:
        if _NOTE.match(hearing.free):
            sentences = dict.fromkeys(_SENTENCE.split(hearing.free.strip()))
            return " ".join(sentences).rstrip(".")
    return ""


def accepts(words: str) -> bool:
    """Whether free words begin with "accept", or with what is written for it."""
    return bool(_ACCEPT.match(words))


def said_after(what: str, words: str) -> str:
    """Words taken down after "note" or "accept", with it before them once: "note ..."."""
    rest = words[_before(what, words) :].strip()
    if not rest.strip("."):
        return what
    return f"note {rest}" if what == "note" else f"accept because {rest.rstrip('.')}"


def _before(what: str, words: str) -> int:
    match = _BEFORE[what].match(words)
    return match.end() if match else 0
