"""What was heard, and how, in the record: speech not taken, notices, and what a resume makes of it.

The ear's data here is as the ears give it; no sound is needed for what happens after.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from assistant.act import Said
from assistant.card import Card, card_from_text
from assistant.conversation import Session
from assistant.conversation.understand import Missed
from assistant.job.job import Job
from assistant.readings import read
from assistant.record import Journal, newest_unfinished, read_events, verify_file
from assistant.record.history import JobHistory
from assistant.record.transcript import transcript
from assistant.texts.dialogs import Dialogs
from tests.conversation.test_session import answer, finish, standing
from tests.heard import heard, unheard

Play = Callable[[Session, str], list[Said]]
LONG = ("pedal-height", "total-travel")
EAR = {
    "engines": {"sphinx": "nine sixteenths", "whisper": "nine sixteenths"},
    "probability": 0.97,
    "alternatives": [{"words": "nine sixteenths", "probability": 0.97}],
    "mic": "tech",
    "seconds": 0.31,
    "decision": "accept",
}


def ear(decision: str, *words: str) -> dict[str, Any]:
    """What the ears tell of speech they could not settle."""
    return {"decision": decision, "alternatives": [{"words": w} for w in words], "mic": "tech"}


def reach(session: Session, step: str) -> Session:
    """The job played up to a step."""
    for _ in range(200):
        if session.job.state == step and session.job.pending is None:
            return session
        who, _, words = answer(session.job).partition(": ")
        session.hear(who, words)
    raise AssertionError(f"{step} was not reached")


@pytest.fixture
def at_gap(session: Session) -> Session:
    """At the step that asks for the first gap."""
    return reach(session, "found_gap")


def last(session: Session) -> Any:
    """The last event on the disk."""
    return read_events(session.journal.path)[0][-1]


def texts(said: list[Said]) -> list[str]:
    return [s.text for s in said]


# --- the ear beside the words ---------------------------------------------------------------------


def test_ear_is_kept_beside_the_words(at_gap: Session) -> None:
    """Whole, and through a question back as well."""
    heard(at_gap, "tech", "nine sixteenths", EAR)
    assert last(at_gap).data["ear"] == EAR
    heard(at_gap, "tech", "no", {**EAR, "probability": 0.5})
    heard(at_gap, "tech", "nine", EAR)
    assert "act" not in last(at_gap).data
    assert last(at_gap).data["ear"] == EAR


def test_text_records_stay_byte_for_byte(card: Card, dialogs: Dialogs, tmp_path: Path) -> None:
    """Without an ear, a line has no more members than it ever had."""
    session, _ = Session.begin(card, dialogs, tmp_path)
    finish(session)
    members = {key for event in read_events(session.journal.path)[0] for key in event.data}
    assert not members & {"ear", "clip", "sound", "audio"}


def test_an_ear_that_json_cannot_hold_fails_no_turn(at_gap: Session) -> None:
    """The turn has moved the job: it must reach the disk."""
    odd = {"probability": np.float32(0.5), "score": math.inf}
    heard(at_gap, "tech", "nine sixteenths", odd)
    assert last(at_gap).data["ear"] == {"unrecordable": True}
    heard(at_gap, "tech", "no", {"probability": np.float32(0.5), "words": "\ud800"})
    assert last(at_gap).data["ear"] == {"probability": 0.5, "words": "?"}


# --- choose ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "figures"),
    [
        ("first", "9/16 in"),
        ("the first one", "9/16 in"),
        ("second", "5/16 in"),
        ("the last one", "5/16 in"),
        ("nine sixteenths", "9/16 in"),
        ("five", "5/16 in"),
        ("nine", "9/16 in"),
        ("a half", "1/2 in"),
    ],
)
def test_choose_and_the_answer(at_gap: Session, words: str, figures: str) -> None:
    """Asked which; taken by place, by its own words, or as another value altogether."""
    said = unheard(at_gap, "tech", ear("choose", "nine sixteenths", "five sixteenths"))
    assert texts(said) == ["Nine sixteenths or five sixteenths?"]
    assert [s.to for s in said] == ["tech"]
    assert last(at_gap).kind == "unheard"
    assert last(at_gap).data["said"] == [said[0].as_data()]
    assert at_gap.job.pending is None
    at_gap.hear("tech", words)
    assert at_gap.job.pending is not None
    assert at_gap.job.pending.figures == figures


@pytest.mark.parametrize("words", ["neither", "none of them", "no"])
def test_choose_and_neither(at_gap: Session, words: str) -> None:
    """Nothing is taken, and the question no longer stands."""
    unheard(at_gap, "tech", ear("choose", "nine sixteenths", "five sixteenths"))
    assert texts(at_gap.hear("tech", words)) == ["Say again."]
    assert at_gap.job.pending is None
    at_gap.hear("tech", "first")
    assert at_gap.job.pending is None


@pytest.mark.parametrize("words", ["sixteenths", "one sixteenth or so maybe", "not nine"])
def test_a_part_of_both_or_of_none_is_no_answer(at_gap: Session, words: str) -> None:
    """ "Sixteenths" stands in both."""
    unheard(at_gap, "tech", ear("choose", "nine sixteenths", "five sixteenths"))
    at_gap.hear("tech", words)
    pending = at_gap.job.pending
    assert pending is None or pending.figures not in ("9/16 in", "5/16 in")


def test_choose_stands_through_a_say_again(at_gap: Session) -> None:
    """The answer itself was lost in noise once."""
    unheard(at_gap, "tech", ear("choose", "nine sixteenths", "five sixteenths"))
    unheard(at_gap, "tech", ear("again"))
    at_gap.hear("tech", "second")
    assert at_gap.job.pending is not None
    assert at_gap.job.pending.figures == "5/16 in"


def test_stop_comes_before_any_answer(at_gap: Session) -> None:
    unheard(at_gap, "tech", ear("choose", "nine sixteenths", "five sixteenths"))
    at_gap.hear("helper", "stop the first one")
    assert at_gap.job.state == "halted"


def test_choose_between_commands_is_said_again(at_gap: Session) -> None:
    """ "First" must not stand for a command: its words are said."""
    said = unheard(at_gap, "tech", ear("choose", "repeat", "why"))
    assert texts(said) == ["Did you mean repeat or why?"]
    before = standing(at_gap.job)
    at_gap.hear("tech", "first")
    assert standing(at_gap.job) == before


def test_choose_between_counts_is_said_again(session: Session) -> None:
    """A count comes with its direction, which "first" would lose."""
    reach(session, "ring_turn")
    said = unheard(session, "tech", ear("choose", "five lugs looser", "nine lugs looser"))
    assert texts(said) == ["Did you mean five lugs or nine lugs?"]
    session.hear("tech", "first")
    assert session.job.pending is None


@pytest.mark.parametrize(
    "words",
    [
        ("nine sixteenths", "nine sixteenths"),
        ("nine sixteenths", "9/16"),
        ("nine sixteenths",),
        (),
        ("mumble", "grumble"),
    ],
)
def test_choose_without_two_meanings_is_say_again(at_gap: Session, words: tuple[str, ...]) -> None:
    assert texts(unheard(at_gap, "tech", ear("choose", *words))) == ["Say again."]


def test_a_correction_is_never_a_choice_for_the_step(session: Session) -> None:
    """A reading of the gap, corrected while the clearance is asked for, is no clearance."""
    reach(session, "found_clearance")
    two = ("correct the gap to one half", "correct the gap to nine sixteenths")
    unheard(session, "tech", ear("choose", *two))
    session.hear("tech", "first")
    assert session.job.pending is None
    assert session.job.facts.latest("clearance") is None


def test_plain_texts_do_as_alternatives(at_gap: Session) -> None:
    said = unheard(at_gap, "tech", {"decision": "choose", "alternatives": ["half", "five eighths"]})
    assert texts(said) == ["One half or five eighths?"]


# --- again ----------------------------------------------------------------------------------------


def test_again_then_digits(at_gap: Session) -> None:
    """Once, say again; then another way to say it, for as long as it is not understood."""
    assert texts(unheard(at_gap, "tech", ear("again"))) == ["Say again."]
    digits = ["Say it digit by digit: point five six two."]
    assert texts(unheard(at_gap, "tech", ear("again"))) == digits
    assert texts(unheard(at_gap, "helper", ear("again"))) == digits
    at_gap.hear("tech", "point five six two")
    assert at_gap.job.pending is not None
    assert at_gap.job.pending.value_in == 0.562


def test_again_counts_in_a_row_at_one_step(at_gap: Session, play: Play) -> None:
    """Anything understood in between, or another step, begins the count anew."""
    unheard(at_gap, "tech", ear("again"))
    play(at_gap, "why")
    assert texts(unheard(at_gap, "tech", ear("again"))) == ["Say again."]
    play(at_gap, "0.660 / check")
    assert at_gap.job.state != "found_gap"
    assert texts(unheard(at_gap, "tech", ear("again"))) == ["Say again."]


def test_again_where_no_reading_is_asked(session: Session) -> None:
    """There is nothing to spell: the instruction again."""
    unheard(session, "tech", ear("again"))
    said = unheard(session, "tech", ear("again"))
    assert said[0].key == "reply:again"
    assert session.job.prompt()[-1].text in said[0].text


def test_again_while_a_reading_is_read_back(at_gap: Session) -> None:
    """ "Check" is asked for, not digits."""
    at_gap.hear("tech", "nine sixteenths")
    unheard(at_gap, "tech", ear("again"))
    assert "Check?" in unheard(at_gap, "tech", ear("again"))[0].text


@pytest.mark.parametrize("units", ["inch", "mm"])
@pytest.mark.parametrize(
    "quantity",
    ["gap", "clearance", "bearing-travel", "free-travel", "brake-contact", *LONG, "odometer"],
)
def test_every_example_of_digits_is_understood(
    dialogs: Dialogs, quantity: str, units: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Said as it is shown, each is a reading of what it is shown for."""
    card = card_from_text(f'[shop]\nunits = "{units}"\n', "card.toml")
    job = Job(card, dialogs)
    monkeypatch.setattr(job, "expects", lambda: quantity)
    missed = Missed()
    missed.again("tech", job)
    question = missed.again("tech", job)
    assert question.reply == "spell_it"
    assert len(dialogs.say("spell_it", **question.fields).split()) <= 12
    assert read(question.fields["example"], quantity, card.units, card.distance).status == "read"


def test_noise_leaves_no_line(at_gap: Session) -> None:
    before = at_gap.journal.path.read_bytes()
    assert unheard(at_gap, "tech", ear("nothing")) == []
    assert at_gap.journal.path.read_bytes() == before


# --- notices --------------------------------------------------------------------------------------


def test_notices(at_gap: Session) -> None:
    """Said to whom it concerns, recorded, and moving nothing."""
    before = standing(at_gap.job)
    said = at_gap.notice("both", "mic_lost", who="tech")
    assert said[0].to == "both"
    assert "technician's microphone is gone" in said[0].text
    assert last(at_gap).kind == "notice"
    assert last(at_gap).data["who"] == "tech"
    assert last(at_gap).data["said"] == [said[0].as_data()]
    for key in ("speaker_lost", "speaker_back", "audio_kept"):
        assert at_gap.notice("helper", key)[0].key == f"reply:{key}"
    assert "helper's microphone is back" in at_gap.notice("tech", "mic_back", who="helper")[0].text
    assert standing(at_gap.job) == before


def test_a_closed_record_takes_neither(session: Session) -> None:
    """A microphone unplugged after sign-off is told, and the record stays as it was sealed."""
    finish(session)
    sealed = session.journal.seal
    assert session.notice("both", "mic_lost", who="helper")
    assert unheard(session, "tech", ear("again")) == []
    assert session.journal.seal == sealed
    assert verify_file(session.journal.path, sealed).ok


# --- the record goes on ---------------------------------------------------------------------------


def noisy(session: Session) -> None:
    """A whole job with speech lost and devices lost before every turn."""
    for _ in range(200):
        if session.job.signed_off:
            return
        unheard(session, "tech", ear("again", "mumble"))
        unheard(session, "helper", ear("choose", "nine sixteenths", "five sixteenths"))
        session.notice("both", "mic_lost", who="helper")
        who, _, words = answer(session.job).partition(": ")
        heard(session, who, words, EAR)
    raise AssertionError(session.job.state)


def test_whole_job_between_losses(card: Card, dialogs: Dialogs, tmp_path: Path) -> None:
    """It ends as a quiet one does, verifies, and reads well."""
    loud, _ = Session.begin(card, dialogs, tmp_path / "loud")
    quiet, _ = Session.begin(card, dialogs, tmp_path / "quiet")
    noisy(loud)
    finish(quiet)
    assert last(loud).kind == last(quiet).kind == "closed"
    assert last(loud).data == last(quiet).data
    verdict = verify_file(loud.journal.path, loud.journal.seal)
    assert verdict.ok and verdict.closed
    events, problem = read_events(loud.journal.path)
    lines = list(transcript(JobHistory.of(events, problem)))
    assert any("TECH   : (not understood: mumble)" in line for line in lines)
    unsure = "HELPER : (unsure between: nine sixteenths / five sixteenths)"
    assert any(unsure in line for line in lines)
    assert any("The helper's microphone is gone" in line for line in lines)


@pytest.mark.parametrize("torn", [False, True])
def test_resume_after_any_kind_of_line(
    at_gap: Session, dialogs: Dialogs, card: Card, torn: bool
) -> None:
    """Left off right after a loss, or in the middle of writing it down."""
    heard(at_gap, "tech", "0.660", EAR)
    for event in ("unheard", "notice"):
        before = standing(at_gap.job)
        if event == "unheard":
            unheard(at_gap, "tech", ear("again"))
        else:
            at_gap.notice("both", "speaker_lost")
        assert last(at_gap).kind == event
        at_gap.close()
        path = at_gap.journal.path
        assert newest_unfinished(path.parent) == path
        if torn:
            path.write_bytes(path.read_bytes()[:-20])
            assert verify_file(path).torn
        at_gap, said = Session.resume(path, dialogs)
        assert standing(at_gap.job) == before
        assert (said[0].key == "reply:repaired_record") is torn
    finish(at_gap)
    assert verify_file(at_gap.journal.path, at_gap.journal.seal).ok


def test_a_forged_choice_shows(at_gap: Session) -> None:
    """These lines are of the chain like all others."""
    unheard(at_gap, "tech", ear("choose", "nine sixteenths", "five sixteenths"))
    at_gap.hear("tech", "first")
    path = at_gap.journal.path
    lines = path.read_text("utf-8").splitlines(keepends=True)
    at = next(i for i, line in enumerate(lines) if json.loads(line)["kind"] == "unheard")
    lines[at] = lines[at].replace("five sixteenths", "nine thirty-seconds")
    path.write_text("".join(lines), "utf-8")
    assert f"line {at + 1} was changed" in str(verify_file(path).problem)


def test_not_finished_while_only_losses_follow(at_gap: Session) -> None:
    at_gap.notice("both", "mic_lost", who="tech")
    at_gap.close()
    journal = Journal.open(at_gap.journal.path)
    assert not journal.finished
    journal.close()
