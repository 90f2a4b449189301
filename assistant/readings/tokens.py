"""Words, spoken or typed, into kinds and values (see `lexicon`)."""

from __future__ import annotations

import re
from typing import Any

from assistant.readings.lexicon import LEXICON

Value = Any
"""float for words, int for typed whole numbers, (float, places) for decimals, (num, den)."""

_TOKEN = re.compile(
    r"\+/-|\+-"
    r"|\d+\s*/\s*\d+"
    r"|[1-9]\d{0,2}(?:,\d{3})+(?![\d,])|[1-9]\d{0,2}(?: \d{3})+(?![\d/.,])"
    r"|\d*[.,]\d+|\d+k(?![a-z])|\d+"
    r"|[a-z]+(?:'[a-z]+)*"
    r"|''|[\"'+\-_~%$#&]"
)
_MIXED = re.compile(r"(?<![\d/.,])(\d+)\s?-(\d+\s*/\s*\d)")
_LETTER_HYPHEN = re.compile(r"(?<=[a-z])-(?=[a-z])|(?<=\d)-(?=[a-z])|(?<=[a-z])-(?=\d)")
_LOOSE_DASH = re.compile(r"(?<![+/])-(?=\s|$)|--+")
_UNICODE = str.maketrans(
    {
        "½": " 1/2",
        "¼": " 1/4",
        "¾": " 3/4",
        "⅛": " 1/8",
        "⅜": " 3/8",
        "⅝": " 5/8",
        "⅞": " 7/8",
        "⅓": " 1/3",
        "⅔": " 2/3",
        "⅕": " 1/5",
        "⅙": " 1/6",
        "⁄": "/",
        "∕": "/",
        "″": '"',
        "“": '"',
        "”": '"',
        "′": "'",
        "’": "'",
        "‘": "'",
        "−": "-",
        "–": "-",
        "—": " - ",
        "‐": "-",
        "‑": "-",
        "±": " +/- ",
        "\u00a0": " ",
        "\u202f": " ",
        "\u2009": " ",
    }
)


class Digits(int):
    """A typed whole number that remembers its leading zeros: "0485" is not "485"."""

    @property
    def text(self) -> str:
        """As it was typed."""
        return self._text

    def __new__(cls, text: str) -> Digits:
        """From the digits as typed."""
        made = super().__new__(cls, text)
        made._text = text
        return made

    _text: str


def tokenize(words: str) -> tuple[str, list[Value]]:
    """The kinds of `words`, one letter a token, and each token's value."""
    text = words.lower()
    tokens = None
    if text.isascii():
        # Most of what is said is plain words, some joined by hyphens: no need for the full split.
        letters = text.replace(" ", "")
        if letters.isalpha():
            tokens = text.split()
        elif letters.replace("-", "").isalpha() and " -" not in text and "- " not in text:
            tokens = text.replace("-", " ").split()
    if tokens is None:
        tokens = _split(text)
    lookup = LEXICON.get
    hits = [lookup(token) or _other(token) for token in tokens]
    return "".join([hit[0] for hit in hits]), [hit[1] for hit in hits]


def _split(text: str) -> list[str]:
    if not text.isascii():
        text = text.translate(_UNICODE)
    if "-" in text:
        # "1-5/8" is one and five eighths; "thirty-second" is two words; a dash between two
        # readings with spaces around it may be a minus, so it stays a token of its own.
        if "/" in text:
            text = _MIXED.sub(r"\1 \2", text)
        text = _LETTER_HYPHEN.sub(" ", text)
        text = _LOOSE_DASH.sub(" _ ", text)
    return _TOKEN.findall(text)


def _other(token: str) -> tuple[str, Value]:
    first = token[0]
    if first.isdigit() or first in ".,":
        if "/" in token:
            top, bottom = token.split("/")
            return "q", (int(top), int(bottom))
        if token[-1] == "k":
            return "n", int(token[:-1]) * 1000
        if token.isdigit():
            return "n", Digits(token)
        if " " in token:
            return "n", int(token.replace(" ", ""))
        if token.count(",") > 1 or (token.count(",") == 1 and _grouped(token)):
            return "n", int(token.replace(",", ""))
        token = token.replace(",", ".")
        return "x", (float(token), len(token) - token.index(".") - 1)
    if token.endswith("'s") or token.endswith("s'"):
        hit = LEXICON.get(token[:-2])
        if hit is not None:
            return hit
    return "?", token


def _grouped(token: str) -> bool:
    """Whether one comma groups thousands: `412,350`, not `12,7` and not `0,485`."""
    whole, _, rest = token.partition(",")
    return len(rest) == 3 and whole not in ("", "0") and len(whole) <= 3
