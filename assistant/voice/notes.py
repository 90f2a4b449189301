"""A note's own words: the one thing said here that no grammar can hold."""

from __future__ import annotations

import re
from collections.abc import Sequence

from .heard import Hearing

_NOTE = re.compile(
    r"(?:make a note|take a note|note that|note)\b[\s:,]*(?:[\w'-]+[\s,]+)[\w'-]+", re.I
)
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
