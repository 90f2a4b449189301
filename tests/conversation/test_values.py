"""Values in people's words: puts right what waits or was read, tells one side, tells from now."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from assistant.act import Act, Said
from assistant.conversation import Session
from tests.conversation.strangers import kept
from tests.conversation.test_meaning import AT

Play = Callable[[Session, str], list[Said]]
GAP_WAITS, MILES_NEXT, ALL_READ, COUNTS = "S20", "S40", "S41", "S26"


def taken(at: str, words: str, who: str = "tech") -> Act:
    """The act that the words are at a situation of the writers."""
    act = kept(at).understood(words, who)
    assert isinstance(act, Act), act
    return act


@pytest.mark.parametrize(
    ("words", "figures"),
    [
        ("no, seven sixteenths, not nine", "7/16 in"),
        ("wrong, try half", "1/2 in"),
        ("I said seven sixteenths", "7/16 in"),
        ("not quite. one half", "1/2 in"),
        ("not nine, five. five eighths", "5/8 in"),
        ("no no, nineteen millimetre, not nine sixteenths", "19 mm"),
        ("you've got cloth ears, i told you five eighths", "5/8 in"),
    ],
)
def test_a_no_with_the_value_that_is_meant(words: str, figures: str) -> None:
    act = taken(GAP_WAITS, words)
    assert act.meaning == "reading"
    assert act.reading is not None
    assert act.reading["figures"] == figures


def test_a_no_without_a_value_is_a_no() -> None:
    act = taken(GAP_WAITS, "no, that's wrong, give me two minutes")
    assert act.reading is None


@pytest.mark.parametrize(
    ("words", "quantity", "figures"),
    [
        ("fork should've been an eighth, not three sixteenths", "clearance", "1/8 in"),
        ("the height is wrong, it was eight and a quarter", "pedal-height", "8-1/4 in"),
        ("free travel was inch and a half, not two and a half", "free-travel", "1-1/2 in"),
        ("wait, that gap is wrong, it was half", "gap", "1/2 in"),
    ],
)
def test_a_correction_with_its_value(words: str, quantity: str, figures: str) -> None:
    act = taken(ALL_READ, words)
    assert (act.meaning, act.quantity) == ("correct", quantity)
    assert act.reading is not None
    assert act.reading["figures"] == figures
    assert act.doubt


@pytest.mark.parametrize(
    ("words", "miles"),
    [
        ("another twelve thousand", 12_000),
        ("in fifteen thousand", 15_000),
        ("twelve five from here", 12_500),
        ("every thirty", 30_000),
        ("fifteen thousand from here", 15_000),
        ("ten thousand, she works hard", 10_000),
        ("plus twenty thousand", 20_000),
        ("25,000 on top of what it has", 25_000),
    ],
)
def test_miles_from_now(words: str, miles: int) -> None:
    act = taken(MILES_NEXT, words)
    assert act.reading is not None
    assert act.reading["from_now"]
    assert act.reading["count"] == miles
    assert act.doubt


@pytest.mark.parametrize(("words", "miles"), [("640,000", 640_000), ("six fifty", 650_000)])
def test_what_it_will_show_then(words: str, miles: int) -> None:
    act = taken(MILES_NEXT, words)
    assert act.reading is not None
    assert "from_now" not in act.reading
    assert act.reading["count"] == miles


def test_backed_off_one_tells_no_way() -> None:
    assert taken(COUNTS, "backed it off one, so three").way == ""


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ("bigger than nine sixteenths", "more than 9/16 in: out."),
        ("less than a half", "less than 1/2 in: out."),
        ("more than a half", "more than 1/2 in: noted."),
    ],
)
def test_one_side_is_noted_and_the_reading_asked_for(
    session: Session, play: Play, words: str, told: str
) -> None:
    """What it decides is told; no plan is made of it, and no value is invented."""
    play(session, AT["gap"])
    said = play(session, words)
    job = session.job
    assert told in str(said[0].text)
    assert "gap itself" in str(said[0].text)
    assert (job.expects(), job.pending) == ("gap", None)
    assert job.facts.latest("gap") is None
    assert any("gap" in note and "than" in note for _, note in job.facts.notes)
