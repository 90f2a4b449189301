"""One device in use: opened by name, watched, told of when it goes, opened again when it is back.

`check` must be called several times a second; whatever is at the other end (a queue of frames or
of speech) stays as it is meanwhile.
"""

from __future__ import annotations

import contextlib
import time
from collections.abc import Callable
from typing import Any

from .audio import AudioError
from .catalogue import LABEL
from .ports import PORTS

LOST_AFTER_S = 1.2
"""A device whose driver has not called for this long is gone. On a machine that is busy with other
things a call has come 0.6 s late: a false alarm in the midst of a cue is worse than a late one."""
STARTING_S = 2.5
"""As long as it may take to the first call."""
RETRY_S = 1.0

Teller = Callable[[str], None] | None


class Port:
    """A stream on a device, for `Microphone` and `Player` to build on."""

    kind = ""
    block = 0
    latency_wanted_s = 0.04

    def __init__(self, device: str | int | None, on_lost: Teller, on_back: Teller) -> None:
        """Open `device`: a PortAudio name or number, None for the system's own.

        The callbacks are given one clear line, from the thread that calls `check`.

        Raises:
            AudioError: there is no such device, or it cannot be opened.
        """
        self._on_lost = on_lost
        self._on_back = on_back
        self._stream: Any = None
        self._alive_until = 0.0
        self._tried = 0.0
        self._gone = False
        self._closed = False
        self.name = PORTS.name_of(device, self.kind)
        self._open()
        PORTS.add(self)

    @property
    def lost(self) -> bool:
        """Whether the device is away at present."""
        return self._gone

    @property
    def latency_s(self) -> float:
        """Seconds between the device and the callback, as PortAudio says; 0 while lost."""
        stream = self._stream
        return float(stream.latency) if stream is not None else 0.0

    def check(self) -> bool:
        """Whether the device is there; brings it back when it can."""
        with PORTS.lock:
            if self._closed:
                return False
            alive = time.monotonic() < self._alive_until
            if self._stream is not None and self._stream.active and alive:
                return True
            self.suspend()
            new = not self._gone
            self._gone = True
        if new:
            self._when_lost()
            self._tell(self._on_lost, "is gone; plug it in again")
        elif time.monotonic() - self._tried >= RETRY_S:
            return self._retry()
        return False

    def close(self) -> None:
        """Stop and let go of the device."""
        with PORTS.lock:
            self._closed = True
            self.suspend()
        PORTS.remove(self)

    def suspend(self) -> None:
        """Close the stream; what waits stays."""
        stream, self._stream = self._stream, None
        if stream is not None:
            PORTS.end(stream)

    def resume(self) -> None:
        """Open it again, if it was not lost."""
        if not self._gone and not self._closed and self._stream is None:
            with contextlib.suppress(AudioError):  # the next check finds it gone
                self._open()

    def _retry(self) -> bool:
        self._tried = time.monotonic()
        try:
            PORTS.look_again(self, self.name, self.kind)
            self._open()
        except AudioError:
            return False
        self._gone = False
        self._tell(self._on_back, "is back")
        return True

    def _open(self) -> None:
        with PORTS.lock:
            stream, rate = PORTS.open(
                self.kind, self.name, self._callback, self.block, self.latency_wanted_s
            )
            self._when_opened(rate)
            self._alive_until = time.monotonic() + STARTING_S
            PORTS.start(stream)
            self._stream = stream

    def _tell(self, whom: Teller, what: str) -> None:
        if whom is not None:
            whom(f"{LABEL[self.kind]} {self.name} {what}")

    def _called(self) -> float:
        """To be called by the callback; the time now."""
        now = time.monotonic()
        self._alive_until = now + LOST_AFTER_S
        return now

    def _callback(self, data: Any, frames: int, times: Any, status: object) -> None:
        raise NotImplementedError

    def _when_opened(self, rate: int) -> None:
        """The stream was opened at `rate` and is about to start."""

    def _when_lost(self) -> None:
        """The device is gone."""
