"""How loud the shop is: an adaptive noise floor, and how far a frame stands above it."""

from __future__ import annotations

import math
from collections import deque

import numpy as np

from .audio import FRAME, RATE, Samples

LOW_HZ, HIGH_HZ = 300.0, 3800.0
"""Where speech has its power and every channel passes; rumble of an engine lies below."""
_SUB = 10
"""Frames in a sub-window."""
_SUBS = 8
"""Sub-windows looked back on: 80 frames, 2.6 s. Longer than a breath group without any gap, so
that speech does not become its own floor; short enough to learn a compressor that starts."""
_SMOOTH = 0.6
"""Share of the old value in the smoothed power: a time constant of about 60 ms."""
_LEAST = 1e-10
"""Power below this (-100 dB) is digital silence."""


class Floor:
    """Noise power by minimum statistics, after R. Martin, "Noise power spectral density estimation
    based on optimal smoothing and minimum statistics", IEEE Trans. Speech and Audio Processing 9
    (2001), from memory, reduced to one band and a fixed smoothing.

    The smoothed power's minimum over the last seconds is the floor: speech has gaps, machines have
    none. Minimum and mean of a noise differ, by more for a noise that fluctuates; callers compare
    against the minimum and choose their margins so.
    """

    def __init__(self) -> None:
        hertz = np.fft.rfftfreq(FRAME, 1 / RATE)
        self._band = (hertz >= LOW_HZ) & (hertz <= HIGH_HZ)
        self._window = np.hanning(FRAME).astype(np.float32)
        self.reset()

    def reset(self) -> None:
        """Begin anew: another microphone, or the same one after it was unplugged."""
        self._power = -1.0
        self._minima: deque[float] = deque(maxlen=_SUBS)
        self._current = math.inf
        self._count = 0

    @property
    def db(self) -> float:
        """The floor in dB re full scale, in the band; -100 before the first frame."""
        return _db(min(self._current, *self._minima) if self._minima else self._current)

    def feed(self, frame: Samples) -> float:
        """Take the next frame (`FRAME` samples); returns its level above the floor in dB."""
        spectrum = np.fft.rfft(frame * self._window)[self._band]
        power = float(np.sum(np.square(np.abs(spectrum)))) * 16 / (3 * FRAME * FRAME)
        power = max(power, _LEAST)
        self._power = (
            power if self._power < 0 else self._power + (1 - _SMOOTH) * (power - self._power)
        )
        self._current = min(self._current, self._power)
        self._count += 1
        if self._count == _SUB:
            self._minima.append(self._current)
            self._current, self._count = self._power, 0
        return _db(power) - self.db

    def adopt(self) -> None:
        """Take the level of now for the floor: what sounds has turned out to be no speech."""
        self._minima.clear()
        self._current, self._count = self._power, 0


def _db(power: float) -> float:
    return 10.0 * math.log10(power) if 0 < power < math.inf else -100.0
