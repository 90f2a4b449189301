"""A microphone as a queue of frames, through PortAudio; gone and back again without ado."""

from __future__ import annotations

import queue
import threading
from dataclasses import dataclass
from typing import Any

import numpy as np
import soxr

from assistant.voice.devices.audio import FRAME, FRAME_S, RATE, Samples
from assistant.voice.devices.stream import Port, Teller

KEEP_S = 20.0
"""Frames that nobody takes are kept for this long; then the oldest are dropped and counted."""
_WATCH_S = 0.1


@dataclass(frozen=True, slots=True)
class Frame:
    """`FRAME` samples at `RATE`, and the `time.monotonic` at which the first one sounded."""

    samples: Samples
    at: float


class Framer:
    """Cuts what a device delivers, at its rate and in its pieces, into frames."""

    def __init__(self, rate: int = RATE) -> None:
        """`rate`: samples a second that come in; resampled as they come when it is not `RATE`."""
        self._down = None
        if rate != RATE:
            self._down = soxr.ResampleStream(rate, RATE, 1, dtype="float32", quality="HQ")
        self._left = np.zeros(0, dtype=np.float32)
        self._at = 0.0

    def take(self, samples: Samples, until: float) -> list[Frame]:
        """The frames that are full now; `samples` ended sounding at the time `until`."""
        if self._down is not None:
            samples = self._down.resample_chunk(samples)
        left = np.concatenate([self._left, samples])
        at = until - len(left) / RATE
        # Delivery times jitter; sound does not. A jump means that something was lost.
        if abs(at - self._at) > 0.03:
            self._at = at
        else:
            self._at += 0.02 * (at - self._at)
        frames = []
        while len(left) >= FRAME:
            frames.append(Frame(left[:FRAME], self._at))
            left = left[FRAME:]
            self._at += FRAME_S
        self._left = left
        return frames


class Microphone(Port):
    """Frames from a device.

    Attributes:
        dropped: frames that nobody took in time.
        zeros_s: seconds of exact zeros up to now: a muted or unplugged microphone that its driver
            does not tell of.
    """

    kind = "input"
    block = FRAME

    def __init__(
        self, device: str | int | None = None, on_lost: Teller = None, on_back: Teller = None
    ) -> None:
        """See `Port`; the callbacks come from a thread of its own."""
        self.dropped = 0
        self.zeros_s = 0.0
        self._queue: queue.Queue[Frame] = queue.Queue(round(KEEP_S / FRAME_S))
        self._framer = Framer()
        self._rate = RATE
        self._over = threading.Event()
        super().__init__(device, on_lost, on_back)
        self._watcher = threading.Thread(target=self._watch, daemon=True)
        self._watcher.start()

    def get(self, timeout_s: float = 0.2) -> Frame | None:
        """The next frame, or None when none comes in `timeout_s`: look after other things."""
        try:
            return self._queue.get(timeout=timeout_s)
        except queue.Empty:
            return None

    def close(self) -> None:
        """Stop and let go of the device."""
        self._over.set()
        super().close()
        if threading.current_thread() is not self._watcher:
            self._watcher.join(timeout=2.0)

    def _watch(self) -> None:
        while not self._over.wait(_WATCH_S):
            self.check()

    def _when_opened(self, rate: int) -> None:
        self._framer = Framer(rate)
        self._rate = rate
        self.zeros_s = 0.0

    def _callback(self, data: Any, frames: int, times: Any, status: object) -> None:
        now = self._called()
        ago = times.currentTime - times.inputBufferAdcTime
        began = now - (ago if 0 < ago < 1 else self.latency_wanted_s)
        mono = np.ascontiguousarray(data.mean(axis=1), dtype=np.float32)
        length_s = frames / self._rate
        self.zeros_s = 0.0 if mono.any() else self.zeros_s + length_s
        for frame in self._framer.take(mono, began + length_s):
            while True:
                try:
                    self._queue.put_nowait(frame)
                    break
                except queue.Full:
                    self._queue.get_nowait()
                    self.dropped += 1
