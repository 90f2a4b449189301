"""What is wrong with a microphone, in plain lines that say what to do."""

from __future__ import annotations

import time
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import soundfile

from assistant.voice.devices.audio import RATE, AudioError, Samples
from assistant.voice.devices.catalogue import Device
from assistant.voice.devices.level import Measured, measure
from assistant.voice.devices.microphone import Microphone
from assistant.voice.devices.stream import PORTS
from assistant.voice.output.earcons import NAMES, earcon
from assistant.voice.output.player import Player
from assistant.voice.output.synthesizer import Speech, SpeechError

DEAD_DBFS = -84.0
"""Two steps of 16 bits: no microphone is as silent as this."""
QUIET_DBFS = -42.0
"""Speech weaker than this leaves recognition some 8 bits."""
POOR_SNR_DB = 10.0


@dataclass(frozen=True, slots=True)
class Problem:
    """One finding.

    Attributes:
        kind: "dead", "quiet", "clipped", "narrowband", "noisy", "hum", "offset", "gaps", "gate",
            "short" or "no speech".
        text: one line: what is wrong, and what to do.
        grave: whether readings will suffer; else it is only worth knowing.
    """

    kind: str
    text: str
    grave: bool = True


@dataclass(frozen=True, slots=True)
class Verdict:
    """A microphone's figures and what is wrong with it, gravest first."""

    measured: Measured
    problems: tuple[Problem, ...]

    @property
    def ok(self) -> bool:
        """Whether it will do."""
        return not any(p.grave for p in self.problems)

    def lines(self) -> list[str]:
        """For people: levels in one line, then a line a problem."""
        m = self.measured
        speech = f"speech {m.speech_dbfs:.0f} dBFS" if m.speech_dbfs is not None else "no speech"
        over = f", {m.snr_db:.0f} dB over the noise" if m.snr_db is not None else ""
        out = [f"noise {m.noise_dbfs:.0f} dBFS, {speech}{over}, peak {m.peak_dbfs:.0f} dBFS"]
        out += [p.text for p in self.problems]
        return out if self.problems else [*out, "This microphone will do."]

    def as_json(self) -> dict[str, Any]:
        """For programs: `ok`, `problems` (kind, text, grave) and the figures."""
        figures = {
            k: round(v, 5) if isinstance(v, float) else v for k, v in asdict(self.measured).items()
        }
        return {"ok": self.ok, "problems": [asdict(p) for p in self.problems], **figures}


def microphone_verdict(samples: Samples, rate: int = RATE) -> Verdict:
    """Judge a recording in which somebody spoke, or only the shop was heard.

    Args:
        samples: mono, full scale -1 to 1, as the device delivered them.
        rate: samples a second.
    """
    m = measure(samples, rate)
    if m.seconds < 0.5:
        return Verdict(m, (Problem("short", "Too short to judge; record two seconds or more."),))
    if m.peak_dbfs < DEAD_DBFS:
        return Verdict(m, (Problem("dead", _DEAD),))
    return Verdict(m, tuple(sorted(_problems(m), key=lambda p: not p.grave)))


_DEAD = (
    "It hears nothing at all: muted, switched off or not plugged in. Check its switch and cable."
)


def _problems(m: Measured) -> list[Problem]:
    out = []
    if m.clipped > 5e-4:
        out.append(
            Problem(
                "clipped",
                f"Clipped: {m.clipped:.2%} of the samples are at the rail. "
                "Turn its gain down, or move it away from the mouth.",
            )
        )
    if m.speech_dbfs is not None and m.speech_dbfs < QUIET_DBFS:
        out.append(
            Problem(
                "quiet",
                f"Too quiet: speech at {m.speech_dbfs:.0f} dBFS. "
                "Turn its gain up, or bring it nearer to the mouth.",
            )
        )
    if m.narrow:
        out.append(
            Problem(
                "narrowband",
                "Narrowband: nothing above 3.6 kHz comes through, as by telephone. Readings will "
                "have to be said again more often; use it by cable, or another headset.",
            )
        )
    if m.snr_db is not None and m.snr_db < POOR_SNR_DB:
        out.append(
            Problem(
                "noisy",
                f"Noisy: speech is only {m.snr_db:.0f} dB over the noise. "
                "Bring it nearer to the mouth, or turn the noise off.",
            )
        )
    if m.hum_hz and m.hum_dbfs > -55.0:
        out.append(
            Problem(
                "hum",
                f"Mains hum of {m.hum_hz:.0f} Hz at {m.hum_dbfs:.0f} dBFS. "
                "Check its cable and ground, and keep it away from motors and chargers.",
                grave=m.hum_dbfs > -30.0,
            )
        )
    if abs(m.offset) > 0.02:
        out.append(
            Problem(
                "offset",
                f"It is off its middle by {abs(m.offset):.0%} of full scale. "
                "Try another socket or sound adapter.",
                grave=abs(m.offset) > 0.2,
            )
        )
    if m.gaps >= 3:
        out.append(
            Problem(
                "gaps",
                f"{m.gaps} gaps in {m.seconds:.0f} seconds: sound is lost on the way. "
                "Check its cable or radio link, or close other programs.",
            )
        )
    if m.gated > 0.05:
        out.append(
            Problem(
                "gate",
                f"Switched to silence {m.gated:.0%} of the time: a noise gate eats the beginnings "
                "of words. Turn it off.",
                grave=False,
            )
        )
    if m.speech_dbfs is None:
        out.append(Problem("no speech", "Nobody was heard speaking; say a few words.", grave=False))
    return out


# --- Whether a microphone hears what a loudspeaker plays, how late, and how much weaker.

EARLY_S, LATE_S = 0.1, 0.7
"""Where the echo is looked for: the output's own times may be off by some tens of milliseconds."""
_STANDS_OUT = 8.0
"""Peak of the match over its scatter elsewhere. Noise alone reaches some 5."""


@dataclass(frozen=True, slots=True)
class Echo:
    """What came back.

    Attributes:
        heard: whether anything did.
        delay_s: how much later than played; 0 when not heard.
        path_db: its level as recorded, less its level as played; -120 when not heard.
    """

    heard: bool
    delay_s: float = 0.0
    path_db: float = -120.0


def heard_back(played: Samples, recorded: Samples) -> Echo:
    """Look for `played` in `recorded`; both begin at the same time and are equally long."""
    count = len(played)
    size = 1 << (2 * count - 1).bit_length()
    of_played = np.fft.rfft(played, size)
    of_recorded = np.fft.rfft(recorded, size)
    # Both are made equally strong at all frequencies: a steady tone, here or there, is no match.
    floor = 1e-3 * float(np.abs(of_played).max()) + 1e-12
    white = 1.0 / np.maximum(np.abs(of_played), floor)
    least = 1e-3 * float(np.abs(of_recorded).max()) + 1e-12
    even = of_recorded / np.maximum(np.abs(of_recorded), least)
    match = np.fft.irfft(even * np.conj(of_played * white), size)
    early, late = round(EARLY_S * RATE), round(LATE_S * RATE)
    lags = np.concatenate([match[-early:], match[:late]])
    k = int(np.argmax(lags))
    scatter = float(np.sqrt(np.mean(np.square(match)))) + 1e-12
    if lags[k] < _STANDS_OUT * scatter:
        return Echo(False)
    shift = k - early
    came = recorded[max(shift, 0) : count + min(shift, 0)].astype(np.float64)
    sent = played[max(-shift, 0) : count - max(shift, 0)].astype(np.float64)
    gain = float(came @ sent) / max(float(sent @ sent), 1e-12)
    return Echo(True, shift / RATE, 20 * float(np.log10(max(abs(gain), 1e-6))))


# --- `lugcall devices`: what is plugged in, what the microphone is worth, whether both ends work.

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
