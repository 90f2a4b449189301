"""Words where the engine may turn, or a hand is in the open hole with the pedal up: what is not
surely harmless stops, and the order to press is not told again."""

from __future__ import annotations

import pytest

from assistant.act import Act
from assistant.conversation import Session
from assistant.dialogue import Question
from assistant.texts.safety import MATTERS
from tests.conversation.strangers import ALARMS, CORPUS, kept, labels, rows
from tests.job.test_hold import FOUND, GOOD, SET, TO_COVER, TURN, Play, text

ALL_SAFE = "skip / done / done / done / done / done / done"
LOOK = FOUND.removesuffix(" / all good / skip")
TRIAL = f"{TO_COVER} / done / done"


@pytest.mark.parametrize(
    "words",
    [
        *(
            "h: it's rolling!",
            "h: it goes down the hill",
            "h: it's in first gear I think",
            "h: smoke",
        ),
        *("h: where is Marek, I don't see him", "Tomek off! off!", "kill it", "chock fell out"),
        *("wait, I left the wrench under, I go get it", "wait, don't turn key", "I burned my hand"),
        *("aaa hot", "h: there are legs there. I see legs by the wheel", "h: the pedal stays down"),
    ],
)
def test_with_the_engine_on_it_stops(session: Session, play: Play, words: str) -> None:
    play(session, TRIAL)
    said = play(session, words)
    assert session.job.at == "halted"
    assert "engine off" in text(said, "helper") and "Press" not in text(said, "helper")


def test_after_a_doubt_both_say_that_it_goes_on(session: Session, play: Play) -> None:
    play(session, f"{TRIAL} / h: hm that gauge thing blinks and beeps")
    assert session.job.at == "halted"
    assert "ready first" in text(play(session, "carry on"))
    said = play(session, "h: ready / carry on")
    assert session.job.at == "function_release" and "Press" in text(said, "helper")


@pytest.mark.parametrize("words", ["starting her now", "one sec", "engine's on"])
def test_what_a_trial_asks_for_does_not_stop_it(session: Session, play: Play, words: str) -> None:
    play(session, TRIAL)
    assert "Waiting" in text(play(session, f"h: {words}"))


def test_an_answer_to_a_trial_that_is_not_sure_is_asked_for_and_no_more(
    session: Session, play: Play
) -> None:
    play(session, TRIAL)
    said = play(session, "h: it's squeaking")
    assert text(said, "helper") == "Sound, or not sound? Or say stop."


def test_a_helper_who_asks_to_leave_a_running_truck_hears_no(session: Session, play: Play) -> None:
    play(session, TRIAL)
    assert "NO. Stay there" in text(play(session, "h: can I stretch my legs a minute?"), "helper")


@pytest.mark.parametrize(
    "words",
    ["oops I stepped on it", "he is screaming", "I think the truck moved", "Piotr, you ok?"],
)
def test_over_an_open_hole_the_helper_s_words_alarm(
    session: Session, play: Play, words: str
) -> None:
    play(session, LOOK)
    said = play(session, f"h: {words}")
    assert session.job.at == "halted" and "HANDS OUT" in text(said, "tech")


@pytest.mark.parametrize("words", ["don't press, I'm looking", "Tomek don't touch nothing"])
def test_words_from_below_ask_for_the_foot(session: Session, play: Play, words: str) -> None:
    play(session, LOOK)
    said = play(session, words)
    assert session.job.at == "look_inside" and "Foot off" in text(said, "helper")
    assert "STOP HERE" not in text(said)


def test_a_broken_brake_that_is_seen_is_a_fault(session: Session, play: Play) -> None:
    play(session, LOOK)
    assert "STOP HERE" in text(play(session, "the brake is missing one ear"))


def test_danger_stops_or_blocks() -> None:
    """180 ways by one writer who saw nothing of it, never tuned on: E with the engine on, O over
    the open hole, H in a hold. Two passed over the hole, both the technician's."""
    at = {"E": "S39", "O": "S50", "H": "S26"}
    passed = []
    for place, who, words, kind in rows(CORPUS / "near" / "w.tsv"):
        if kind != "danger":
            continue
        got = labels(kept(at[place]).understood(words, "helper" if who == "H" else "tech"))
        if not got & (ALARMS | {"released", "block", "bad", "holding"}):
            passed.append((place, who, words))
    assert len(passed) <= 2, passed


# --- asking leave, a count in doubt, a release, a name -------------------------------------------


@pytest.mark.parametrize(
    "words",
    ["can I change foot?", "phone is ringing, can I answer", "what if I let go", "he says let go"],
)
def test_in_a_hold_asking_leave_gets_a_no(session: Session, play: Play, words: str) -> None:
    play(session, TURN)
    said = play(session, f"h: {words}")
    assert "NO. Keep it down" in text(said, "helper") and "coming up" not in text(said)


@pytest.mark.parametrize(
    "words", ["I lost count", "I think five, maybe six", "I turned the wrong way"]
)
def test_a_count_in_doubt_is_asked_for(session: Session, play: Play, words: str) -> None:
    play(session, TURN)
    assert "Exactly how many?" in text(play(session, words))
    assert session.job.pending is None


def test_a_tool_still_in_is_no_count(session: Session, play: Play) -> None:
    play(session, TURN)
    play(session, "five lugs, but the tool's still in there, mind")
    assert session.job.pending is None


def test_the_pedal_is_up_by_the_last_words(session: Session, play: Play) -> None:
    play(session, f"{TURN} / 3 / check / done / done / clear")
    assert "Pedal up." in text(play(session, "h: I let it up slowly... okay, it is up"))


@pytest.mark.parametrize("words", ["foot off slowly", "anything but it's up", "off"])
def test_what_does_not_say_that_it_is_up(session: Session, play: Play, words: str) -> None:
    play(session, f"{TURN} / 3 / check / done / done / clear")
    assert "Pedal up." not in text(play(session, f"h: {words}"))


def test_down_is_not_ready(session: Session, play: Play) -> None:
    play(session, "skip / done / done / done / done / done / done / h: down")
    assert session.job.at == "helper_ready"


def test_a_number_is_no_fault(session: Session, play: Play) -> None:
    play(
        session, "skip / done / done / done / done / done / done / h: ready / h: sound / half inch"
    )
    assert session.job.at == "chain_lever"


def test_a_reading_said_twice_is_checked(session: Session, play: Play) -> None:
    play(session, f"{TURN} / 5 lugs / 5 lugs")
    assert session.job.at == "ring_tool"
    play(session, "5 lugs")
    assert session.job.at == "ring_tool"


def test_another_count_is_read_back_anew(session: Session, play: Play) -> None:
    play(session, f"{TURN} / 5 lugs / 4 lugs")
    assert session.job.at == "ring_turn" and session.job.pending is not None


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ("what is a lug", "notch"),
        ("what's a flat", "hexagon"),
        ("what does release mean", "lets go"),
        ("what is a fork pad", "two tips"),
    ],
)
def test_a_thing_is_explained_by_its_name(
    session: Session, play: Play, words: str, told: str
) -> None:
    play(session, LOOK)
    assert told in text(play(session, words), "tech")


# --- orders from below, cries, the key ------------------------------------------------------------

GREASE = f"{GOOD} / {SET}"


@pytest.mark.parametrize(
    "words",
    [
        *("start it up and let's see", "pump it once for me Beto to work the grease in"),
        *("give me one more stroke", "hit the clutch for me", "turn it over for me", "step on it"),
    ],
)
def test_an_order_from_below_moves_nothing(session: Session, play: Play, words: str) -> None:
    play(session, GREASE)
    said = play(session, words)
    assert session.job.at == "lubricate" and "Hands out" in text(said, "tech")


def test_who_is_under_it_says_clear_before_the_engine_goes_on(session: Session, play: Play) -> None:
    play(session, f"{TRIAL} / h: it's rolling / I'm under it / h: ready")
    assert "Hands first" in text(play(session, "carry on")) and session.job.at == "halted"
    assert "Engine on" in text(play(session, "clear / carry on"), "helper")


@pytest.mark.parametrize(
    "words",
    ["ow", "ouch", "ay ay ay", "my hand's on the linkage", "I've still got my hand up here"],
)
def test_a_cry_or_a_hand_where_he_presses_stops_it(
    session: Session, play: Play, words: str
) -> None:
    play(session, f"{ALL_SAFE} / h: ready")
    play(session, words)
    assert session.job.at == "halted"


@pytest.mark.parametrize(
    "words",
    ["wheels chocked, brake set, out of gear, key's in the ignition", "chocked, Beto has the key"],
)
def test_a_key_that_is_above_is_not_below(session: Session, play: Play, words: str) -> None:
    play(session, "skip")
    assert "key on you" not in text(play(session, words))


@pytest.mark.parametrize("words", ["ready for what", "ready how"])
def test_ready_for_what_is_a_question(session: Session, play: Play, words: str) -> None:
    play(session, f"{ALL_SAFE} / h: {words}")
    assert session.job.at == "helper_ready"


TRIED = f"{TRIAL} / h: sound / h: sound / h: sound / h: sound"


@pytest.mark.parametrize("words", ["neutral", "off, neutral", "switched off", "h: engine off"])
def test_off_is_not_the_key(session: Session, play: Play, words: str) -> None:
    play(session, TRIED)
    assert "STOP" not in text(play(session, words)) and session.job.at == "engine_off"
    play(session, "engine's off, key's on me")
    assert session.job.at == "next_due"


@pytest.mark.parametrize("words", ["h: the engine's still on", "h: I still have it"])
@pytest.mark.parametrize("before", ["done", "done / skip"])
def test_a_key_still_above_is_asked_for_again(
    session: Session, play: Play, before: str, words: str
) -> None:
    play(session, f"{TRIED} / {before} / {words}")
    assert session.job.at == "engine_off"


def test_what_was_left_in_there_is_not_signed_off(session: Session, play: Play) -> None:
    play(session, f"{TRIED} / done / skip / wait, there's a rag left in the bell housing")
    assert session.job.at == "halted" and "a rag left" in " ".join(session.job.facts.remarks)


def test_what_does_not_move_is_not_sound(session: Session, play: Play) -> None:
    play(session, f"{TRIAL} / h: it doesn't grind, and it doesn't move")
    assert session.job.at == "function_release"


def test_how_many_did_you_say(session: Session, play: Play) -> None:
    play(session, TURN)
    assert "lugs tighter" in text(play(session, "how many did you say"))


def test_indirect_danger_in_a_hold_stops_or_blocks() -> None:
    """120 understated, foreign or half-finished ways by another writer, never tuned on."""
    passed = []
    for _, who, words, kind in rows(CORPUS / "near" / "y.tsv"):
        at, person = ("S27", "helper") if who == "H" else ("S26", "tech")
        got = labels(kept(at).understood(words, person)) if kind == "danger" else ALARMS
        if not got & (ALARMS | {"released", "block"}):
            passed.append((who, words))
    assert len(passed) <= 1, passed


SURELY = [
    ("S27", "helper", "holding, no change", "holding"),
    ("S27", "helper", "I'm not letting go, don't you worry", "holding"),
    ("S25", "helper", "yes Roy, I'm holding", "holding"),
    ("S31", "helper", "It's up, and Emeka says thank you.", "released"),
    ("S31", "helper", "letting it up now", "aside"),
    ("S31", "helper", "letting it up now, slow", "aside"),
    ("S30", "tech", "clear, let her up", "clear"),
    ("S30", "tech", "not clear", "wait"),
    ("S31", "helper", "she's up", "released"),
    ("S32", "tech", "I'm out, don't worry about me", "clear"),
    ("S24", "tech", "both hands on my chest, wrench on the floor. clear", "clear"),
    ("S23", "tech", "lock plate's in my hand", "done"),
    ("S05", "tech", "not raised, on her own wheels", "done"),
    ("S37", "tech", "nobody under, tools in the box", "done"),
    ("S43", "tech", "why'd you stop", "why"),
    ("S07", "helper", "what did she say?", "repeat"),
    ("S21", "tech", "sounds right, four it is", "check move"),
]


@pytest.mark.parametrize(("at", "who", "words", "meaning"), SURELY)
def test_what_is_surely_his_to_say_is_taken(at: str, who: str, words: str, meaning: str) -> None:
    """It was asked about, or stopped a job, by a word in it that names a harm or a denial."""
    got = kept(at).understood(words, who)
    assert isinstance(got, Act) and got.meaning in meaning.split(), got


STILL_NOT = [
    ("S25", "helper", "yes Roy, I'm nearly holding"),
    ("S25", "helper", "holding, as if"),
    ("S52", "helper", "holding, no, wait"),
    ("S31", "helper", "released, but my foot's still on it"),
    ("S31", "helper", "it's up, not all the way"),
    ("S30", "tech", "clear, hang on, my glove"),
    ("S30", "tech", "clear, let her up, no wait"),
    ("S24", "tech", "nobody in there but my left hand"),
    ("S39", "helper", "no, grinding"),
    ("S24", "tech", "anything but both hands out"),
    ("S21", "tech", "wet us proceed with that"),
    ("S34", "tech", "leave it be after this one"),
    ("S01", "tech", "nothing left but the chocks"),
]


@pytest.mark.parametrize(("at", "who", "words"), STILL_NOT)
def test_words_beside_it_still_take_it_back(at: str, who: str, words: str) -> None:
    got = kept(at).understood(words, who)
    assert not isinstance(got, Act) or got.meaning not in MATTERS, got


@pytest.mark.parametrize(
    ("at", "who", "words"),
    [
        ("S26", "tech", "help!"),
        ("S27", "helper", "Help me"),
        ("S49", "tech", "help"),
        ("S27", "helper", "Stan? ...Stan?"),
        ("S36", "helper", "Stan? Stan?"),
        ("S27", "helper", "new guy says he's taking over for me, scooting across now"),
    ],
)
def test_a_call_for_help_stops_or_blocks(at: str, who: str, words: str) -> None:
    """It opened the list of what may be said, or asked for a code."""
    assert labels(kept(at).understood(words, who)) & {*ALARMS, "block"}


@pytest.mark.parametrize(
    ("at", "who", "words", "meaning", "carries"),
    [
        (
            "S02",
            "tech",
            "I said it's got a brand new clutch and a new brake in it",
            "fitted",
            "clutch",
        ),
        ("S12", "tech", "just hung a brand new clutch in this one", "fitted", "clutch"),
        ("S22", "tech", "can I use the starter?", "how", "starter"),
        ("S16", "tech", "let me hit the key a second to bring the ring round", "danger", ""),
        ("S27", "helper", "can I take my foot off for a sec", "unsure", "foot"),
        ("S08", "helper", "which pedal?", "how", "pedal"),
        ("S36", "tech", "where does the grease go?", "how", "grease"),
    ],
)
def test_what_a_stranger_said(at: str, who: str, words: str, meaning: str, carries: str) -> None:
    """A new brake was taken for the parking brake set, a starter was waited for, a question told as
    a pedal let up."""
    got = kept(at).understood(words, who)
    assert isinstance(got, Act) and (got.meaning, got.text) == (meaning, carries)


def test_a_new_brake_on_a_pickup_is_talk() -> None:
    got = kept("S26").understood("got a new brake on my pickup", "tech")
    assert isinstance(got, Act) and got.meaning != "fitted"


def test_at_the_fork_is_no_gap() -> None:
    got = kept("S18").understood("three point four at the fork", "tech")
    assert isinstance(got, Question) and got.reply == "other_quantity"


def test_a_safety_item_that_was_never_done_is_asked_again(session: Session, play: Play) -> None:
    """It was waited for, and the brake stayed told as set."""
    play(session, "skip / brakes set, wheels chocked, out of gear, key's in my pocket")
    play(session, "no wait, I never set the parking brake")
    assert session.job.at == "parking_brake"


def test_while_it_is_stopped_plain_words_alarm_no_more(session: Session, play: Play) -> None:
    play(session, f"{LOOK} / h: stop")
    assert "HANDS OUT" not in text(play(session, "plate's back on"))
    said = play(session, "h: okay okay sorry, ready")
    assert "Say ready" not in text(said)


def test_a_trial_is_not_answered_by_another_trials_words(session: Session, play: Play) -> None:
    play(session, f"{TRIAL} / h: it releases clean")
    at = session.job.at
    play(session, "h: it squeezes near the floor, all good")
    assert session.job.at == at
