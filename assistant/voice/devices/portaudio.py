"""PortAudio, shared by all inputs and outputs of the process: its devices, and streams on them.

PortAudio lists devices once, when it starts. A device plugged in later is only seen after it is
started anew, and that closes every stream: so all streams are opened here, and put back.
"""

from __future__ import annotations

import contextlib
import json
import os
import re
import subprocess
import sys
import threading
import time
from dataclasses import dataclass
from itertools import product
from typing import TYPE_CHECKING, Any

from assistant.voice.devices.audio import RATE, AudioError

if TYPE_CHECKING:
    from assistant.voice.devices.streams import DeviceStream

LABEL = {"input": "microphone", "output": "loudspeaker"}
LOOK_EVERY_S = 5.0
"""How often a second process looks for a lost device while other streams run."""
_LIST = (
    "import json, sounddevice as s; print(json.dumps([[d['name'], d['max_input_channels'], "
    "d['max_output_channels']] for d in s.query_devices()]))"
)
_DEFAULT = {(True, True): "both", (True, False): "input", (False, True): "output"}


@dataclass(frozen=True, slots=True)
class SoundDevice:
    """A microphone or loudspeaker as PortAudio lists it, with its channels. The number changes when
    devices come and go, the name stays; `default` is "input", "output", "both" or "", for what the
    system uses it unasked."""

    number: int
    name: str
    inputs: int
    outputs: int
    rate: float
    default: str = ""


def quiet_libraries() -> None:
    """Send what PortAudio and ALSA print about lost devices nowhere, for they write to file
    descriptor 2 in the midst of whatever is on the screen; Python's own errors stay."""
    kept = os.dup(2)
    sys.stderr.flush()
    sys.stderr = os.fdopen(kept, "w", buffering=1, errors="backslashreplace")
    os.dup2(os.open(os.devnull, os.O_WRONLY), 2)


class PortAudio:
    """The library and the streams of this process: of everybody who has one, or would have if the
    device were not lost. `lock` is held while a stream is opened or closed."""

    def __init__(self) -> None:
        self.lock = threading.RLock()
        self.streams: list[DeviceStream] = []
        self._looked = 0.0

    def library(self) -> Any:
        """The `sounddevice` module; `AudioError` when it, or PortAudio behind it, is missing."""
        try:
            import sounddevice
        except (OSError, ImportError):
            raise AudioError(
                "the PortAudio library is missing, so there is no sound; install it "
                "(Debian: apt-get install libportaudio2), or use lugcall chat"
            ) from None
        return sounddevice

    def devices(self) -> list[SoundDevice]:
        """All inputs and outputs known since PortAudio was started; `AudioError` if it fails."""
        sd = self.library()
        with self.lock:
            try:
                chosen = list(sd.default.device)
                found = list(sd.query_devices())
            except sd.PortAudioError as error:
                raise AudioError(f"no sound devices can be listed: {_reason(error)}") from None
        return [
            SoundDevice(
                number=i,
                name=d["name"],
                inputs=d["max_input_channels"],
                outputs=d["max_output_channels"],
                rate=float(d["default_samplerate"]),
                default=_DEFAULT.get((i == chosen[0], i == chosen[1]), ""),
            )
            for i, d in enumerate(found)
        ]

    def find(self, device: str | None, kind: str) -> SoundDevice:
        """The device for "input" or "output" meant by a number, a name or a part of one;
        `AudioError` if there is none, or the name fits several."""
        there = [d for d in self.devices() if (d.inputs if kind == "input" else d.outputs)]
        if not there:
            raise AudioError(f"there is no {LABEL[kind]}; plug one in, or use lugcall chat")
        if device is None:
            return next((d for d in there if d.default in (kind, "both")), there[0])
        exact = [d for d in there if _base(d.name) == _base(device)]
        fit = exact or [d for d in there if device.lower() in d.name.lower()]
        if device.isdigit():
            fit = [d for d in there if d.number == int(device)]
        if fit and len({_base(d.name) for d in fit}) == 1:
            return fit[0]
        what = f"several are called {device!r}" if fit else f"no {LABEL[kind]} is called {device!r}"
        raise AudioError(f"{what}; lugcall devices lists them by number")

    def open(self, user: DeviceStream) -> tuple[Any, int]:
        """A stream of float32 on the device of that name, not yet started, and its sample rate:
        `RATE` and mono where the device takes that, else the device's own, with one channel or two.
        `AudioError` if there is no such device, or it cannot be opened."""
        sd = self.library()
        make = sd.InputStream if user.kind == "input" else sd.OutputStream
        with self.lock:
            device = self.find(user.name, user.kind)
            if _base(device.name) != _base(user.name):  # a part of another's name is not it
                raise AudioError(f"{user.name} is not there; plug it in again")
            problem = ""
            for rate, channels in product(dict.fromkeys((RATE, int(device.rate))), (1, 2)):
                try:
                    stream = make(
                        device=device.number,
                        samplerate=rate,
                        channels=channels,
                        dtype="float32",
                        blocksize=round(user.block * rate / RATE),
                        latency=user.latency_wanted_s,
                        callback=user.callback,
                    )
                    return stream, rate
                except (sd.PortAudioError, ValueError) as error:
                    problem = problem or _reason(error)
        problem = f"{user.name} cannot be opened: {problem}"
        raise AudioError(f"{problem}; lugcall devices shows what works")

    def start(self, stream: Any) -> None:
        """Let a stream run; `AudioError` if the device went away since it was opened."""
        try:
            stream.start()
        except self.library().PortAudioError as error:
            self.end(stream)
            raise AudioError(f"the sound device does not start: {_reason(error)}") from None

    def end(self, stream: Any) -> None:
        """Close a stream, whatever state it is in."""
        with self.lock, contextlib.suppress(self.library().PortAudioError):
            stream.abort(ignore_errors=True)
            stream.close(ignore_errors=True)

    def look_again(self, seeker: DeviceStream) -> None:
        """See whether a lost device is back, disturbing other streams only when it is.

        With no other stream at work, PortAudio is simply started anew. Else the device may still
        open under its old number; every few seconds another process lists the devices, and if that
        sees one that this process does not, the others are closed and opened again.
        """
        with self.lock:
            if all(stream is seeker or stream.lost for stream in self.streams):
                self._restart()
                return
            if time.monotonic() - self._looked < LOOK_EVERY_S:
                return
            self._looked = time.monotonic()
            known = {d.name for d in self.devices()}
        column = 1 if seeker.kind == "input" else 2
        for row in _listed_elsewhere():
            if row[column] and row[0] not in known and _base(row[0]) == _base(seeker.name):
                with self.lock:
                    self._restart()
                return

    def _restart(self) -> None:
        sd = self.library()
        for stream in self.streams:
            stream.suspend()
        with contextlib.suppress(sd.PortAudioError):  # the next look tries again
            sd._terminate()
            sd._initialize()
        for stream in self.streams:
            stream.resume()


def _base(name: str) -> str:
    """A name without ALSA's card number, which changes when a device is plugged in again."""
    return re.sub(r"\s*\((?:plug)?hw:[^)]*\)$", "", name).lower()


def _reason(error: Exception) -> str:
    """What PortAudio says is wrong."""
    text = str(error.args[0]) if error.args else repr(error)
    return text.removeprefix("Error opening ").rstrip(".")


def _listed_elsewhere() -> list[list[Any]]:
    """Name, inputs and outputs of each device, as a process just started sees them."""
    try:
        got = subprocess.run(
            [sys.executable, "-c", _LIST], capture_output=True, timeout=10, check=True
        )
        return list(json.loads(got.stdout))
    except (OSError, subprocess.SubprocessError, ValueError):
        return []


PORTAUDIO = PortAudio()
"""The one of this process."""
