"""Outputs: a loudspeaker through PortAudio, or none, keeping what would be heard."""

from __future__ import annotations

from typing import Any, Protocol

import numpy as np
import soxr

from .audio import RATE, Samples
from .playing import Playing
from .port import Port, Teller

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
