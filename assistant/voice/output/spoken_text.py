"""A reply as it stands on the screen -> the words that are said aloud.

Figures are spoken as `readings.speak` says them, so that what is heard reads back as the same
value; a test says every text of the dialogs and every figure through here.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from itertools import zip_longest

from assistant.act import Said
from assistant.readings import speak
from assistant.readings.units import MM_PER_IN

_FRACTION = r"(?:\d+-)?\d+/\d+"
_DECIMAL = r"(?:\d{1,3}(?:,\d{3})+|\d+)(?:\.\d+)?"
_DIGITS = "zero one two three four five six seven eight nine".split()
_COUNTED = "lugs?|turns?|flats?|miles?|kilometres?|minutes?|thousandths"


def spoken(said: Said | str) -> str:
    """The words for the ear: no figure, unit sign or bracket is left in them."""
    text = said.aloud if isinstance(said, Said) else said
    for pattern, say in _RULES:
        text = pattern.sub(say, text)
    text = _once(" ".join(text.split()))
    text = re.sub(r"\s+([,.;:?!])", r"\1", text)
    text = re.sub(r",(?=[.,;:?!])", "", text).strip(" ,")
    text = re.sub(r"(?<=[.?!])[.,;:]+", "", text)
    return re.sub(r"(?:^|(?<=[.?!] ))[a-z]", lambda m: m[0].upper(), text)


def split_sentences(text: str) -> list[str]:
    """`text` cut where a speaker may breathe: each part is one call to the synthesizer."""
    return [part for part in re.split(r"(?<=[.?!;])\s+", text.strip()) if part]


def _once(text: str) -> str:
    """A reading's figures and its words are one for the ear: `9/16 in. Nine sixteenths.`"""
    parts = split_sentences(text)
    kept = [
        part
        for part, after in zip_longest(parts, parts[1:], fillvalue="")
        if part.lower() != after.lower()
    ]
    return " ".join(kept)


def _letters(text: str) -> str:
    """Letters and digits one by one: a comma makes a pause after each group of four."""
    groups = []
    for group in text.split("-"):
        groups.append(" ".join(_DIGITS[int(c)] if c.isdigit() else f"{c}." for c in group))
    return ", ".join(groups)


def _seal(match: re.Match[str]) -> str:
    signs = [_DIGITS[int(c)] if c.isdigit() else c for c in match[0] if c != "-"]
    return ", ".join(signs[:4]) + "; " + ", ".join(signs[4:])


def _name(match: re.Match[str]) -> str:
    """`T-104` -> "T, one zero four"."""
    letters = " ".join(match[1])
    return f"{letters}, " + " ".join(_DIGITS[int(c)] for c in match[2])


def _inches(figure: str) -> str:
    if "/" in figure:
        whole, _, part = figure.rpartition("-")
        top, bottom = (int(n) for n in part.split("/"))
        if bottom not in (2, 4, 8, 16, 32, 64):
            lead = f"{speak.number_words(int(whole))} and " if whole else ""
            return f"{lead}{speak.number_words(top)} over {speak.number_words(bottom)}"
        return speak.fraction_words(int(whole or 0) + top / bottom, bottom)
    if "." in figure:
        places = len(figure) - figure.index(".") - 1
        return speak.length_words(float(figure), ("d", places))
    return speak.fraction_words(float(figure), 1) if float(figure) else "zero inches"


def _millimetres(figure: str) -> str:
    figure = re.sub(r"\.0+$", "", figure)
    places = len(figure.partition(".")[2])
    return speak.length_words(float(figure) / MM_PER_IN, ("m", places))


def _length(match: re.Match[str]) -> str:
    sign, figure, unit = match["sign"], match["figure"].replace(",", ""), match["unit"]
    words = _millimetres(figure) if unit == "mm" else _inches(figure)
    return f"minus {words}" if sign else words


def _range(match: re.Match[str]) -> str:
    """`8 in to 9 in` -> "8 to 9 in": the unit is said once."""
    low = re.sub(r"\.0+$", "", match["low"])
    return f"{_plain(low)} to {match['high']}" if "/" not in low else match[0]


def _count(match: re.Match[str]) -> str:
    unit = match["unit"]
    plural = unit if unit.endswith("s") else unit + "s"
    number = float(match["figure"].replace(",", ""))
    return speak.count_words(number, plural)


def _plain(figure: str) -> str:
    whole, _, after = figure.replace(",", "").partition(".")
    words = speak.number_words(int(whole)) if len(whole) < 10 else _letters(whole)
    return (
        f"{words} point {' '.join(_DIGITS[int(c)] for c in after)}" if after.strip("0") else words
    )


def _code(match: re.Match[str]) -> str:
    """A code of three signs or more is said sign by sign, `12` is "twelve"."""
    code = match[2]
    return f"{match[1]} {_plain(code) if len(code) < 3 else _letters(code)}"


def _lowered(match: re.Match[str]) -> str:
    """Capitals are for the eye; the synthesizer may spell them out."""
    return match[0].lower()


_Say = str | Callable[[re.Match[str]], str]
_RULES: list[tuple[re.Pattern[str], _Say]] = [
    (re.compile(pattern), say)
    for pattern, say in (
        (r"\d(?:[,.]?\d){9,}", lambda m: _letters(re.sub(r"\D", "", m[0]))),
        (r"\b[0-9A-F]{4}-[0-9A-F]{4}\b", _seal),
        (r"\bM(\d+)x(\d+(?:\.\d+)?)", lambda m: f"M {_plain(m[1])} by {_plain(m[2])}"),
        (r"(?<!-)\b(\d+/\d+)-(\d{1,2})\b", lambda m: f"{_inches(m[1])}, {_plain(m[2])}"),
        (r"\b([A-Z]{1,4})-?(\d{1,6})\b", _name),
        (r"\b(sign off|[Ss]igned off by) (\d+)\b", _code),
        (
            rf"(?<![\d/.,-])(?P<low>{_DECIMAL}) (?P<unit>in|mm) to "
            rf"(?P<high>{_DECIMAL} (?P=unit)\b)",
            _range,
        ),
        (
            rf"(?P<sign>(?<![\w)])-)?(?P<figure>{_FRACTION}|{_DECIMAL}) (?P<unit>in|mm)\b",
            _length,
        ),
        (rf"(?P<sign>(?<![\w)])-)?(?P<figure>{_FRACTION})(?P<unit>)", _length),
        (r"\b(\d+ turns?) (?=\d+ flats?\b)", r"\1 and "),
        (rf"(?P<figure>{_DECIMAL}) (?P<unit>{_COUNTED})\b", _count),
        (rf"({_DECIMAL})%", lambda m: f"{_plain(m[1])} percent"),
        (_DECIMAL, lambda m: _plain(m[0])),
        (r"\b[A-Z]{2,}\b", _lowered),
        (r"[()\[\]\"“”]|\s[-–—]+\s", ", "),
        (r"&", " and "),
        (r"(?<=\w)/(?=\w)", " or "),
        (r"[_*=~|\\/]", " "),
    )
]
