"""The assistant's own voice taken out of the microphone."""

from __future__ import annotations

import math
from collections import deque
from statistics import median

import numpy as np
import numpy.typing as npt

from assistant.voice.detection.noise_floor import HIGH_HZ, LOW_HZ, SILENT_DB, level_db
from assistant.voice.devices.audio import FRAME, RATE, Samples

BLOCK = 128
"""Samples a step of the filter; a frame holds a whole number of them."""
TAIL_S = 0.32
"""Delay and reverberation together that the filter can follow."""
_PARTS = round(TAIL_S * RATE / BLOCK)
_STAY = 0.9995
"""How much of the echo path is the same a block later; the room changes when someone moves."""
_AT_FIRST = 0.02
"""Variance of each coefficient of the unknown path at first, fading over the parts: an echo 8 dB
below what is played. Of 0.1, 0.01 and 0.003 the first learned noise where the echo was faint, the
last learned loud echoes too slowly."""
_NEAR_STAY = 0.8
"""Share of the old value in the power of what is no echo."""
_TRUST_DB = 18.0
"""More than this is never believed to be taken out: loudspeakers distort."""
_HOLD = round(TAIL_S * RATE / FRAME) + 1
"""Frames for which what was played may still be heard."""
_BARE_DB = 6.0
"""A frame less than this over what may be left is taken for it."""
_HERTZ = np.fft.rfftfreq(2 * BLOCK, 1 / RATE)
_BAND = (_HERTZ >= LOW_HZ) & (_HERTZ <= HIGH_HZ)

Spectra = npt.NDArray[np.complex128]
Powers = npt.NDArray[np.float64]


class EchoFilter:
    """Adaptive filter from what is played to what of it is heard.

    A partitioned-block Kalman filter in the frequency domain, after G. Enzner and P. Vary,
    "Frequency-domain adaptive Kalman filter for acoustic echo control in hands-free telephones",
    Signal Processing 86 (2006), from memory. Its step size follows from how uncertain each
    coefficient is and how much else sounds, so that a person who speaks over the assistant stops
    the learning and comes through unaltered.

    Attributes:
        left: power of the echo that may be left of the last block, by the filter's own doubt,
            in the band of `level_db`. In five trials of 40 s of echo alone, some from a
            loudspeaker that distorted, no frame was more than 13 dB over it.
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
        self.left = 0.0

    def block(self, heard: Samples, played: Samples) -> Powers:
        """The echo in `heard` of `played` and of what was before; shape (`BLOCK`,) each."""
        self._window = np.concatenate([self._window[BLOCK:], played])
        self._played = np.roll(self._played, 1, axis=0)
        self._played[0] = np.fft.rfft(self._window)
        echo = np.fft.irfft((self._played * self._path).sum(axis=0))[BLOCK:]
        rest = heard - echo
        spectrum = np.fft.rfft(np.concatenate([np.zeros(BLOCK), rest]))
        power = np.square(np.abs(self._played))
        self._near = _NEAR_STAY * self._near + (1 - _NEAR_STAY) * np.square(np.abs(spectrum))
        # Half of a window of overlap-save is real: hence the halves.
        left = 0.5 * (power * self._doubt).sum(axis=0)
        self.left = float(left[_BAND].sum()) / BLOCK**2
        gain = self._doubt / (left + np.maximum(self._near, 1e-9))
        step = np.fft.irfft(gain * np.conj(self._played) * spectrum, axis=1)
        step[:, BLOCK:] = 0.0
        self._path = _STAY * (self._path + np.fft.rfft(step, axis=1))
        certain = np.maximum(1 - 0.5 * gain * power, 1e-3)
        moved = (1 - _STAY**2) * np.square(np.abs(self._path))
        self._doubt = _STAY**2 * certain * self._doubt + moved + 1e-12
        return echo


class EchoCanceller:
    """Takes frames of the microphone and of what is played, and gives the frame without echo.

    It also knows how much of the assistant's voice may be left, so that this is not taken for a
    person. While nothing is played it passes frames through untouched, at no cost.
    """

    def __init__(self) -> None:
        self._filter = EchoFilter()
        self._quiet = _HOLD
        self._clean: deque[float] = deque(maxlen=3)
        self._left: deque[float] = deque(maxlen=3)

    def feed(self, heard: Samples, played: Samples) -> Samples:
        """One frame of each, shape (`FRAME`,); `played` is zeros while the assistant is silent, and
        may be given up to 0.2 s before the microphone hears it, but not after."""
        self._quiet = 0 if played.any() else self._quiet + 1
        if self._quiet > _HOLD:
            self._clean.clear()
            self._left.clear()
            return heard
        echo = np.empty(FRAME)
        left = 0.0
        for i in range(0, FRAME, BLOCK):
            part = slice(i, i + BLOCK)
            echo[part] = self._filter.block(heard[part], played[part])
            left += self._filter.left * BLOCK / FRAME
        clean = np.asarray(heard - echo, np.float32)
        self._clean.append(level_db(clean))
        left_db = 10 * math.log10(left + 1e-12)
        self._left.append(max(left_db, level_db(np.asarray(echo, np.float32)) - _TRUST_DB))
        return clean

    @property
    def over_db(self) -> float:
        """How far the last frames stand above what may be left of the echo, in dB."""
        return median(self._clean) - max(self._left) if self._clean else -SILENT_DB

    @property
    def bare(self) -> bool:
        """Whether the last frame held nothing but what may be left of the echo."""
        return bool(self._clean) and self._clean[-1] - max(self._left) < _BARE_DB
