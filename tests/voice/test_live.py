"""`lugcall listen` on a real sound path: a private PulseAudio with null sinks as microphones and
loudspeakers, and two simulated people. They speak into the former, go by what it prints and by when
the latter fall silent, and like people say "no" when they were misheard, and say it again when they
were not heard.
"""

from __future__ import annotations

import contextlib
import re
import shutil
import subprocess
import sys
import threading
import time
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from assistant.card import load_card
from assistant.conversation import Session
from assistant.record import read_events, verify_file
from assistant.sentences import sentences
from assistant.texts.dialogs import load_dialogs
from assistant.voice.devices.audio import RATE, Samples
from tests.demo import DEMO, played
from tests.spoken.voices import available, prepare, say, voice_named
from tests.voice.pulse import MICROPHONES, SPEAKERS, Feed, Pulse, Tape

MICS = dict(zip(("tech", "helper"), MICROPHONES, strict=True))
LOUDSPEAKERS = dict(zip(("tech", "helper"), SPEAKERS, strict=True))
CARD = DEMO / "truck_t104.toml"
COMMAND = [sys.executable, "-m", "assistant"]
HISS = 3e-4
"""What a microphone gives when nobody speaks, root mean square: -70 dBFS."""
AHEAD_S = 0.1
SOUND_DBFS = -45.0
"""A loudspeaker's monitor above this is the assistant speaking."""
_HEARD = re.compile(r"(tech|helper): (.*)  \[(\w+) [\d.]+\]$")
_REPLY = re.compile(r" *(?:TECH|HELPER|BOTH) < (.*)$")


class Person:
    """Somebody with a microphone of his own, in a faint hiss, in real time."""

    def __init__(self, daemon: Pulse, role: str, voice: str) -> None:
        self.role = role
        self.voice = voice_named(voice)
        self.background: Samples | None = None
        """Repeated for as long as the microphone is open, instead of the hiss."""
        self._daemon = daemon
        self._speech: deque[Samples] = deque()
        self._said = threading.Event()
        self._until = 0.0
        self._over = threading.Event()
        self._thread: threading.Thread | None = None

    def plug(self, new: bool = False) -> None:
        """Switch the microphone on; `new`: it has to be put there first."""
        if new:
            self._daemon.plug(MICS[self.role])
        self._over.clear()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def unplug(self) -> None:
        self._daemon.unplug(MICS[self.role])
        self.off()

    def off(self) -> None:
        self._over.set()
        if self._thread is not None:
            self._thread.join(timeout=10)

    def say(self, words: str) -> float:
        """Speak; returns when it is said, with the time by `time.monotonic`."""
        self._said.clear()
        self._speech.append(say(self.voice, words))
        if not self._said.wait(20.0):
            raise TimeoutError(f"{words!r} could not be said into the microphone")
        ended = self._until
        time.sleep(max(0.0, ended - time.monotonic()))
        return ended

    def _run(self) -> None:
        with contextlib.suppress(BrokenPipeError), self._daemon.playing(MICS[self.role]) as feed:
            self._breathe(feed)

    def _breathe(self, feed: Feed) -> None:
        rng = np.random.default_rng(1)
        begun, count = time.monotonic() + AHEAD_S, 0
        while not self._over.is_set():
            now = time.monotonic()
            if begun + count / RATE > now + AHEAD_S:
                time.sleep(0.01)
                continue
            said = self._speech.popleft() if self._speech else None
            length = len(said) if said is not None else RATE // 50
            sound = rng.normal(0.0, HISS, length).astype(np.float32)
            if self.background is not None:
                at = np.arange(count, count + length) % len(self.background)
                sound += self.background[at]
            feed.write(sound + said if said is not None else sound)
            count += length
            if said is not None:
                # What the voices leave of silence at their end is no speech.
                self._until = begun + count / RATE - 0.15
                self._said.set()


@dataclass(frozen=True)
class Turn:
    """What came back: when, the words taken, and the replies without whom they are for."""

    at: float
    heard: str
    kind: str
    replies: tuple[str, ...]

    @property
    def text(self) -> str:
        return " ".join(self.replies)

    @property
    def asks(self) -> bool:
        return bool(self.replies) and self.replies[-1].endswith("Check?")


class Listening:
    """`lugcall listen` as a process of its own; use `listening`.

    Attributes:
        lines: each line it printed, with the time by `time.monotonic`.
    """

    def __init__(self, daemon: Pulse, options: Sequence[str]) -> None:
        command = [*COMMAND, "listen", *options]
        for role, option in (("tech", ""), ("helper", "helper-")):
            command += [f"--{option}mic", MICS[role], f"--{option}speaker", LOUDSPEAKERS[role]]
        self.process = subprocess.Popen(
            command,
            # Buffered, the lines of an answer come in one piece.
            env={k: v for k, v in daemon.env.items() if k != "PYTHONUNBUFFERED"},
            cwd=Path(__file__).parents[2],
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )
        self.lines: list[tuple[float, str]] = []
        self._new = threading.Condition()
        threading.Thread(target=self._read, daemon=True).start()

    def _read(self) -> None:
        for line in self.process.stdout:
            with self._new:
                self.lines.append((time.monotonic(), line.rstrip("\n")))
                self._new.notify_all()

    @property
    def count(self) -> int:
        return len(self.lines)

    def printed(self) -> str:
        return "\n".join(line for _, line in self.lines)

    def wait(self, wanted: Callable[[str], object], since: int, timeout_s: float) -> float | None:
        """When a line that is `wanted` was printed, after the first `since`; None if it was not."""
        end = time.monotonic() + timeout_s
        with self._new:
            while True:
                for at, line in self.lines[since:]:
                    if wanted(line):
                        return at
                left = end - time.monotonic()
                if left <= 0:
                    return None
                self._new.wait(left)

    def turn(self, since: int, timeout_s: float) -> Turn | None:
        """The first turn after the first `since` lines; None if none comes."""
        if self.wait(_HEARD.match, since, timeout_s) is None:
            return None
        first = next(i for i in range(since, self.count) if _HEARD.match(self.lines[i][1]))
        self.wait(_REPLY.match, first + 1, 5.0)
        seen = -1
        while seen != self.count:
            seen = self.count
            time.sleep(0.25)
        lines = self.lines[first:]
        head = _HEARD.match(lines[0][1])
        replies = []
        for _, line in lines[1:]:
            reply = _REPLY.match(line)
            if reply is None:
                break
            replies.append(reply[1])
        return Turn(lines[0][0], head[2], head[3], tuple(replies))

    def kill(self) -> None:
        """As if the power went."""
        self.process.kill()
        self.process.wait()

    def end(self, timeout_s: float = 30.0) -> int:
        code = self.process.wait(timeout=timeout_s)
        time.sleep(0.1)
        return code


@contextlib.contextmanager
def listening(daemon: Pulse, *options: str) -> Iterator[Listening]:
    """Start it, and see that it is gone in the end."""
    started = Listening(daemon, options)
    try:
        yield started
    finally:
        started.kill()


@dataclass(frozen=True)
class Line:
    """A line of a script, and what lugcall answers to it when it is typed."""

    who: str
    words: str
    replies: tuple[str, ...]

    @property
    def asks(self) -> bool:
        return self.replies[-1].endswith("Check?")

    @property
    def read_back(self) -> str:
        """Its words as they are read back: "Eleven sixty-fourths" of "11/64 in. Eleven ..."."""
        words = self.replies[-1].split(". ")[1].lower()
        return self.words if words == "check?" else words


def script(name: str, folder: Path) -> list[Line]:
    """The lines of a script, answered by a typed session that is recorded in `folder`."""
    turns = played(name, folder)
    next(turns)
    return [Line(who, words, tuple(_shown(one) for one in said)) for _, who, words, said in turns]


def _shown(said: object) -> str:
    signal, text = getattr(said, "signal", ""), getattr(said, "text", "")
    return f"{signal}: {text}" if signal else text


class Crew:
    """The two people, their microphones, and what they hear. Use it in a `with` block.

    Attributes:
        log: what they said, and when they had said it.
        tapes: what the loudspeakers gave.
        cues: for each HOLD and RELEASE: when the helper heard it, from and to.
    """

    def __init__(self, daemon: Pulse, tech: str = "rms", helper: str = "us-f2") -> None:
        self.people = {
            "tech": Person(daemon, "tech", tech),
            "helper": Person(daemon, "helper", helper),
        }
        self.log: list[tuple[float, str]] = []
        self.cues: list[tuple[float, float]] = []
        self._read_back = 0
        self.tapes: dict[str, Tape] = {}
        self._daemon = daemon
        self._opened = ExitStack()

    def __enter__(self) -> Crew:
        for role, person in self.people.items():
            self.tapes[role] = self._opened.enter_context(
                self._daemon.recording(LOUDSPEAKERS[role])
            )
            person.plug()
            self._opened.callback(person.off)
        return self

    def __exit__(self, *_: object) -> None:
        self._opened.close()

    def practise(self, lines: Sequence[Line], *more: str) -> None:
        """Synthesize beforehand what is going to be said."""
        pairs = [(self.people[line.who].voice, line.words) for line in lines]
        pairs += [(p.voice, words) for p in self.people.values() for words in more]
        prepare(pairs)

    def sounds(self, role: str, seconds: float = 0.2) -> bool:
        """Whether the loudspeaker gave a sound in the last `seconds`."""
        last = self.tapes[role].samples(round(seconds * RATE))
        return bool(len(last)) and float(np.abs(last).max()) > 10 ** (SOUND_DBFS / 20)

    def attend(self, role: str, most_s: float = 20.0, breath_s: float = 0.4) -> tuple[float, float]:
        """Listen until the loudspeaker has been silent for a breath, or has spoken for `most_s`.

        Returns:
            when it began to speak, and when it ended; both now if it said nothing.
        """
        begin = time.monotonic() + 1.5
        while not self.sounds(role) and time.monotonic() < begin:
            time.sleep(0.02)
        began = time.monotonic()
        while self.sounds(role, breath_s) and time.monotonic() < began + most_s:
            time.sleep(0.02)
        return began, time.monotonic()

    def utter(self, child: Listening, who: str, words: str, wait_s: float = 8.0) -> Turn | None:
        """Say it and wait for the answer; None when none comes."""
        since = child.count
        self.log.append((self.people[who].say(words), words))
        return child.turn(since, wait_s)

    def perform(self, child: Listening, lines: Sequence[Line], tries: int = 7) -> None:
        """Go through a script, correcting what is misheard.

        Raises:
            AssertionError: one line could not be brought home; with all that was printed.
        """
        at, tried, done = 0, 0, 0  # done: items of a breath that was cut, said no second time
        while at < len(lines):
            line, tried = lines[at], tried + 1
            if tried > tries:
                raise AssertionError(f"{line.who}: {line.words}: not taken\n{child.printed()}")
            # Three times in the same words; then as lugcall itself would say it.
            other = line.asks and tried > 3
            words = line.read_back if other else line.words
            if words.startswith("note "):  # first that, then its words
                self.utter(child, line.who, "note")
                self.attend(line.who, 0.6)
                words = words.removeprefix("note ")
            words = ", ".join(words.split(", ")[done:]) if done else words
            turn = self.utter(child, line.who, words)
            if turn is None:
                continue
            done += _items_done(turn) if ", " in words else 0
            if done and turn.replies and turn.replies[-1:] == line.replies[-1:]:
                at, tried, done = at + 1, 0, 0
                continue
            if turn.asks and not line.asks and _read_back_right(turn, line):
                turn = self.utter(child, line.who, "check") or turn
            if _same(turn.replies, line.replies):
                at, tried, done = at + 1, 0, 0
                if at < len(lines):
                    self._hear_out(lines[at].who, turn)
                continue
            to = self._mend(child, lines, at, turn)
            if to != at:
                at, tried, done = to, 0, 0

    def _hear_out(self, role: str, turn: Turn) -> None:
        """Listen to an answer: to a cue all through, to figures mostly, to what is known from the
        last truck hardly."""
        if "HOLD:" in turn.text or "RELEASE:" in turn.text:
            self.cues.append(self.attend(role, breath_s=1.0))
        elif turn.asks:
            self._read_back += 1
            self.attend(role, 20.0 if self._read_back <= 3 else 1.0)
        else:
            self.attend(role, 0.35)

    def _mend(self, child: Listening, lines: Sequence[Line], at: int, turn: Turn) -> int:
        """Set right what was heard wrong; returns the line that is to be said now."""
        line = lines[at]
        if turn.kind != "accept":
            self.attend(line.who)
            return at
        if "Dropped." in turn.text:
            return max(i for i in range(at + 1) if lines[i].asks)
        if turn.asks:
            self.utter(child, line.who, "no")
            return at
        # What it asks now is what the line before was answered with, said too early or not.
        asked = turn.replies[-1].removeprefix("Not now. ") if turn.replies else ""
        prompts = {one.replies[-1]: i + 1 for i, one in enumerate(lines[: at + 4])}
        return prompts.get(asked, at)


def _items_done(turn: Turn) -> int:
    """How many things said in one breath the answer reads back as done."""
    told = next((r for r in turn.replies if r.startswith("Done: ")), "")
    texts = sentences("job").texts
    return sum(told.count(name) for key, name in texts.items() if key.startswith("item."))


def _read_back_right(turn: Turn, line: Line) -> bool:
    """Whether the figures that wait for a "check" are those that the typed answer begins with."""
    # Of a value given before, read back anew, its name stands before it.
    figures = re.sub(r"^[A-Z][a-z ]+ (?=\d)", "", turn.replies[-1].split(". ")[0])
    code = re.match(r"Sign off with code ([^.]*)\. ", turn.replies[-1])
    if code is not None:
        return code[1].replace(" ", "") in line.words
    return any(reply.startswith((f"{figures}:", f"{figures} ")) for reply in line.replies)


def _same(heard: tuple[str, ...], wanted: tuple[str, ...]) -> bool:
    seal = "Signed off by"
    return [r for r in heard if seal not in r] == [r for r in wanted if seal not in r]


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
    """A record of a time when nothing was asked before it went on: the lines are those of a job."""
    session, _ = Session.begin(load_card(CARD), load_dialogs(), folder, rules=0)
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
