"""PortAudio, shared by all inputs and outputs of the process.

PortAudio lists devices once, when it starts. A device plugged in later is only seen after it is
started anew, and that closes every stream: so all streams are opened here, and put back.
"""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Protocol

from .audio import RATE, AudioError

LOOK_EVERY_S = 5.0
"""How often a second process looks for a lost device while other streams run."""
_LIST = (
    "import json, sounddevice as s; print(json.dumps([[d['name'], d['max_input_channels'], "
    "d['max_output_channels']] for d in s.query_devices()]))"
)


@dataclass(frozen=True, slots=True)
class Device:
    """A microphone or loudspeaker as PortAudio lists it.

    Attributes:
        number: its index, which changes when devices come and go.
        name: what it is called; stays.
        inputs, outputs: channels.
        rate: its own sample rate.
        default: "input", "output", "both" or "": whether the system uses it unasked.
    """

    number: int
    name: str
    inputs: int
    outputs: int
    rate: float
    default: str = ""


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
        """The `sounddevice` module.

        Raises:
            AudioError: it, or the PortAudio library behind it, is missing.
        """
        try:
            import sounddevice
        except (OSError, ImportError):
            raise AudioError(
                "the PortAudio library is missing, so there is no sound; install it "
                "(Debian: apt-get install libportaudio2), or use lugcall chat"
            ) from None
        return sounddevice

    def devices(self) -> list[Device]:
        """All inputs and outputs known since PortAudio was started."""
        sd = self.library()
        with self.lock:
            try:
                chosen = list(sd.default.device)
                found = list(sd.query_devices())
            except sd.PortAudioError as error:
                raise AudioError(f"no sound devices can be listed: {_reason(error)}") from None
        out = []
        for i, d in enumerate(found):
            default = {(True, True): "both", (True, False): "input", (False, True): "output"}.get(
                (i == chosen[0], i == chosen[1]), ""
            )
            ins, outs = d["max_input_channels"], d["max_output_channels"]
            rate = float(d["default_samplerate"])
            out.append(Device(i, d["name"], ins, outs, rate, default))
        return out

    def find(self, device: str | int | None, kind: str) -> Device:
        """The device for "input" or "output" that is meant by a number, a name or a part of one.

        Raises:
            AudioError: there is none, or the name fits several.
        """
        label = {"input": "microphone", "output": "loudspeaker"}[kind]
        fit = [d for d in self.devices() if (d.inputs if kind == "input" else d.outputs)]
        if not fit:
            raise AudioError(f"there is no {label}; plug one in, or use lugcall chat")
        if device is None:
            return next((d for d in fit if d.default in (kind, "both")), fit[0])
        if isinstance(device, int) or device.isdigit():
            fit = [d for d in fit if d.number == int(device)]
        else:
            exact = [d for d in fit if _base(d.name) == _base(device)]
            fit = exact or [d for d in fit if device.lower() in d.name.lower()]
        if len(fit) == 1 or (fit and len({_base(d.name) for d in fit}) == 1):
            return fit[0]
        what = f"several are called {device!r}" if fit else f"no {label} is called {device!r}"
        raise AudioError(f"{what}; lugcall devices lists them by number")

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
                        problem = problem or _reason(error)
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
            raise AudioError(f"the sound device does not start: {_reason(error)}") from None

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
            if _base(row[0]) == _base(name) and row[column] and row[0] not in known:
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


def _base(name: str) -> str:
    """A name without ALSA's card number, which changes when a device is plugged in again."""
    return re.sub(r"\s*\((?:plug)?hw:[^)]*\)$", "", name).lower()


def _reason(error: Exception) -> str:
    text = str(error.args[0]) if error.args else repr(error)
    return text.removeprefix("Error opening ").rstrip(".")


PORTS = Ports()
"""The one of this process."""
