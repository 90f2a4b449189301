"""Where an utterance begins and ends in a stream of frames."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, replace

import numpy as np

from .audio import FRAME_S, Samples
from .floor import Floor, Murmur
from .turn_events import BargedIn, Dropped, Ended, Event, Paused, Resumed, Started, TooLong
from .vad import Vad

PRE_ROLL_S = 0.42
"""Kept from before speech was noticed: a weak "th", "s" or "f" comes well before the vowel."""
PAUSE_S = 0.11
"""A pause that may be the end."""
LEAST_S = 0.15
STAND_OUT_DB = 10.0
CROWD = 0.3
"""Shorter is nothing, unless it stands out so far or no more than this share of the time before
sounded like speech. Of a short "stop" a detector marks 0.06 s."""
MOST_S = 12.0
FALL_DB = 24.0
"""So far below its loudest, an utterance has paused, whatever sounds on: echoes, people."""
MURMUR = 0.35
"""From this probability on, sound without an utterance is people talking."""
LONG_S = 3.0
"""After this much speech without a pause it may be no answer but people talking on and on."""


@dataclass(frozen=True, slots=True)
class Waits:
    """How long a pause ends an utterance, in seconds.

    Attributes:
        short_s: when what was said can stand as it is.
        long_s: when it cannot, as after "nine".
        usual_s: when nobody knows yet: the step's own.
    """

    short_s: float = 0.22
    long_s: float = 0.55
    usual_s: float = 0.35


@dataclass(frozen=True, slots=True)
class Thresholds:
    """What makes a frame speech.

    Attributes:
        begin, go_on: least probability to begin, and to go on once begun.
        begin_db, go_on_db: least level above the floor likewise.
    murmur_begin_db, murmur_go_on_db: least level above the murmur likewise.
        frames: frames of speech in a row that make a beginning.
    """

    begin: float = 0.4
    go_on: float = 0.3
    begin_db: float = 4.0
    go_on_db: float = 1.0
    murmur_begin_db: float = 2.0
    murmur_go_on_db: float = 0.5
    frames: int = 2


QUIET = Thresholds()
TALKING = Thresholds(begin=0.7, go_on=0.5, begin_db=8.0, go_on_db=4.0, frames=3)
"""While the assistant itself talks: what is left of its echo must not count."""


class Turns:
    """Utterances of one microphone.

    Attributes:
        talking: whether the assistant speaks now; set it from outside.
        floor: the noise floor, for a meter.
    """

    def __init__(self, vad: Vad, wait: Waits | None = None) -> None:
        self.talking = False
        self.floor = Floor()
        self._murmur = Murmur()
        self._vad = vad
        self._waits = wait or Waits()
        self._complete: bool | None = None
        self._kept: deque[Samples] = deque(maxlen=round(PRE_ROLL_S / FRAME_S))
        self._frames: list[Samples] = []
        self._run = 0
        self._active = 0
        self._silent = 0
        self._start_s = 0.0
        self._loudest_db = -100.0

    def set_wait(self, short_s: float, long_s: float, usual_s: float | None = None) -> None:
        """Waits of the step from now on; `usual_s` is half-way between if not given."""
        usual = (short_s + long_s) / 2 if usual_s is None else usual_s
        self._waits = replace(self._waits, short_s=short_s, long_s=long_s, usual_s=usual)

    def patience(self, complete: bool | None) -> None:
        """Whether what was said so far can stand (True), cannot (False), or is unknown (None).

        Holds until the speech goes on or ends.
        """
        self._complete = complete

    @property
    def speaking(self) -> bool:
        """Whether an utterance has begun and not ended."""
        return bool(self._frames)

    def feed(self, frame: Samples, at_s: float) -> list[Event]:
        """Take the next frame, which begins at `at_s`; returns what it brought about."""
        probability = self._vad.probability(frame)
        above_db = self.floor.feed(frame)
        over_db = self._murmur.feed(self.floor.level_db, self.floor.db)
        limits = TALKING if self.talking else QUIET
        end_s = at_s + FRAME_S
        if self.speaking:
            speech = (
                probability >= limits.go_on
                and above_db >= limits.go_on_db
                and over_db >= limits.murmur_go_on_db
                and self._murmur.now_db >= self._loudest_db - FALL_DB
            )
            self._loudest_db = max(self._loudest_db, self._murmur.now_db)
            if (self._active + self._silent) * FRAME_S >= LONG_S:
                self._murmur.learn(speech)
            self._frames.append(frame)
            return self._in_speech(speech, end_s)
        self._kept.append(frame)
        self._murmur.learn(probability >= MURMUR)
        speech = (
            probability >= limits.begin
            and above_db >= limits.begin_db
            and over_db >= limits.murmur_begin_db
        )
        self._run = self._run + 1 if speech else 0
        return self._begin(end_s) if self._run >= limits.frames else []

    def _begin(self, end_s: float) -> list[Event]:
        self._frames = list(self._kept)
        self._kept.clear()
        self._active, self._silent, self._complete = self._run, 0, None
        self._start_s = end_s - self._run * FRAME_S
        self._loudest_db = self._murmur.now_db
        begun: list[Event] = [BargedIn(self._start_s)] if self.talking else []
        return [*begun, Started(self._start_s)]

    def _in_speech(self, speech: bool, end_s: float) -> list[Event]:
        events: list[Event] = []
        if speech:
            if self._silent * FRAME_S >= PAUSE_S:
                events.append(Resumed(end_s))
                self._complete = None
            self._silent = 0
            self._active += 1
            if end_s - self._start_s >= MOST_S:
                self._forget()
                events.append(TooLong(end_s))
            return events
        self._silent += 1
        silent_s = self._silent * FRAME_S
        speech_end_s = end_s - silent_s
        if silent_s >= self._wait_s():
            if not self._word():
                events.append(Dropped(end_s))
            else:
                events.append(Ended(self._samples(), self._start_s, speech_end_s, end_s))
            self._forget()
        elif silent_s >= PAUSE_S > silent_s - FRAME_S and self._word():
            events.append(Paused(self._samples(), speech_end_s, end_s))
        return events

    def _word(self) -> bool:
        """Whether what was heard so far may be a word."""
        if self._active * FRAME_S >= LEAST_S or self._murmur.share <= CROWD:
            return True
        return self._loudest_db - self._murmur.db >= STAND_OUT_DB

    def _wait_s(self) -> float:
        waits = self._waits
        if self._complete is None:
            return waits.usual_s
        return waits.short_s if self._complete else waits.long_s

    def _samples(self) -> Samples:
        return np.concatenate(self._frames)

    def _forget(self) -> None:
        # The end of one utterance may be the beginning of the next.
        self._kept.extend(self._frames[-(self._kept.maxlen or 1) :])
        self._frames = []
        self._run = 0
