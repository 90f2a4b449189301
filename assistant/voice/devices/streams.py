"""One device in use: opened by name, watched, told of when it goes, opened again when it is back.

`check` must be called several times a second; whatever is at the other end (a queue of frames or
of speech) stays as it is meanwhile.
"""

from __future__ import annotations

import contextlib
import queue
import threading
import time
from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np
import soxr

from assistant.voice.devices.audio import FRAME, FRAME_S, RATE, AudioError, Samples
from assistant.voice.devices.portaudio import PORTAUDIO

LOST_AFTER_S = 1.2
"""A device whose driver has not called for this long is gone. On a machine that is busy with other
things a call has come 0.6 s late: a false alarm in the midst of a cue is worse than a late one."""
STARTING_S = 2.5
"""As long as it may take to the first call."""
RETRY_S = 1.0

Told = Callable[[], object]


class DeviceStream:
    """A stream on a device of that name, for `Microphone` and `output.player.Player` to build on;
    `lost` while the device is away."""

    kind = ""
    block = 0
    latency_wanted_s = 0.04

    def __init__(
        self, device: str | None = None, on_lost: Told = lambda: None, on_back: Told = lambda: None
    ) -> None:
        """Open `device`: a PortAudio name or number, None for the system's own; `AudioError` if
        there is no such device, or it cannot be opened. `on_lost` and `on_back` are called by
        `check`, in its thread."""
        self.lost = False
        self._on_lost, self._on_back = on_lost, on_back
        self._stream: Any = None
        self._alive_until = 0.0
        self._tried = 0.0
        self._closed = False
        self.name = PORTAUDIO.find(device, self.kind).name
        self._open()
        with PORTAUDIO.lock:
            PORTAUDIO.streams.append(self)

    def check(self) -> bool:
        """Whether the device is there; brings it back when it can."""
        with PORTAUDIO.lock:
            if self._closed:
                return False
            alive = time.monotonic() < self._alive_until
            if self._stream is not None and self._stream.active and alive:
                return True
            self.suspend()
            new = not self.lost
            self.lost = True
        if new:
            self._when_lost()
            self._on_lost()
        elif time.monotonic() - self._tried >= RETRY_S:
            return self._retry()
        return False

    def close(self) -> None:
        """Stop and let go of the device."""
        with PORTAUDIO.lock:
            self._closed = True
            self.suspend()
            if self in PORTAUDIO.streams:
                PORTAUDIO.streams.remove(self)

    def suspend(self) -> None:
        """Close the stream; what waits stays."""
        stream, self._stream = self._stream, None
        if stream is not None:
            PORTAUDIO.end(stream)

    def resume(self) -> None:
        """Open it again, if it was not lost."""
        if not self.lost and not self._closed and self._stream is None:
            with contextlib.suppress(AudioError):  # the next check finds it gone
                self._open()

    def _retry(self) -> bool:
        self._tried = time.monotonic()
        try:
            PORTAUDIO.look_again(self)
            self._open()
        except AudioError:
            return False
        self.lost = False
        self._on_back()
        return True

    def _open(self) -> None:
        with PORTAUDIO.lock:
            stream, rate = PORTAUDIO.open(self)
            self._when_opened(rate)
            self._alive_until = time.monotonic() + STARTING_S
            PORTAUDIO.start(stream)
            self._stream = stream

    def _called(self) -> float:
        """To be called by the callback; the time now."""
        now = time.monotonic()
        self._alive_until = now + LOST_AFTER_S
        return now

    def callback(self, data: Any, frames: int, times: Any, status: object) -> None:
        """Take or give `frames` samples; called by PortAudio from its own thread."""
        raise NotImplementedError

    def _when_opened(self, rate: int) -> None:
        """The stream was opened at `rate` and is about to start."""

    def _when_lost(self) -> None:
        """The device is gone."""


KEEP_S = 20.0
"""Frames that nobody takes are kept for this long; then the oldest are dropped."""
_WATCH_S = 0.1


class Frame(NamedTuple):
    """`FRAME` samples at `RATE`, and the `time.monotonic` at which the first one sounded."""

    samples: Samples
    at: float


class Framer:
    """Cuts what a device delivers, at its rate and in its pieces, into frames at `RATE`."""

    def __init__(self, rate: int = RATE) -> None:
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
        late = until - len(left) / RATE - self._at
        # Delivery times jitter; sound does not. A jump means that something was lost.
        self._at += late if abs(late) > 0.03 else 0.02 * late
        frames = []
        while len(left) >= FRAME:
            frames.append(Frame(left[:FRAME], self._at))
            left = left[FRAME:]
            self._at += FRAME_S
        self._left = left
        return frames


class Microphone(DeviceStream):
    """Frames from a device."""

    kind = "input"
    block = FRAME

    def __init__(self, device: str | None = None, *told: Told) -> None:
        """See `DeviceStream`; the callbacks come from a thread of its own."""
        self._queue: queue.Queue[Frame] = queue.Queue(round(KEEP_S / FRAME_S))
        self._over = threading.Event()
        super().__init__(device, *told)
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

    def callback(self, data: Any, frames: int, times: Any, status: object) -> None:
        """See `DeviceStream`."""
        now = self._called()
        ago = times.currentTime - times.inputBufferAdcTime
        began = now - (ago if 0 < ago < 1 else self.latency_wanted_s)
        mono = np.ascontiguousarray(data.mean(axis=1), dtype=np.float32)
        for frame in self._framer.take(mono, began + frames / self._rate):
            if self._queue.full():
                with contextlib.suppress(queue.Empty):  # just taken by whoever listens
                    self._queue.get_nowait()
            self._queue.put_nowait(frame)  # only this thread puts any
