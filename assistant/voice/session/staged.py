"""A scripted job by sound, without any device: two synthetic people in a noisy shop speak into the
real ears, and what the real mouth answers is put beside them, for anybody to listen to.

Nobody's patience is tried: while lugcall speaks the microphones hear nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np

from assistant.act import Act, Said
from assistant.conversation import Session
from assistant.voice.devices.audio import FRAME, FRAME_S, RATE, Samples
from assistant.voice.interpretation import VALUES, Meaning, identity, name_of
from assistant.voice.output.earcons import earcon
from assistant.voice.output.queue import queued, ranked
from assistant.voice.output.synthesizer import Synthesizer, spoken
from assistant.voice.recognition.recognizers import Recognizers
from assistant.voice.session.attendant import Attendant, SpokenTurn
from assistant.voice.session.recorded import AtOnce

SNR_DB = 15.0
"""Words over the noise at the microphone."""
TRIES = 4
"""How often a line is said; then it is typed, and shown so."""
_LEVEL = 10 ** (-26 / 20)
_BEFORE_S, _AFTER_S, _SETTLE_S = 0.5, 2.5, 2.0
_REPLY_S = 1.0
"""What of a reply's time passes for the ears: who answers sooner goes on with what he said."""
_CHECKED = ("reply:confirm", "reply:confirm_count", "reply:confirm_code")
_ANSWERS = ("check", "correction", "no", "why")
"""How a line of the script begins that deals with what was read back."""
_VOICE = {"tech": "man", "helper": "woman"}
"""Voices of the synthesizer that are not lugcall's own."""


@dataclass(slots=True)
class StagedJob:
    """One job played by sound.

    Args:
        told: each line of the transcript, with the second at which it begins.
    """

    session: Session
    ears: Recognizers
    synthesizer: Synthesizer
    told: Callable[[float, str], None]
    seed: int = 1
    sound: list[Samples] = field(default_factory=list)
    typed: int = 0
    _turns: list[SpokenTurn] = field(default_factory=list)
    _fed_s: float = 0.0
    _asked: bool = False
    """Whether something was read back last, and waits for its "check"."""

    def play(self, opening: Sequence[Said], lines: Iterable[tuple[str, str]]) -> Samples:
        """Say the lines, each by "tech" or "helper", until the job is finished; all that was to be
        heard, 16 kHz."""
        attendant = Attendant(self.session, self.ears, AtOnce(), self._turns.append)
        channels = {role: attendant.add(role, role) for role in ("tech", "helper")}
        rng = np.random.default_rng(self.seed)
        for role in channels:
            self._feed(attendant, role, engine(round(_SETTLE_S * RATE), rng), keep=role == "tech")
        attendant.warm()
        self._answer(opening, rng)
        script = [*lines]
        for at, (role, words) in enumerate(script):
            if self.session.job.finished:
                break
            command, _, free = words.partition(" ")
            if command == "note":  # free words are surer by themselves
                self._line(attendant, role, command, rng)
                self._say(attendant, role, free, rng)
                continue
            self._line(attendant, role, words, rng)
            after = script[at + 1][1] if at + 1 < len(script) else ""
            if self._asked and not after.startswith(_ANSWERS):
                self._line(attendant, role, "check", rng)  # it was heard less surely than typed
        return np.clip(np.concatenate(self.sound), -0.99, 0.99)

    def _line(self, attendant: Attendant, role: str, words: str, rng: np.random.Generator) -> None:
        """One line, again when it was not heard, taken back when it was misheard."""
        meant = self.session.understood(words, role)
        for _ in range(TRIES):
            taken = self._say(attendant, role, words, rng)
            if any(alike(meaning, meant) for meaning in taken):
                return
            if self._asked and name_of(meant) in VALUES:
                self._say(attendant, role, "no", rng)
        self.typed += 1
        self.told(self._now_s(), f"{role.upper():>8} > {words}  [typed]")
        self._answer(self.session.hear(role, words), rng)

    def _say(
        self, attendant: Attendant, role: str, words: str, rng: np.random.Generator
    ) -> list[Meaning]:
        """Say it into the microphone; what it was taken for."""
        one = self.synthesizer.samples(spoken(words), _VOICE[role])
        power = float(np.mean(np.square(one[np.abs(one) > 0.02]))) if len(one) else 1.0
        quiet = np.pad(one, (round(_BEFORE_S * RATE), round(_AFTER_S * RATE)))
        noise = engine(len(quiet), rng)
        self._turns.clear()
        self._feed(attendant, role, engine(round(_REPLY_S * RATE), rng), keep=False)
        self.told(self._now_s() + _BEFORE_S, f"{role.upper():>8} > {words}")
        self._feed(attendant, role, quiet * np.float32(_LEVEL / np.sqrt(power)) + noise)
        turns = [*self._turns]
        for turn in turns:
            if turn.kind != "nothing":
                self.told(self._now_s(), f"{'':>8}   {turn.line}")
            self._answer(turn.said, rng)
        kept = (turn.decision.meaning for turn in turns if turn.kind == "accept")
        return [meaning for meaning in kept if meaning is not None]

    def _feed(self, attendant: Attendant, role: str, sound: Samples, keep: bool = True) -> None:
        """Frame by frame, until it was dealt with."""
        channel = next(c for c in attendant.channels if c.role == role)
        fed = 0
        for start in range(0, len(sound) - FRAME + 1, FRAME):
            channel.feed(sound[start : start + FRAME].astype(np.float32), self._fed_s)
            self._fed_s += FRAME_S
            attendant.pump()
            fed = start + FRAME
            if self._turns and not channel.endpointer.speaking and not channel.ended:
                break
        if keep:
            self.sound.append(sound[:fed].astype(np.float32))

    def _answer(self, said: Sequence[Said], rng: np.random.Generator) -> None:
        """Say it as the mouth does, in its order, over the noise."""
        self._asked = any(one.key in _CHECKED for one in said)
        for rank, one in ranked(said):
            text = f"{one.signal}: {one.text}" if one.signal else one.text
            self.told(self._now_s(), f"{one.to.upper():>8} < {text}")
            for speech in queued(rank, one, False):
                for words, voice in speech.parts:
                    made = self.synthesizer.samples(words, voice) if voice else earcon(words)
                    self.sound.append(0.6 * made + engine(len(made), rng))

    def _now_s(self) -> float:
        return sum(map(len, self.sound)) / RATE


def alike(heard: Meaning, meant: Meaning) -> bool:
    """Whether two meanings do the same: of values the value counts, of all others what they do."""
    if not (isinstance(heard, Act) and isinstance(meant, Act)) or name_of(meant) in VALUES:
        return identity(heard) == identity(meant)
    return heard.meaning == meant.meaning


def engine(count: int, rng: np.random.Generator) -> Samples:
    """An idling engine across the bay: firings of six cylinders at 11 turns a second, and a roar.
    Invented; root mean square `SNR_DB` below the words."""
    t = np.arange(count) / RATE + rng.uniform(0, 1)
    beats = sum(np.sin(2 * np.pi * 33 * n * t + n * n) / n for n in range(1, 20))
    roar = np.convolve(rng.normal(size=count + 31), np.hanning(32) / 4, "valid")
    mixed = beats * (1 + 0.2 * np.sin(2 * np.pi * 0.7 * t)) + roar
    level = _LEVEL * 10 ** (-SNR_DB / 20) / max(float(np.sqrt(np.mean(np.square(mixed)))), 1e-9)
    return np.asarray(mixed * level, np.float32)
