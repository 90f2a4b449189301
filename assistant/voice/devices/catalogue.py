"""Which sound devices there are, and which one is meant."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from assistant.voice.devices.audio import AudioError

LABEL = {"input": "microphone", "output": "loudspeaker"}


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


def library() -> Any:
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


def listed(sd: Any) -> list[Device]:
    """All inputs and outputs that PortAudio found when it was started.

    Raises:
        AudioError: it cannot list them.
    """
    try:
        chosen = list(sd.default.device)
        found = list(sd.query_devices())
    except sd.PortAudioError as error:
        raise AudioError(f"no sound devices can be listed: {reason(error)}") from None
    default = {(True, True): "both", (True, False): "input", (False, True): "output"}
    return [
        Device(
            i,
            d["name"],
            d["max_input_channels"],
            d["max_output_channels"],
            float(d["default_samplerate"]),
            default.get((i == chosen[0], i == chosen[1]), ""),
        )
        for i, d in enumerate(found)
    ]


def meant(devices: Iterable[Device], device: str | int | None, kind: str) -> Device:
    """The device for "input" or "output" that is meant by a number, a name or a part of one.

    Raises:
        AudioError: there is none, or the name fits several.
    """
    fit = [d for d in devices if (d.inputs if kind == "input" else d.outputs)]
    if not fit:
        raise AudioError(f"there is no {LABEL[kind]}; plug one in, or use lugcall chat")
    if device is None:
        return next((d for d in fit if d.default in (kind, "both")), fit[0])
    if isinstance(device, int) or device.isdigit():
        fit = [d for d in fit if d.number == int(device)]
    else:
        exact = [d for d in fit if base(d.name) == base(device)]
        fit = exact or [d for d in fit if device.lower() in d.name.lower()]
    if len(fit) == 1 or (fit and len({base(d.name) for d in fit}) == 1):
        return fit[0]
    what = f"several are called {device!r}" if fit else f"no {LABEL[kind]} is called {device!r}"
    raise AudioError(f"{what}; lugcall devices lists them by number")


def base(name: str) -> str:
    """A name without ALSA's card number, which changes when a device is plugged in again."""
    return re.sub(r"\s*\((?:plug)?hw:[^)]*\)$", "", name).lower()


def reason(error: Exception) -> str:
    """What PortAudio says is wrong."""
    text = str(error.args[0]) if error.args else repr(error)
    return text.removeprefix("Error opening ").rstrip(".")
