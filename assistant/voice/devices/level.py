"""What a microphone's spectrum gives away: a channel without highs, and the mains."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from assistant.voice.detection.vad import Vad
from assistant.voice.devices.audio import FRAME, RATE, Samples, resampled

_MAINS = (50.0, 60.0)
Spectra = npt.NDArray[np.float64]


def _spectra(sound: Samples, size: int = 512) -> Spectra:
    """Power spectra of half-overlapping windows, shape (windows, size // 2 + 1)."""
    if len(sound) < size:
        return np.zeros((0, size // 2 + 1))
    frames = np.lib.stride_tricks.sliding_window_view(sound, size)[:: size // 2]
    return np.square(np.abs(np.fft.rfft(frames * np.hanning(size), axis=1)))


def is_narrow(sound: Samples, speech: bool) -> bool | None:
    """A cliff between 3.3 and 4.2 kHz, or highs that do not follow the speech below.

    Noise that a narrow channel let through has the cliff as well. Noise that came in after it
    fills the highs, but evenly, while speech below goes up and down.
    """
    spectra = _spectra(sound)
    spectra = spectra[spectra.sum(axis=1) > 1e-9]
    if len(spectra) < 20:
        return None
    hz = np.fft.rfftfreq(512, 1 / RATE)
    total = spectra.sum(axis=1)
    loud = spectra[total >= np.percentile(total, 70)].mean(axis=0)
    below = loud[(hz >= 2700) & (hz <= 3300)].mean()
    above = loud[(hz >= 4200) & (hz <= 5200)].mean()
    low = 10 * np.log10(spectra[:, (hz >= 300) & (hz <= 3300)].sum(axis=1) + 1e-12)
    high = 10 * np.log10(spectra[:, (hz >= 4200) & (hz <= 7500)].sum(axis=1) + 1e-12)
    cliff = 10 * np.log10((below + 1e-15) / (above + 1e-15))
    # A wide channel lets the hiss of an "s" through, 3 to 18 dB under the loudest vowels.
    if cliff > 22.0 and np.percentile(high, 97) - np.percentile(low, 97) < -30.0:
        return True
    if not speech:
        return False
    moves = [float(np.percentile(x, 97) - np.percentile(x, 30)) for x in (low, high)]
    return bool(moves[0] > 8.0 and moves[1] < 2.0)


def mains_hum(sound: Samples, voiced: npt.NDArray[np.bool_]) -> tuple[float, float]:
    """The mains' frequency and level, when two of its harmonics stand out while nobody speaks."""
    still = _longest(~voiced) * FRAME
    sound = sound[still[0] : still[1]]
    if len(sound) < 1.3 * RATE:
        return 0.0, -120.0
    size = min(len(sound), 2 * RATE)
    frames = np.lib.stride_tricks.sliding_window_view(sound, size)[:: RATE // 2]
    window = np.hanning(size)
    spectra = np.square(np.abs(np.fft.rfft(frames * window, 2 * RATE, axis=1)))
    spectrum = spectra.mean(axis=0) / np.square(window.sum()) * 2
    best = (0.0, -120.0)
    for mains in _MAINS:
        lines = [_line(spectrum, mains * n) for n in (1, 2, 3, 4)]
        # An engine at idle fires at such frequencies too, and between them.
        between = [_line(spectrum, mains * (n + 0.5)) for n in (0, 1, 2)]
        if sum(over > 12.0 for _, over in lines) >= 2 and not any(o > 9.0 for _, o in between):
            level = 10 * float(np.log10(sum(p for p, _ in lines) + 1e-12))
            if level > best[1]:
                best = (mains, level)
    return best


def _longest(where: npt.NDArray[np.bool_]) -> npt.NDArray[np.int64]:
    """Start and end of the longest run of true ones."""
    edges = np.diff(np.concatenate([[0], where.astype(np.int8), [0]]))
    starts, ends = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
    if not len(starts):
        return np.array([0, 0])
    k = int(np.argmax(ends - starts))
    return np.array([starts[k], ends[k]])


def _line(spectrum: Spectra, hz: float) -> tuple[float, float]:
    """Power of the line at `hz`, and its dB over what is 3 to 9 Hz away (half-hertz bins)."""
    k = round(hz * 2)
    top = float(spectrum[k - 2 : k + 3].max())
    aside = np.concatenate([spectrum[max(k - 18, 0) : k - 5], spectrum[k + 6 : k + 19]])
    return top, 10 * float(np.log10((top + 1e-15) / (np.median(aside) + 1e-15)))


# --- What a microphone delivers, measured: levels, clipping, bandwidth, hum, offset, gaps.

Levels = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Measured:
    """Figures of a recording. Levels in dB re full scale, root mean square.

    Attributes:
        seconds: its length.
        peak_dbfs: highest sample.
        noise_dbfs: level of its quietest tenth, gaps left out.
        speech_dbfs: level while somebody speaks; None when nobody does.
        snr_db: `speech_dbfs` over `noise_dbfs`, the noise taken off the speech; None likewise.
        clipped: share of the samples at the rail.
        narrow: whether nothing above some 3.6 kHz comes through; None when that cannot be told.
        hum_hz: 50 or 60 when the mains are heard, else 0.
        hum_dbfs: level of it.
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


def measure(samples: Samples, rate: int = RATE) -> Measured:
    """Measure a recording of at least half a second.

    Args:
        samples: mono, full scale -1 to 1, as the device delivered them.
        rate: samples a second.
    """
    raw = np.asarray(samples, dtype=np.float32)
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
        speech = 10 * float(np.log10(power))
        over = max(power - 10 ** (noise / 10), 1e-12)
        snr = 10 * float(np.log10(over)) - noise
    hum_hz, hum = mains_hum(sound, voiced)
    return Measured(
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


def _windows(sound: Samples, step: int = FRAME) -> Samples:
    count = len(sound) // step
    return sound[: count * step].reshape(count, step)


def _levels(sound: Samples) -> Levels:
    power = np.mean(np.square(_windows(sound), dtype=np.float64), axis=1)
    levels: Levels = 10 * np.log10(power + 1e-12)
    return levels


def _voiced(sound: Samples, levels: Levels, noise: float) -> npt.NDArray[np.bool_]:
    """Windows with speech: the detector says so at an even level, and it is over the noise."""
    loud = float(np.percentile(levels, 95)) if len(levels) else -120.0
    if loud < -100.0:
        return np.zeros(len(levels), dtype=np.bool_)
    even = np.clip(sound * np.float32(10 ** ((-22.0 - loud) / 20)), -1.0, 1.0)
    detector = Vad()
    says = np.array([detector.probability(w) > 0.5 for w in _windows(even)], dtype=np.bool_)
    return says & (levels > noise + 4.0)


def _zero_runs(raw: Samples, rate: int) -> tuple[int, float]:
    """Gaps, and the share of longer runs. A gap breaks the wave off; a pause lets it die away."""
    edges = np.diff(np.concatenate([[0], (raw == 0.0).astype(np.int8), [0]]))
    starts, ends = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
    lengths = (ends - starts) / rate
    size = np.abs(np.concatenate([[0.0], raw, [0.0]]))
    step = np.maximum(size[starts], size[ends + 1])
    broken = step > 0.2 * float(np.sqrt(np.mean(np.square(raw, dtype=np.float64)) + 1e-12))
    gaps = int(((lengths >= 0.004) & (lengths <= 0.3) & broken).sum())
    gated = float(lengths[lengths > 0.3].sum()) / max(len(raw) / rate, 1e-9)
    return gaps, gated


def _clipped(raw: Samples) -> float:
    """Share of samples at full scale, or on flat tops wherever the rail is."""
    if not len(raw):
        return 0.0
    size = np.abs(raw)
    peak = float(size.max())
    if peak >= 0.98:
        return float(np.mean(size >= 0.98))
    if peak < 0.1:
        return 0.0
    # Four equal samples in a row at the top: a wave that is not cut off has them only by being
    # slow, and then has no steps before and after.
    top = size >= 0.98 * peak
    flat = top[:-3] & (np.abs(raw[1:-2] - raw[:-3]) < 1e-4) & (np.abs(raw[2:-1] - raw[:-3]) < 1e-4)
    flat &= np.abs(raw[3:] - raw[:-3]) < 1e-4
    starts = np.flatnonzero(np.diff(np.concatenate([[0], flat.astype(np.int8)])) == 1)
    steps = np.abs(raw[starts] - raw[np.maximum(starts - 1, 0)])
    if not len(starts) or float(np.median(steps)) < 0.005 * peak:
        return 0.0
    return float(flat.mean())
