"""Whether somebody speaks to the assistant in a frame: probability and levels together."""

from __future__ import annotations

from dataclasses import dataclass

from assistant.voice.detection.echo import Echo
from assistant.voice.detection.noise_floor import SILENT_DB, Floor, Murmur, level_db
from assistant.voice.detection.vad import Vad
from assistant.voice.devices.audio import Samples

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
STAND_OUT_DB = 6.0
"""A click among talking people is a word if it stands out so far."""


@dataclass(frozen=True, slots=True)
class Limits:
    """What a frame needs to count as speech to us.

    Attributes:
        probability: of speech.
        floor_db, murmur_db, echo_db: level above the noise floor, above people talking in the
            background, above what may be left of the assistant's own voice.
    """

    probability: float
    floor_db: float
    murmur_db: float
    echo_db: float


BEGIN = Limits(0.3, 4.0, 2.0, 8.0)
GO_ON = Limits(0.25, 1.0, 0.5, 4.0)
TALKING_BEGIN = Limits(0.6, 6.0, 3.0, 8.0)
TALKING_GO_ON = Limits(0.4, 2.0, 1.0, 4.0)
"""While the assistant itself talks."""


class Presence:
    """Takes frames and says of each whether it begins speech, or goes on with it.

    Attributes:
        talking: whether the assistant speaks now; set it from outside.
        floor: the noise floor, for a meter.
    """

    def __init__(self, vad: Vad, echo: Echo | None = None) -> None:
        self.talking = False
        self.floor = Floor()
        self._vad = vad
        self._echo = echo
        self._murmur = Murmur()
        self._loudest_db = SILENT_DB
        self._quiet = 0
        self._heard = Limits(0.0, 0.0, 0.0, 0.0)

    def feed(self, frame: Samples) -> None:
        """Take the next frame."""
        level = level_db(frame)
        above = self.floor.feed(level)
        over = self._murmur.feed(level, self.floor.db)
        echo = self._echo.over_db if self._echo else 100.0
        if self._echo and self._echo.bare:
            # What is left of our own voice would teach the detector that a voice here is none:
            # of 52 stops said over the assistant it then missed 14, and none when made to forget.
            self._vad.reset()
        self._heard = Limits(self._vad.probability(frame), above, over, echo)

    @property
    def begins(self) -> bool:
        """Whether the last frame may begin an utterance."""
        return self._passes(TALKING_BEGIN if self.talking else BEGIN)

    def goes_on(self) -> bool:
        """Whether the last frame goes on with the utterance begun."""
        fallen = self._murmur.now_db < self._loudest_db - FALL_DB
        self._loudest_db = max(self._loudest_db, self._murmur.now_db)
        return not fallen and self._passes(TALKING_GO_ON if self.talking else GO_ON)

    def begin(self) -> None:
        """An utterance has begun."""
        self._loudest_db = self._murmur.now_db

    def learn(self) -> None:
        """The last frame belonged to no utterance, or to one that goes on too long."""
        if not (self._echo and self._echo.bare):
            self._murmur.learn(self._heard.probability >= SPEECHLIKE)
        self._quiet = self._quiet + 1 if self._heard.probability < QUIET else 0
        if self._quiet >= QUIET_FRAMES:
            self._vad.reset()
            self._quiet = 0

    @property
    def crowded(self) -> bool:
        """Whether people talk in the background, so that more must speak for an answer."""
        return self._murmur.share > CROWD

    @property
    def stands_out(self) -> bool:
        """Whether even a very short utterance may be a word."""
        return not self.crowded or self._loudest_db - self._murmur.db >= STAND_OUT_DB

    def _passes(self, limits: Limits) -> bool:
        heard = self._heard
        return (
            heard.probability >= limits.probability
            and heard.floor_db >= limits.floor_db
            and heard.murmur_db >= limits.murmur_db
            and heard.echo_db >= limits.echo_db
        )
