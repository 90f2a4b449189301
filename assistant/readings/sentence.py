"""A reading that stands among other words: in one clause of a sentence, or one at each fork tip.

Only for words that surely hold a reading; what comes out is always read back.
"""

from __future__ import annotations

import re
from typing import Any

from assistant.quantity import BRAKE_CONTACT, CLEARANCE, FREE_TRAVEL, GAP
from assistant.readings.language import LEXICON
from assistant.readings.read import read
from assistant.readings.reading import Reading

CLAUSE = re.compile(r"[,.;:!?](?=\s|$)|\s-+\s|\bbut\b")
"""Where one clause ends."""
REPAIRS = re.compile(
    r"\b(?:no|nope|wait|sorry|scratch|correction|actually|make (?:it|that)|i mean|my bad)\b"
)
"""Words after which another value takes the place of the one before."""
_ZERO = re.compile(
    r"\b(?:none|zero|nothing|nothin|nowt|never (?:touch|reach|hit|get)\w*|not touching"
    r"|no (?:clearance|free|play|travel|gap|touch)|(?:doesn't|don't|won't) (?:touch|reach))\b"
)
_NUMBER = re.compile(r"\d|[½¼¾⅛⅜⅝⅞]|\b(?:half|quarters?|eighths?|sixteenths?|thou|inch|mils?)\b")
_MAY_BE_NONE = (GAP, CLEARANCE, FREE_TRAVEL, BRAKE_CONTACT)
_ABOUT = re.compile(r"\b(?:(?:just|only) )?(?:about|around|roughly|maybe)\b")
_A_WORD = re.compile(r"[a-z'.,;:!?-]+")
"""What may be left out where it is unknown: nothing that could be of a number."""
_TOOL = re.compile(
    r"\b(?:inch|half|(?:quarter|eighth|sixteenth|second|fourth)s?)(?: [a-z]+)?"
    r" (?:sockets?|wrench(?:es)?|spanners?|ratchets?)\b"
)
"""A length that is the size of a tool: "the half inch swivel socket"."""
_AMBIGUOUS = re.compile(r"\bmil(?:l)?s?\b")
_SIDES = r"(?:left|right|driver'?s? side|passenger side)"
_TWO_TIPS = re.compile(
    rf"\b(?P<first>{_SIDES})\b(?P<a>.+?)\b(?:and )?{_SIDES}\b(?P<b>.+)$"
    rf"|^(?P<c>.+?)\b(?P<last>{_SIDES})\b(?P<d>.+?)\b(?:and )?{_SIDES}$"
)
_BOTH_TIPS = re.compile(
    r"\b(?:both(?: sides| tips)?|each(?: side| tip)?|either side)\b|\bsame on\b"
)


def among(
    words: str, whole: Reading, distance: str = "miles", units: str = "inch"
) -> Reading | None:
    """The one reading that stands somewhere in words; None where there are two, or none.

    Args:
        words: as typed or recognized.
        whole: what they are read as together: no reading, or a question.
        distance, units: as for `read`.
    """
    text = words.lower()
    if _TOOL.search(text):
        return None
    if whole.status == "ask" and (not whole.choices or _AMBIGUOUS.search(text)):
        return None  # "fifty mil": what it asks must be answered
    one = whole.choices[0] if len(whole.choices) == 1 else None
    if one is not None and (one.value_in or one.count or _ZERO.search(text)):
        return one
    found = [
        reading
        for clause in (text, *CLAUSE.split(text))
        if (reading := _first(clause, whole.quantity, units, distance)) is not None
    ]
    if not found and whole.status == "none":
        none = whole.quantity in _MAY_BE_NONE and _ZERO.search(text) and not _NUMBER.search(text)
        return read("zero", whole.quantity) if none else _alone(text, whole, units, distance)
    repaired = bool(REPAIRS.search(text))
    if not found or (whole.status != "none" and not repaired):
        return None
    return found[-1] if repaired or len({(r.value_in, r.count) for r in found}) == 1 else None


_OF_A_NUMBER = frozenset("d60otyTXCKPhHcQ4FGEbikMZnxq")
"""Kinds of words (`words.txt`) that are part of a reading wherever they stand."""
_JOINS = frozenset({"and", "a", "an"})
_CHANGES = re.compile(
    r"\b(?:less|more|over|under|below|above|between|beyond|short|shy|fat|skinny|strong|heavy|light"
    r"|bare\w*|plus|minus|to|or|not|no|cannot|without|but|block|gauge|feeler|drill|go|goes|fits?"
    r"|drops?|slides?|enters?|if|from|another|every|was|were|should|supposed|spec|book|calls|left"
    r"|right|both|each|other|mils?|than|almost|nearly|just|about|around|rough\w*|maybe|either"
    r"|bigger|smaller|wide|tight|loose|every|time|times|miles?|percent|years?|minutes?|point)\b"
    r"|n't\b|ish\b|\d-|[/+±~%$#]"
)
"""What changes a reading, or its sense, wherever it stands."""


def _alone(text: str, whole: Reading, units: str, distance: str) -> Reading | None:
    """The one run of number words among words that change nothing about it."""
    about = "about " if _ABOUT.search(text) else ""
    text = _ABOUT.sub(" ", text)
    runs: list[list[str]] = [[]]
    for word in re.sub(r"[,;:.!?]+(?=\s|$)", " ;", text.replace("-", " ")).split():
        known = LEXICON.get(word)
        part = word[0].isdigit() or (known is not None and known[0] in _OF_A_NUMBER)
        if part or (word in _JOINS and runs[-1]):
            runs[-1].append(word)
        elif runs[-1]:
            runs.append([])
    said = [run for run in runs if any(w not in _JOINS for w in run)]
    if len(said) != 1 or _CHANGES.search(text):
        return None
    while said[0][-1] in _JOINS:
        said[0].pop()
    reading = read(about + " ".join(said[0]), whole.quantity, units, distance)
    return reading if reading.status == "read" else None


def tips(words: str, units: str = "inch") -> tuple[Reading, Reading] | None:
    """Fork clearance at the left and at the right tip, where words give both."""
    text = re.sub(r"[,;]", " ", words.lower())
    m, both = _TWO_TIPS.search(text), _BOTH_TIPS.search(text)
    if m is not None:
        parts = (m["a"], m["b"]) if m["first"] else (m["c"], m["d"])
    elif both is not None:
        parts = (_BOTH_TIPS.sub(" ", text),) * 2
    else:
        return None
    read_ = [_first(part, CLEARANCE, units) for part in parts]
    if read_[0] is None or read_[1] is None:
        return None
    side = "" if m is None else m["first"] or m["last"]
    pair = (read_[0], read_[1])
    return pair[::-1] if side.startswith(("right", "pass")) else pair


def _first(words: str, quantity: str, units: str, distance: str = "miles") -> Reading | None:
    """The words as a reading, as they are or without those that no reading has."""
    known = " ".join(
        w for w in words.split() if w.strip(".,;:!?") in LEXICON or not _A_WORD.fullmatch(w)
    )
    for said in dict.fromkeys((words, known)):
        reading = read(said, quantity, units, distance)
        if reading.status == "read":
            return reading
    return None


def both_tips(pair: tuple[Reading, Reading]) -> dict[str, Any]:
    """Both tips as one reading that the record keeps: the smaller, since it is taken up first."""
    least = min(pair, key=lambda tip: tip.value_in or 0.0)
    return least.as_data() | {"tips_in": [tip.value_in for tip in pair]}
