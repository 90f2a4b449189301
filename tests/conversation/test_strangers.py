"""What people say who have not seen the code: understood where it can be, harmless where not."""

import random
from collections import Counter
from itertools import islice

import pytest

from assistant.act import Act, Said
from assistant.conversation.session import Talk
from tests.conversation import hostile, strangers
from tests.conversation.strangers import CORPUS, WHERE, talk_at


def said(talk: Talk, who: str, words: str) -> str:
    return " ".join(s.text for s in talk.hear(who, words))


@pytest.mark.parametrize(("situation", "at"), WHERE.items())
def test_each_situation_is_where_it_says(situation: str, at: str) -> None:
    assert talk_at(situation).dialogue.at == at


def test_held_out_writers_are_understood() -> None:
    """Floors under what was measured (FIGURES.md); the goal is 93% right, 6% asked, none
    dangerous."""
    found = Counter(strangers.judge(x, strangers.take(x)).kind for x in strangers.lines("heldout"))
    assert found["right"] > 0.8 * found.total() and found["wrong"] < 0.06 * found.total()
    assert found["dangerous"] <= 0.005 * found.total()


def test_danger_in_a_hold_stops_or_blocks() -> None:
    """320 ways by two writers of their own, by whose lines the bars were set."""
    passes, alarms, harmless = [], 0, 0
    for path in sorted((CORPUS / "hold").glob("*.tsv")):
        for kind, who, words in strangers.rows(path):
            situation, person = ("S26", "tech") if who == "T" else ("S27", "helper")
            got = strangers.labels(strangers.kept(situation).understood(words, person))
            stops = bool(got & (strangers.ALARMS | {"released"}))
            if kind == "danger" and not stops and "block" not in got:
                passes.append(words)
            harmless += kind == "harmless"
            alarms += kind == "harmless" and stops
    assert not passes
    assert alarms <= 0.03 * harmless


def test_no_twisted_word_completes_an_act() -> None:
    made = hostile.variants(random.Random(11))
    for situation, kind, words in islice(made, 4000):
        assert hostile.passed(situation, words) is None, (kind, situation, words)


def test_pedal_down_is_said_only_when_the_helper_said_so() -> None:
    acts: dict[tuple[str, str, str], Act] = {}
    for line in strangers.lines("heldout"):
        meant = strangers.take(line)
        if line.situation in ("S26", "S27", "S28", "S29", "S30") and isinstance(meant, Act):
            acts[line.situation, meant.who, meant.meaning] = meant  # one of each: talks are slow
    assert len(acts) > 60
    for (situation, _, meaning), act in acts.items():
        replies = " ".join(s.text for s in talk_at(situation).take(act))
        assert meaning == "holding" or "Pedal down" not in replies, act


# --- in a hold ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("who", "words"),
    [
        ("helper", "sorry i let up"),
        ("helper", "this mat is a bit weird"),
        ("tech", "something's off here"),
        ("helper", "whoops"),
        ("tech", "zorbing flimwards"),
    ],
)
def test_doubtful_words_let_no_count_through(who: str, words: str) -> None:
    talk = talk_at("S26")
    talk.hear(who, words)
    said(talk, "tech", "four lugs")
    assert talk.dialogue.pending is None
    assert not talk.dialogue.facts.moves  # type: ignore[attr-defined]


def test_the_helper_answers_and_the_turn_goes_on() -> None:
    talk = talk_at("S26")
    replies = talk.hear("helper", "this mat is a bit weird")
    assert [(s.to, s.text) for s in replies] == [
        ("tech", "Hands out until the helper answers."),
        ("helper", "Still holding? Say holding."),
    ]
    assert "Still holding?" in said(talk, "tech", "four lugs")
    assert "Pedal down" in said(talk, "helper", "holding")
    talk.hear("tech", "four lugs")
    assert talk.dialogue.pending is not None


def test_words_while_the_pedal_comes_up_stop_it() -> None:
    talk = talk_at("S32")
    assert "HANDS OUT" in said(talk, "tech", "my sleeve")
    assert talk.dialogue.stopped


@pytest.mark.parametrize(
    "words", ["it's hot", "it's cut", "it's tin", "he's done talking", "done?"]
)
@pytest.mark.parametrize("situation", ["S01", "S17", "S29"])
def test_likeness_completes_nothing(situation: str, words: str) -> None:
    talk = talk_at(situation)
    talk.hear("tech", words)
    assert talk.dialogue.at == WHERE.get(situation, "cover_off")


def test_yes_takes_a_suggestion_that_moves_nothing() -> None:
    talk = talk_at("S42")
    assert "Did you mean explain" in said(talk, "tech", "expalin")
    assert "Free travel is" in said(talk, "tech", "yes")


# --- several things in one breath ----------------------------------------------------------------


@pytest.mark.parametrize("at", ["S12", "S01"])
def test_four_safety_steps_in_one_breath(at: str) -> None:
    talk = talk_at(at)
    words = "brakes set, wheels chocked, out of gear, key's in my pocket"
    replies: list[Said] = talk.hear("tech", words)
    if at == "S12":  # while the dash is lit: the steps named are passed after
        assert talk.dialogue.at == "found_odometer"
        replies = talk.hear("tech", "four hundred thousand")
    assert talk.dialogue.at == "stands"
    assert any(s.key == "caution:crank" for s in replies)


def test_items_named_ahead_are_passed_when_their_turn_comes() -> None:
    talk = talk_at("S01")
    talk.hear("tech", "chocks are in, goggles on")
    assert talk.dialogue.at == "parking_brake"
    for words in ("done", "done", "done", "done"):
        talk.hear("tech", words)
    assert talk.dialogue.at == "helper_ready"


@pytest.mark.parametrize(
    ("words", "asks"),
    [("left an eighth, right five thirty seconds", False), ("left 1/16, right 3/16", True)],
)
def test_both_fork_tips_are_kept(words: str, asks: bool) -> None:
    talk = talk_at("S19")
    talk.hear("tech", words)
    replies = said(talk, "tech", "check")
    assert ("cocked" in replies) == asks
    notes = talk.dialogue.facts.notes  # type: ignore[attr-defined]
    assert notes[-1][1].startswith("fork tips: left 1/")


# --- patience and questions ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("situation", "words", "answer"),
    [
        ("S42", "give me a second", "Waiting."),
        ("S42", "hang on", "Waiting."),
        ("S42", "what was the pedal height", "8.5 in pedal height"),
        ("S42", "what was the gap", "No gap yet"),
        ("S19", "which way is tighter", "toward the transmission"),
        ("S18", "how do I measure that", "locks or a rule"),
        ("S29", "what torque", "maker's manual"),
        ("S21", "how many lugs are left", "3 lugs tighter to go"),
        ("S42", "what are the doubts", "No doubts."),
        ("S42", "are we done", "steps to go"),
        ("S42", "start over", "From the pedal again."),
        ("S42", "my gauge is metric", "millimetres from now on"),
    ],
)
def test_asked_and_answered(situation: str, words: str, answer: str) -> None:
    talk = talk_at(situation)
    assert answer in said(talk, "tech", words)


def test_back_two_steps() -> None:
    talk = talk_at("S42")
    talk.hear("tech", "go back two steps")
    assert talk.dialogue.at == "found_height"


def test_same_as_before_is_read_back() -> None:
    talk = talk_at("S33")
    talk.hear("tech", "done")
    assert "0.080" in said(talk, "tech", "same as before")
    assert talk.dialogue.pending is not None


def test_a_metric_gauge_counts_for_bare_numbers() -> None:
    talk = talk_at("S18")
    talk.hear("tech", "my gauge is metric")
    talk.hear("tech", "thirteen")
    assert talk.dialogue.pending is not None and talk.dialogue.pending.figures == "13 mm"


def test_a_distance_from_now_is_what_the_odometer_will_show() -> None:
    talk = talk_at("S40")
    assert "No odometer" in said(talk, "tech", "fifteen thousand from now")
