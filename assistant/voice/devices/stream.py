"""One device in use: opened by name, watched, told of when it goes, opened again when it is back.

`check` must be called several times a second; whatever is at the other end (a queue of frames or
of speech) stays as it is meanwhile.
"""

from __future__ import annotations

import contextlib
import json
import os
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from typing import Any, Protocol

from assistant.voice.devices import catalogue
from assistant.voice.devices.audio import RATE, AudioError
from assistant.voice.devices.catalogue import LABEL, Device, base, reason

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


# --- PortAudio, shared by all inputs and outputs of the process.
#
# PortAudio lists devices once, when it starts. A device plugged in later is only seen after it is
# started anew, and that closes every stream: so all streams are opened here, and put back.

LOOK_EVERY_S = 5.0
"""How often a second process looks for a lost device while other streams run."""
_LIST = (
    "import json, sounddevice as s; print(json.dumps([[d['name'], d['max_input_channels'], "
    "d['max_output_channels']] for d in s.query_devices()]))"
)


class User(Protocol):
    """Whoever has a stream open, or would have if its device were not lost."""

    @property
    def lost(self) -> bool:
        """Whether its device is away."""

    def suspend(self) -> None:
        """Close the stream, keep everything else."""

    def resume(self) -> None:
        """Open it again."""


def quiet_libraries() -> None:
    """Send what PortAudio and ALSA print about lost devices nowhere; Python's own errors stay.

    They write to file descriptor 2 themselves, in the midst of whatever is on the screen.
    """
    kept = os.dup(2)
    sys.stderr.flush()
    sys.stderr = os.fdopen(kept, "w", buffering=1, errors="backslashreplace")
    os.dup2(os.open(os.devnull, os.O_WRONLY), 2)


class Ports:
    """The library and its open streams. `lock` is held while a stream is opened or closed."""

    def __init__(self) -> None:
        self.lock = threading.RLock()
        self._users: list[User] = []
        self._looked = 0.0

    def library(self) -> Any:
        """The `sounddevice` module; see `catalogue.library`."""
        return catalogue.library()

    def devices(self) -> list[Device]:
        """All inputs and outputs known since PortAudio was started."""
        sd = self.library()
        with self.lock:
            return catalogue.listed(sd)

    def find(self, device: str | int | None, kind: str) -> Device:
        """The device meant by a number, a name or a part of one; see `catalogue.meant`."""
        return catalogue.meant(self.devices(), device, kind)

    def name_of(self, device: str | int | None, kind: str) -> str:
        """The name of the device meant."""
        return self.find(device, kind).name

    # --- streams ---

    def open(
        self, kind: str, name: str, callback: Callable[..., None], block: int, latency: float
    ) -> tuple[Any, int]:
        """A stream of float32 on the device `name`, not yet started, and its sample rate.

        It is opened at `RATE` and mono where the device takes that, else at the device's own rate,
        with one channel or two.

        Raises:
            AudioError: there is no such device, or it cannot be opened.
        """
        sd = self.library()
        make = sd.InputStream if kind == "input" else sd.OutputStream
        with self.lock:
            device = self.find(name, kind)
            if base(device.name) != base(name):  # a part of another's name is not it, back again
                raise AudioError(f"{name} is not there; plug it in again")
            rates = dict.fromkeys((RATE, int(device.rate)))
            problem = ""
            for rate in rates:
                for channels in (1, 2):
                    try:
                        stream = make(
                            device=device.number,
                            samplerate=rate,
                            channels=channels,
                            dtype="float32",
                            blocksize=round(block * rate / RATE),
                            latency=latency,
                            callback=callback,
                        )
                        return stream, rate
                    except (sd.PortAudioError, ValueError) as error:
                        problem = problem or reason(error)
        raise AudioError(f"{name} cannot be opened: {problem}; lugcall devices shows what works")

    def start(self, stream: Any) -> None:
        """Let a stream run.

        Raises:
            AudioError: the device went away between opening and starting.
        """
        sd = self.library()
        try:
            stream.start()
        except sd.PortAudioError as error:
            self.end(stream)
            raise AudioError(f"the sound device does not start: {reason(error)}") from None

    def end(self, stream: Any) -> None:
        """Close a stream, whatever state it is in."""
        sd = self.library()
        with self.lock:
            try:
                stream.abort(ignore_errors=True)
                stream.close(ignore_errors=True)
            except sd.PortAudioError:
                pass

    def add(self, user: User) -> None:
        """Remember who has a stream."""
        with self.lock:
            self._users.append(user)

    def remove(self, user: User) -> None:
        """Forget it."""
        with self.lock:
            if user in self._users:
                self._users.remove(user)

    def look_again(self, seeker: User, name: str, kind: str) -> None:
        """See whether a lost device is back, disturbing other streams only when it is.

        With no other stream at work, PortAudio is simply started anew. Else the device may still
        open under its old number; every few seconds another process lists the devices, and if that
        sees one that this process does not, the others are closed and opened again.
        """
        with self.lock:
            if all(u is seeker or u.lost for u in self._users):
                self._restart()
                return
            if time.monotonic() - self._looked < LOOK_EVERY_S:
                return
            self._looked = time.monotonic()
            known = {d.name for d in self.devices()}
        column = 1 if kind == "input" else 2
        for row in _listed_elsewhere():
            if base(row[0]) == base(name) and row[column] and row[0] not in known:
                with self.lock:
                    self._restart()
                return

    def _restart(self) -> None:
        sd = self.library()
        for user in self._users:
            user.suspend()
        try:
            sd._terminate()
            sd._initialize()
        except sd.PortAudioError:
            pass  # the next look tries again
        for user in self._users:
            user.resume()


def _listed_elsewhere() -> list[list[Any]]:
    try:
        got = subprocess.run(
            [sys.executable, "-c", _LIST], capture_output=True, timeout=10, check=True
        )
        rows: list[list[Any]] = json.loads(got.stdout)
        return rows
    except (OSError, subprocess.SubprocessError, ValueError):
        return []


PORTS = Ports()
"""The one of this process."""
