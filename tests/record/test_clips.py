"""Sound kept beside a record: only what carried a confirmed reading, and on the disk before it."""

import errno
import hashlib
import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest

pytest.importorskip("soundfile")
import soundfile
from click.testing import CliRunner

from assistant.card import Card
from assistant.cli.main import main
from assistant.conversation import Session
from assistant.record import clips, disk, open_jobs, verify_file
from assistant.record.history import JobHistory
from assistant.review.transcript import transcript
from assistant.texts.dialogs import Dialogs
from tests.conversation.test_session import answer, finish
from tests.heard import heard, unheard
from tests.records import last, reach

Samples = npt.NDArray[np.float32]


def tone(hertz: float, seconds: float = 0.25) -> Samples:
    """A sound that can be told from every other one here."""
    at = np.arange(int(seconds * clips.RATE)) / clips.RATE
    return (0.5 * np.sin(2 * np.pi * hertz * at)).astype(np.float32)


def pitch(path: Path) -> float:
    """The strongest frequency of a clip, hertz."""
    sound, rate = soundfile.read(path)
    assert rate == clips.RATE
    spectrum = np.abs(np.fft.rfft(sound))
    return float(np.argmax(spectrum)) * rate / len(sound)


@pytest.fixture
def begun(card: Card, dialogs: Dialogs, tmp_path: Path) -> Session:
    session, said = Session.begin(card, dialogs, tmp_path / "records", keep_audio=True)
    assert said[0].key == "reply:audio_kept" and said[0].to == "both"
    assert last(session).data["said"][0]["key"] == "reply:audio_kept"
    return session


@pytest.fixture
def kept(begun: Session) -> Session:
    reach(begun, "found_gap")
    return begun


def pitches(session: Session) -> list[float]:
    """The pitches of the clips that are kept, rounded, lowest first."""
    return sorted(round(pitch(p), -1) for p in files(session))


def files(session: Session) -> list[Path]:
    """Everything in the records' folder but the record."""
    folder = session.journal.path.parent
    return sorted(p for p in folder.rglob("*") if p.is_file() and p != session.journal.path)


def test_off_by_default(session: Session) -> None:
    while not session.job.finished:
        who, _, words = answer(session.job).partition(": ")
        heard(session, who, words, sound=tone(500))
    assert files(session) == []
    assert "clip" not in session.journal.path.read_text("utf-8")
    assert verify_file(session.journal.path).about_clips == ""


def test_kept_when_confirmed_and_not_before(kept: Session) -> None:
    """The sound of the reading, not of the "check"; nothing is on the disk until then."""
    heard(kept, "tech", "nine sixteenths", sound=tone(500))
    heard(kept, "tech", "why", sound=tone(700))
    assert files(kept) == []
    assert "clip" not in last(kept).data
    heard(kept, "tech", "check", sound=tone(900))
    (path,) = files(kept)
    found = last(kept).data["clip"]
    assert kept.journal.path.parent / found["file"] == path
    assert path.parent.name == kept.journal.path.stem + ".clips"
    assert hashlib.sha256(path.read_bytes()).hexdigest() == found["sha256"]
    assert path.name == found["sha256"][:16] + ".flac"
    assert found["seconds"] == 0.25
    assert pitch(path) == pytest.approx(500, abs=4)
    assert last(kept).data["taken"]["figures"] == "9/16 in"


@pytest.mark.parametrize("answer_", ["no", "back", "correct that"])
def test_dropped_readings_leave_no_sound(kept: Session, answer_: str) -> None:
    heard(kept, "tech", "nine sixteenths", sound=tone(500))
    heard(kept, "tech", answer_, sound=tone(700))
    assert files(kept) == []
    heard(kept, "tech", "five eighths", sound=tone(900))
    kept.hear("tech", "check")
    assert pitches(kept) == [900]


def test_a_reading_said_anew_takes_the_place(kept: Session) -> None:
    heard(kept, "tech", "nine sixteenths", sound=tone(500))
    heard(kept, "tech", "five eighths", sound=tone(900))
    heard(kept, "tech", "check", sound=tone(700))
    assert pitches(kept) == [900]


def test_a_typed_reading_has_no_sound(kept: Session) -> None:
    heard(kept, "tech", "nine sixteenths", sound=tone(500))
    kept.hear("tech", "five eighths")
    heard(kept, "tech", "check", sound=tone(700))
    assert files(kept) == []


def test_readings_that_need_no_check_are_kept_at_once(begun: Session) -> None:
    reach(begun, "found_height")
    step = begun.job.step
    heard(begun, step.who, "eight and a half", sound=tone(500))
    assert begun.job.at != "found_height"
    assert pitches(begun) == [500]
    assert last(begun).data["taken"]["quantity"] == "pedal-height"


def test_a_correction_and_a_count_are_readings_too(kept: Session) -> None:
    reach(kept, "ring_turn")
    heard(kept, "tech", "five lugs tighter", sound=tone(500))
    heard(kept, "tech", "check", sound=tone(700))
    assert pitches(kept) == [500]
    assert "ring" in last(kept).data
    heard(kept, "tech", "correct the clearance to point zero five", sound=tone(900))
    heard(kept, "tech", "check", sound=tone(700))
    assert "corrected" in last(kept).data
    assert pitches(kept) == [500, 900]


def test_a_choice_keeps_both_utterances(kept: Session) -> None:
    """The value was in the one that was asked about; "first" alone would prove nothing."""
    ear = {"decision": "choose", "alternatives": ["nine sixteenths", "five sixteenths"]}
    unheard(kept, "tech", ear, sound=tone(500))
    heard(kept, "tech", "first", sound=tone(900))
    kept.hear("tech", "check")
    (path,) = files(kept)
    sound, rate = soundfile.read(path)
    assert len(sound) == rate // 2
    half = np.abs(np.fft.rfft(sound[: rate // 4])), np.abs(np.fft.rfft(sound[rate // 4 :]))
    assert [int(np.argmax(part)) * 4 for part in half] == [500, 900]


def test_speech_not_taken_never_reaches_the_disk(kept: Session) -> None:
    for decision in ("again", "choose", "nothing"):
        unheard(kept, "tech", {"decision": decision, "alternatives": []}, sound=tone(500))
    heard(kept, "tech", "five eighths", sound=tone(900))
    kept.hear("tech", "check")
    assert pitches(kept) == [900]


def test_resumed_sessions_tell_it_again(kept: Session, dialogs: Dialogs) -> None:
    heard(kept, "tech", "nine sixteenths", sound=tone(500))
    kept.close()
    quiet, said = Session.resume(kept.journal.path, dialogs)
    assert "reply:audio_kept" not in [s.key for s in said]
    heard(quiet, "tech", "repeat", sound=tone(500))
    quiet.close()
    again, said = Session.resume(kept.journal.path, dialogs, keep_audio=True)
    assert said[0].key == "reply:audio_kept"
    heard(again, "tech", "code 12", sound=tone(700))
    heard(again, "helper", "foot off", sound=tone(700))
    heard(again, "tech", "done", sound=tone(700))
    heard(again, "tech", "check", sound=tone(700))
    assert files(again) == []
    assert last(again).data["taken"]["figures"] == "9/16 in"


def test_loud_and_broken_samples_are_kept_as_they_can_be(tmp_path: Path) -> None:
    sound = np.array([0.0, 2.0, -2.0, np.nan, 0.5] * 100, dtype=np.float32)
    found = clips.keep(tmp_path, "x.jsonl", sound)
    back, _ = soundfile.read(tmp_path / found["file"])
    assert np.allclose(back[:5], [0, 1, -1, 0, 0.5], atol=1e-4)


def test_a_full_disk_costs_the_clip_and_not_the_reading(
    kept: Session, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = disk.write_all

    def full(fd: int, block: bytes) -> None:
        if not block.startswith(b"fLaC"):
            return real(fd, block)
        os.write(fd, block[:10])
        raise OSError(errno.ENOSPC, "no space")

    heard(kept, "tech", "nine sixteenths", sound=tone(500))
    monkeypatch.setattr(disk, "write_all", full)
    kept.hear("tech", "check")
    assert files(kept) == []
    assert last(kept).data["clip"] == {
        "lost": "the sound could not be kept: no space left on the disk"
    }
    assert last(kept).data["taken"]["figures"] == "9/16 in"
    assert verify_file(kept.journal.path).ok
    lines = transcript(JobHistory.read(kept.journal.path))
    assert any("(no clip: the sound could not" in line for line in lines)


def test_the_clip_is_durable_before_its_line(
    kept: Session, monkeypatch: pytest.MonkeyPatch
) -> None:
    order: list[str] = []

    def watch(module: object, name: str, step: str, real: Callable[..., Any]) -> None:
        def watched(*args: Any) -> Any:
            order.append(step)
            return real(*args)

        monkeypatch.setattr(module, name, watched)

    watch(os, "fsync", "sync", os.fsync)
    watch(os, "replace", "name", os.replace)
    watch(disk, "sync_folder", "sync folder", lambda folder: None)
    watch(kept.journal, "append_all", "line", kept.journal.append_all)
    heard(kept, "tech", "nine sixteenths", sound=tone(500))
    order.clear()
    kept.hear("tech", "check")
    assert order[: order.index("line") + 1][-4:] == ["sync", "name", "sync folder", "line"]


class TestVerify:
    @pytest.fixture
    def record(self, kept: Session) -> Path:
        heard(kept, "tech", "0.660", sound=tone(500))
        kept.hear("tech", "check")
        heard(kept, "tech", "0.040", sound=tone(900))
        if kept.job.pending is not None:
            kept.hear("tech", "check")
        finish(kept)
        assert len(files(kept)) == 2
        self.files = files(kept)
        return kept.journal.path

    def test_good(self, record: Path) -> None:
        verdict = verify_file(record)
        assert verdict.ok and verdict.about_clips == "2 clips good"
        lines = list(transcript(JobHistory.read(record)))
        for path in self.files:
            assert sum(f"(clip {path.stem})" in line for line in lines) == 1

    def test_removed_is_told_and_no_damage(self, record: Path) -> None:
        self.files[0].unlink()
        verdict = verify_file(record)
        assert verdict.ok and verdict.about_clips == "1 clip good, 1 removed"
        self.files[1].unlink()
        self.files[1].parent.rmdir()
        verdict = verify_file(record)
        assert verdict.ok and (verdict.clips, verdict.clips_removed) == (0, 2)

    @pytest.mark.parametrize("how", ["byte", "other", "empty"])
    def test_changed_is_damage(self, record: Path, how: str) -> None:
        path = self.files[0]
        content = path.read_bytes()
        new = {
            "byte": content[:-1] + bytes([content[-1] ^ 1]),
            "other": self.files[1].read_bytes(),
            "empty": b"",
        }
        path.write_bytes(new[how])
        verdict = verify_file(record)
        assert not verdict.ok and not verdict.torn
        assert f"was changed: {path.parent.name}/{path.name}" in str(verdict.problem)
        assert verdict.closed and verdict.clips == 1
        assert verify_file(record, clips=False).ok

    def test_unreadable_is_told(self, record: Path) -> None:
        path = self.files[0]
        path.unlink()
        path.mkdir()
        assert "cannot be read" in str(verify_file(record).problem)

    def test_damage_of_the_record_is_told_first(self, record: Path) -> None:
        self.files[0].write_bytes(b"")
        lines = record.read_text("utf-8").splitlines(keepends=True)
        record.write_text("".join(lines[:-3] + lines[-2:]), "utf-8")
        assert "missing" in str(verify_file(record).problem)

    def test_command_line(self, record: Path) -> None:
        assert CliRunner().invoke(main, ["verify", str(record)]).exit_code == 0
        self.files[0].write_bytes(b"x")
        done = CliRunner().invoke(main, ["verify", "--json", str(record)])
        assert done.exit_code == 1 and "was changed" in json.loads(done.output)["problem"]


@pytest.mark.parametrize(
    "name", ["../secret.clips/0123456789abcdef.flac", "/etc/passwd", "x.clips/other.flac", "", "7"]
)
def test_no_other_file_is_taken_for_a_clip(tmp_path: Path, name: str) -> None:
    assert clips.state(tmp_path, name, "0123456789abcdef" * 4) == "changed"


def test_a_changed_clip_does_not_keep_a_job_from_going_on(kept: Session, dialogs: Dialogs) -> None:
    heard(kept, "tech", "0.660", sound=tone(500))
    kept.hear("tech", "check")
    kept.close()
    files(kept)[0].write_bytes(b"x")
    (path,) = open_jobs(kept.journal.path.parent)
    assert path == kept.journal.path
    session, _ = Session.resume(path, dialogs)
    finish(session)


def test_text_commands_do_without_sound_libraries() -> None:
    """Their start would cost more than the whole command."""
    code = (
        "import sys, assistant.conversation, assistant.record, assistant.cli; "
        "print({'numpy', 'soundfile'} & set(sys.modules))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.stdout.strip() == "set()"
