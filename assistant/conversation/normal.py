"""Words made comparable: case, punctuation, a leading "okay"."""

from __future__ import annotations

import re

_PUNCTUATION = re.compile(r"[^\w\s'/.\-+½¼¾⅛⅜⅝⅞\"]+|[.\-](?=\s|$)")
_SPACES = re.compile(r"\s+")
_LEAD = re.compile(
    r"^(?:(?:okay|ok|alright|right|uh|um|er|hey|well|so|and|yeah|yes|now)\s+)+(?=\S)"
)
_NEGATION = re.compile(
    r"\b(?:not|no|never|isn't|won't|don't|doesn't|didn't|can't|ain't|nothing|un)\b"
)


def normal(words: str) -> str:
    """Lower case, without punctuation, single spaces."""
    text = words.replace("’", "'").lower()
    return _SPACES.sub(" ", _PUNCTUATION.sub(" ", text)).strip()


def without_lead(text: str) -> str:
    """The same without "okay", "uh" and the like before it."""
    return _LEAD.sub("", text)


def negated(text: str) -> bool:
    """Whether the words deny something: "not clear" must never pass for "clear"."""
    return bool(_NEGATION.search(text))
