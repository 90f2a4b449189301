"""A loudspeaker, or none; and what is to be heard on it, sample by sample, and what was."""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import soxr

from assistant.voice.devices.audio import RATE, Samples
from assistant.voice.devices.streams import DeviceStream, Told

KEEP_S = 12.0
"""How far back `PlaybackBuffer.reference` reaches."""
BLOCK = 256
"""Samples a block, 16 ms."""
_FADE = 80
"""Samples (5 ms) over which a cut-off fades: a click is heard as a knock in the shop."""


@dataclass(slots=True, eq=False)
class Chunk:
    """Samples in the queue, the index of the next one to leave, and when the first and the last are
    heard, by the output's clock: None until it has left."""

    samples: Samples
    at: int = 0
    began: float | None = None
    ends: float | None = None


class PlaybackBuffer:
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
            playing = self._chunks[0] if self._chunks and self._chunks[0].at else None
            self._chunks.clear()
            if playing is not None:
                tail = playing.samples[playing.at : playing.at + _FADE]
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
        """What was heard in the `seconds` up to `until` (default: now), silence as zeros."""
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


class NoLoudspeaker:
    """An output that is never there: nothing is spoken, and the screen is read."""

    name = "none"

    def __init__(self) -> None:
        self.buffer = PlaybackBuffer()

    def check(self) -> bool:
        """Never."""
        return False

    def close(self) -> None:
        """Nothing to let go of."""


class Player(DeviceStream):
    """A loudspeaker. Lost while playing, it keeps its queue, and says the sentence again that was
    cut off."""

    kind = "output"
    block = BLOCK

    def __init__(self, device: str | None = None, *told: Told) -> None:
        """See `DeviceStream`."""
        self.buffer = PlaybackBuffer()
        super().__init__(device, *told)

    def _when_opened(self, rate: int) -> None:
        self._rate = rate
        self._up = None
        if rate != RATE:
            self._up = soxr.ResampleStream(RATE, rate, 1, dtype="float32", quality="MQ")
        self._over = np.zeros(0, dtype=np.float32)

    def _when_lost(self) -> None:
        self.buffer.rewind()

    def callback(self, data: Any, frames: int, times: Any, status: object) -> None:
        """See `DeviceStream`."""
        ahead = times.outputBufferDacTime - times.currentTime
        # Some back ends give no times; then the block is heard after the latency asked for.
        at = self._called() + (ahead if 0 < ahead < 1 else self.latency_wanted_s)
        data[:] = self._block(frames, at)[:, None]

    def _block(self, frames: int, at: float) -> Samples:
        if self._up is None:
            return self.buffer.fill(frames, at)
        while len(self._over) < frames:
            more = self.buffer.fill(BLOCK, at + len(self._over) / self._rate)
            self._over = np.concatenate([self._over, self._up.resample_chunk(more)])
        block, self._over = self._over[:frames], self._over[frames:]
        return block


AudioOutput = Player | NoLoudspeaker
"""What is spoken into."""
