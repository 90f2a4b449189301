"""The demo job by sound, without a device: heard, answered aloud, signed off, nothing typed."""

from pathlib import Path

import numpy as np
import pytest
import soundfile
from click.testing import CliRunner

from assistant.act import Act
from assistant.cli.main import main
from assistant.conversation import Session, split_speaker
from assistant.dialogue import Question
from assistant.record.history import JobHistory
from assistant.voice.devices.audio import FRAME, FRAME_S, RATE
from assistant.voice.recognition import models
from assistant.voice.recognition.recognizers import Recognizers, open_recognizers
from assistant.voice.session.attendant import Attendant, SpokenTurn
from assistant.voice.session.recorded import AtOnce
from assistant.voice.session.staged import SNR_DB, alike, engine
from tests.demo import script
from tests.records import reach
from tests.spoken.channels import scene
from tests.spoken.voices import available, say

needs_whisper = pytest.mark.skipif(
    models.find_spec(models.WHISPER_PACKAGE) is None, reason="the Whisper weights are not installed"
)


def values(folder: Path) -> list[tuple[str, object]]:
    (record,) = folder.glob("*.jsonl")
    history = JobHistory.read(record)
    assert history.signed_off and not history.problem
    return [(one.kept.quantity, one.kept.value_in) for one in history.readings]


@pytest.mark.sound
@needs_whisper
def test_the_demo_by_sound_comes_to_what_it_comes_to_typed(tmp_path: Path) -> None:
    file, run = tmp_path / "demo.flac", CliRunner().invoke
    heard = run(main, ["demo", "--sound", str(file), "--records", str(tmp_path / "heard")])
    typed = run(main, ["demo", "--records", str(tmp_path / "typed")])
    assert heard.exit_code == typed.exit_code == 0, heard.output[-500:]
    assert values(tmp_path / "heard") == values(tmp_path / "typed")
    sound, rate = soundfile.read(file, dtype="float32")
    assert rate == RATE and 5 * 60 < len(sound) / rate < 20 * 60
    assert 0.01 < np.sqrt(np.mean(np.square(sound))) < 0.3
    text = file.with_suffix(".txt").read_text("utf-8")
    assert "[typed]" not in text, "ears that mishear"
    lines = [split_speaker(line)[1] for line in script("first_job")]
    assert sum(", " in line for line in lines) > 3, "several things in one breath"
    assert len(lines) > 40 and text.count(" > ") >= len(lines)
    assert not [line for line in lines if line not in text]
    assert "HOLD" in text and "[accept 1.00]" in text


@pytest.mark.parametrize("name, why", [
    ("demo.mp5", "is no sound file's name"), ("none/demo.wav", "in a folder that is there"),
    ("there.wav", "name a new file"),
])  # fmt: skip
def test_where_it_cannot_be_written_is_told_before_it_is_played(
    tmp_path: Path, name: str, why: str
) -> None:
    (tmp_path / "there.wav").write_bytes(b"")
    got = CliRunner().invoke(
        main, ["demo", "--sound", str(tmp_path / name), "--records", str(tmp_path / "r")]
    )
    assert got.exit_code == 2 and why in got.output


def test_the_noise_is_as_loud_as_is_said() -> None:
    noise = engine(RATE, np.random.default_rng(1))
    assert 20 * np.log10(np.sqrt(np.mean(np.square(noise)))) == pytest.approx(-26 - SNR_DB, abs=0.1)


def test_a_value_must_be_the_one_that_was_meant() -> None:
    half, other = (Act("reading", "tech", {"value_in": x, "kind": "exact"}) for x in (0.5, 0.6))
    assert alike(half, half) and not alike(half, other)
    assert alike(Act("done", "tech"), Act("done", "tech", text="x"))
    assert not alike(Act("done", "tech"), Act("check", "tech"))
    assert not alike(Question("ask", {}), half)


@pytest.mark.sound
@needs_whisper
@pytest.mark.skipif(not available("test"), reason="needs espeak-ng to speak")
@pytest.mark.parametrize("words, done", [
    ("wheels chocked, brakes set, out of gear", {"chocks", "parking_brake", "neutral"}),
    ("wheels chocked, brakes aren't set, out of gear", set()),
])  # fmt: skip
def test_a_denial_in_one_breath_is_told_from_its_opposite(
    session: Session, words: str, done: set[str]
) -> None:
    reach(session, "chocks")
    ears = Recognizers(open_recognizers(["whisper"])[0])
    heard: list[SpokenTurn] = []
    attendant = Attendant(session, ears, AtOnce(), heard.append)
    channel = attendant.add("tech", "tech")
    attendant.warm()
    said = scene(say("lanc-adam", words), "idle", 20, "wideband", 3).samples
    sound = np.concatenate([said[: RATE // 2], said, said[-RATE // 2 :]])
    for n in range(len(sound) // FRAME):
        channel.feed(sound[n * FRAME : (n + 1) * FRAME], n * FRAME_S)
        attendant.pump()
    steps = [step.id for step in session.job.dialogs.steps]
    assert {*steps[steps.index("chocks") : steps.index(session.job.at)]} == done
    assert not session.job.ahead and len(heard) == 1
