"""What is said in one clause of several: the act, and what beside it takes it back."""

import pytest

from assistant.act import Act, Said
from assistant.dialogue import Question
from tests.conversation import strangers


def taken(situation: str, who: str, words: str) -> str:
    """The meaning that is taken, "?" where it is asked for."""
    got = strangers.kept(situation).understood(words, who)
    if isinstance(got, Question):
        return "?"
    return "?" if got.meaning in ("unclear", "unsure", "wait", "aside") else got.meaning


SAID = [
    ("S01", "tech", "Never mind the slope, all four chocks are in tight, front and rear.", "done"),
    ("S17", "tech", "Never mind the bang, that was the bolt, the cover's off now.", "done"),
    ("S31", "helper", "I didn't let it fly, I eased it up, and my foot's off now.", "released"),
    ("S24", "tech", "Never mind the light, I'm out of the hole now, all of me.", "clear"),
    ("S41", "tech", "I'll sign her off, put my name on it, code six oh one one.", "sign_off"),
    ("S34", "tech", "I'll take it as it is.", "accept"),
    ("S20", "tech", "Yep, six ten.", "check"),
    ("S47", "helper", "it's off", "foot_off"),
    ("S11", "tech", "nothing's bent and it swings free", "sound"),
    ("S35", "tech", "Hang on, I never did grease that bearing. Go back one.", "back"),
]
TAKEN_BACK = [
    ("S37", "tech", "correct the flats"),
    ("S31", "helper", "all out"),
    ("S47", "helper", "it's not off"),
    ("S21", "tech", "got it out, bolt and all"),
    ("S50", "tech", "shortened it like you said, both nuts are tight"),
    ("S11", "tech", "yep, twenty one thirty seconds"),
    ("S01", "tech", "Chocks are in at the front, don't you worry."),
    ("S20", "tech", "Aye, correct that."),
    ("S20", "tech", "Check it again, I'd argue with it."),
    ("S24", "tech", "my hands are out, not all of me"),
    ("S24", "tech", "anything but both hands out"),
    ("S31", "helper", "it's up, no it isn't, it slipped back"),
    ("S37", "helper", "She's out, I can see her boots."),
    ("S02", "tech", "It's set if he pulled it, ask him."),
]


@pytest.mark.parametrize(("situation", "who", "words", "meaning"), SAID)
def test_said_in_one_clause_and_not_taken_back(
    situation: str, who: str, words: str, meaning: str
) -> None:
    assert taken(situation, who, words) == meaning


@pytest.mark.parametrize(("situation", "who", "words"), TAKEN_BACK)
def test_what_another_clause_takes_back_does_not_count(
    situation: str, who: str, words: str
) -> None:
    got = taken(situation, who, words)
    assert got in ("?", "danger", "stop", "lost", "no", "measure", "correct"), got


def heard(situation: str, who: str, words: str) -> list[Said]:
    return strangers.talk_at(situation).hear(who, words)


@pytest.mark.parametrize(
    "words", ["I'm clear. Bring it up, easy.", "right, hands out, tool out, you can bring it up"]
)
def test_clear_and_let_up_in_one_breath(words: str) -> None:
    told = {said.to: said.text for said in heard("S43", "tech", words)}
    assert told["tech"] == "Hands clear." and told["helper"].startswith("RELEASE")


@pytest.mark.parametrize(
    "words", ["not clear, don't let it up", "hands nearly out, let it up", "clear? let it up?"]
)
def test_no_release_on_a_clear_that_is_none(words: str) -> None:
    assert not any(said.text.startswith("RELEASE") for said in heard("S43", "tech", words))


@pytest.mark.parametrize("situation", ["S45", "S52"])
def test_clear_while_the_helper_is_awaited_is_heard(situation: str) -> None:
    talk = strangers.talk_at(situation)
    said = talk.hear("tech", "Both hands out, I'm on my back.")
    assert [x.text for x in said] == ["Hands clear."] and not talk.dialogue.danger().cleared


def test_talk_while_the_helper_is_awaited_lets_nothing_go_on() -> None:
    talk = strangers.talk_at("S52")
    talk.hear("tech", "Son, you still on that pedal?")
    assert "Still holding" in talk.hear("tech", "three lugs")[-1].text


def test_what_was_asked_for_is_no_trouble() -> None:
    """ "Four left" is what the ring has; "ain't got no play" is what was looked for."""
    assert taken("S51", "tech", "four left") == "reading"
    assert taken("S33", "tech", "that's done mate, two longer, jam nut's up solid") in (
        "done",
        "check",
    )


def test_an_order_to_the_starter_is_told_as_danger() -> None:
    got = strangers.kept("S22").understood("Starter just kicked! Who's on the key?!", "tech")
    assert isinstance(got, Act) and got.meaning == "danger"


def test_a_count_that_is_denied_in_a_hold_is_dropped_once_he_holds() -> None:
    """ "No" may be an alarm, so it blocks; but the count is not read back for ever."""
    talk = strangers.talk_at("S26")
    talk.hear("tech", "one lug")
    assert "Still holding" in talk.hear("tech", "no")[-1].text
    said = talk.hear("helper", "holding")[-1].text
    assert "Say how many moved" in said and talk.dialogue.pending is None


def test_carry_on_is_offered_only_where_it_leads_on() -> None:
    """What needs the pedal up does not go on with it down: then it must come up first."""
    talk = strangers.talk_at("S31")
    talk.hear("helper", "released")
    assert talk.hear("helper", "pedal down")[-1].text == "Say clear, then let it up."
    assert talk.hear("tech", "clear")[-1].text == "Say let it up."
    talk.hear("tech", "let it up")
    assert "carry on" in talk.hear("helper", "released")[-1].text


def test_a_helper_who_gets_no_answer_is_no_small_talk() -> None:
    got = strangers.kept("S27").understood("he hasn't answered me three times now", "helper")
    assert isinstance(got, Act) and got.meaning in ("unsure", "danger")


@pytest.mark.parametrize("situation", ["S43", "S47", "S52"])
def test_a_yes_with_a_value_where_the_job_stands_still(situation: str) -> None:
    at = strangers.kept(situation).dialogue.at
    talk = strangers.talk_at(situation)
    talk.hear("tech", "yep, nine sixteenths")
    assert talk.dialogue.at == at


def test_a_count_said_over_with_a_yes_is_confirmed() -> None:
    talk = strangers.talk_at("S51")
    assert "Check?" in talk.hear("tech", "about eight left on the ring")[-1].text
    talk.hear("tech", "eight, yes")
    assert talk.dialogue.pending is None
