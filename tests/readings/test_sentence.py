"""Readings as people say them: among other words, with one side only, or one at each fork tip."""

from __future__ import annotations

import pytest

from assistant.quantity import (
    BRAKE_CONTACT,
    CLEARANCE,
    FREE_TRAVEL,
    GAP,
    LUGS,
    ODOMETER,
    PEDAL_HEIGHT,
    TOTAL_TRAVEL,
)
from assistant.readings import read
from assistant.readings.sentence import among, open_side, tips


@pytest.mark.parametrize(
    ("quantity", "words", "figures"),
    [
        (FREE_TRAVEL, "an inch, plumb", "1 in"),
        (FREE_TRAVEL, "josie says three quarters", "3/4 in"),
        (GAP, "three quarters! no wonder it grinds", "3/4 in"),
        (TOTAL_TRAVEL, "six and a half, that's short ain't it", "6-1/2 in"),
        (TOTAL_TRAVEL, "eight all the way to the floor", "8 in"),
        (PEDAL_HEIGHT, "205 mm on this boy's tape", "205 mm"),
        (FREE_TRAVEL, "two inches before it gets heavy", "2 in"),
        (FREE_TRAVEL, "two an a eighth, final answer", "2-1/8 in"),
        (TOTAL_TRAVEL, "he got eight, no, i make it seven and a half", "7-1/2 in"),
        (GAP, "five eighths not three eighths", "5/8 in"),
        (GAP, "not nine sixteenths, it's a half", "1/2 in"),
        (
            PEDAL_HEIGHT,
            "it was eight, no, i read the wrong end, it is seven and a half",
            "7-1/2 in",
        ),
        (TOTAL_TRAVEL, "eight minus a sixteenth, so seven and fifteen sixteenths", "7-15/16 in"),
        (GAP, "drill fits snug, half inch drill", "1/2 in"),
        (GAP, "three eighths. no, that's the other edge. half. a half", "1/2 in"),
        (FREE_TRAVEL, "nae play at all", "0 in"),
        (FREE_TRAVEL, "there isn't any, it's stiff straight away", "0 in"),
        (BRAKE_CONTACT, "it ain't hitting the brake at all", "never touches"),
        (PEDAL_HEIGHT, "205 mil", "205 mm"),
        (FREE_TRAVEL, "thirty eight mil", "38 mm"),
        (GAP, "thirteen mil", "13 mm"),
        (GAP, "sixty mil", "0.060 in"),
        (
            PEDAL_HEIGHT,
            "taller than eight inches, shorter than eight and a half",
            "8 in to 8-1/2 in",
        ),
        (BRAKE_CONTACT, "tween three quarters and one", "3/4 in to 1 in"),
        (GAP, "half inch block goes, nine sixteenths don't", "1/2 in to 9/16 in"),
        (GAP, "half inch block won't go in", "less than 1/2 in"),
        (FREE_TRAVEL, "under a half ma'am", "less than 1/2 in"),
        (FREE_TRAVEL, "more'n three inches", "more than 3 in"),
        (TOTAL_TRAVEL, "over eight, the tape stops there", "more than 8 in"),
        (ODOMETER, "two, nine, one, four, four, seven, in miles", "291,447 miles"),
        (ODOMETER, "work order says 455210", "455,210 miles"),
        (ODOMETER, "one two six, double five, nine", "126,559 miles"),
        (ODOMETER, "half a million even", "500,000 miles"),
        (ODOMETER, "it says 4-0-8-7-7-1", "408,771 miles"),
    ],
)
def test_the_one_reading_among_other_words(quantity: str, words: str, figures: str) -> None:
    whole = read(words, quantity)
    found = whole if whole.status == "read" else among(words, whole)
    assert found is not None
    assert found.figures == figures


@pytest.mark.parametrize(
    ("quantity", "words"),
    [
        (GAP, "give me two minutes"),
        (GAP, "grab the half inch wrench"),
        (FREE_TRAVEL, "the two of us, one sec"),
        (GAP, "half on top and nine sixteenths on the bottom"),
        (PEDAL_HEIGHT, "it's eight and he put eight and a quarter, one of us is blind"),
        (CLEARANCE, "one of em's an eighth"),
        (CLEARANCE, "right one an eighth, left one a bit more"),
        (PEDAL_HEIGHT, "he says eight inches but he's reading the wrong side of the tape"),
        (GAP, "thirty-five mil"),
        (CLEARANCE, "fifteen mil"),
    ],
)
def test_where_there_are_two_or_none_it_is_asked(quantity: str, words: str) -> None:
    whole = read(words, quantity)
    assert whole.status != "read"
    assert among(words, whole) is None


@pytest.mark.parametrize(
    ("words", "side", "end_in"),
    [
        ("less than an inch", "below", 1.0),
        ("under a half", "below", 0.5),
        ("more than an inch", "above", 1.0),
        ("at least three quarters", "above", 0.75),
        ("half inch or more", "above", 0.5),
    ],
)
def test_one_side_has_an_open_end_and_no_value(words: str, side: str, end_in: float) -> None:
    (end,) = read(words, GAP).choices
    assert open_side(end)
    assert (end.value_in, end.qualifier) == (None, side)
    assert (end.low_in, end.high_in) == ((0.0, end_in) if side == "below" else (end_in, None))


@pytest.mark.parametrize(
    ("words", "left_in", "right_in"),
    [
        ("none on the left, an eighth on the right", 0.0, 1 / 8),
        ("left's touching, right's got a sixteenth", 0.0, 1 / 16),
        ("right is a quarter and the left an eighth", 1 / 8, 1 / 4),
        ("an eighth and an eighth", 1 / 8, 1 / 8),
        ("eighth each side", 1 / 8, 1 / 8),
        ("both touching", 0.0, 0.0),
        ("three mil left, four right", 3 / 25.4, 4 / 25.4),
        ("left three millimetres, other one's three and a half", 3 / 25.4, 3.5 / 25.4),
        ("0.110 and 0.125, left first", 0.110, 0.125),
        ("five thirty seconds left, same on the right", 5 / 32, 5 / 32),
    ],
)
def test_one_at_each_tip(words: str, left_in: float, right_in: float) -> None:
    pair = tips(words)
    assert pair is not None
    assert [tip.value_in for tip in pair] == pytest.approx([left_in, right_in])


@pytest.mark.parametrize(
    "words",
    [
        "an eighth",
        "left one's an eighth, can't get to the right",
        "one eighth and three sixteenths",
    ],
)
def test_what_is_not_of_both_tips(words: str) -> None:
    assert tips(words) is None


@pytest.mark.parametrize(
    ("words", "count"),
    [
        ("got your four lugs", 4),
        ("five, i went one over", 5),
        ("only three, it won't go more", 3),
        ("three and she won't go no more", 3),
        ("backed off one, so that's three", 3),
        ("one, two, three, and four. there", 4),
        ("one. two. three. four", 4),
        ("zero, she doesn't turn", 0),
        ("went five by mistake", 5),
        ("it was four, no, three", 3),
        ("three gone, one to go", 3),
    ],
)
def test_a_count_with_its_talk(words: str, count: int) -> None:
    got = read(words, LUGS)
    assert (got.status, got.count) == ("read", count)


@pytest.mark.parametrize(
    "words",
    [
        "didn't move one",
        "three fingers in it",
        "one, my hand slipped",
        "two or three",
        "a couple of lugs",
        "three and a half",
        "one of the bolts let go",
    ],
)
def test_what_is_no_count_alone(words: str) -> None:
    assert read(words, LUGS).status != "read"
