"""Whole sessions by voice: from recordings, or live with microphones and loudspeakers."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Sequence
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

import numpy as np

from assistant.conversation import Session
from assistant.procedure.said import Said
from assistant.terminal import show

from .attend import Attendant, Turn
from .audio import FRAME, FRAME_S, AudioError, Samples
from .ears import Ears
from .inputs import Microphone
from .mouth import Mouth
from .player import Output, Player, SilentPlayer
from .ports import quiet_libraries
from .speech import Speech

TAIL_S = 1.5
"""Silence put after a recording, so that its last words end."""

Named = tuple[str, Samples]
"""A recording's file name and its sound."""


class AtOnce(Executor):
    """Runs a job when it is given: recordings have no clock to keep up with."""

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        """Run `fn` now; the future given back is done."""
        future: Future[Any] = Future()
        try:
            future.set_result(fn(*args, **kwargs))
        except Exception as error:  # as every executor: it is for whoever asks for the result
            future.set_exception(error)
        return future


def listen_files(
    session: Session,
    ears: Ears,
    tech: Named,
    helper: Named | None = None,
    told: Callable[[Turn], None] = lambda turn: None,
) -> Attendant:
    """Play recordings into a session: the technician's, and the helper's made at the same time.

    With one recording both people are in it. Nothing is spoken: a recording cannot listen.

    Args:
        told: called for every turn, after it was printed.
    """

    def answer(turn: Turn) -> None:
        print_turn(turn)
        told(turn)

    attendant = Attendant(session, ears, AtOnce(), answer)
    sounds = [(attendant.add("tech" if helper else "", tech[0]), tech[1])]
    if helper is not None:
        sounds.append((attendant.add("helper", helper[0]), helper[1]))
    attendant.warm()
    longest = max(len(samples) for _, samples in sounds) + round(TAIL_S / FRAME_S) * FRAME
    try:
        for start in range(0, longest - FRAME, FRAME):
            for channel, samples in sounds:
                frame = samples[start : start + FRAME]
                if len(frame) < FRAME:
                    faint = np.random.default_rng(start).standard_normal(FRAME) * 1e-4
                    frame = np.concatenate([frame, faint[len(frame) :].astype(np.float32)])
                channel.feed(frame, start / FRAME * FRAME_S)
            attendant.pump()
            if session.job.signed_off:
                break
    finally:
        session.close()
    return attendant


def print_turn(turn: Turn) -> None:
    """Show a turn as the typed session shows its own."""
    if not turn.said:
        return
    sure = f"{turn.decision.probability:.2f}"
    print(f"{turn.role}: {turn.heard}  [{turn.decision.kind} {sure}]")
    show(turn.said)


@dataclass(frozen=True, slots=True)
class Devices:
    """Which devices to use, by number or name; None for the system's own."""

    mic: str | None = None
    helper_mic: str | None = None
    speaker: str | None = None
    helper_speaker: str | None = None


class Live:
    """A session with real microphones and loudspeakers; `run` returns at sign-off.

    Args:
        session: the job and its record.
        ears: the engines.
        devices: which to use.
        tell: told in one line what goes wrong.

    Raises:
        AudioError: there is no such microphone.
    """

    def __init__(
        self, session: Session, ears: Ears, devices: Devices, tell: Callable[[str], None]
    ) -> None:
        quiet_libraries()
        self.session = session
        self._tell = tell
        self._news: list[tuple[str, str]] = []
        self._news_lock = threading.Lock()
        self.latencies: list[tuple[float, float]] = []
        """For each turn: seconds from the end of speech to the reply being handed to the mouth,
        and to its first sound."""
        self._ended = 0.0
        self.mouth = Mouth(
            Speech(),
            _output(devices.speaker, self._news_of("speaker_lost"), self._news_of("speaker_back")),
            _output(devices.helper_speaker, self._news_of("speaker_lost"),
                    self._news_of("speaker_back")) if devices.helper_speaker else None,
            on_first=self._first,
            on_trouble=tell,
        )  # fmt: skip
        self._executor = ThreadPoolExecutor(1, "ears")
        self.attendant = Attendant(session, ears, self._executor, self._answer, self._speech)
        wanted = [("tech" if devices.helper_mic else "", devices.mic)]
        if devices.helper_mic:
            wanted.append(("helper", devices.helper_mic))
        self._mics: list[tuple[Any, Microphone]] = []
        for role, name in wanted:
            who = "technician" if role != "helper" else "helper"
            mic = Microphone(
                _device(name),
                on_lost=self._news_of("mic_lost", who),
                on_back=self._news_of("mic_back", who),
            )
            self._mics.append((self.attendant.add(role, mic.name), mic))
        self._lost: list[Said] = []

    def run(self, opening: Sequence[Said]) -> None:
        """Say the opening, then listen until the job is signed off or interrupted."""
        try:
            show(opening)
            self.mouth.say(opening)
            self.attendant.warm()
            while not self.session.job.signed_off:
                for channel, mic in self._mics:
                    self._frame(channel, mic)
                self._report_news()
                self.attendant.pump()
            self._finish_speaking()
        finally:
            self.close()

    def _frame(self, channel: Any, mic: Microphone) -> None:
        frame = mic.get()
        if frame is None:
            return
        played = self.mouth.reference(FRAME_S, until=frame.at + FRAME_S)
        channel.listener.talking = self.mouth.speaking()
        channel.feed(frame.samples, frame.at, played)
        self.mouth.ambient(channel.listener.floor_db)

    def _speech(self, role: str) -> None:
        if self.mouth.speaking("tech" if role != "helper" else "helper"):
            self._lost = self.mouth.hush(role or "both")

    def _answer(self, turn: Turn) -> None:
        if not turn.said:
            self.mouth.say(self._lost)  # it was a noise, or talk for somebody else
            self._lost = []
            return
        self._lost = []
        print_turn(turn)
        self._ended = time.monotonic()
        self._handed = (turn.wait_s, turn.decode_s)
        to = turn.role if turn.role == "helper" else "tech"
        taken = turn.said[0].key not in ("reply:say_again", "reply:spell_it", "reply:again")
        self.mouth.signal("heard" if taken else "not heard", to)
        self.mouth.say(turn.said)

    def _first(self, said: Said, where: str, at: float) -> None:
        if self._ended and said.text:
            self.latencies.append((self._handed[0], self._handed[0] + at - self._ended))
            self._ended = 0.0

    def _news_of(self, key: str, who: str = "") -> Callable[..., None]:
        def told(*_: object) -> None:
            with self._news_lock:
                self._news.append((key, who))

        return told

    def _report_news(self) -> None:
        """Devices come and go in threads of their own; the record is written from this one."""
        with self._news_lock:
            news, self._news = self._news, []
        for key, who in news:
            fields = {"who": who} if who else {}
            said = self.session.notice("both", key, **fields)
            show(said)
            if key == "mic_lost":
                self._hold_on()
            self.mouth.say(said)
            if key == "speaker_back":
                self.mouth.say(self.session.job.prompt())

    def _hold_on(self) -> None:
        """With a pedal held and nobody to be heard, the one thing to say is to keep holding."""
        if self.session.job.facts.hold == "held":
            text = self.session.dialogs.say("hold_standing")
            keep = [Said("helper", text, "reply:hold_standing", cue="HOLD")]
            show(keep)
            self.mouth.say(keep)

    def _finish_speaking(self, limit_s: float = 30.0) -> None:
        until = time.monotonic() + limit_s
        while self.mouth.speaking() and time.monotonic() < until:
            time.sleep(0.05)

    def close(self) -> None:
        """Let go of devices and record."""
        for _, mic in self._mics:
            mic.close()
        self._executor.shutdown(wait=True, cancel_futures=True)
        self.mouth.close()
        self.mouth.speech.close()
        self.session.close()


def listen_live(
    session: Session,
    opening: Sequence[Said],
    ears: Ears,
    devices: Devices,
    tell: Callable[[str], None],
) -> None:
    """Do a session with microphones and loudspeakers until it is signed off.

    Raises:
        AudioError: there is no microphone.
    """
    try:
        live = Live(session, ears, devices, tell)
    except AudioError:
        session.close()
        raise
    live.run(opening)


def _output(name: str | None, lost: Callable[..., None], back: Callable[..., None]) -> Output:
    try:
        return Player(_device(name), lost, back)
    except AudioError:
        if name is not None:
            raise
        return SilentPlayer()  # a shop without a loudspeaker reads the screen


def _device(name: str | None) -> str | int | None:
    return int(name) if name is not None and name.isdigit() else name
