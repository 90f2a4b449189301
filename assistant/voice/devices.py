"""`lugcall devices`: what is plugged in, what the microphone is worth, whether both ends work."""

from __future__ import annotations

import time
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import soundfile

from .audio import AudioError, Samples
from .catalogue import Device
from .earcons import NAMES, earcon
from .inputs import Microphone
from .player import Player
from .ports import PORTS
from .speech import Speech, SpeechError
from .verdict import Verdict, microphone_verdict
from .way_back import Echo, heard_back

SENTENCE = "This is lugcall. Nine sixteenths. Check?"
_PAUSE = np.zeros(4000, dtype=np.float32)
_MARK = {"both": "microphone and loudspeaker in use", "input": "microphone in use"}
_MARK["output"] = "loudspeaker in use"


@dataclass(slots=True)
class DevicesReport:
    """What was found.

    Attributes:
        devices: all that is plugged in; empty for a file.
        source: the microphone or file that was judged, or "".
        verdict: on it, or None when there is no microphone.
        loudspeaker: the one that was tested, or "".
        echo: whether the microphone heard it, or None when not tested.
        problems: one line each, beside the microphone's own.
    """

    devices: list[Device] = field(default_factory=list)
    source: str = ""
    verdict: Verdict | None = None
    loudspeaker: str = ""
    echo: Echo | None = None
    problems: list[str] = field(default_factory=list)

    @property
    def ok(self) -> bool:
        """Whether a job can be done by voice with this: the command's exit code."""
        return not self.problems and self.verdict is not None and self.verdict.ok

    def lines(self) -> list[str]:
        """For people."""
        out = []
        for d in self.devices:
            kind = "/".join(k for k, n in (("in", d.inputs), ("out", d.outputs)) if n)
            mark = f"  <- {_MARK[d.default]}" if d.default else ""
            out.append(f"{d.number:3}  {kind:6}  {d.name}{mark}")
        if self.verdict is not None:
            first, *rest = self.verdict.lines()
            out += [f"{self.source}: {first}", *(f"  {line}" for line in rest)]
        if self.echo is not None:
            out.append(f"{self.loudspeaker}: {_echo_line(self.echo)}")
        return out + self.problems

    def as_json(self) -> dict[str, Any]:
        """For programs."""
        return {
            "ok": self.ok,
            "devices": [asdict(d) for d in self.devices],
            "source": self.source,
            "microphone": self.verdict.as_json() if self.verdict is not None else None,
            "loudspeaker": self.loudspeaker,
            "echo": asdict(self.echo) if self.echo is not None else None,
            "problems": self.problems,
        }


def _echo_line(got: Echo) -> str:
    if not got.heard:
        return (
            "played the signals and a sentence; the microphone did not hear them. That is right "
            "with a headset; else turn the loudspeaker up, or name another with its number."
        )
    return (
        f"played the signals and a sentence; the microphone heard them {got.delay_s * 1000:.0f} ms "
        f"later, at {got.path_db:+.0f} dB."
    )


def devices_report(
    mic: str | int | None = None,
    speaker: str | int | None = None,
    seconds: float = 3.0,
    test: bool = False,
    file: Path | None = None,
) -> DevicesReport:
    """List the devices and judge a microphone (or a recording of one); with `test`, play as well.

    Args:
        mic, speaker: numbers or names as listed; None for the system's own.
        seconds: how long to listen.

    Raises:
        AudioError: there is no sound at all here, or `file` cannot be read, or no such device.
    """
    if file is not None:
        return DevicesReport(source=str(file), verdict=_judged(file))
    report = DevicesReport(PORTS.devices())
    if not report.devices:
        raise AudioError("there is no microphone and no loudspeaker; plug in a headset")
    microphone: Microphone | None = None
    try:
        if any(d.inputs for d in report.devices) or mic is not None:
            microphone = Microphone(mic)
            report.source = microphone.name
            taken = _record(microphone, seconds)[0]
            report.verdict = microphone_verdict(taken)
        else:
            report.problems.append("There is no microphone; plug one in.")
        if not any(d.outputs for d in report.devices):
            report.problems.append("There is no loudspeaker; plug one in.")
        elif test:
            _test(report, speaker, microphone)
    finally:
        if microphone is not None:
            microphone.close()
    return report


def _judged(file: Path) -> Verdict:
    """On a recording at its own rate: resampling would round clipped tops."""
    try:
        data, rate = soundfile.read(file, dtype="float32", always_2d=True)
    except (OSError, soundfile.SoundFileError):
        what = "there is no such file" if not file.exists() else "it is not a sound file"
        raise AudioError(f"cannot read {file}: {what}; give a WAV or FLAC file") from None
    return microphone_verdict(np.nan_to_num(data[:, 0]), rate)


def _record(microphone: Microphone, seconds: float) -> tuple[Samples, float]:
    """The next `seconds`, and the time at which they end; less when the microphone goes away."""
    blocks: list[Samples] = []
    end = time.monotonic() + seconds + 2.0
    until = 0.0
    while sum(map(len, blocks)) < seconds * 16_000 and time.monotonic() < end:
        frame = microphone.get()
        if frame is not None:
            blocks.append(frame.samples)
            until = frame.at + len(frame.samples) / 16_000
    if not blocks:
        raise AudioError(f"{microphone.name} sends nothing; unplug it, plug it in and try again")
    return np.concatenate(blocks), until


def _test(report: DevicesReport, speaker: str | int | None, microphone: Microphone | None) -> None:
    player = Player(speaker)
    report.loudspeaker = player.name
    try:
        with Speech() as speech:
            sounds = [np.concatenate([earcon(name), _PAUSE]) for name in NAMES]
            try:
                sounds.append(speech.samples(SENTENCE))
            except SpeechError as error:
                report.problems.append(str(error))
        for sound in sounds:
            player.playing.play(sound)
        seconds = sum(map(len, sounds)) / 16_000 + 0.8
        if microphone is None:
            while player.playing.busy() and player.check():
                time.sleep(0.05)
            return
        while microphone.get(0.0) is not None:
            pass  # what came in meanwhile is old
        recorded, until = _record(microphone, seconds)
        played = player.playing.reference(len(recorded) / 16_000, until)
        report.echo = heard_back(played[: len(recorded)], recorded)
    finally:
        player.close()
