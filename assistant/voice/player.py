"""Outputs: a loudspeaker through PortAudio, or none, keeping what would be heard."""

from __future__ import annotations

import contextlib
import time
from collections.abc import Callable
from typing import Any, Protocol

import numpy as np
import soxr

from .audio import RATE, AudioError, Samples
from .playing import Playing
from .ports import PORTS

BLOCK = 256
"""Samples a block, 16 ms."""
LATENCY_S = 0.04
LOST_AFTER_S = 0.5
RETRY_S = 1.0


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


class Player:
    """A loudspeaker.

    Lost while playing, it keeps its queue, says so once, tries to open its device by name every
    second, and says the sentence again that was cut off.
    """

    def __init__(
        self,
        device: str | int | None = None,
        on_lost: Callable[[str], None] | None = None,
        on_back: Callable[[str], None] | None = None,
    ) -> None:
        """Open `device`: a PortAudio name or number, None for the system's own.

        The callbacks are given one clear line, from the thread that calls `check`.

        Raises:
            AudioError: there is no such device, or it cannot be opened.
        """
        self.playing = Playing()
        self._on_lost = on_lost
        self._on_back = on_back
        self._stream: Any = None
        self._rate = RATE
        self._up: soxr.ResampleStream | None = None
        self._over = np.zeros(0, dtype=np.float32)
        self._called = 0.0
        self._tried = 0.0
        self._gone = False
        self._closed = False
        self.name = PORTS.name_of(device, "output")
        PORTS.add(self)
        self._open()

    @property
    def latency_s(self) -> float:
        """Seconds from a block's filling to its sound, as PortAudio says."""
        return float(self._stream.latency) if self._stream is not None else 0.0

    def hush(self) -> None:
        """Be silent now."""
        self.playing.hush()

    def check(self) -> bool:
        """Whether the loudspeaker is there; brings it back when it can."""
        with PORTS.lock:
            if self._closed:
                return False
            late = time.monotonic() - self._called > LOST_AFTER_S
            if self._stream is not None and self._stream.active and not late:
                return True
            self.suspend()
            new = not self._gone
            self._gone = True
        if new:
            self.playing.rewind()
            self._tell(self._on_lost, "is gone; plug it in again")
        elif time.monotonic() - self._tried >= RETRY_S:
            return self._retry()
        return False

    def _retry(self) -> bool:
        self._tried = time.monotonic()
        try:
            PORTS.look_again(self, self.name, "output")
            self._open()
        except AudioError:
            return False
        self._gone = False
        self._tell(self._on_back, "is back")
        return True

    def _tell(self, whom: Callable[[str], None] | None, what: str) -> None:
        if whom is not None:
            whom(f"loudspeaker {self.name} {what}")

    def close(self) -> None:
        """Stop and let go of the device."""
        with PORTS.lock:
            self._closed = True
            self.suspend()
        PORTS.remove(self)

    # --- PortAudio's side ---

    def suspend(self) -> None:
        """Close the stream; the queue stays."""
        stream, self._stream = self._stream, None
        if stream is not None:
            PORTS.end(stream)

    def resume(self) -> None:
        """Open it again, if it was not lost."""
        if not self._gone and not self._closed and self._stream is None:
            with contextlib.suppress(AudioError):  # the next check finds it gone
                self._open()

    def _open(self) -> None:
        with PORTS.lock:
            stream, self._rate = PORTS.open("output", self.name, self._callback, BLOCK, LATENCY_S)
            self._up = None
            if self._rate != RATE:
                self._up = soxr.ResampleStream(RATE, self._rate, 1, dtype="float32", quality="MQ")
            self._over = self._over[:0]
            self._called = time.monotonic() + 2.0  # patience while it starts
            PORTS.start(stream)
            self._stream = stream

    def _callback(self, out: Any, frames: int, times: Any, _status: object) -> None:
        self._called = time.monotonic()
        ahead = times.outputBufferDacTime - times.currentTime
        # Some back ends give no times; then the block is heard after the stream's latency.
        at = self._called + (ahead if 0 < ahead < 1 else LATENCY_S)
        out[:] = self._block(frames, at)[:, None]

    def _block(self, frames: int, at: float) -> Samples:
        if self._up is None:
            return self.playing.fill(frames, at)
        while len(self._over) < frames:
            more = self._up.resample_chunk(
                self.playing.fill(BLOCK, at + len(self._over) / self._rate)
            )
            self._over = np.concatenate([self._over, more])
        block, self._over = self._over[:frames], self._over[frames:]
        return block
