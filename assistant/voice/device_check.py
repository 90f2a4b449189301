"""`lugcall devices`: what is plugged in, what a microphone is worth, whether both ends work.

A recording is measured (`measure`), judged (`microphone_verdict`), and what a loudspeaker plays is
looked for in it (`heard_back`); `devices_report` does all three.
"""

from __future__ import annotations

import time
from contextlib import ExitStack, closing
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from assistant.sentences import sentences
from assistant.voice.detection.vad import Vad
from assistant.voice.devices.audio import FRAME, RATE, AudioError, Samples, read_file, resampled
from assistant.voice.devices.portaudio import PORTAUDIO, SoundDevice
from assistant.voice.devices.streams import Microphone
from assistant.voice.output.earcons import NAMES, earcon
from assistant.voice.output.player import Player
from assistant.voice.output.synthesizer import SpeechError, Synthesizer

Floats = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]


def _db(power: Any) -> Any:
    """A power, or an array of powers, in dB re full scale."""
    return 10.0 * np.log10(power + 1e-12)


# --- What a microphone delivers, measured: levels, clipping, bandwidth, hum, offset, gaps.


@dataclass(frozen=True, slots=True)
class MicrophoneFigures:
    """Figures of a recording. Levels in dB re full scale, root mean square but for the peak.

    Attributes:
        noise_dbfs: level of its quietest tenth, gaps left out.
        speech_dbfs: level while somebody speaks; None when nobody does.
        snr_db: `speech_dbfs` over `noise_dbfs`, the noise taken off the speech; None likewise.
        clipped: share of the samples at the rail.
        narrow: whether nothing above some 3.6 kHz comes through; None when that cannot be told.
        hum_hz: 50 or 60 when the mains are heard, else 0.
        offset: where its middle lies, as a share of full scale.
        gaps: runs of exact zeros of 4 to 300 ms.
        gated: share of the recording in longer runs of exact zeros.
    """

    seconds: float
    peak_dbfs: float
    noise_dbfs: float
    speech_dbfs: float | None
    snr_db: float | None
    clipped: float
    narrow: bool | None
    hum_hz: float
    hum_dbfs: float
    offset: float
    gaps: int
    gated: float


def measure(raw: Samples, rate: int) -> MicrophoneFigures:
    """Measure a recording of at least half a second: mono, full scale -1 to 1, as the device
    delivered it, `rate` samples a second."""
    gaps, gated = _zero_runs(raw, rate)
    # Not the mean: speech leans to one side by more than a good microphone does.
    offset = float(np.median(raw)) if len(raw) else 0.0
    sound = resampled(raw - np.float32(offset), rate)
    levels = _levels(sound)
    # Windows that are nothing but zeros say nothing of the noise.
    alive = levels[_levels(resampled(raw, rate)) > -115.0]
    noise = float(np.percentile(alive, 10)) if len(alive) else -120.0
    voiced = _voiced(sound, levels, noise)
    speech = snr = None
    if voiced.sum() >= 8:  # a quarter of a second
        power = float(np.mean(10 ** (levels[voiced] / 10)))
        speech = float(_db(power))
        snr = float(_db(max(power - 10 ** (noise / 10), 0.0)) - noise)
    hum_hz, hum = mains_hum(sound, voiced)
    return MicrophoneFigures(
        seconds=len(raw) / rate,
        peak_dbfs=20 * float(np.log10(np.abs(raw).max(initial=1e-6))),
        noise_dbfs=noise,
        speech_dbfs=speech,
        snr_db=snr,
        clipped=_clipped(raw),
        narrow=is_narrow(sound, speech is not None) if rate > 8000 else True,
        hum_hz=hum_hz,
        hum_dbfs=hum,
        offset=offset,
        gaps=gaps,
        gated=gated,
    )


def _windows(sound: Samples) -> Samples:
    return sound[: len(sound) // FRAME * FRAME].reshape(-1, FRAME)


def _levels(sound: Samples) -> Floats:
    levels: Floats = _db(np.mean(np.square(_windows(sound), dtype=np.float64), axis=1))
    return levels


def _voiced(sound: Samples, levels: Floats, noise: float) -> Mask:
    """Windows with speech: the detector says so at an even level, and it is over the noise."""
    loud = float(np.percentile(levels, 95)) if len(levels) else -120.0
    if loud < -100.0:
        return np.zeros(len(levels), dtype=np.bool_)
    even = np.clip(sound * np.float32(10 ** ((-22.0 - loud) / 20)), -1.0, 1.0)
    detector = Vad()
    says = np.array([detector.probability(w) > 0.5 for w in _windows(even)], dtype=np.bool_)
    return says & (levels > noise + 4.0)


def _runs(where: Mask) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    """Starts and ends of all runs of true ones."""
    edges = np.diff(np.concatenate([[0], where.astype(np.int8), [0]]))
    return np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)


def _zero_runs(raw: Samples, rate: int) -> tuple[int, float]:
    """Gaps, and the share of longer runs. A gap breaks the wave off; a pause lets it die away."""
    starts, ends = _runs(raw == 0.0)
    lengths = (ends - starts) / rate
    size = np.abs(np.concatenate([[0.0], raw, [0.0]]))
    step = np.maximum(size[starts], size[ends + 1])
    broken = step > 0.2 * float(np.sqrt(np.mean(np.square(raw, dtype=np.float64)) + 1e-12))
    gaps = int(((lengths >= 0.004) & (lengths <= 0.3) & broken).sum())
    gated = float(lengths[lengths > 0.3].sum()) / max(len(raw) / rate, 1e-9)
    return gaps, gated


def _clipped(raw: Samples) -> float:
    """Share of samples at full scale, or on flat tops wherever the rail is."""
    size = np.abs(raw)
    peak = float(size.max(initial=0.0))
    if peak >= 0.98:
        return float(np.mean(size >= 0.98))
    if peak < 0.1:
        return 0.0
    # Four equal samples in a row at the top: a wave that is not cut off has them only by being
    # slow, and then has no steps before and after.
    top = size >= 0.98 * peak
    flat = top[:-3] & (np.abs(raw[1:-2] - raw[:-3]) < 1e-4) & (np.abs(raw[2:-1] - raw[:-3]) < 1e-4)
    flat &= np.abs(raw[3:] - raw[:-3]) < 1e-4
    starts = _runs(flat)[0]
    steps = np.abs(raw[starts] - raw[np.maximum(starts - 1, 0)])
    if not len(starts) or float(np.median(steps)) < 0.005 * peak:
        return 0.0
    return float(flat.mean())


def _spectra(sound: Samples, size: int, step: int, points: int) -> Floats:
    """Power spectra of windows of `size` samples, `step` apart; shape (n, points // 2 + 1)."""
    if len(sound) < size:
        return np.zeros((0, points // 2 + 1))
    frames = np.lib.stride_tricks.sliding_window_view(sound, size)[::step]
    return np.square(np.abs(np.fft.rfft(frames * np.hanning(size), points, axis=1)))


def is_narrow(sound: Samples, speech: bool) -> bool | None:
    """A cliff between 3.3 and 4.2 kHz, or highs that do not follow the speech below.

    Noise that a narrow channel let through has the cliff as well. Noise that came in after it
    fills the highs, but evenly, while speech below goes up and down.
    """
    spectra = _spectra(sound, 512, 256, 512)
    spectra = spectra[spectra.sum(axis=1) > 1e-9]
    if len(spectra) < 20:
        return None
    hz = np.fft.rfftfreq(512, 1 / RATE)
    total = spectra.sum(axis=1)
    loud = spectra[total >= np.percentile(total, 70)].mean(axis=0)
    below = loud[(hz >= 2700) & (hz <= 3300)].mean()
    above = loud[(hz >= 4200) & (hz <= 5200)].mean()
    low = _db(spectra[:, (hz >= 300) & (hz <= 3300)].sum(axis=1))
    high = _db(spectra[:, (hz >= 4200) & (hz <= 7500)].sum(axis=1))
    cliff = 10 * np.log10((below + 1e-15) / (above + 1e-15))
    # A wide channel lets the hiss of an "s" through, 3 to 18 dB under the loudest vowels.
    if cliff > 22.0 and np.percentile(high, 97) - np.percentile(low, 97) < -30.0:
        return True
    if not speech:
        return False
    moves = [float(np.percentile(x, 97) - np.percentile(x, 30)) for x in (low, high)]
    return bool(moves[0] > 8.0 and moves[1] < 2.0)


def mains_hum(sound: Samples, voiced: Mask) -> tuple[float, float]:
    """The mains' frequency and level, when two of its harmonics stand out while nobody speaks."""
    best = (0.0, -120.0)
    starts, ends = _runs(~voiced)
    longest = max(zip(starts, ends, strict=True), key=lambda run: run[1] - run[0], default=(0, 0))
    still = sound[longest[0] * FRAME : longest[1] * FRAME]
    if len(still) < 1.3 * RATE:
        return best
    size = min(len(still), 2 * RATE)
    spectra = _spectra(still, size, RATE // 2, 2 * RATE)
    spectrum = spectra.mean(axis=0) / np.square(np.hanning(size).sum()) * 2
    for mains in (50.0, 60.0):
        lines = [_line(spectrum, mains * n) for n in (1, 2, 3, 4)]
        # An engine at idle fires at such frequencies too, and between them.
        between = [_line(spectrum, mains * (n + 0.5)) for n in (0, 1, 2)]
        if sum(over > 12.0 for _, over in lines) >= 2 and not any(o > 9.0 for _, o in between):
            level = float(_db(sum(p for p, _ in lines)))
            best = max(best, (mains, level), key=lambda hum: hum[1])
    return best


def _line(spectrum: Floats, hz: float) -> tuple[float, float]:
    """Power of the line at `hz`, and its dB over what is 3 to 9 Hz away (half-hertz bins)."""
    k = round(hz * 2)
    top = float(spectrum[k - 2 : k + 3].max())
    aside = np.concatenate([spectrum[max(k - 18, 0) : k - 5], spectrum[k + 6 : k + 19]])
    return top, 10 * float(np.log10((top + 1e-15) / (np.median(aside) + 1e-15)))


# --- What is wrong with it, in plain lines that say what to do.

LONGEST_S = 300.0
"""Of a recording that is judged: its spectra are all held at once."""
DEAD_DBFS = -84.0
"""Two steps of 16 bits: no microphone is as silent as this."""
QUIET_DBFS = -42.0
"""Speech weaker than this leaves recognition some 8 bits."""
POOR_SNR_DB = 10.0
_SHARES = {"clipped": ".2%", "offset": ".0%", "gated": ".0%"}


def _findings(m: MicrophoneFigures) -> dict[str, tuple[bool, bool]]:
    """Of each problem, whether it is there, and whether readings will suffer from it."""
    return {
        "clipped": (m.clipped > 5e-4, True),
        "quiet": (m.speech_dbfs is not None and m.speech_dbfs < QUIET_DBFS, True),
        "narrowband": (bool(m.narrow), True),
        "noisy": (m.snr_db is not None and m.snr_db < POOR_SNR_DB, True),
        "hum": (m.hum_hz > 0 and m.hum_dbfs > -55.0, m.hum_dbfs > -30.0),
        "offset": (abs(m.offset) > 0.02, abs(m.offset) > 0.2),
        "gaps": (m.gaps >= 3, True),
        "gate": (m.gated > 0.05, False),
        "no speech": (m.speech_dbfs is None, False),
    }


@dataclass(frozen=True, slots=True)
class MicrophoneProblem:
    """Its kind is a key of `_findings`, "dead" or "short"; one line says what is wrong and what to
    do; when it is grave readings will suffer, else it is only worth knowing."""

    kind: str
    text: str
    grave: bool


@dataclass(frozen=True, slots=True)
class MicrophoneVerdict:
    """A microphone's figures and what is wrong with it, gravest first."""

    measured: MicrophoneFigures
    problems: tuple[MicrophoneProblem, ...]

    @property
    def ok(self) -> bool:
        """Whether it will do."""
        return not any(p.grave for p in self.problems)

    def lines(self) -> list[str]:
        """For people: levels in one line, then a line a problem."""
        say, words = sentences("devices").say, _words(self.measured)
        talk = "speech" if "speech_dbfs" in words else "silence"
        levels = say("microphone.levels", speech=say(f"microphone.{talk}", **words), **words)
        return [levels, *([p.text for p in self.problems] or [say("microphone.good")])]

    def as_json(self) -> dict[str, Any]:
        """For programs: `ok`, `problems` (kind, text, grave) and the figures."""
        figures = {
            k: round(v, 5) if isinstance(v, float) else v for k, v in asdict(self.measured).items()
        }
        return {"ok": self.ok, "problems": [asdict(p) for p in self.problems], **figures}


def _words(m: MicrophoneFigures) -> dict[str, str]:
    """The figures as blanks of the sentences, by their names."""
    figures = asdict(m) | {"offset": abs(m.offset)}
    known = {name: value for name, value in figures.items() if value is not None}
    return {name: format(value, _SHARES.get(name, ".0f")) for name, value in known.items()}


def microphone_verdict(samples: Samples, rate: int = RATE) -> MicrophoneVerdict:
    """Judge a recording in which somebody spoke, or only the shop was heard; see `measure`."""
    m = measure(samples, rate)
    if m.seconds < 0.5:
        found = {"short": True}
    elif m.peak_dbfs < DEAD_DBFS:
        found = {"dead": True}
    else:
        found = {kind: grave for kind, (there, grave) in _findings(m).items() if there}
    say, words = sentences("devices").say, _words(m)
    problems = [
        MicrophoneProblem(kind, str(say(f"problem.{kind.replace(' ', '_')}", **words)), grave)
        for kind, grave in found.items()
    ]
    return MicrophoneVerdict(m, tuple(sorted(problems, key=lambda p: not p.grave)))


# --- Whether a microphone hears what a loudspeaker plays, how late, and how much weaker.

EARLY_S, LATE_S = 0.1, 0.7
"""Where the echo is looked for: the output's own times may be off by some tens of milliseconds."""
_STANDS_OUT = 8.0
"""Peak of the match over its scatter elsewhere. Noise alone reaches some 5."""


@dataclass(frozen=True, slots=True)
class HeardBack:
    """What came back: how much later than it was played, and its level as recorded, less its level
    as played."""

    heard: bool
    delay_s: float = 0.0
    path_db: float = -120.0


def heard_back(played: Samples, recorded: Samples) -> HeardBack:
    """Look for `played` in `recorded`; both begin at the same time and are equally long."""
    count = len(played)
    size = 1 << (2 * count - 1).bit_length()
    spectra = [np.fft.rfft(sound, size) for sound in (played, recorded)]
    # Both are made equally strong at all frequencies: a steady tone, here or there, is no match.
    of_played, of_recorded = (
        one / np.maximum(np.abs(one), 1e-3 * float(np.abs(one).max()) + 1e-12) for one in spectra
    )
    match = np.fft.irfft(of_recorded * np.conj(of_played), size)
    early, late = round(EARLY_S * RATE), round(LATE_S * RATE)
    lags = np.concatenate([match[-early:], match[:late]])
    k = int(np.argmax(lags))
    scatter = float(np.sqrt(np.mean(np.square(match)))) + 1e-12
    if lags[k] < _STANDS_OUT * scatter:
        return HeardBack(False)
    shift = k - early
    came = recorded[max(shift, 0) : count + min(shift, 0)].astype(np.float64)
    sent = played[max(-shift, 0) : count - max(shift, 0)].astype(np.float64)
    return HeardBack(True, shift / RATE, 20 * float(np.log10(max(_gain(came, sent), 1e-6))))


def _gain(came: Floats, sent: Floats) -> float:
    """How strongly a sound came back, in the quarters of a second when it did: on a busy machine
    the sound path may stumble and go on later, and what follows lies elsewhere then."""
    size = RATE // 4
    count = len(sent) // size * size
    parts, back = (x[:count].reshape(-1, size) for x in (sent, came))
    power = np.square(parts).sum(axis=1)
    loud = power > 0.01 * max(float(power.max(initial=0.0)), 1e-12)
    gains = np.abs((parts * back).sum(axis=1)[loud]) / power[loud]
    return float(np.percentile(gains, 75)) if len(gains) else 0.0


# --- The report.


@dataclass(slots=True)
class DevicesReport:
    """What was found: all that is plugged in, the microphone or file that was judged and the
    verdict on it, the loudspeaker that was tested and whether it was heard, and what else is wrong,
    a line each."""

    devices: list[SoundDevice] = field(default_factory=list)
    source: str = ""
    microphone: MicrophoneVerdict | None = None
    loudspeaker: str = ""
    echo: HeardBack | None = None
    problems: list[str] = field(default_factory=list)

    @property
    def ok(self) -> bool:
        """Whether a job can be done by voice with this: the command's exit code."""
        return not self.problems and self.microphone is not None and self.microphone.ok

    def lines(self) -> list[str]:
        """For people."""
        say = sentences("devices").say
        out = []
        for d in self.devices:
            kind = "/".join(k for k, n in (("in", d.inputs), ("out", d.outputs)) if n)
            mark = f"  <- {say(f'in_use.{d.default}')}" if d.default else ""
            out.append(f"{d.number:3}  {kind:6}  {d.name}{mark}")
        if self.microphone is not None:
            first, *rest = self.microphone.lines()
            out += [f"{self.source}: {first}", *(f"  {line}" for line in rest)]
        if self.echo is not None:
            delay, path = f"{self.echo.delay_s * 1000:.0f}", f"{self.echo.path_db:+.0f}"
            heard = say("echo" if self.echo.heard else "no_echo", delay=delay, path=path)
            out.append(f"{self.loudspeaker}: {heard}")
        return out + self.problems

    def as_json(self) -> dict[str, Any]:
        """For programs: `ok` and the attributes; see `MicrophoneVerdict.as_json`."""
        judged = self.microphone.as_json() if self.microphone is not None else None
        return {"ok": self.ok, **asdict(self), "microphone": judged}


def devices_report(
    mic: str | None = None,
    speaker: str | None = None,
    seconds: float = 3.0,
    test: bool = False,
    file: Path | None = None,
) -> DevicesReport:
    """List the devices and judge a microphone (or a recording of one); with `test`, play as well.
    `mic` and `speaker` are numbers or names as listed, None for the system's own; `AudioError` if
    there is no sound at all here, or `file` cannot be read, or no such device."""
    if file is not None:
        # At its own rate: resampling would round clipped tops.
        samples, rate = read_file(file, channel=0, longest_s=LONGEST_S)
        return DevicesReport(source=str(file), microphone=microphone_verdict(samples, rate))
    report = DevicesReport(PORTAUDIO.devices())
    if not report.devices:
        raise AudioError("there is no microphone and no loudspeaker; plug in a headset")
    say = sentences("devices").say
    with ExitStack() as opened:
        microphone: Microphone | None = None
        if any(d.inputs for d in report.devices) or mic is not None:
            microphone = opened.enter_context(closing(Microphone(mic)))
            report.source = microphone.name
            report.microphone = microphone_verdict(_record(microphone, seconds)[0])
        else:
            report.problems.append(say("no_microphone"))
        if not any(d.outputs for d in report.devices):
            report.problems.append(say("no_loudspeaker"))
        elif test:
            with closing(Player(speaker)) as player:
                _test(report, player, microphone)
    return report


def _record(microphone: Microphone, seconds: float) -> tuple[Samples, float]:
    """The next `seconds`, and the time at which they end; less when the microphone goes away."""
    blocks: list[Samples] = []
    end = time.monotonic() + seconds + 2.0
    until = 0.0
    while sum(map(len, blocks)) < seconds * RATE and time.monotonic() < end:
        frame = microphone.get()
        if frame is not None:
            blocks.append(frame.samples)
            until = frame.at + len(frame.samples) / RATE
    if not blocks:
        raise AudioError(f"{microphone.name} sends nothing; unplug it, plug it in and try again")
    return np.concatenate(blocks), until


def _test(report: DevicesReport, player: Player, microphone: Microphone | None) -> None:
    """Play the signals and a sentence, and see whether they come back."""
    report.loudspeaker = player.name
    sounds = [np.pad(earcon(name), (0, RATE // 4)) for name in NAMES]
    with closing(Synthesizer()) as synthesizer:
        try:
            sounds.append(synthesizer.samples(sentences("devices").say("sentence").spoken))
        except SpeechError as error:
            report.problems.append(str(error))
    for sound in sounds:
        player.buffer.play(sound)
    if microphone is None:
        while player.buffer.busy() and player.check():
            time.sleep(0.05)
        return
    while microphone.get(0.0) is not None:
        pass  # what came in meanwhile is old
    recorded, until = _record(microphone, sum(map(len, sounds)) / RATE + 0.8)
    played = player.buffer.reference(len(recorded) / RATE, until)
    report.echo = heard_back(played[: len(recorded)], recorded)
