"""What is to be heard on one output, sample by sample; and what was."""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any, Protocol

import numpy as np
import soxr

from assistant.act import Said
from assistant.voice.devices.audio import RATE, Samples
from assistant.voice.devices.stream import Port, Teller
from assistant.voice.output.spoken_text import sentences, spoken

KEEP_S = 12.0
"""How far back `Playing.reference` reaches."""
_FADE = 80
"""Samples (5 ms) over which a cut-off fades: a click is heard as a knock in the shop."""


@dataclass(slots=True, eq=False)
class Chunk:
    """Samples in the queue, and when they are heard, by the output's clock.

    Attributes:
        samples: the sound.
        at: index of the next sample to leave.
        began: when its first sample is heard; None until it has left.
        ends: when its last one is; None until it has left.
    """

    samples: Samples
    at: int = 0
    began: float | None = None
    ends: float | None = None


class Playing:
    """A queue of chunks, drained by an output through `fill`. Shared by threads."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        """`clock` counts seconds; the times in chunks and references are its times."""
        self.clock = clock
        self._chunks: deque[Chunk] = deque()
        self._past: deque[tuple[float, Samples]] = deque()
        self._lock = threading.Lock()
        self._heard_until = 0.0
        self._next_at = 0.0

    def play(self, samples: Samples) -> Chunk:
        """Append a sound; it follows what is in the queue without a gap."""
        chunk = Chunk(samples)
        with self._lock:
            self._chunks.append(chunk)
        return chunk

    def hush(self) -> None:
        """Drop everything; what is being played fades out within 5 ms."""
        with self._lock:
            rest = self._chunks[0] if self._chunks else None
            self._chunks.clear()
            if rest is not None and rest.at:
                tail = rest.samples[rest.at : rest.at + _FADE]
                if len(tail):
                    fade = np.linspace(1.0, 0.0, len(tail), dtype=np.float32)
                    self._chunks.append(Chunk(tail * fade))

    def rewind(self) -> None:
        """Say the present chunk again from its beginning: the output was lost in its midst."""
        with self._lock:
            if self._chunks:
                self._chunks[0].at = 0

    def fill(self, count: int, at: float) -> Samples:
        """The next `count` samples, which will be heard from the time `at` on."""
        out = np.zeros(count, dtype=np.float32)
        with self._lock:
            # Output times jitter by a block; sound does not.
            if abs(at - self._next_at) < 0.02:
                at = self._next_at
            self._next_at = at + count / RATE
            done = 0
            while self._chunks and done < count:
                chunk = self._chunks[0]
                part = chunk.samples[chunk.at : chunk.at + count - done]
                if chunk.began is None and len(part):
                    chunk.began = at + done / RATE
                out[done : done + len(part)] = part
                done += len(part)
                chunk.at += len(part)
                if chunk.at >= len(chunk.samples):
                    chunk.ends = at + done / RATE
                    self._chunks.popleft()
            if done:
                self._heard_until = at + done / RATE
                self._past.append((at, out[:done].copy()))
            while self._past and self._past[0][0] < at - KEEP_S:
                self._past.popleft()
        return out

    def busy(self) -> bool:
        """Whether anything is still to be heard."""
        with self._lock:
            return bool(self._chunks) or self.clock() < self._heard_until

    def reference(self, seconds: float, until: float | None = None) -> Samples:
        """What was heard in the `seconds` up to the time `until` (default: now), silence as zeros.

        Returns:
            `Samples` of that length; the last one was heard at `until`.
        """
        until = self.clock() if until is None else until
        count = round(seconds * RATE)
        out = np.zeros(count, dtype=np.float32)
        with self._lock:
            past = list(self._past)
        for at, part in past:
            start = count - round((until - at) * RATE)
            low, high = max(start, 0), min(start + len(part), count)
            if low < high:
                out[low:high] = part[low - start : high - start]
        return out


# --- One thing to be said, its rank among the others, and how a turn's talk is put in order.

STOP, CUE, PROMPT, REST = range(4)
"""Ranks, the most urgent first."""


@dataclass(slots=True, eq=False)
class Utterance:
    """A part of a reply on its way to one output.

    Attributes:
        rank: `STOP` to `REST`.
        order: position among all that was ever said; earlier first within a rank.
        said: what it is of.
        voice: "tech" or "helper".
        earcon: the signal before the words, or "".
        parts: sentences still to be synthesized.
        chunks: what was handed to the output.
        first: whether its first sound was told of.
    """

    rank: int
    order: int
    said: Said
    voice: str
    earcon: str
    parts: list[str]
    chunks: list[Chunk] = field(default_factory=list)
    first: bool = False

    def fresh(self) -> Utterance:
        """The same, to be said from its beginning."""
        earcon, parts = _shape(self.said)
        if self.rank == PROMPT and self.said.cue == "STOP":
            earcon, parts = "", parts[HEAD:]
        return Utterance(self.rank, self.order, self.said, self.voice, earcon, parts)


HEAD = 2
"""Sentences of a stop that both must hear before either hears more: `STOP. Everything out.`"""
_EARCON = {"HOLD": "hold", "RELEASE": "release", "STOP": "danger"}


def rank_of(said: Said) -> int:
    """A stop or an alarm, a cue to the helper, a prompt or caution, or the rest."""
    if said.cue == "STOP" or (said.signal == "DANGER" and said.key.startswith("reply:")):
        return STOP
    if said.cue:
        return CUE
    if said.signal or said.key.partition(":")[0] in ("prompt", "helper", "caution"):
        return PROMPT
    return REST


def ranked(turn: Sequence[Said]) -> list[tuple[int, Said]]:
    """A turn's parts with their ranks, in the order they are to be said.

    Stops come first. Otherwise a turn keeps its order: what leads up to a cue or a prompt shares
    its rank, for a caution comes before the act, and a verdict before the next question.
    """
    out: list[tuple[int, Said]] = []
    lead = REST
    for said in reversed(turn):
        rank = rank_of(said)
        if rank != STOP:
            rank = lead = min(rank, lead)
        out.append((rank, said))
    out.reverse()
    return sorted(out, key=lambda pair: pair[0] != STOP)


def utterances(rank: int, order: int, said: Said, voice: str) -> list[Utterance]:
    """The utterance, or two: what is long in a stop waits until the other has heard his."""
    earcon, parts = _shape(said)
    if rank != STOP or len(parts) <= HEAD:
        return [Utterance(rank, order, said, voice, earcon, parts)]
    return [
        Utterance(STOP, order, said, voice, earcon, parts[:HEAD]),
        Utterance(PROMPT, order, said, voice, "", parts[HEAD:]),
    ]


def _shape(said: Said) -> tuple[str, list[str]]:
    parts = sentences(spoken(said.text))
    if said.signal and not said.cue and rank_of(said) != STOP:
        parts.insert(0, f"{said.signal.capitalize()}.")
    return _EARCON.get(said.cue, ""), parts


# --- Outputs: a loudspeaker through PortAudio, or none, keeping what would be heard.

BLOCK = 256
"""Samples a block, 16 ms."""


class Output(Protocol):
    """What a mouth speaks into."""

    name: str
    playing: Playing

    def check(self) -> bool:
        """Whether the output is there; called several times a second, also to bring it back."""

    def hush(self) -> None:
        """Be silent now, and drop what was to be played."""

    def close(self) -> None:
        """Let go of the device."""


class SilentPlayer:
    """No loudspeaker: time passes by `run`, and what would be heard is kept.

    Attributes:
        now: seconds run so far, the clock of its chunks.
    """

    def __init__(self, name: str = "none", keep: bool = True) -> None:
        self.name = name
        self.now = 0.0
        self.playing = Playing(lambda: self.now)
        self._keep = keep
        self._blocks: list[Samples] = []

    def run(self, count: int) -> Samples:
        """Let `count` samples pass; returns them."""
        block = self.playing.fill(count, self.now)
        self.now += count / RATE
        if self._keep:
            self._blocks.append(block)
        return block

    def heard(self) -> Samples:
        """Everything since the beginning."""
        return np.concatenate([*self._blocks, np.zeros(0, dtype=np.float32)])

    def check(self) -> bool:
        """Always there."""
        return True

    def hush(self) -> None:
        """Be silent now."""
        self.playing.hush()

    def close(self) -> None:
        """Nothing to let go of."""


class Player(Port):
    """A loudspeaker.

    Lost while playing, it keeps its queue, and says the sentence again that was cut off.
    """

    kind = "output"
    block = BLOCK

    def __init__(
        self, device: str | int | None = None, on_lost: Teller = None, on_back: Teller = None
    ) -> None:
        """See `Port`."""
        self.playing = Playing()
        self._up: soxr.ResampleStream | None = None
        self._over = np.zeros(0, dtype=np.float32)
        self._rate = RATE
        super().__init__(device, on_lost, on_back)

    def hush(self) -> None:
        """Be silent now."""
        self.playing.hush()

    def _when_opened(self, rate: int) -> None:
        self._rate = rate
        self._up = None
        if rate != RATE:
            self._up = soxr.ResampleStream(RATE, rate, 1, dtype="float32", quality="MQ")
        self._over = self._over[:0]

    def _when_lost(self) -> None:
        self.playing.rewind()

    def _callback(self, data: Any, frames: int, times: Any, status: object) -> None:
        ahead = times.outputBufferDacTime - times.currentTime
        # Some back ends give no times; then the block is heard after the latency asked for.
        at = self._called() + (ahead if 0 < ahead < 1 else self.latency_wanted_s)
        data[:] = self._block(frames, at)[:, None]

    def _block(self, frames: int, at: float) -> Samples:
        if self._up is None:
            return self.playing.fill(frames, at)
        while len(self._over) < frames:
            more = self.playing.fill(BLOCK, at + len(self._over) / self._rate)
            self._over = np.concatenate([self._over, self._up.resample_chunk(more)])
        block, self._over = self._over[:frames], self._over[frames:]
        return block
