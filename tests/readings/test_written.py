"""Typed numbers in every alphabet: the number that was written, or a question; never another one.

What a sign is comes from `unicodedata`, which knows nothing of this project.
"""

from __future__ import annotations

import sys
import unicodedata
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.readings import read
from assistant.readings.written import STRANGE, plain
from assistant.texts.normal import normal
from tests.examples import examples
from tests.tables import rows_of

QUICK = examples(300)
EVERY = map(chr, range(0x80, sys.maxunicode + 1))
SIGNS = [s for s in EVERY if unicodedata.category(s) not in ("Cn", "Co", "Cs")]
ZEROS = [s for s in SIGNS if unicodedata.category(s) == "Nd" and unicodedata.decimal(s) == 0]
FRACTIONS = [s for s in SIGNS if unicodedata.decomposition(s).startswith("<fraction>")]
PLAIN = [s for s in SIGNS if unicodedata.category(s) not in ("Nd", "No", "Nl")]
"""Everything but figures."""
NOT_LETTERS = [s for s in PLAIN if unicodedata.category(s)[0] != "L"]
LONG = ("free-travel", "pedal-height", "total-travel", "brake-contact", "gap", "")
quantities = st.sampled_from(LONG)
numbers = st.tuples(st.integers(0, 400), st.integers(0, 99)).map(lambda p: f"{p[0]}.{p[1]}")
shops = st.sampled_from(["inch", "mm"])
signs = st.one_of(st.sampled_from(NOT_LETTERS), st.sampled_from(PLAIN))


def value(text: str, quantity: str, units: str = "inch") -> tuple[object, ...] | None:
    """What was read, or None where it was not."""
    got = read(text, quantity, units)
    told = got.value_in, got.low_in, got.high_in, got.count, got.kind
    return told if got.status == "read" else None


def as_ascii(sign: str) -> str:
    """The plain sign that it is a form of."""
    kind = unicodedata.category(sign)
    known = {"Zs": " ", "Pd": "-"}.get(kind) or {"٫": ".", "⁄": "/", "−": "-"}.get(sign)
    return known or unicodedata.normalize("NFKC", sign)


@QUICK
@given(numbers, st.sampled_from(["mm", " mm", " in", ""]), st.sampled_from(ZEROS), quantities)
def test_digits_of_every_alphabet(number: str, unit: str, zero: str, quantity: str) -> None:
    theirs = "".join(chr(ord(zero) + int(c)) if c.isdigit() else c for c in number)
    for units in ("inch", "mm"):
        assert value(theirs + unit, quantity, units) == value(number + unit, quantity, units)


@QUICK
@given(numbers, signs, st.sampled_from([" mm", " in", ""]), quantities, shops)
def test_any_sign_for_the_point(
    number: str, sign: str, unit: str, quantity: str, units: str
) -> None:
    got = value(number.replace(".", sign) + unit, quantity, units)
    assert got in (None, value(number.replace(".", as_ascii(sign)) + unit, quantity, units))


@QUICK
@given(numbers, signs, st.integers(0, 6), st.sampled_from([" mm", " in"]), quantities)
def test_any_sign_in_a_number(number: str, sign: str, at: int, unit: str, quantity: str) -> None:
    text, same = (f"{number[:at]}{s}{number[at:]}{unit}" for s in (sign, as_ascii(sign)))
    assert value(text, quantity) in (None, value(same, quantity), value(number + unit, quantity))


@QUICK
@given(
    numbers, st.integers(1, 6), st.text(" \t\n\u00a0\u2009\u3000", min_size=1, max_size=3),
    st.sampled_from([" mm", " in"]), quantities, shops,
)  # fmt: skip
def test_spaces_in_a_number(
    number: str, at: int, space: str, unit: str, quantity: str, units: str
) -> None:
    got = value(f"{number[:at]}{space}{number[at:]}{unit}", quantity, units)
    assert got in (None, value(number + unit, quantity, units))


@pytest.mark.parametrize("sign", FRACTIONS)
def test_every_fraction_sign(sign: str) -> None:
    try:
        exact = float(Fraction(unicodedata.normalize("NFKC", sign).replace("⁄", "/")))
    except ValueError:  # "1/", for what follows
        exact = -1.0
    for whole in range(3):
        got = read(f"{whole or ''}{sign}", "free-travel")
        assert got.status != "read" or got.value_in == whole + exact
        assert (got.status == "read") == (exact * 64 % 1 == 0 and exact > 0)
    for text in (
        f"{sign}{sign}",
        f"1{sign}{sign}",
        f"{sign}2",
        f"{sign}/2",
        f"1/{sign}",
        f"1.{sign}",
    ):
        assert read(text, "free-travel").status == "ask", text


@QUICK
@given(st.lists(st.sampled_from([*"0123456789.,/-_ ½¾²٫x:"]), min_size=1, max_size=8), quantities)
def test_figures_in_any_order_are_read_as_they_stand(figures: list[str], quantity: str) -> None:
    """Whatever is read holds every figure that was written, in its order."""
    text = "".join(figures) + " in"
    got = read(text, quantity)
    if got.status != "read" or any(c in text for c in "-/½¾"):
        return  # of what is computed, the tables tell
    assert got.value_in is not None
    written = "".join(c for c in text if c.isdigit()).lstrip("0")
    shown = f"{got.value_in:.9f}".replace(".", "").strip("0")
    assert shown == written.strip("0"), text


@pytest.mark.parametrize("sign", ["\u200b", "\u202e", "\u2066", "\u00ad", "\u0300", "\ufeff", "\0"])
def test_signs_that_are_not_seen(sign: str) -> None:
    for number in ("12.7", "9/16"):
        for at in range(1, len(number)):
            got = read(f"{number[:at]}{sign}{number[at:]}", "gap")
            assert got.status == "ask" and got.choices == ()
    assert read(f"nine {sign} sixteenths", "gap").value_in in (None, 9 / 16)


rows = rows_of("written.txt", "quantity", "words", "wanted")


@rows("read")
def test_is_read(quantity: str, words: str, wanted: str) -> None:
    got = read(words, quantity)
    assert (got.status, got.figures) == ("read", wanted), got.why


@rows("ask")
def test_is_asked(quantity: str, words: str, wanted: str) -> None:
    got = read(words, quantity)
    assert (got.status, "; ".join(c.figures for c in got.choices)) == ("ask", wanted), got.figures


@rows("no value")
def test_is_no_value(quantity: str, words: str, wanted: str) -> None:
    assert read(words, quantity).status in ("ask", "none", "refused")


@given(st.text(max_size=40) | st.text("0123456789/.,-+'\" ½⅛±_inmth٨٫．²\u200b\u202e", max_size=20))
@QUICK
def test_the_normal_form_stays(text: str) -> None:
    once = plain(text)
    assert once.isascii() or STRANGE in once or not text.isascii()
    assert value(once, "gap") in (None, value(text, "gap"))


@pytest.mark.parametrize(
    ("words", "wanted"),
    [("Correction, height 21,5 mm.", "correction height 21,5 mm"), ("gap 1⅓", "gap 1 1/3"),
     ("½ ± 1/64", "1/2 +/- 1/64"), ("21．5 mm", "21.5 mm"), ("fine, 3", "fine 3")],
)  # fmt: skip
def test_words_made_comparable_keep_their_numbers(words: str, wanted: str) -> None:
    assert normal(words) == wanted
