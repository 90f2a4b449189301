"""How loud the shop is: an adaptive noise floor, and the murmur of people not talking to us."""

from __future__ import annotations

import math
from collections import deque
from statistics import median

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

    Attributes:
        level_db: of the last frame, in the band, dB re full scale.
    """

    def __init__(self) -> None:
        hertz = np.fft.rfftfreq(FRAME, 1 / RATE)
        self._band = (hertz >= LOW_HZ) & (hertz <= HIGH_HZ)
        self._window = np.hanning(FRAME).astype(np.float32)
        self.reset()

    def reset(self) -> None:
        """Begin anew: another microphone, or the same one after it was unplugged."""
        self.level_db = -100.0
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
        old = self._power
        self._power = power if old < 0 else _SMOOTH * old + (1 - _SMOOTH) * power
        self._current = min(self._current, self._power)
        self._count += 1
        if self._count == _SUB:
            self._minima.append(self._current)
            self._current, self._count = self._power, 0
        self.level_db = _db(power)
        return self.level_db - self.db


class Murmur:
    """Level of speech that goes on all the time: babble, a radio. A detector calls it speech with
    right, so only what stands above it can be meant for us.

    It is the level that four in five of the frames stay under which sound like speech and belong
    to no utterance, found by small steps (stochastic approximation of a quantile); it sinks slowly
    while there are none. Levels are medians of three frames: one loud frame changes nothing.

    Attributes:
        db: the level, dB re full scale.
        now_db: of the last frames.
        share: how many of the frames of the last second or two sounded like speech, 0 to 1.
    """

    _UP_DB, _DOWN_DB = 0.8, 0.2
    """Steps a frame; their ratio makes the quantile."""
    _SINK_DB = 0.2
    """A frame without speech: 6 dB a second."""
    _SHARE = 1 / 40

    def __init__(self) -> None:
        self.db = -100.0
        self.now_db = -100.0
        self.share = 0.0
        self._last: deque[float] = deque(maxlen=3)

    def feed(self, level_db: float, floor_db: float) -> float:
        """Take a frame's level; returns how far it stands above the murmur in dB.

        The murmur is never below the floor.
        """
        self._last.append(level_db)
        self.now_db = median(self._last)
        self.db = max(self.db, floor_db)
        return self.now_db - self.db

    def learn(self, speechlike: bool) -> None:
        """The frame just taken belonged to no utterance, or to one that goes on too long."""
        self.share += self._SHARE * (speechlike - self.share)
        if not speechlike:
            self.db -= self._SINK_DB
        elif self.now_db > self.db:
            self.db += self._UP_DB
        else:
            self.db -= self._DOWN_DB


def _db(power: float) -> float:
    return 10.0 * math.log10(power) if 0 < power < math.inf else -100.0
