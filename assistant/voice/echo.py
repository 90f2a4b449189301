"""The assistant's own voice taken out of the microphone."""

from __future__ import annotations

from collections import deque
from statistics import median

import numpy as np
import numpy.typing as npt

from .audio import FRAME, RATE, Samples
from .floor import Quantile, level_db

BLOCK = 128
"""Samples a step of the filter; a frame holds a whole number of them."""
TAIL_S = 0.32
"""Delay and reverberation together that the filter can follow."""
_PARTS = round(TAIL_S * RATE / BLOCK)
_STAY = 0.9995
"""How much of the echo path is the same a block later; the room changes when someone moves."""
_AT_FIRST = 0.02
"""Variance of each coefficient of the unknown path at first: an echo 17 dB below what is played
when spread over the parts; found best of 0.1 to 0.003 for echoes of -10 to -30 dB."""
_NEAR_STAY = 0.8
"""Share of the old value in the power of what is no echo."""
_WORST_DB = -8.0
"""What is left of our voice, against what is played, before anything is known."""
_HOLD = 12
"""Frames for which what was played may still be heard: delay and reverberation, 0.38 s."""

Spectra = npt.NDArray[np.complex128]
Powers = npt.NDArray[np.float64]


class EchoFilter:
    """Adaptive filter from what is played to what of it is heard.

    A partitioned-block Kalman filter in the frequency domain, after G. Enzner and P. Vary,
    "Frequency-domain adaptive Kalman filter for acoustic echo control in hands-free telephones",
    Signal Processing 86 (2006), from memory. Its step size follows from how uncertain each
    coefficient is and how much else sounds, so that a person who speaks over the assistant stops
    the learning and comes through unaltered.
    """

    def __init__(self) -> None:
        bins = BLOCK + 1
        self._played: Spectra = np.zeros((_PARTS, bins), np.complex128)
        self._path: Spectra = np.zeros((_PARTS, bins), np.complex128)
        self._doubt: Powers = np.repeat(
            (_AT_FIRST * 10 ** (-2 * np.arange(_PARTS) / _PARTS))[:, None], bins, axis=1
        )
        self._near: Powers = np.full(bins, 1e-6)
        self._window: Powers = np.zeros(2 * BLOCK)

    def block(self, heard: Samples, played: Samples) -> Powers:
        """`heard` without the echo of `played` and of what was before; shape (`BLOCK`,) each."""
        self._window = np.concatenate([self._window[BLOCK:], played])
        self._played = np.roll(self._played, 1, axis=0)
        self._played[0] = np.fft.rfft(self._window)
        echo = np.fft.irfft((self._played * self._path).sum(axis=0))[BLOCK:]
        rest = heard - echo
        spectrum = np.fft.rfft(np.concatenate([np.zeros(BLOCK), rest]))
        power = np.square(np.abs(self._played))
        self._near = _NEAR_STAY * self._near + (1 - _NEAR_STAY) * np.square(np.abs(spectrum))
        # Half of a window of overlap-save is real: hence the halves.
        gain = self._doubt / (
            0.5 * (power * self._doubt).sum(axis=0) + np.maximum(self._near, 1e-9)
        )
        step = np.fft.irfft(gain * np.conj(self._played) * spectrum, axis=1)
        step[:, BLOCK:] = 0.0
        self._path = _STAY * (self._path + np.fft.rfft(step, axis=1))
        certain = np.maximum(1 - 0.5 * gain * power, 1e-3)
        moved = (1 - _STAY**2) * np.square(np.abs(self._path))
        self._doubt = _STAY**2 * certain * self._doubt + moved + 1e-12
        return rest


class Echo:
    """Takes frames of the microphone and of what is played, and gives the frame without echo.

    It also knows how much of the assistant's voice may be left, so that this is not taken for a
    person. While nothing is played it passes frames through untouched, at no cost.
    """

    def __init__(self) -> None:
        self._filter = EchoFilter()
        self._levels: deque[float] = deque(maxlen=_HOLD)
        self._last: deque[float] = deque(maxlen=3)
        self._left = Quantile(_WORST_DB)

    @property
    def sounding(self) -> bool:
        """Whether what was played may be heard now."""
        return any(level > -100.0 for level in self._levels)

    def feed(self, heard: Samples, played: Samples) -> Samples:
        """One frame of each, shape (`FRAME`,); `played` is zeros while the assistant is silent.

        `played` may be up to 0.1 s early against what the microphone hears of it, but not late.
        """
        self._levels.append(level_db(played))
        if not self.sounding:
            self._last.clear()
            return heard
        blocks = range(0, FRAME, BLOCK)
        rest = [self._filter.block(heard[i : i + BLOCK], played[i : i + BLOCK]) for i in blocks]
        clean = np.concatenate(rest).astype(np.float32)
        self._last.append(level_db(clean))
        return clean

    @property
    def over_db(self) -> float:
        """How far the last frame stands above what may be left of the echo; 100 without any."""
        if not self._last:
            return 100.0
        return median(self._last) - max(self._levels) - self._left.value

    def learn(self, speechlike: bool) -> None:
        """The frame just taken belonged to no utterance: what sounds like speech is our own."""
        if self._last:
            self._left.learn(median(self._last) - max(self._levels) if speechlike else None)
