"""What was heard, and how, in the record: speech not taken, notices, and what a resume makes of it.

The ear's data here is as the ears give it; no sound is needed for what happens after.
"""

import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from assistant.card import Card, card_from_text
from assistant.conversation import Session
from assistant.conversation.understand import Missed
from assistant.job.job import Job
from assistant.quantity import QUANTITIES
from assistant.readings import read
from assistant.record import open_jobs, read_events, verify_file
from assistant.record.history import JobHistory
from assistant.review.transcript import transcript
from assistant.texts.dialogs import Dialogs
from tests.conversation.test_session import answer, finish, standing
from tests.heard import heard, unheard
from tests.records import last, reach
from tests.tables import rows_of

pytestmark = pytest.mark.usefixtures("unsynced")

TWO = ("nine sixteenths", "five sixteenths")
EAR = {
    "engines": {"vosk": "nine sixteenths", "whisper": "nine sixteenths"},
    "probability": 0.97,
    "alternatives": [{"words": "nine sixteenths", "probability": 0.97}],
    "mic": "tech",
    "seconds": 0.31,
    "decision": "accept",
}


def ear(decision: str, *words: str) -> dict[str, Any]:
    """What the ears tell of speech they could not settle."""
    return {"decision": decision, "alternatives": [{"words": w} for w in words], "mic": "tech"}


@pytest.fixture
def at_gap(session: Session) -> Session:
    return reach(session, "found_gap")


def lost(session: Session, decision: str, *words: str, who: str = "tech") -> list[str]:
    """Speech that was not taken, and what is said to it."""
    return [s.text for s in unheard(session, who, ear(decision, *words))]


def waiting(session: Session) -> str:
    """The figures that wait for their "check", or ""."""
    return session.job.pending.figures if session.job.pending is not None else ""


def test_ear_is_kept_beside_the_words(at_gap: Session) -> None:
    heard(at_gap, "tech", "nine sixteenths", EAR)
    assert last(at_gap).data["ear"] == EAR
    heard(at_gap, "tech", "no", {**EAR, "probability": 0.5})
    heard(at_gap, "tech", "nine", EAR)
    assert "act" not in last(at_gap).data
    assert last(at_gap).data["ear"] == EAR


def test_text_records_stay_byte_for_byte(card: Card, dialogs: Dialogs, tmp_path: Path) -> None:
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


@rows_of("choices.txt", "words", "figures")("choice")
def test_choose_and_the_answer(at_gap: Session, words: str, figures: str) -> None:
    """Asked which; taken by place, by its own words, or as another value altogether."""
    said = unheard(at_gap, "tech", ear("choose", *TWO))
    assert [(s.to, s.text) for s in said] == [("tech", "Nine sixteenths or five sixteenths?")]
    assert last(at_gap).kind == "unheard" and last(at_gap).data["said"] == [said[0].as_data()]
    assert not waiting(at_gap)
    at_gap.hear("tech", words)
    assert waiting(at_gap) == figures


@pytest.mark.parametrize("words", ["neither", "none of them", "no"])
def test_choose_and_neither(at_gap: Session, words: str) -> None:
    lost(at_gap, "choose", *TWO)
    assert [s.text for s in at_gap.hear("tech", words)] == ["Say again."]
    assert not waiting(at_gap)
    at_gap.hear("tech", "first")
    assert not waiting(at_gap)


@pytest.mark.parametrize("words", ["sixteenths", "one sixteenth or so maybe", "not nine"])
def test_a_part_of_both_or_of_none_is_no_answer(at_gap: Session, words: str) -> None:
    lost(at_gap, "choose", *TWO)
    at_gap.hear("tech", words)
    assert waiting(at_gap) not in ("9/16 in", "5/16 in")


def test_a_choice_stands_through_a_say_again_and_not_through_a_stop(at_gap: Session) -> None:
    """The answer itself was lost in noise once; stop comes before any answer."""
    lost(at_gap, "choose", *TWO)
    lost(at_gap, "again")
    at_gap.hear("tech", "second")
    assert waiting(at_gap) == "5/16 in"
    lost(at_gap, "choose", *TWO)
    at_gap.hear("helper", "stop the first one")
    assert at_gap.job.at == "halted"


@pytest.mark.parametrize(
    ("step", "words", "asked"),
    [
        ("found_gap", ("repeat", "why"), "Did you mean repeat or why?"),
        ("ring_turn", ("five lugs looser", "nine lugs looser"),
         "Did you mean five lugs or nine lugs?"),
        ("found_clearance", ("correct the gap to one half", "correct the gap to nine sixteenths"),
         ""),
    ],
)  # fmt: skip
def test_what_first_may_not_stand_for(
    session: Session, step: str, words: tuple[str, str], asked: str
) -> None:
    """A command and a count, whose direction would be lost, are said again; a gap that is corrected
    while the clearance is asked for is no clearance."""
    reach(session, step)
    said = lost(session, "choose", *words)
    assert said == [asked] or not asked
    before = standing(session.job)
    session.hear("tech", "first")
    assert standing(session.job) == before and not waiting(session)
    assert step != "found_clearance" or session.job.facts.latest("clearance") is None


@pytest.mark.parametrize(
    "words", [TWO[:1] * 2, ("nine sixteenths", "9/16"), TWO[:1], (), ("mumble", "grumble")]
)
def test_choose_without_two_meanings_is_say_again(at_gap: Session, words: tuple[str, ...]) -> None:
    assert lost(at_gap, "choose", *words) == ["Say again."]


def test_plain_texts_do_as_alternatives(at_gap: Session) -> None:
    said = unheard(at_gap, "tech", {"decision": "choose", "alternatives": ["half", "five eighths"]})
    assert [s.text for s in said] == ["One half or five eighths?"]


def test_again_then_digits(at_gap: Session) -> None:
    digits = ["Say it digit by digit: point five six two."]
    assert lost(at_gap, "again") == ["Say again."]
    assert lost(at_gap, "again") == lost(at_gap, "again", who="helper") == digits
    at_gap.hear("tech", "point five six two")
    assert at_gap.job.facts.readings[-1].value_in == 0.562


def test_again_counts_in_a_row_at_one_step(at_gap: Session) -> None:
    lost(at_gap, "again")
    at_gap.hear("tech", "why")
    assert lost(at_gap, "again") == ["Say again."]
    at_gap.hear("tech", "0.660")
    at_gap.hear("tech", "check")
    assert at_gap.job.at != "found_gap" and lost(at_gap, "again") == ["Say again."]


def test_again_where_there_is_nothing_to_spell(session: Session) -> None:
    """No reading is asked: the instruction again. One is read back: "check" is asked for."""
    lost(reach(session, "chocks"), "again")
    said = unheard(session, "tech", ear("again"))
    assert said[0].key == "reply:again" and session.job.prompt()[-1].text in said[0].text
    reach(session, "found_gap").hear("tech", "nine sixteenths")
    lost(session, "again")
    assert "Check?" in lost(session, "again")[0]


@pytest.mark.parametrize("units", ["inch", "mm"])
@pytest.mark.parametrize(
    "quantity", [q.name for q in QUANTITIES.values() if q.unit in ("in", "miles")]
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
    assert lost(at_gap, "nothing") == []
    assert at_gap.journal.path.read_bytes() == before


def test_notices(at_gap: Session) -> None:
    before = standing(at_gap.job)
    said = at_gap.notice("both", "mic_lost", who="tech")
    assert said[0].to == "both" and "technician's microphone is gone" in said[0].text
    assert last(at_gap).kind == "notice" and last(at_gap).data["who"] == "tech"
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
    assert lost(session, "again") == []
    assert session.journal.seal == sealed
    assert verify_file(session.journal.path, sealed).ok


def noisy(session: Session) -> None:
    """A whole job with speech lost and devices lost before every turn."""
    for _ in range(200):
        if session.job.finished:
            return
        lost(session, "again", "mumble")
        lost(session, "choose", *TWO, who="helper")
        session.notice("both", "mic_lost", who="helper")
        who, _, words = answer(session.job).partition(": ")
        heard(session, who, words, EAR)
    raise AssertionError(session.job.at)


def test_whole_job_between_losses(card: Card, dialogs: Dialogs, tmp_path: Path) -> None:
    loud, _ = Session.begin(card, dialogs, tmp_path / "loud")
    quiet, _ = Session.begin(card, dialogs, tmp_path / "quiet")
    noisy(loud)
    finish(quiet)
    assert last(loud).kind == last(quiet).kind == "closed"
    assert last(loud).data == last(quiet).data
    verdict = verify_file(loud.journal.path, loud.journal.seal)
    assert verdict.ok and verdict.closed
    text = "\n".join(transcript(JobHistory.read(loud.journal.path)))
    assert "TECH   : (not understood: mumble)" in text
    assert "HELPER : (unsure between: nine sixteenths / five sixteenths)" in text
    assert "The helper's microphone is gone" in text


@pytest.mark.parametrize("torn", [False, True])
def test_resume_after_any_kind_of_line(
    at_gap: Session, dialogs: Dialogs, card: Card, torn: bool
) -> None:
    heard(at_gap, "tech", "0.660", EAR)
    for event in ("unheard", "notice"):  # neither finishes a record
        before = standing(at_gap.job)
        if event == "unheard":
            lost(at_gap, "again")
        else:
            at_gap.notice("both", "speaker_lost")
        assert last(at_gap).kind == event
        at_gap.close()
        path = at_gap.journal.path
        assert open_jobs(path.parent) == [path]
        if torn:
            path.write_bytes(path.read_bytes()[:-20])
            assert verify_file(path).torn
        at_gap, said = Session.resume(path, dialogs)
        assert standing(at_gap.job) == before
        assert (said[0].key == "reply:repaired_record") is torn
    finish(at_gap)
    assert verify_file(at_gap.journal.path, at_gap.journal.seal).ok


def test_a_forged_choice_shows(at_gap: Session) -> None:
    lost(at_gap, "choose", *TWO)
    at_gap.hear("tech", "first")
    path = at_gap.journal.path
    lines = path.read_text("utf-8").splitlines(keepends=True)
    at = next(i for i, line in enumerate(lines) if json.loads(line)["kind"] == "unheard")
    lines[at] = lines[at].replace("five sixteenths", "nine thirty-seconds")
    path.write_text("".join(lines), "utf-8")
    assert f"line {at + 1} was changed" in str(verify_file(path).problem)
