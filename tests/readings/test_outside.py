"""Readings against sources that know nothing of this project.

Number words: num2words. Units: pint, and the inch of exactly 25.4 mm (NIST SP 811, appendix B;
the international yard and pound agreement of 1959). Fractions: the standard library.
"""

from __future__ import annotations

import random
from fractions import Fraction

import pint
import pytest
from num2words import num2words

from assistant.readings import QUANTITIES, read
from assistant.readings.speak import fraction_words, number_words
from assistant.readings.units import (
    COUNT_UNITS,
    FLATS_PER_TURN,
    INCHES_PER,
    MM_PER_IN,
    length_in,
    registry,
    to_inches,
)
from tests.examples import some
from tests.tables import rows_of

RNG = random.Random(485)
SAMPLES = [10**k + d for k in range(1, 9) for d in (-1, 0, 1)] + [
    RNG.randrange(10 ** RNG.randint(4, 9)) for _ in range(3000)
]
ODOMETER_TOP = int(QUANTITIES["odometer"].possible_in[1])


def plain(text: str) -> str:
    """num2words says "and" and writes commas; neither changes the number."""
    return " ".join(text.replace(",", " ").replace("-", " ").replace(" and ", " ").split())


def test_number_words_are_num2words() -> None:
    for n in [*some(range(10_001)), *SAMPLES, 999_999_999]:
        assert plain(number_words(n)) == plain(num2words(n)), n


@pytest.mark.parametrize("n", [-1, 1_000_000_000])
def test_number_words_end_where_they_say(n: int) -> None:
    with pytest.raises(ValueError, match="figures"):
        number_words(n)


def test_num2words_reads_as_an_odometer() -> None:
    for n in [*range(10_001), *SAMPLES]:
        if n > ODOMETER_TOP:
            assert read(num2words(n), "odometer").status == "refused", n
            continue
        bare = n > 1_000_000 and n % 1_000_000 < 1000  # without "and" that is more: 1,200,000
        for text in (num2words(n), *([] if bare else [plain(num2words(n))])):
            got = read(text, "odometer")
            assert (got.status, got.count) == ("read", n), text


def test_thousandths_in_num2words() -> None:
    for n in range(2001):
        assert read(f"{num2words(n)} thousandths", "gap").value_in == n / 1000


def test_digits_one_by_one_are_the_decimal() -> None:
    for n in range(1000):
        words = " ".join(num2words(int(d)) for d in f"{n:03d}")
        assert read(f"point {words}", "gap").value_in == n / 1000
        if n >= 100:
            assert read(words, "gap").value_in == n / 1000


@pytest.mark.parametrize("den", [2, 4, 8, 16, 32, 64])
def test_fraction_words_against_fractions(den: int) -> None:
    """num2words' ordinals are the denominators; the value is the exact quotient."""
    names = {2: "half", 4: "quarter"}
    name = names.get(den, num2words(den, to="ordinal"))
    for num in range(1, den):
        exact = Fraction(num, den)
        plural = name if num == 1 else name + "s"
        got = read(f"{num2words(num)} {plural}", "gap")
        assert got.value_in == float(exact), (num, den)
        lowest = names.get(exact.denominator, num2words(exact.denominator, to="ordinal"))
        said = f"{num2words(exact.numerator)} {lowest}" + ("s" if exact.numerator > 1 else "")
        assert plain(fraction_words(num / den, den)) == plain(said)


def test_mixed_numbers_against_fractions() -> None:
    for whole in range(1, 8):
        for den in (2, 4, 8, 16, 32, 64):
            for num in range(1, den, 2):
                exact = float(whole + Fraction(num, den))
                words = f"{num2words(whole)} and {fraction_words(num / den, den)}"
                assert read(words, "free-travel").value_in == exact, words
                assert read(f"{whole}-{num}/{den}", "free-travel").value_in == exact
                assert read(f'{whole} {num}/{den}"', "free-travel").value_in == exact


rows = rows_of("units.txt", "words", "number", "unit")
PINT = pint.UnitRegistry()
"""Without the trade's own units: what `units.txt` says is held against it."""
TRADE = registry()


def test_the_inch_is_exactly_254_tenths_of_a_millimetre() -> None:
    """NIST SP 811, appendix B.8 prints it in bold, as exact (from memory of that table)."""
    assert Fraction(str(MM_PER_IN)) == Fraction(254, 10)
    assert to_inches(25.4, "mm") == 1.0
    assert to_inches(12.7, "mm") == 0.5
    assert to_inches(2.54, "cm") == 1.0
    assert to_inches(304.8, "mm") == pytest.approx(12.0, rel=1e-15)


@pytest.mark.parametrize("unit", sorted(INCHES_PER))
def test_factors_of_the_hot_path_are_those_of_the_registry(unit: str) -> None:
    """Every name of a length that is read without pint, and pint's own opinion where it has one."""
    inches = TRADE.Quantity(1, unit).m_as("inch")
    assert to_inches(7.5, unit) == pytest.approx(7.5 * inches, rel=1e-14)
    if unit in PINT and unit not in ("hundredth", "hundredths"):
        assert PINT.Quantity(1, unit).m_as("inch") == pytest.approx(inches, rel=1e-12)


def test_counts_of_the_registry() -> None:
    """Its own turn is pint's; a hex nut has six flats; lugs are a bare count."""
    assert all(unit in TRADE for unit in COUNT_UNITS)
    assert TRADE.Quantity(1, "turn").m_as("degree") == PINT.Quantity(1, "turn").m_as("degree")
    assert TRADE.Quantity(1, "turn").m_as("flat") == pytest.approx(FLATS_PER_TURN) == 6
    assert TRADE.Quantity(3, "lugs").m_as("dimensionless") == 3
    for n in range(1, 13):
        assert read(f"{n} flats", "turns").count == float(Fraction(n, 6))
        assert read(f"{n} turns", "flats").count == 6 * n


@rows("length")
def test_lengths_with_their_unit(words: str, number: str, unit: str) -> None:
    """As cards and command lines have them; `read` gives the same to the bit."""
    inches = length_in(words)
    assert inches == pytest.approx(PINT.Quantity(float(number), unit).m_as("inch"), rel=1e-14)
    assert inches == read(words).value_in


@pytest.mark.parametrize(
    "text", ["", "in", "12", "-1 in", "1/0 in", "3 lugs", "half an inch", "2 parsecs", "1 in 2 in"]
)
def test_what_is_no_length_with_a_unit(text: str) -> None:
    with pytest.raises(ValueError, match="write it like"):
        length_in(text)


@rows_of("units.txt", "words", "quantity", "number", "unit")("quantity")
def test_a_reading_as_a_pint_quantity(words: str, quantity: str, number: str, unit: str) -> None:
    """Its value and its kind are all that pint needs."""
    got = read(words, quantity)
    pair = (got.value_in, "inch") if got.count is None else (got.count, got.kind)
    assert TRADE.Quantity(*pair).m_as(unit) == pytest.approx(float(number))


@rows("words")
def test_words_against_pint(words: str, number: str, unit: str) -> None:
    inches = PINT.Quantity(float(number), unit).m_as("inch")
    assert read(words).value_in == pytest.approx(inches, rel=1e-12)


@pytest.mark.parametrize(("text", "inches"), [("0.5 dm", 50 / 25.4), ("2 yards", 72.0)])
def test_a_unit_that_a_shop_seldom_names(text: str, inches: float) -> None:
    assert length_in(text) == pytest.approx(inches)
