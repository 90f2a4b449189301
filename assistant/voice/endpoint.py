"""Where an utterance begins and ends in a stream of frames."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, replace

import numpy as np

from .audio import FRAME_S, Samples
from .floor import Floor
from .turn_events import BargedIn, Dropped, Ended, Event, Paused, Resumed, Started, TooLong
from .vad import Vad

PRE_ROLL_S = 0.35
"""Kept from before speech was noticed: a weak "th", "s" or "f" comes well before the vowel."""
PAUSE_S = 0.11
"""A pause that may be the end."""
LEAST_S = 0.15
"""Shorter is a click; "no" and "up" take 0.2 s."""
MOST_S = 12.0


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
        frames: frames of speech in a row that make a beginning.
    """

    begin: float = 0.5
    go_on: float = 0.35
    begin_db: float = 7.0
    go_on_db: float = 3.0
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
        self._vad = vad
        self._waits = wait or Waits()
        self._complete: bool | None = None
        self._kept: deque[Samples] = deque(maxlen=round(PRE_ROLL_S / FRAME_S))
        self._frames: list[Samples] = []
        self._run = 0
        self._active = 0
        self._silent = 0
        self._start_s = 0.0
        self._deaf = False

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
        limits = TALKING if self.talking else QUIET
        end_s = at_s + FRAME_S
        if self.speaking:
            speech = probability >= limits.go_on and above_db >= limits.go_on_db
            self._frames.append(frame)
            return self._in_speech(speech, end_s)
        self._kept.append(frame)
        speech = probability >= limits.begin and above_db >= limits.begin_db
        self._run = self._run + 1 if speech else 0
        if self._deaf:
            self._deaf = speech
            return []
        if self._run < limits.frames:
            return []
        return self._begin(end_s)

    def _begin(self, end_s: float) -> list[Event]:
        self._frames = list(self._kept)
        self._kept.clear()
        self._active, self._silent, self._complete = self._run, 0, None
        self._start_s = end_s - self._run * FRAME_S
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
                self._deaf = True
                self.floor.adopt()
                events.append(TooLong(end_s))
            return events
        self._silent += 1
        silent_s = self._silent * FRAME_S
        speech_end_s = end_s - silent_s
        if silent_s >= self._wait_s():
            if self._active * FRAME_S < LEAST_S:
                events.append(Dropped(end_s))
            else:
                events.append(Ended(self._samples(), self._start_s, speech_end_s, end_s))
            self._forget()
        elif silent_s >= PAUSE_S > silent_s - FRAME_S and self._active * FRAME_S >= LEAST_S:
            events.append(Paused(self._samples(), speech_end_s, end_s))
        return events

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
