"""Unit numbers and threads as people say them."""

from __future__ import annotations

import re

from assistant.clutch.thread import METRIC, UNIFIED, lead_in
from assistant.readings import read
from assistant.readings.speak import number_words

_LETTERS = (
    "alfa bravo charlie delta echo foxtrot golf hotel india juliett kilo lima mike november oscar "
    "papa quebec romeo sierra tango uniform victor whiskey xray yankee zulu"
).split()
"""The spelling alphabet of radio telephony, as everybody says it."""
_DIGITS = "zero one two three four five six seven eight nine".split()
_SAID = {
    **{word: word[0].upper() for word in _LETTERS},
    **{word: str(i) for i, word in enumerate(_DIGITS)},
    **{"oh": "0", "alpha": "A", "juliet": "J", "x-ray": "X"},
    **{"dash": "-", "hyphen": "-", "slash": "/", "point": "."},
}
_SIZES = {
    "#10": "number ten",
    "#12": "number twelve",
    "1/4": "one quarter",
    "5/16": "five sixteenths",
    "3/8": "three eighths",
    "7/16": "seven sixteenths",
    "1/2": "one half",
    "9/16": "nine sixteenths",
    "5/8": "five eighths",
    "3/4": "three quarters",
    "7/8": "seven eighths",
    "1": "one inch",
}


def unit_said(words: str) -> str:
    """`T-104` from "T-104", "t 104", "tango one oh four", "tee" is not known; "" if it is none."""
    tokens = [t.strip(".") for t in re.split(r"[\s,]+", words.strip()) if t.strip(".")]
    if len(tokens) == 1 and re.fullmatch(r"\w[\w./-]{0,15}", tokens[0]):
        return tokens[0].upper()
    out = ""
    for i, token in enumerate(tokens):
        low = token.lower()
        rest = [t.lower() for t in tokens[i:]]
        spelled = all(t in _SAID or len(t) == 1 or t.isdigit() for t in rest)
        if low in _SAID and (spelled or low not in _DIGITS):
            out += _SAID[low]
        elif len(token) == 1 or token.isdigit():
            out += token.upper()
        else:
            count = read(" ".join(tokens[i:]), "odometer").count
            if count is None or count != int(count):
                return ""
            out += str(int(count))
            break
    # Letters and figures stand apart, where nobody said how.
    out = re.sub(r"(?<=[A-Z])(?=\d)", "-", out)
    return out if re.fullmatch(r"\w[\w./-]{0,15}", out) else ""


def _threads() -> dict[str, tuple[str, ...]]:
    """Each published thread as it is said: "one half twenty", "m twelve by one point five"."""
    out: dict[str, tuple[str, ...]] = {}
    for size, (_, coarse, fine) in UNIFIED.items():
        for count in (coarse, fine):
            out[f"{size}-{count}"] = (
                f"{size}-{count}",
                f"{_SIZES[size]} {number_words(count)}",
                f"{_SIZES[size].replace('one half', 'a half')} by {number_words(count)}",
            )
    for size_mm, pitches in METRIC.items():
        for pitch in pitches:
            spoken = f"{number_words(size_mm)} by {_decimal(pitch)}"
            out[f"M{size_mm}x{pitch:g}"] = (f"m{size_mm}x{pitch:g}", f"m {spoken}", spoken)
    return out


def _decimal(value: float) -> str:
    whole, _, part = f"{value:g}".partition(".")
    digits = " ".join(_DIGITS[int(d)] for d in part)
    return number_words(int(whole)) + (f" point {digits}" if digits else "")


THREADS = _threads()
"""Designation -> what is said for it, as typed first."""


def thread_said(words: str) -> str:
    """The designation as written on a card, or "" for no published thread."""
    text = " ".join(words.strip().split())
    for name, phrases in THREADS.items():
        if text.lower().rstrip(".") in phrases:
            return name
    try:
        lead_in(text)
    except ValueError:
        return ""
    return text
