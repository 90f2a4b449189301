"""Typed words in one normal form: the digits, signs and spaces of every alphabet as ASCII has them.

A number that holds a sign which is not understood becomes `STRANGE`, as a whole: what is left of
it would be another number. So does one with a space where no number has one.
"""

from __future__ import annotations

import re
import unicodedata
from functools import cache

STRANGE = "¿"
"""Stands for a number that cannot be read; no text holds it otherwise."""

_SIGNS = (
    dict.fromkeys("⁄∕", "/")
    | dict.fromkeys("″“”", '"')
    | dict.fromkeys("′’‘", "'")
    | dict.fromkeys("≈≃~∼", " about ")
    | {"—": " - ", "−": "-", "±": " +/- ", "°": " degrees "}
    | {"<": " less than ", "≤": " at most ", ">": " more than ", "≥": " at least ", "@": " at "}
)
"""Signs that mean something of themselves."""
_OPEN, _CLOSE = "⟨", "⟩"
"""Around a fraction that was one sign, so that nothing joins it that was not joined to it."""
_DECIMAL_SEPARATOR = "٫"
_LOOKS_ELSE = re.compile(r"<(?:super|sub|circle|initial|medial|final|isolated)>")
"""Signs that are written otherwise than their plain ones, and mean something else: 1² is not 12."""


@cache
def _sign(sign: str) -> str:
    """One sign as ASCII has it, or itself where it has none."""
    if sign in _SIGNS:
        return _SIGNS[sign]
    kind, made_of = unicodedata.category(sign), unicodedata.decomposition(sign)
    fraction = re.fullmatch(r"<fraction> ([\d ]+?)2044((?: 003\d)+)", made_of)
    if fraction is not None:
        top, bottom = ("".join(chr(int(c, 16)) for c in part.split()) for part in fraction.groups())
        return f"{_OPEN}{top.strip()}/{bottom}{_CLOSE}"
    if kind == "Nd":
        return str(unicodedata.decimal(sign))
    if kind == "Zs" or kind == "Pd":
        return " " if kind == "Zs" else "-"
    if sign == _DECIMAL_SEPARATOR:
        return "."
    if kind in ("No", "Nl") or _LOOKS_ELSE.match(made_of):
        return sign
    plain = unicodedata.normalize("NFKC", sign).lower()
    return plain if plain.isascii() and plain.isprintable() else sign


_WORD = r"(?:[a-z]+(?:'[a-z]+)*|''|[\"'])"
_NUMBER = (
    rf"(?:\d+-\d+/\d+|\d+/\d+|\d*{_OPEN}\d+/\d+{_CLOSE}"
    r"|[1-9]\d{0,2}(?:,\d{3})+(?!\d)|\d*[.,]\d+|\d+)"
)
_AMOUNT = rf"{_NUMBER}(?:-?{_WORD})*"
_KNOWN = re.compile(
    rf"(?:(?:{_WORD}-)*(?:[-+$#=]|\+/-|\+-)?{_AMOUNT}(?:(?:[-+]|\+/-|\+-){_AMOUNT})*[-+%]?"
    r"|\d+'\d+(?:/\d+)?(?:\"|''))"
)
"""Every way to write amounts without a space."""
_NEVER = re.compile(r"\d+(?:-\d+){2,}|.*'-\d|.*\d/\d+/|.*/\d+[.,]\d")
"""What passes for one of them, and is none: a date, feet and inches, a fraction of a fraction."""
_SPACED = re.compile(
    rf"(?<!\S)\S*[\d{_CLOSE}](?:[.,:;!?]+\s+|\s+[.,:;]+\s*)(?=[\d{_OPEN}])\S*"  # "12. 7", "12 .7"
    r"|(?<!\S)[.,]\s+\d\S*"  # ". 5"
    r"|(?<!\S)\S*[.,]\d+\s+\d+(?![\d.,/]|\s*/)\S*"  # "0.4 85"
)
_RUN = re.compile(r"\S+")
_EDGE = re.compile(r"^[(\[{«=]*(?P<run>.*?)[.,:;!?)\]}»]*$", re.DOTALL)
_LETTERS_FIRST = re.compile(r"[a-z]+(?:'[a-z]+)*(?P<sign>[-=:]?)(?P<rest>.*)", re.DOTALL)


def plain(text: str) -> str:
    """The text in lower case and in its normal form, with `STRANGE` for each strange number.

    A name that begins with letters, `T-104`, stays as it is.
    """
    text = text.lower()
    if not text.isascii():
        text = "".join(map(_sign, text))
    elif any(sign in text for sign in "~<>@"):
        text = "".join(_SIGNS.get(sign, sign) for sign in text)
    if text.isascii() and not any(map(str.isdigit, text)):
        return text
    text = _RUN.sub(lambda m: _checked(m[0]), _SPACED.sub(f" {STRANGE} ", text))
    text = re.sub(rf"(?<=\d){_OPEN}", " ", text).replace(_OPEN, "").replace(_CLOSE, "")
    return text if text.isascii() else "".join(map(_left, text))


def _left(sign: str) -> str:
    """A sign beside the numbers: what only divides words, or is a picture, is a space."""
    kind = "" if sign.isascii() or sign == STRANGE else unicodedata.category(sign)
    return " " if kind == "So" or kind.startswith("P") else sign


def _checked(run: str) -> str:
    """A run without spaces as it is, or `STRANGE` where it holds a number that is not one."""
    if not any(map(str.isnumeric, run)) and _OPEN not in run:
        return run
    m = _EDGE.match(run)
    amounts = m["run"] if m else run
    letters = _LETTERS_FIRST.match(amounts)
    if letters is not None and not letters["rest"][:1].isalpha():
        return run  # what these letters are, the words of readings tell
    known = _KNOWN.fullmatch(amounts) and not _NEVER.match(amounts)
    return run if known else STRANGE
