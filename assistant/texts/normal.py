"""Words made comparable: case, punctuation, a leading "okay", and whether they deny something."""

from __future__ import annotations

import re
from collections.abc import Iterable
from functools import lru_cache

from assistant.readings.written import STRANGE, plain

_PUNCTUATION = re.compile(rf"(?:(?!(?<=\d),\d)[^\w\s'/.\-+\"{STRANGE}])+|(?<!/)[.\-](?=\s|$)")
_WRITTEN = re.compile(r"[^A-Za-z '.,!?-]")
"""What plain words have not: figures, and signs of other alphabets."""
_SPACES = re.compile(r"\s+")
_LEAD = re.compile(
    r"^(?:(?:okay|ok|all right|alright|right|uh|um|er|hey|well|so|and|yeah|yes|now)\s+)+(?=\S)"
)
_NEGATION = re.compile(
    r"\b(?:not|no|never|nothing|cannot|without|un|\w+n't"
    r"|isnt|doesnt|wont|cant|dont|didnt|aint|wasnt|arent|hasnt|havent|wouldnt|couldnt)\b"
)
_NO_GEAR = re.compile(
    r"\b(?:won't|wont|will not|can't|cant|cannot|doesn't|does not|not) "
    r"(?!(?:\w+ )*(?:grind|clash))(?:\w+ ){0,4}(?:in|into|out of|outta) (?:\w+ )?gear\b"
)
_OPPOSITES = (("in", "out"), ("on", "off"), ("up", "down"), ("press", "release"))
_UN = re.compile(r"\b(?:un|in|non|dis)(\w{3,})")
_REPEATED = re.compile(r"(.)\1+")
_SPELLED = re.compile(r"^(?:\w ){2,}\w$")


@lru_cache(maxsize=4096)
def normal(words: str) -> str:
    """Lower case, without punctuation but that of numbers, single spaces."""
    text = plain(words) if _WRITTEN.search(words) else words.lower()
    return _SPACES.sub(" ", _PUNCTUATION.sub(" ", text)).strip()


def without_lead(text: str) -> str:
    """The same without "okay", "uh" and the like before it."""
    return _LEAD.sub("", text)


def squeezed(text: str) -> str:
    """For finding a shouted word: "stopppp" and "s t o p" are "stop"."""
    if _SPELLED.match(text):
        text = text.replace(" ", "")
    return _REPEATED.sub(r"\1", text)


def shouted(text: str, words: Iterable[str]) -> bool:
    """Whether one of the words stands in the text, or is all of it: drawn out or spelled too."""
    heard = {squeezed(text), *map(squeezed, text.split())}
    return any(squeezed(word) in heard for word in words)


def negated(text: str) -> bool:
    """Whether the words deny something: "not clear" must never pass for "clear"."""
    return bool(_NEGATION.search(text))


def turned_round(text: str, phrase: str) -> bool:
    """Whether `text` says the opposite: "unsound" for "sound", "hands in" for "hands out"."""
    said = set(phrase.split())
    heard = set(text.split())
    for a, b in _OPPOSITES:
        if (a in heard and b in said) or (b in heard and a in said):
            return True
    return any(m[1] in said and m[0] not in said for m in _UN.finditer(text))


def denied(text: str) -> bool:
    """Whether the words deny a complaint: "it doesn't slip"; "no free travel" and "does not
    release", "won't come out of gear" are complaints themselves."""
    told = any(w in text for w in ("free travel", "free play", "releas")) or _NO_GEAR.search(text)
    return negated(text) and not told
