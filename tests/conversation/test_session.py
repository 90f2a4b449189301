"""A session and its file: said means written, and any turn can be the last before a power cut."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from assistant.act import Said
from assistant.card import Card
from assistant.conversation import Session, SessionError
from assistant.job.job import Job
from assistant.record import RecordError, read_events, verify_file
from assistant.record.history import JobHistory
from assistant.review.transcript import transcript
from assistant.texts.dialogs import Dialogs, load_dialogs
from tests.demo import ROOT

Play = Callable[[Session, str], list[Said]]

LENGTHS = {
    "pedal-height": "eight and a half",
    "total-travel": "eight and a half",
    "odometer": "four hundred twelve thousand",
    "ring-left": "nine lugs",
}
ANSWERS = {
    "act": "tech: done",
    "clear": "tech: clear",
    "hold": "helper: holding",
    "turn": "tech: five lugs tighter",
    "release": "helper: released",
    "plan": "tech: check",
    "rod": "tech: done",
    "stop_bolt": "tech: done",
    "sign": "tech: sign off 12",
}

FIRST = {"code": "code 12", "helper": "foot off", "key": "done"}
"""What is asked after a new start, before it goes on."""


def answer(job: Job) -> str:
    """What a pair that knows the job says next; the truck needs five lugs and one turn of rod."""
    if job.asking:
        return f"{job.whose()}: {FIRST[job.asking]}"
    if job.at == "halted":
        return "tech: carry on"
    if job.foot_wanted:
        return "helper: foot off"
    if job.pending is not None:
        return "tech: check"
    if job.choice:
        return "tech: accept the lead said so"
    step = job.step
    assert step is not None
    if step.kind == "read":
        turned, rod = bool(job.facts.lugs_total), bool(job.facts.linkage)
        now = {
            "gap": "0.525" if turned else "0.660",
            "clearance": "0.125" if rod else "0.172" if turned else "0.040",
            "free-travel": "one and nine sixteenths" if turned else "nine sixteenths",
            "brake-contact": "five eighths" if turned else "one thirty-second",
        }
        return f"{step.who}: {now.get(step.reading) or LENGTHS[step.reading]}"
    if step.id == "helper_ready":
        return "helper: ready"
    if step.kind == "sound":
        return f"{step.who}: sound"
    return ANSWERS[step.kind]


def finish(session: Session, at_most: int = 200) -> None:
    """Answer until the record is signed off."""
    for _ in range(at_most):
        if session.job.finished:
            return
        who, _, words = answer(session.job).partition(": ")
        session.hear(who, words)
    raise AssertionError(f"no end from {session.job.at}")


def standing(job: Job) -> dict[str, Any]:
    """What a resumed session must not lose."""
    pending = job.pending
    return {
        "step": job.step_id,
        "readings": [vars_of(t) for t in job.facts.readings],
        "moves": [(m.told, m.moved, m.at) for m in job.facts.moves],
        "linkage": [(c.step, c.what) for c in job.facts.linkage],
        "pending": pending and (pending.quantity, pending.value_in, pending.count),
        "correcting": job.correcting,
        "choice": job.choice,
        "notes": list(job.facts.notes),
        "places": {thing: job.facts.hazards[thing] for thing in ("cover", "lock_plate", "key")},
    }


def vars_of(taken: Any) -> tuple[Any, ...]:
    """A reading without its slots' order mattering."""
    return (taken.step, taken.stage, taken.quantity, taken.value_in, taken.count, taken.accepted)


@pytest.fixture(scope="module")
def whole(
    card: Card, dialogs: Dialogs, tmp_path_factory: pytest.TempPathFactory
) -> tuple[Path, list[dict[str, Any]]]:
    """One whole job, and how it stood after every turn (index 0: before the first)."""
    session, _ = Session.begin(card, dialogs, tmp_path_factory.mktemp("whole"))
    stood = [standing(session.job)]
    while not session.job.finished:
        who, _, words = answer(session.job).partition(": ")
        session.hear(who, words)
        stood.append(standing(session.job))
        assert len(stood) < 200, session.job.at
    session.close()
    return session.journal.path, stood


def test_everything_said_is_on_the_disk_first(session: Session, play: Play) -> None:
    """Words, replies and meaning of each turn are in the file when `hear` returns."""
    for line in ("done", "mumble", "h: stop", "carry on", "note seal weeps", "why"):
        said = play(session, line)
        last = json.loads(session.journal.path.read_text("utf-8").splitlines()[-1])
        assert last["data"]["words"] == line.removeprefix("h: ")
        assert last["data"]["said"] == [s.as_data() for s in said]
    opened = json.loads(session.journal.path.read_text("utf-8").splitlines()[0])["data"]
    assert opened["said"] and opened["figures"]["gap"]["source"] == "test card"


def test_a_write_that_fails_says_nothing(
    session: Session, play: Play, monkeypatch: pytest.MonkeyPatch
) -> None:

    def full(*_: object) -> None:
        raise RecordError("the disk is full")

    monkeypatch.setattr(session.journal, "append_all", full)
    with pytest.raises(RecordError):
        play(session, "done")


def cut(path: Path, to: Path, turns: int) -> Path:
    """The record as a power cut after so many turns leaves it."""
    lines = path.read_bytes().splitlines(keepends=True)
    to.write_bytes(b"".join(lines[: 1 + turns]))
    return to


@pytest.mark.long
def test_resumed_at_every_turn_as_it_stood(
    whole: tuple[Path, list[dict[str, Any]]], dialogs: Dialogs, tmp_path: Path
) -> None:
    """Step, readings, moves, places and the value waiting are those of before the cut."""
    path, stood = whole
    wrong = []
    for turns in range(len(stood) - 1):
        session, said = Session.resume(cut(path, tmp_path / "cut.jsonl", turns), dialogs)
        assert said
        if standing(session.job) != stood[turns]:
            lost = [k for k, v in stood[turns].items() if standing(session.job)[k] != v]
            wrong.append((turns, stood[turns]["step"], lost))
        session.close()
    # A count said but not checked is lost with the hold; the job must then ask for it again.
    held = [w for w in wrong if w[1] == "ring_turn" and w[2] == ["pending"]]
    assert wrong == held


@pytest.mark.long
def test_resumed_at_every_turn_it_can_be_finished(
    whole: tuple[Path, list[dict[str, Any]]], dialogs: Dialogs, tmp_path: Path
) -> None:
    """And the finished record verifies, ring counted once."""
    path, stood = whole
    for turns in range(len(stood) - 1):
        one = cut(path, tmp_path / f"{turns}.jsonl", turns)
        session, _ = Session.resume(one, dialogs)
        finish(session)
        session.close()
        assert verify_file(one).closed and verify_file(one).ok
        assert session.job.facts.lugs_total == 5, turns


def test_resumed_after_every_turn_of_one_job(card: Card, dialogs: Dialogs, tmp_path: Path) -> None:
    """Killed after each answer: still it gets on, if nothing is held; a hold starts over."""
    session, _ = Session.begin(card, dialogs, tmp_path)
    for _ in range(120):
        if session.job.at in ("ring_ready", "halted"):
            break
        who, _, words = answer(session.job).partition(": ")
        session.hear(who, words)
        session.close()
        session, _ = Session.resume(session.journal.path, dialogs)
        while session.job.asking and not session.job.stopped:
            session.hear(*answer(session.job).split(": "))
    assert session.job.at == "ring_ready"
    finish(session)


def test_a_torn_line_is_told(
    whole: tuple[Path, list[dict[str, Any]]], dialogs: Dialogs, tmp_path: Path
) -> None:
    one = cut(whole[0], tmp_path / "torn.jsonl", 20)
    with one.open("ab") as stream:
        stream.write(b'{"n": 21, "kind": "turn", "da')
    session, said = Session.resume(one, dialogs)
    assert said[0].key == "reply:repaired_record"
    assert standing(session.job) == whole[1][20]


def test_changed_steps_refuse_to_resume(
    whole: tuple[Path, list[dict[str, Any]]], dialogs: Dialogs, tmp_path: Path
) -> None:
    base = Path(__file__).parents[2] / "dialogs"
    shutil.copytree(base, tmp_path / "dialogs")
    steps = tmp_path / "dialogs" / "en" / "steps.toml"
    extra = '[[step]]\nid = "gloves"\nphase = "safe"\nkind = "act"\nwho = "tech"\n'
    text = steps.read_text("utf-8")
    first = text.index("[[step]]")
    steps.write_text(
        f'{text[:first]}{extra}say = "Gloves on. Say done."\n\n{text[first:]}', "utf-8"
    )
    one = cut(whole[0], tmp_path / "changed.jsonl", 20)
    with pytest.raises(SessionError) as caught:
        Session.resume(one, load_dialogs(tmp_path / "dialogs"))
    message = str(caught.value)
    assert "\n" not in message and "changed.jsonl" in message and "dialogs" in message
    session, _ = Session.resume(one, dialogs)  # and nothing was done to the record
    session.close()


def test_a_finished_record_stays_finished(
    whole: tuple[Path, list[dict[str, Any]]], dialogs: Dialogs
) -> None:
    before = whole[0].read_bytes()
    with pytest.raises(SessionError, match="signed off") as caught:
        Session.resume(whole[0], dialogs)
    assert "\n" not in str(caught.value)
    assert whole[0].read_bytes() == before


def test_cut_between_sign_off_and_its_closing_line(
    whole: tuple[Path, list[dict[str, Any]]], dialogs: Dialogs, tmp_path: Path
) -> None:
    one = cut(whole[0], tmp_path / "nearly.jsonl", len(whole[1]) - 1)
    assert not verify_file(one).closed
    with pytest.raises(SessionError, match="closing line"):
        Session.resume(one, dialogs)
    assert verify_file(one).closed
    with pytest.raises(SessionError, match="start a new session"):
        Session.resume(one, dialogs)


def test_transcript_shows_found_beside_left(whole: tuple[Path, list[dict[str, Any]]]) -> None:
    events, problem = read_events(whole[0])
    assert problem is None
    lines = list(transcript(JobHistory.of(events)))
    end = lines[lines.index(next(line for line in lines if "as found" in line)) :]
    gap = next(line for line in end if line.startswith("gap"))
    clearance = next(line for line in end if line.startswith("fork clearance"))
    assert gap.split()[1] == "0.660" and "0.525" in gap and gap.rstrip().endswith("in")
    assert clearance.split()[2] == "0.040" and "0.125" in clearance
    assert any("+5 lugs in 1 move " in line for line in end)
    assert any(line.startswith("SIGNED OFF by 12") for line in end)


def test_as_found_stays_as_found(session: Session, play: Play) -> None:
    while session.job.at != "fork_clearance":
        who, _, words = answer(session.job).partition(": ")
        session.hear(who, words)
    play(session, "back / back")
    for _ in range(6):
        if session.job.at == "fork_clearance":
            break
        who, _, words = answer(session.job).partition(": ")
        session.hear(who, words)
    finish(session)
    closed = session.journal.events[-1].data
    assert closed["as_found"]["gap"]["figures"] == "0.660 in"
    assert closed["as_found"]["clearance"]["figures"] == "0.040 in"
    assert closed["as_left"]["gap"]["figures"] == "0.525 in"


def test_defaults_and_card_are_named_at_the_start(
    card: Card, dialogs: Dialogs, tmp_path: Path
) -> None:
    from assistant.card import default_card

    first, said = Session.begin(default_card(), dialogs, tmp_path / "a")
    assert "common-practice" in said[0].text
    first.close()
    second, said = Session.begin(card, dialogs, tmp_path / "b")
    assert "T-1" in said[0].text
    second.close()


def test_a_record_in_use_cannot_be_resumed(session: Session, dialogs: Dialogs) -> None:
    with pytest.raises(RecordError):
        Session.resume(session.journal.path, dialogs)


AT_ITS_END = """
import time
from assistant.conversation import session
session.weights = lambda: (time.sleep(0.3), print("whole", flush=True))
session.network = lambda: print("begun", flush=True)
session.warm()
"""


def test_what_is_being_loaded_at_the_end_is_waited_for_and_no_more_is_begun() -> None:
    """A thread that is cut off within numpy's libraries can keep the program from ending."""
    done = subprocess.run(
        [sys.executable, "-c", AT_ITS_END], cwd=ROOT, capture_output=True, text=True, timeout=30
    )
    assert (done.returncode, done.stdout, done.stderr) == (0, "whole\n", "")
