"""Forms of a reading that a change must not break: the tables of `tests/corpus/forms.txt`.

Among them are utterances that were once read with a wrong value, or read where there was none: they
must be read right, asked about, refused or left alone.
"""

from __future__ import annotations

import pytest

from assistant.quantity import QUANTITIES
from assistant.readings import read
from tests.tables import length_in, rows_of

rows = rows_of("forms.txt", "quantity", "words", "wanted")


@rows("read")
def test_is_read(quantity: str, words: str, wanted: str) -> None:
    got = read(words, quantity)
    assert got.status == "read", got.why
    assert got.value_in == pytest.approx(length_in(wanted), abs=1e-12)
    assert got.low_in is not None and got.high_in is not None
    assert got.low_in <= length_in(wanted) <= got.high_in


@rows("interval")
def test_interval(quantity: str, words: str, wanted: str) -> None:
    got = read(words, quantity)
    assert got.status == "read", got.why
    ends = [length_in(end) for end in wanted.split(" .. ")]
    assert [got.low_in, got.high_in] == pytest.approx(ends, abs=1e-12)


@rows("count")
def test_is_counted(quantity: str, words: str, wanted: str) -> None:
    got = read(words, quantity)
    count, kind = wanted.split()
    assert (got.status, got.kind) == ("read", kind), got.why
    assert got.count == pytest.approx(length_in(count), abs=1e-12)
    assert got.value_in is None


@rows("ask")
def test_is_asked(quantity: str, words: str, wanted: str) -> None:
    got = read(words, quantity)
    assert got.status == "ask", got.readback
    assert got.why
    assert got.value_in is None and got.count is None
    assert len(got.choices) == int(wanted), [c.readback for c in got.choices]


@rows("refused")
def test_is_refused(quantity: str, words: str, wanted: str) -> None:
    got = read(words, quantity)
    assert got.status == "refused", (got, got.readback)
    assert wanted in got.why
    assert got.value_in is None and got.count is None and got.choices == ()


@rows("none")
def test_is_no_reading(quantity: str, words: str, wanted: str) -> None:
    got = read(words, quantity)
    assert got.status == "none", (got, got.readback)
    assert got.value_in is None and got.count is None and got.choices == ()


@rows("none or ask")
def test_no_reading_in_chatter(quantity: str, words: str, wanted: str) -> None:
    assert read(words, quantity).status in ("none", "ask")


@rows("not this value")
def test_never_this_length(quantity: str, words: str, wanted: str) -> None:
    assert read(words, quantity).value_in != pytest.approx(length_in(wanted))


@rows("not this count")
def test_never_this_count(quantity: str, words: str, wanted: str) -> None:
    assert read(words, quantity).count != pytest.approx(length_in(wanted))


@rows("metric shop")
def test_metric_shop(quantity: str, words: str, wanted: str) -> None:
    got = read(words, quantity, units="mm")
    assert got.status == "read", got.why
    assert got.value_in == pytest.approx(length_in(wanted), abs=1e-12)


@pytest.mark.parametrize("words", ["thirteen mil", "nine sixteen", "more than 13", "13 or 14"])
def test_metric_shop_still_asks(words: str) -> None:
    assert read(words, "gap", units="mm").status == "ask"


def test_distance_settles_a_bare_odometer() -> None:
    assert read("412350", "odometer", distance="kilometres").kind == "kilometres"
    assert read("412350 miles", "odometer", distance="kilometres").kind == "miles"


@rows_of("forms.txt", "quantity", "words", "readback", "figures")("readback")
def test_readback(quantity: str, words: str, readback: str, figures: str) -> None:
    """In the form it was said in: a fraction stays a fraction."""
    got = read(words, quantity)
    assert (got.readback, got.figures) == (readback, figures)


def test_an_unknown_quantity_is_an_error() -> None:
    with pytest.raises(ValueError, match="free-travel"):
        read("half", "free travel")


def test_lugs_turns_and_miles_never_pass_for_a_length() -> None:
    for name, quantity in QUANTITIES.items():
        if quantity.unit == "in":
            for words in ("three lugs", "two turns", "one flat", "412,350 miles"):
                got = read(words, name)
                assert got.status == "refused" and got.why, (name, words)


@pytest.mark.parametrize(
    "words",
    ["half, sorry, half quarters", "three, no, nine fourths sixteenths", "9" * 5000, "9" * 290,
     "nine " * 55, "nine " * 400, "half plus or minus " * 10],
)  # fmt: skip
@pytest.mark.parametrize("quantity", ["", "gap", "odometer", "lugs"])
def test_never_raises(words: str, quantity: str) -> None:
    got = read(words, quantity)
    assert got.status in ("read", "ask", "refused", "none")
    assert isinstance(got.as_json(), dict)
