"""What a microphone's spectrum gives away: a channel without highs, and the mains."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from .audio import FRAME, RATE, Samples

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
