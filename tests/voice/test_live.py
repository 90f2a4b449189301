"""`lugcall listen` on a real sound path: a private PulseAudio with null sinks as microphones and
loudspeakers, two simulated people who speak into the former and listen to the latter.
"""

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from assistant.card import load_card
from assistant.conversation import Session
from assistant.record import read_events, verify_file
from assistant.texts.dialogs import load_dialogs
from assistant.voice.devices.audio import RATE, Samples
from tests.demo import DEMO
from tests.spoken.voices import available
from tests.voice.live_people import SOUND_DBFS, Crew, Line, Listening, listening, script
from tests.voice.pulse import Pulse, missing, pulse

CARD = DEMO / "truck_t104.toml"


@pytest.fixture(scope="module")
def daemon() -> Iterator[Pulse]:
    if missing():
        pytest.skip(missing())
    with pulse() as running:
        yield running


@pytest.fixture(scope="module")
def lines(tmp_path_factory: pytest.TempPathFactory) -> list[Line]:
    return script("first_job", tmp_path_factory.mktemp("typed"))


@pytest.fixture
def crew(daemon: Pulse, lines: list[Line]) -> Iterator[Crew]:
    """Two voices of the tuning split; espeak-ng's alone where flite is missing."""
    flite = any(voice.name == "rms" for voice in available("tuning"))
    crew = Crew(daemon, "rms" if flite else "us-m1", "us-f2")
    crew.practise(lines, "no", "stop", "carry on", "repeat", "where are we")
    with crew:
        yield crew


def begun(lines: list[Line], folder: Path) -> Path:
    session, _ = Session.begin(load_card(CARD), load_dialogs(), folder)
    for line in lines:
        session.hear(line.who, line.words)
    session.close()
    return session.journal.path


def up_to(lines: list[Line], prompt: str) -> list[Line]:
    return lines[: next(i for i, one in enumerate(lines) if prompt in one.replies[-1]) + 1]


def ready(child: Listening, crew: Crew) -> None:
    assert child.wait(lambda line: " < " in line, 0, 60.0), child.printed()
    crew.attend("tech", 0.5)


def speech_s(sound: Samples) -> float:
    """How long a loudspeaker sounded, to a tenth of a second."""
    count = len(sound) // (RATE // 10)
    loud = np.abs(sound[: count * (RATE // 10)]).reshape(count, -1).max(axis=1)
    return float(np.count_nonzero(loud > 10 ** (SOUND_DBFS / 20))) / 10


def taken(path: Path) -> dict[str, Any]:
    """The values a closed record ends with."""
    events, problem = read_events(path)
    assert problem is None
    last = events[-1]
    assert last.kind == "closed"
    keys = ("value_in", "low_in", "high_in", "count")
    return {
        f"{when} {quantity}": {key: one.get(key) for key in keys}
        for when in ("as_found", "as_left")
        for quantity, one in last.data[when].items()
    }


def test_a_whole_job(daemon: Pulse, crew: Crew, lines: list[Line], tmp_path: Path) -> None:
    options = ("--card", str(CARD), "--records", str(tmp_path / "voice"), "--timings")
    with listening(daemon, *options) as child:
        ready(child, crew)
        crew.perform(child, lines)
        assert child.end() == 0, child.printed()
    printed = child.printed()
    print(f"{printed}\n{len(crew.log)} utterances for {len(lines)} lines")
    (path,) = (tmp_path / "voice").glob("*.jsonl")
    verdict = verify_file(path)
    assert verdict.ok and verdict.closed, verdict.problem
    assert taken(path) == taken(begun(lines, tmp_path / "typed"))
    assert "Signed-off record" in printed and "Traceback" not in printed
    # The loudspeakers gave what was printed: seconds and seconds of it, to each of the two, and
    # each cue as long as its ten words take.
    for role, tape in crew.tapes.items():
        whole = len(tape.samples()) / RATE
        assert 20.0 < speech_s(tape.samples()) < whole, role
    assert len(crew.cues) == 2
    assert all(ended - began > 3.0 for began, ended in crew.cues), crew.cues


def test_a_microphone_pulled_out_while_a_pedal_is_held(
    daemon: Pulse, crew: Crew, lines: list[Line], tmp_path: Path
) -> None:
    before = up_to(lines, "HOLD: pedal")[:-1]
    path = begun(before, tmp_path)
    with listening(daemon, "--resume", "--records", str(tmp_path)) as child:
        ready(child, crew)
        at = len(before)
        crew.perform(child, lines[at : at + 2])  # clear, holding
        since = child.count
        heard = {role: len(tape.samples()) for role, tape in crew.tapes.items()}
        crew.people["tech"].unplug()
        assert child.wait(lambda line: "technician's microphone is gone" in line, since, 10.0)
        assert child.wait(lambda line: "HELPER < Pedal down. Hold until told." in line, since, 5.0)
        for role, tape in crew.tapes.items():
            crew.attend(role)
            assert speech_s(tape.samples()[heard[role] :]) > 2.0, f"{role} is not told"
        # The helper is heard as promptly as ever.
        turn = crew.utter(child, "helper", "repeat")
        assert turn is not None and turn.kind == "accept", child.printed()
        since = child.count
        crew.people["tech"].plug(new=True)
        assert child.wait(lambda line: "technician's microphone is back" in line, since, 20.0)
        crew.attend("tech")
        crew.perform(child, lines[at + 2 : at + 4])  # five lugs, check
        child.kill()
    events, problem = read_events(path)
    assert problem is None
    assert [e.data["who"] for e in events if e.kind == "notice"] == ["tech", "tech"]


def test_a_stop_over_its_speech_and_a_crash(
    daemon: Pulse, crew: Crew, lines: list[Line], tmp_path: Path
) -> None:
    before = up_to(lines, "Gap, bearing to brake?")
    path = begun(before, tmp_path)
    options = ("--resume", "--records", str(tmp_path))
    with listening(daemon, *options) as child:
        ready(child, crew)
        at = len(before)
        crew.perform(child, lines[at : at + 2])  # twenty-one thirty-seconds, check
        assert crew.utter(child, "tech", "where are we") is not None, child.printed()
        crew.attend("tech", 0.6)
        assert crew.sounds("tech")
        turn = crew.utter(child, "tech", "stop")
        assert turn is not None and "STOP. Everything out." in turn.text, child.printed()
        print(f"from the end of the word to the reply: {turn.at - crew.log[-1][0]:.2f} s")
        crew.attend("tech")
        assert child.printed().count("STOP. Everything out.") == 1
        child.kill()
    whole = shutil.copy(path, tmp_path / "as-killed")
    events, problem = read_events(path)
    assert problem is None and events[-1].data["after"] == "halted"
    with listening(daemon, *options) as child:
        ready(child, crew)
        assert "Resumed." in child.printed()
        crew.attend("tech")
        turn = crew.utter(child, "tech", "carry on")
        assert turn is not None and "Going on." in turn.text, child.printed()
        crew.attend("tech", 1.0)
        crew.perform(child, lines[at + 2 : at + 4])  # forty thou, check
        child.kill()
    assert path.read_bytes().startswith(Path(whole).read_bytes())
    assert verify_file(path).ok
