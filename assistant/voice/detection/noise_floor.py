"""How loud the shop is: an adaptive noise floor, and people talking who do not talk to us."""

from __future__ import annotations

import math
from collections import deque
from statistics import median

import numpy as np

from assistant.voice.devices.audio import FRAME, RATE, Samples

LOW_HZ, HIGH_HZ = 300.0, 7500.0
"""Where speech has its power, down to the s of a "six"; rumble of an engine lies below."""
SILENT_DB = -100.0
_SUB = 10
"""Frames in a sub-window."""
_SUBS = 8
"""Sub-windows looked back on: 80 frames, 2.6 s. Longer than a breath group without any gap, so
that speech does not become its own floor; short enough to learn a compressor that starts."""
_SMOOTH = 0.6
"""Share of the old value in the smoothed power: a time constant of about 60 ms."""
_HERTZ = np.fft.rfftfreq(FRAME, 1 / RATE)
_BAND = (_HERTZ >= LOW_HZ) & (_HERTZ <= HIGH_HZ)
_WINDOW = np.hanning(FRAME).astype(np.float32)


def level_db(frame: Samples) -> float:
    """Level of one frame of `FRAME` samples between `LOW_HZ` and `HIGH_HZ`, dB re full scale."""
    spectrum = np.fft.rfft(frame * _WINDOW)[_BAND]
    power = float(np.sum(np.square(np.abs(spectrum)))) * 16 / (3 * FRAME * FRAME)
    return max(SILENT_DB, 10.0 * math.log10(power + 1e-12))


class NoiseFloor:
    """Noise level by minimum statistics, after R. Martin, "Noise power spectral density estimation
    based on optimal smoothing and minimum statistics", IEEE Trans. Speech and Audio Processing 9
    (2001), from memory, reduced to one band and a fixed smoothing.

    The smoothed power's minimum over the last seconds is the floor: speech has gaps, machines have
    none. Minimum and mean of a noise differ, by more for a noise that fluctuates; callers compare
    against the minimum and choose their margins so.
    """

    def __init__(self) -> None:
        self._power = -1.0
        self._minima: deque[float] = deque(maxlen=_SUBS)
        self._current = math.inf
        self._count = 0

    @property
    def db(self) -> float:
        """The floor, dB re full scale, in the band of `level_db`; silence before the first."""
        least = min(self._current, *self._minima) if self._minima else self._current
        return 10.0 * math.log10(least) if least < math.inf else SILENT_DB

    def feed(self, level: float) -> float:
        """Take the next frame's level; returns how far it stands above the floor, in dB."""
        power = 10.0 ** (level / 10)
        old = self._power
        self._power = power if old < 0 else _SMOOTH * old + (1 - _SMOOTH) * power
        self._current = min(self._current, self._power)
        self._count += 1
        if self._count == _SUB:
            self._minima.append(self._current)
            self._current, self._count = self._power, 0
        return level - self.db


class BackgroundTalk:
    """Level of speech that goes on all the time: babble, a radio. A detector calls it speech with
    right, so only what stands above it can be meant for us.

    Its frames sound like speech and belong to no utterance. Its level is what four in five of them
    stay under, found by small steps (stochastic approximation); it sinks slowly while there is
    nothing to learn from. Levels are medians of three frames: one loud frame changes nothing.

    Attributes:
        db, now_db: its level and that of the last frames, dB re full scale.
        share: how many of the frames of the last second or two sounded like speech, 0 to 1.
    """

    _SHARE = 1 / 40
    _UP_DB, _DOWN_DB, _SINK_DB = 0.8, 0.2, 0.2
    """Steps a frame; the ratio of the first two makes the quantile. 0.2 is 6 dB a second."""

    def __init__(self) -> None:
        self.db = SILENT_DB
        self.now_db = SILENT_DB
        self.share = 0.0
        self._last: deque[float] = deque(maxlen=3)

    def feed(self, level: float, floor: float) -> float:
        """Take a frame's level and the noise floor, below which no talk is heard (dB re full
        scale); returns how far the last frames stand above the talk."""
        self._last.append(level)
        self.now_db = median(self._last)
        self.db = max(self.db, floor)
        return self.now_db - self.db

    def learn(self, speechlike: bool) -> None:
        """The frame just taken belonged to no utterance, or to one that goes on too long."""
        self.share += self._SHARE * (speechlike - self.share)
        if speechlike:
            self.db += self._UP_DB if self.now_db > self.db else -self._DOWN_DB
        else:
            self.db -= self._SINK_DB
