"""Utterances that were once read with a wrong value, or read where there is no reading.

Each must now be read right, asked about, refused or left alone; never the wrong value.
"""

from __future__ import annotations

import time

import pytest

from assistant.readings import read

WRONG_LENGTHS = [
    ("gap", "a tenth of an inch", 1.0),
    ("gap", "a hundredth of an inch", 1.0),
    ("gap", "an inch and a tenth", 1.0),
    ("gap", "half a cm", 0.5),
    ("gap", "half a centimetre", 0.5),
    ("free-travel", "half a foot", 0.5),
    ("free-travel", "quarter of a foot", 0.25),
    ("free-travel", "one point five to two inches", 1.522),
    ("gap", "point five for the gap", 0.54),
    ("gap", "point five too tight", 0.52),
    ("gap", "point four eight for you", 0.484),
    ("gap", "inch point two five", 0.25),
    ("free-travel", "inch point five", 0.5),
    ("free-travel", "one twenty five", 125 / 25.4),
    ("pedal-height", "seven five", 75 / 25.4),
    ("total-travel", "eight two", 82 / 25.4),
    ("gap", "up to a half", 0.5),
    ("gap", "never a half", 0.5),
    ("gap", "not less than half", 0.484375),
    ("gap", "13-12 mm", 1 / 25.4),
    ("gap", "490-485 thou", 0.005),
    ("gap", "9/16-1/2", 1 / 16),
    ("gap", "1 - 1/32", 0.0),
    ("free-travel", "between two and a half", 1.25),
    ("free-travel", "one and a half to five eighths", 1.0625),
    ("free-travel", "a quarter inch off", 0.25),
    ("free-travel", "down a quarter inch", 0.25),
    ("free-travel", "take off a quarter", 0.25),
    ("gap", "555-1212", (0.555 + 1.212) / 2),
]


@pytest.mark.parametrize(("quantity", "words", "wrong"), WRONG_LENGTHS)
def test_never_this_length(quantity: str, words: str, wrong: float) -> None:
    assert read(words, quantity).value_in != pytest.approx(wrong)


WRONG_COUNTS = [
    ("odometer", "663 000 km", 6630),
    ("odometer", "287 004", 2874),
    ("odometer", "100 000", 1000),
    ("lugs", "two, three", 23),
    ("turns", "two turns and a half flat", 2.5 / 6),
    ("turns", "two turns, one turn back", 3),
    ("turns", "two turns and a thirty second flat", (2 + 1 / 32) / 6),
    ("turns", "two turns and nine thirty seconds flat", (2 + 9 / 32) / 6),
    ("turns", "one flat and a half", 4 / 6),
    ("turns", "half turn, half turn", 1),
    ("odometer", "412.350", 412.35),
]


@pytest.mark.parametrize(("quantity", "words", "wrong"), WRONG_COUNTS)
def test_never_this_count(quantity: str, words: str, wrong: float) -> None:
    assert read(words, quantity).count != pytest.approx(wrong)


RIGHT = [
    ("gap", "a hundredth of an inch", 0.01),
    ("gap", "half a cm", 5 / 25.4),
    ("free-travel", "half a foot", 6.0),
    ("gap", "point five for the gap", 0.5),
    ("gap", "inch point two five", 1.25),
    ("gap", ".5 +/- 5 thou", 0.5),
    ("gap", "13 mm plus or minus half", 13 / 25.4),
    ("free-travel", "1-1/2 to 1-5/8", 1.5625),
    ("free-travel", "one and a half to two and a half", 2.0),
    ("gap", "four o eight", 0.408),
    ("gap", "485/1000", 0.485),
    ("gap", "thirty-second over a half", 0.53125),
]


@pytest.mark.parametrize(("quantity", "words", "value"), RIGHT)
def test_read_right(quantity: str, words: str, value: float) -> None:
    got = read(words, quantity)
    assert got.status == "read", got.why
    assert got.value_in == pytest.approx(value)


def test_flats_in_a_turn() -> None:
    assert read("two thirds of a turn", "turns").count == pytest.approx(2 / 3)
    assert read("one sixth turn", "flats").count == pytest.approx(1)


CHATTER = [
    ("gap", "is it a half?"),
    ("gap", "what about a half"),
    ("gap", "it was half an inch before"),
    ("gap", "needs a half inch"),
    ("gap", "make it a half"),
    ("gap", "give me a half"),
    ("gap", "get me a nine sixteenths wrench"),
    ("lugs", "first one"),
    ("lugs", "it's the one on the left"),
    ("lugs", "needs three lugs"),
    ("", "got a flat"),
    ("", "a log"),
    ("", "half and half"),
]


@pytest.mark.parametrize(("quantity", "words"), CHATTER)
def test_no_reading_in_chatter(quantity: str, words: str) -> None:
    assert read(words, quantity).status in ("none", "ask")


@pytest.mark.parametrize(
    "words",
    [
        "half, sorry, half quarters",
        "three, no, nine fourths sixteenths",
        "9" * 5000,
        "9" * 290,
        "nine " * 55,
        "nine " * 400,
        "half plus or minus " * 10,
    ],
)
@pytest.mark.parametrize("quantity", ["", "gap", "odometer", "lugs"])
def test_never_raises(words: str, quantity: str) -> None:
    got = read(words, quantity)
    assert got.status in ("read", "ask", "refused", "none")
    assert isinstance(got.as_json(), dict)


@pytest.mark.parametrize(
    "words", ["thousand ", "one thousand ", "thirty two ", "a million ", "oh ", "a half to "]
)
def test_no_endless_search(words: str) -> None:
    """Backtracking once took seconds for twenty words; the bound is generous, not a benchmark."""
    start = time.process_time()
    read((words * 60)[:299], "gap")
    read(words * 3333, "gap")
    assert time.process_time() - start < 1
