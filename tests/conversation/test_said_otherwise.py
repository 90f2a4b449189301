"""What strangers said on their first day, and what was made of it."""

from collections.abc import Callable
from pathlib import Path

import pytest

from assistant.act import Act, Said
from assistant.card import card_from_text
from assistant.conversation import Session
from assistant.dialogue import Question
from assistant.job.job import Job
from assistant.texts.dialogs import Dialogs
from tests.conftest import CARD
from tests.conversation.strangers import kept, talk_at
from tests.job.test_hold import PLAN, text
from tests.job.test_look import LOOK
from tests.records import reach

Play = Callable[[Session, str], list[Said]]


def meant(at: str, words: str) -> str:
    """The meaning of words there, or the reply of the question back."""
    who = "helper" if words.startswith("h: ") else "tech"
    act = kept(at).understood(words.removeprefix("h: "), who)
    return act.reply if isinstance(act, Question) else act.meaning


# --- counted pieces are no length ---

WEDGES = ("four wedges out", "h: four bolts and two wedges came out", "six blocks out",
          "all four out", "took out four", "h: we got 4 wedges out")  # fmt: skip


@pytest.mark.parametrize("words", WEDGES)
@pytest.mark.parametrize("at", ["S13", "S14", "S16", "S17", "S18", "S51", "S12"])
def test_wedges_are_no_length(at: str, words: str) -> None:
    """At the pedal's height, its travel, gap, lugs left and odometer."""
    assert meant(at, words) != "reading"


def test_wedges_are_counted_where_they_are_asked_for(session: Session, play: Play) -> None:
    play(session, "skip / new clutch / done / done / done / done / done / done / h: ready / done")
    assert session.job.at == "new_wedges"
    assert "4 out" in text(play(session, "four wedges out"))


@pytest.mark.parametrize("words", ["h: eight and a half", "h: four and a half out from the floor"])
def test_a_length_is_one_still(words: str) -> None:
    assert meant("S13", words) == "reading"


# --- a yes is for the newest question put to him who says it ---


@pytest.mark.parametrize("asked", ["helper", "tech"])
def test_a_yes_does_not_answer_what_the_other_was_asked(asked: str) -> None:
    talk = talk_at("S51")
    other = "tech" if asked == "helper" else "helper"
    talk.take(Question("did_you_mean", {"phrase": "skip"}, asked, open=True,
                       offer=Act("skip", asked)))  # fmt: skip
    act = talk.understood("yes", other)
    assert isinstance(act, Question) or act.meaning != "skip"
    assert talk.understood("yes", asked) == Act("skip", asked, evidence=act.evidence)


def test_a_yes_does_not_pass_a_later_question_of_the_other_one() -> None:
    """The technician was asked what he meant, then the helper was: his yes confirms no reading."""
    talk = talk_at("S18")
    talk.hear("tech", "0.610 in")
    talk.take(Question("did_you_mean", {"phrase": "draw it"}, "tech", open=True,
                       offer=Act("picture", "tech")))  # fmt: skip
    talk.take(Question("say_again", {}, "helper"))
    act = talk.understood("yes", "tech")
    assert isinstance(act, Question) and act.reply == "to_what"
    talk.hear("tech", "where are we")  # what he was asked is past
    act = talk.understood("yes", "tech")
    assert isinstance(act, Act) and act.meaning == "check"


# --- what was moved, and what is to be turned ---


@pytest.mark.parametrize("at", ["S12", "S13", "S18", "S21", "S26", "S33", "S39", "S41"])
@pytest.mark.parametrize("words", ["what did we change", "what have we changed so far?"])
def test_what_was_changed_is_answered_anywhere(at: str, words: str) -> None:
    assert meant(at, words) == meant(at, f"h: {words}") == "ask_changed"


@pytest.mark.parametrize("words", ["what all have we changed", "what's been moved so far?"])
def test_what_was_changed_is_asked_in_other_words(words: str) -> None:
    assert {meant(at, words) for at in ("S12", "S18", "S21", "S33")} == {"ask_changed"}


def test_what_was_changed_is_told_from_the_record(session: Session, play: Play) -> None:
    reach(session, "found_gap")
    assert text(play(session, "what did we change")) == "Nothing was moved so far."
    reach(session, "ring_turn")
    assert "count not said" in text(play(session, "what did we change"))
    reach(session, "fork_rod")
    assert text(play(session, "what did we change")) == "Changed so far: ring 5 lugs tighter."
    play(session, "done")
    told = text(play(session, "what have we changed so far"))
    assert told.startswith("Changed so far: ring 5 lugs tighter; rod for the fork clearance 1 turn")


@pytest.mark.parametrize(
    "words", ["what do I turn", "which one do I turn?", "so what do i turn now"]
)
def test_what_is_turned_is_the_ring_until_it_is_done(words: str, session: Session) -> None:
    for step in ("found_gap", "ring_plan", "ring_turn"):
        reach(session, step)
        assert "adjusting ring" in text(session.hear("tech", words)), step
    reach(session, "fork_rod")
    assert "Lock the rod" in text(session.hear("tech", words))


def test_who_has_no_ring_to_turn_is_sent_to_the_manual(dialogs: Dialogs) -> None:
    card = card_from_text(f'{CARD}[truck]\nclutch = "self-adjusting"\n', "x.toml")
    job = Job(card, dialogs)
    job.prompt(entering=True)
    assert "manual" in text(job.apply(Act("how", "tech", text="turn")))


# --- who goes on is asked first ---


def test_carry_on_waits_for_the_code(
    session: Session, play: Play, dialogs: Dialogs, tmp_path: Path
) -> None:
    play(session, PLAN)
    session.close()
    session = Session.resume(session.journal.path, dialogs)[0]
    for words in ("carry on", "go on"):
        assert text(play(session, words)) == "Who goes on comes first: say code, and your code."
    play(session, "code 12 / h: ready / done")
    assert session.job.at == "ring_plan" and not session.job.asking


# --- what is seen inside, and at the ring ---


@pytest.mark.parametrize("words", ["clean", "it's clean now", "wiped it clean", "it's all dry now"])
def test_clean_is_not_repaired(session: Session, play: Play, words: str) -> None:
    """A weep of oil comes back: it is asked after, and no yes answers that."""
    play(session, f"{LOOK} / little weep of oil at the seal")
    assert text(play(session, words)).startswith("Clean is not repaired. Say repaired")
    play(session, "yes")
    assert session.job.inside and session.job.facts.remarks
    play(session, "repaired")
    assert session.job.at == "chain_pedal"


@pytest.mark.parametrize(
    "words", ["moved three, rest is stuck", "three moved, the rest won't budge"]
)
def test_lugs_that_moved_before_it_stuck_are_read_back(words: str) -> None:
    talk = talk_at("S26")
    assert "3 lugs tighter: moved. Check?" in text(talk.hear("tech", words))
    assert not talk.dialogue.stopped


@pytest.mark.parametrize("words", ["moved three, hand is stuck", "I'm stuck", "moved three, stuck"])
def test_who_is_stuck_himself_is_no_count(words: str) -> None:
    assert meant("S26", words) in ("danger", "unsure", "stop")


def test_half_a_lug_is_asked_back() -> None:
    assert meant("S26", "one half moved") == meant("S26", "half of one moved") == "ask_reading"


# --- the trials ---

FIRST = ("h: I never drove before", "h: is this the ignition?", "h: which way is the key",
         "h: where's the ignition", "h: um, is this the ignition?",
         "h: I never drove before, is this the ignition?", "h: what do I turn?",
         "h: which way does the key go?")  # fmt: skip


@pytest.mark.parametrize("words", FIRST)
def test_a_helper_who_never_drove_is_told_whom_to_ask(words: str) -> None:
    talk = talk_at("S39")
    assert "technician" in text(talk.hear("helper", words.removeprefix("h: ")), "helper")
    assert talk.dialogue.at == "function_release"


@pytest.mark.parametrize("words", ["key won't come off", "it's on fire", "i never stopped it"])
def test_what_tells_of_harm_in_a_trial_stops_it_still(words: str) -> None:
    assert meant("S39", f"h: {words}") in ("danger", "unsure", "stop")


BY_WHEELS = ("somebody's standing by the wheels", "there's a guy by the front wheel",
             "someone is by the wheels")  # fmt: skip


@pytest.mark.parametrize("at", ["S01", "S08", "S09", "S10", "S13", "S18", "S21", "S26", "S39"])
@pytest.mark.parametrize("words", BY_WHEELS)
def test_somebody_by_the_wheels_stops_it(at: str, words: str) -> None:
    """Whoever sees him, and at the looks as well: it is no fault of what is looked at."""
    assert meant(at, words) in ("danger", "stop") and meant(at, f"h: {words}") in ("danger", "stop")


@pytest.mark.parametrize("words", ["chocks by the wheels", "nobody's by the wheels"])
def test_wheels_alone_stop_nothing(words: str) -> None:
    assert meant("S01", words) != "danger"


KEPT = ("engine's off and key's on me", "key's on me", "i've got the key", "key is in my pocket",
        "I have it", "engine's off", "got the key right here")  # fmt: skip
GIVEN = ("helper's got the key", "he's got the key now", "she's got the key", "gave him the key",
         "helper has it", "gave him my key", "key's with the helper", "handed it over",
         "done")  # fmt: skip


@pytest.mark.parametrize("words", KEPT)
def test_a_key_that_he_keeps_is_not_handed_over(words: str) -> None:
    assert meant("S38", words) == "again"


@pytest.mark.parametrize("words", GIVEN)
def test_a_key_that_the_helper_has_is(words: str) -> None:
    assert meant("S38", words) == "done"


NEAR = ("it squeezes near the floor", "it gets firm near the floor", "it lets go near the floor")


@pytest.mark.parametrize("words", NEAR)
def test_where_it_happens_is_no_fault(words: str) -> None:
    """In a trial it is asked whether that is sound; at the brake's own it is the answer."""
    assert meant("S39", f"h: {words}") == "sound_or_not"
    talk = talk_at("S39")
    talk.hear("helper", "sound")
    talk.hear("helper", "sound")
    act = talk.understood("it squeezes near the floor", "helper")
    assert isinstance(act, Act) and act.meaning == "sound"


@pytest.mark.parametrize(
    "words",
    ["pedal's too low, near the floor", "it grinds near the floor", "pedal's soft near the floor"],
)
def test_a_fault_near_the_floor_is_one_still(words: str) -> None:
    assert meant("S39", f"h: {words}") in ("not_sound", "unsure", "danger")


@pytest.mark.parametrize(("situation", "who", "words", "meaning"), [
    ("S04", "tech", "Somebody just hit the starter! Who's cranking it? I'm under here!", "danger"),
    ("S31", "helper", "It came up nice and easy and my feet are tucked away.", "released"),
    ("S43", "tech", "I'm clear, let 'er up.", "let_up"),
    ("S26", "tech", "'Ow do I know which way's tighter, from underneath?", "ask_way"),
    ("S44", "helper", "Go on with it, we're all right up here.", ""),
    ("S44", "helper", "Both my feet are on the floor mat, and I'm so sorry.", ""),
    ("S27", "helper", "Still here, ain't goin' nowhere.", "holding"),
    ("S25", "helper", "hold", ""),
    ("S47", "helper", "everything's whole", ""),
    ("S31", "tech", "clear as mud", ""),
])  # fmt: skip
def test_what_other_writers_said(situation: str, who: str, words: str, meaning: str) -> None:
    """By those whose lines the bars were set with; "" where it is asked, or blocks."""
    got = kept(situation).understood(words, who)
    at_all = isinstance(got, Act) and got.meaning not in ("unsure", "unclear")
    assert (got.meaning if isinstance(got, Act) and at_all else "") == meaning


def test_what_is_asked_for_is_no_correction() -> None:
    got = kept("S40").understood("Make it six hundred and ten thousand.", "tech")
    assert isinstance(got, Act) and got.meaning == "reading"
    assert got.reading is not None and got.reading["count"] == 610_000


def test_above_something_is_where_it_is_measured() -> None:
    got = kept("S16").understood("Seven eighths of an inch above the rubber.", "helper")
    assert isinstance(got, Act) and got.reading is not None
    assert got.reading["figures"] == "7/8 in"
