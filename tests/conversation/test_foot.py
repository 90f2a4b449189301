"""The helper's foot in words of his own: questions get a plain no, a foot that goes alarms, and
what is not surely a hold holds nothing."""

from __future__ import annotations

import pytest

from assistant.conversation import Session
from tests.job.test_hold import FINAL, FOUND, GOOD, HOLD, PLAN, SET, TO_COVER, TURN, Play, text

LOOK = FOUND.removesuffix(" / all good / skip")
LOST = f"{TURN} / h: lost it"


@pytest.mark.parametrize(
    ("before", "words", "answer"),
    [
        (TURN, "can I let go now?", "NO. Keep it down"),
        (TURN, "want me to come up?", "NO. Keep it down"),
        (TURN, "he say pull up, I go?", "NO. Keep it down"),
        (LOOK, "can I put my foot back on?", "NO. Leave the pedal alone"),
        (LOOK, "want me to push it now?", "NO. Leave the pedal alone"),
        (f"{GOOD} / {SET} / {FINAL}", "should I press it?", "NO. Leave the pedal alone"),
    ],
)
def test_a_question_of_leave_gets_a_no(
    session: Session, play: Play, before: str, words: str, answer: str
) -> None:
    play(session, before)
    said = play(session, f"h: {words}")
    assert answer in text(said, "helper") and "Hands out" in text(said, "tech")
    assert session.job.at != "halted"


def test_where_he_is_to_press_he_is_told_to(session: Session, play: Play) -> None:
    play(session, FOUND.split(" / h: 8.25 in")[0])
    assert "NO" not in text(play(session, "h: do I press it now?"))


@pytest.mark.parametrize(
    "words", ["foot is away", "my foot is off", "foot gone", "aaa", "no no no"]
)
def test_a_foot_that_goes_in_a_hold_alarms(session: Session, play: Play, words: str) -> None:
    play(session, TURN)
    assert "HANDS OUT" in text(play(session, f"h: {words}"), "tech")


@pytest.mark.parametrize("words", ["wait wait", "one sec", "hold on hold on"])
def test_a_helper_who_waits_in_a_hold_is_asked(session: Session, play: Play, words: str) -> None:
    play(session, TURN)
    said = play(session, f"h: {words}")
    assert "Still holding?" in text(said, "helper") and "Hands out" in text(said, "tech")


@pytest.mark.parametrize("words", ["I'm pushing now", "going down"])
def test_before_holding_is_said_hands_stay_out(session: Session, play: Play, words: str) -> None:
    play(session, HOLD)
    said = play(session, f"h: {words}")
    assert session.job.at == "ring_hold" and "Stay out" in text(said, "tech")
    assert "Say holding" in text(said, "helper")


@pytest.mark.parametrize("words", ["okay it's clear", "I'm out, all clear, let her up"])
def test_clear_after_a_lost_pedal(session: Session, play: Play, words: str) -> None:
    play(session, LOST)
    assert "Hands clear" in text(play(session, words))


def test_up_after_a_lost_pedal(session: Session, play: Play) -> None:
    play(session, f"{LOST} / clear")
    assert "Pedal up." in text(play(session, "h: sorry, it's all the way up, foot's off"))
    where = text(play(session, "where are we"))
    assert "Pedal up, a foot may be on it." in where and "not certain" not in where


def test_a_closed_job_says_nothing_uncertain_of_the_pedal(session: Session, play: Play) -> None:
    play(session, f"{TO_COVER} / done / done / h: sound / h: sound / h: sound / h: sound / done")
    assert "Pedal" not in text(play(session, "where are we")[:1])


@pytest.mark.parametrize(
    ("before", "who", "words"),
    [
        ("h: sound", "helper", "it went right into gear, quiet"),
        ("h: sound", "helper", "the clutch brake I never checked that though"),
        ("h: sound", "helper", "it pulls strong"),
    ],
)
def test_a_trial_is_answered_by_its_own_words(
    session: Session, play: Play, before: str, who: str, words: str
) -> None:
    play(session, f"{TO_COVER} / done / done / h: sound / {before}")
    assert session.job.at == "function_brake"
    session.hear(who, words)
    assert session.job.at in ("function_brake", "halted")  # with the engine on, a doubt stops it


@pytest.mark.parametrize(
    ("told", "back"),
    [
        ("h: it feels kinda mushy, is that bad?", "h: no it's fine"),
        ("h: sound / not sound", "no wait, it's fine"),
    ],
)
def test_a_fault_on_the_chain_is_taken_back(
    session: Session, play: Play, told: str, back: str
) -> None:
    play(session, FOUND.split(" / h: sound")[0] + f" / {told}")
    assert session.job.at == "repair" and session.job.facts.remarks
    at = session.job.faulty
    assert "Taken back" in text(play(session, back))
    assert session.job.at == at and not session.job.facts.remarks
    assert any("taken back" in note for _, note in session.job.facts.notes)


@pytest.mark.parametrize("words", ["sound", "it's good now", "fixed, it's fine"])
def test_a_repaired_part_is_not_taken_back(session: Session, play: Play, words: str) -> None:
    play(session, FOUND.split(" / h: sound")[0] + " / h: not sound")
    play(session, f"h: {words}")
    assert session.job.at != "chain_pedal" and session.job.facts.remarks


def test_code_of_who_takes_over(session: Session, play: Play) -> None:
    play(session, f"{PLAN} / handing over")
    assert "12 takes over" in text(play(session, "I'm code twelve"))


def test_half_a_mile_is_no_odometer(session: Session, play: Play) -> None:
    assert "Say again" in text(play(session, "eight and a half"))


def test_a_comparison_changes_no_value(session: Session, play: Play) -> None:
    play(session, FOUND)
    assert "7/16 in" in text(play(session, "seven sixteenths, it's a hair under the half"))


TRYING = f"{TO_COVER} / done / done"
STOPPED = f"{TURN} / shit my sleeve's caught"


@pytest.mark.parametrize(
    ("before", "who", "words"),
    [
        (GOOD, "tech", "wait, I'm still in here"),
        (GOOD, "tech", "wait wait feeler's still in"),
        (GOOD, "tech", "not yet kid, I'm in there"),
        (TRYING, "tech", "hold on I'm goin' back under for my hat"),
        (TRYING, "tech", "lemme look underneath real quick"),
        (TRYING, "helper", "okay, I turn the key... Gus is under the truck?"),
    ],
)
def test_somebody_in_reach_of_pedal_or_engine_stops_it(
    session: Session, play: Play, before: str, who: str, words: str
) -> None:
    play(session, before)
    said = session.hear(who, words)
    assert session.job.at == "halted" and "STOP" in text(said, "helper")


@pytest.mark.parametrize(
    "words",
    ["do I let go??", "do I press more?", "I let it up slowly?", "he wants it up?", "I go to eat"],
)
def test_in_a_stop_a_question_of_leave_gets_a_no(session: Session, play: Play, words: str) -> None:
    play(session, STOPPED)
    assert "NO. Leave the pedal as it is" in text(play(session, f"h: {words}"), "helper")


def test_in_a_stop_nobody_is_sent_to_the_manual(session: Session, play: Play) -> None:
    play(session, STOPPED)
    assert "Pedal stays down" in text(play(session, "h: what do I do?!"), "helper")
    assert "Leave the pedal as it is" in text(play(session, "h: which pedal, the left?"), "helper")


def test_up_in_a_stop_with_hands_not_clear_alarms(session: Session, play: Play) -> None:
    play(session, STOPPED)
    assert "HANDS OUT" in text(play(session, "h: it is up"), "tech")


@pytest.mark.parametrize("words", ["can I start it?", "should I turn the key a little?"])
def test_a_question_of_the_key_gets_a_no(session: Session, play: Play, words: str) -> None:
    play(session, FOUND)
    assert "NO. Leave the key alone" in text(play(session, f"h: {words}"), "helper")


@pytest.mark.parametrize("words", ["yes there is a sound", "I hear nothing", "no sound"])
def test_a_noise_is_no_answer_to_sound_or_not(session: Session, play: Play, words: str) -> None:
    play(session, FOUND.split(" / h: sound")[0])
    play(session, f"h: {words}")
    assert session.job.at == "chain_pedal"


def test_a_bare_okay_passes_no_look_inside(session: Session, play: Play) -> None:
    play(session, f"{LOOK} / okay")
    assert session.job.at == "look_inside"


def test_a_part_that_broke_in_a_hold_is_for_the_lead(session: Session, play: Play) -> None:
    play(session, f"{TURN} / whoa, ring's got a crack in it")
    assert session.job.at == "halted"
    assert any("ring's got a crack" in doubt for doubt in session.job.facts.doubts)


@pytest.mark.parametrize(
    ("words", "answer"),
    [
        ("went the wrong way, four tighter", "4 lugs tighter"),
        ("six... no five... hell I lost count", "Exactly how many"),
    ],
)
def test_a_count_as_he_says_it(session: Session, play: Play, words: str, answer: str) -> None:
    play(session, TURN)
    assert answer in text(play(session, words))


def test_a_gap_told_anew_while_clearance_is_asked(session: Session, play: Play) -> None:
    play(session, f"{FOUND} / 0.530")
    said = play(session, "no wait that gap's three eighths, I had the wrong gauge")
    assert "Gap 3/8 in" in text(said)


def test_gap_and_fork_in_one_breath(session: Session, play: Play) -> None:
    play(session, FOUND)
    said = play(session, "gap seventeen thirty-seconds, fork an eighth")
    assert "17/32 in" in text(said) and session.job.pending.quantity == "gap"


def test_an_order_to_another_is_not_done(session: Session, play: Play) -> None:
    play(session, "skip / done / done / done / done / done / yeah put your damn glasses on")
    assert session.job.at == "eyes"


def test_not_holding_yet_says_nothing_of_the_pedal(session: Session, play: Play) -> None:
    play(session, HOLD)
    assert "coming up" not in text(play(session, "h: not holding yet"))


@pytest.mark.parametrize(
    ("before", "words", "answer"),
    [
        (TURN, "h: wait, tighter or looser?", "tighter to go"),
        (PLAN, "Earl's takin' over for me", "Say code"),
        (HOLD, "h: what do I do", "HOLD"),
        (LOOK, "okay and now?", "Look inside"),
        (HOLD, "h: I hold", "Pedal down"),
        ("skip / done / done / done / done", "no stands", "Eye protection"),
        ("skip / done / done / done / done", "it isn't raised", "Eye protection"),
    ],
)
def test_plain_questions_and_answers(
    session: Session, play: Play, before: str, words: str, answer: str
) -> None:
    play(session, before)
    assert answer in text(play(session, words))
