"""PortAudio, shared by all inputs and outputs of the process.

PortAudio lists devices once, when it starts. A device plugged in later is only seen after it is
started anew, and that closes every stream: so all streams are opened here, and put back.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from typing import Any, Protocol

from . import catalogue
from .audio import RATE, AudioError
from .catalogue import Device, base, reason

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
