"""What turn-taking reports: plain data, times in seconds on the clock of the frames."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

import numpy as np

from assistant.voice.detection.echo import Echo
from assistant.voice.detection.presence import Presence
from assistant.voice.detection.vad import Vad
from assistant.voice.devices.audio import FRAME_S, Samples


@dataclass(frozen=True, slots=True)
class Started:
    """Someone speaks, since `at_s`."""

    at_s: float


@dataclass(frozen=True, slots=True)
class BargedIn:
    """Someone speaks while the assistant does, since `at_s`: it should fall silent."""

    at_s: float


@dataclass(frozen=True, slots=True, eq=False)
class Paused:
    """The speech has paused; it may be over, so decoding may begin on a guess.

    Attributes:
        samples: all so far, from the pre-roll to now, shape (n,).
        speech_end_s: where the pause began.
        at_s: now.
    """

    samples: Samples
    speech_end_s: float
    at_s: float


@dataclass(frozen=True, slots=True)
class Resumed:
    """The pause was not the end: what was decoded on a guess is void."""

    at_s: float


@dataclass(frozen=True, slots=True, eq=False)
class Ended:
    """One utterance, complete.

    Attributes:
        samples: with pre-roll and the pause that ended it, shape (n,).
        start_s, speech_end_s: where the speech lies.
        at_s: now; `at_s - speech_end_s` is what waiting cost.
    """

    samples: Samples
    start_s: float
    speech_end_s: float
    at_s: float


@dataclass(frozen=True, slots=True)
class TooLong:
    """Nobody speaks that long: what began is dropped, and its level taken for noise."""

    at_s: float


@dataclass(frozen=True, slots=True)
class Dropped:
    """What began was too short for a word."""

    at_s: float


Event = Started | BargedIn | Paused | Resumed | Ended | TooLong | Dropped


# --- Where an utterance begins and ends in a stream of frames.

PRE_ROLL_S = 0.42
"""Kept from before speech was noticed: a weak "th", "s" or "f" comes well before the vowel."""
BEGIN_FRAMES = 2
CROWDED_FRAMES = 3
"""Frames of speech in a row that make a beginning; and while others talk in the background."""
PAUSE_S = 0.12
"""A pause that may be the end."""
LEAST_S = 0.15
"""Shorter is nothing unless it stands out. Of a short "stop" a detector marks 0.06 s."""
LONG_S = 5.0
"""After so much speech without an end it may be no answer but people talking on and on."""
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


class Turns:
    """Utterances of one microphone.

    Attributes:
        presence: who speaks; its `talking` is to be set while the assistant does.
    """

    def __init__(self, vad: Vad, wait: Waits | None = None, echo: Echo | None = None) -> None:
        self.presence = Presence(vad, echo)
        self._waits = wait or Waits()
        self._complete: bool | None = None
        self._kept: deque[Samples] = deque(maxlen=round(PRE_ROLL_S / FRAME_S))
        self._frames: list[Samples] = []
        self._run = 0
        self._active = 0
        self._silent = 0
        self._paused = False
        self._start_s = 0.0

    def set_wait(self, short_s: float, long_s: float, usual_s: float | None = None) -> None:
        """Waits of the step from now on; `usual_s` is half-way between if not given."""
        usual = (short_s + long_s) / 2 if usual_s is None else usual_s
        self._waits = Waits(short_s, long_s, usual)

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
        """Take the next frame (`FRAME` samples), which begins at `at_s`; returns what it brought
        about, mostly nothing."""
        self.presence.feed(frame)
        end_s = at_s + FRAME_S
        if self.speaking:
            self._frames.append(frame)
            return self._on(end_s) if self.presence.goes_on() else self._silence(end_s)
        self._kept.append(frame)
        self.presence.learn()
        self._run = self._run + 1 if self.presence.begins else 0
        enough = CROWDED_FRAMES if self.presence.crowded else BEGIN_FRAMES
        return self._begin(end_s) if self._run >= enough else []

    def _begin(self, end_s: float) -> list[Event]:
        self.presence.begin()
        self._frames = list(self._kept)
        self._kept.clear()
        self._active, self._silent = self._run, 0
        self._paused, self._complete = False, None
        self._start_s = end_s - self._run * FRAME_S
        begun: list[Event] = [BargedIn(self._start_s)] if self.presence.talking else []
        return [*begun, Started(self._start_s)]

    def _on(self, end_s: float) -> list[Event]:
        if (self._active + self._silent) * FRAME_S >= LONG_S:
            self.presence.learn()
        events: list[Event] = []
        if self._paused:
            events.append(Resumed(end_s))
            self._paused, self._complete = False, None
        self._silent = 0
        self._active += 1
        if end_s - self._start_s >= MOST_S:
            self._forget()
            events.append(TooLong(end_s))
        return events

    def _silence(self, end_s: float) -> list[Event]:
        self._silent += 1
        silent_s = self._silent * FRAME_S
        speech_end_s = end_s - silent_s
        if silent_s >= self._wait_s():
            ended: Event = Dropped(end_s)
            if self._word():
                ended = Ended(self._samples(), self._start_s, speech_end_s, end_s)
            self._forget()
            return [ended]
        if silent_s >= PAUSE_S and not self._paused and self._word():
            self._paused = True
            return [Paused(self._samples(), speech_end_s, end_s)]
        return []

    def _word(self) -> bool:
        return self._active * FRAME_S >= LEAST_S or self.presence.stands_out

    def _wait_s(self) -> float:
        if self._complete is None:
            return self._waits.usual_s
        return self._waits.short_s if self._complete else self._waits.long_s

    def _samples(self) -> Samples:
        return np.concatenate(self._frames)

    def _forget(self) -> None:
        # The end of one utterance may be the beginning of the next.
        self._kept.extend(self._frames[-(self._kept.maxlen or 1) :])
        self._frames = []
        self._run = 0
