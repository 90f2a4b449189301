"""Where an utterance begins and ends in the frames of one microphone."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field
from typing import Literal, NamedTuple

import numpy as np

from assistant.voice.detection.echo_canceller import EchoCanceller
from assistant.voice.detection.vad import SpeechDetector, Vad
from assistant.voice.devices.audio import FRAME, FRAME_S, Samples

PRE_ROLL_S = 0.42
"""Kept from before speech was noticed: a weak "th", "s" or "f" comes well before the vowel."""
BEGIN_FRAMES = 2
CROWDED_FRAMES = 3
"""Frames of speech in a row that make a beginning; and while others talk in the background."""
SURE_FRAMES = 6
"""Of frames that are surely speech, as soft as they may be, where a cry must not be missed."""
PAUSE_S = 0.12
"""A pause that may be the end."""
LEAST_S = 0.15
"""Shorter is nothing unless it stands out. Of a short "stop" a detector marks 0.06 s."""
LONG_S = 5.0
"""After so much speech without an end it may be no answer but people talking on and on."""
MOST_S = 12.0

_NOTHING_PLAYED = np.zeros(FRAME, np.float32)


@dataclass(frozen=True, slots=True, eq=False)
class EndpointEvent:
    """What a frame brought about; times in seconds on the clock of the frames.

    Attributes:
        kind: "started": someone speaks. "paused": it may be over, so decoding may begin on a guess.
            "resumed": it was not, and what was decoded on a guess is void. "ended": one utterance,
            complete. "dropped": what began was too short for a word. "too long": nobody speaks that
            long; what began is dropped, and its level taken for noise.
        start_s: where the speech began.
        speech_end_s: where the pause began, of "paused" and "ended".
        at_s: now; `at_s - speech_end_s` is what waiting cost.
        samples: of "paused" all so far, of "ended" the whole, from the pre-roll to now, shape (n,).
    """

    kind: Literal["started", "paused", "resumed", "ended", "dropped", "too long"]
    start_s: float
    at_s: float
    speech_end_s: float = 0.0
    samples: Samples = field(default_factory=lambda: np.zeros(0, np.float32))


class EndWaits(NamedTuple):
    """How long a pause ends an utterance: short when what was said can stand as it is, long when it
    cannot, as after "nine", and usual when nobody knows yet."""

    short_s: float = 0.22
    long_s: float = 0.55
    usual_s: float = 0.35


class Endpointer:
    """Utterances of one microphone, beside which a loudspeaker may be sounding.

    Attributes:
        waits: those of the step.
        alert: somebody may be hurt: what may be speech is heard, soft or among others.
    """

    def __init__(self, waits: EndWaits | None = None, vad: Vad | None = None) -> None:
        self._echo = EchoCanceller()
        self._detector = SpeechDetector(vad or Vad(), self._echo)
        self.waits = waits or EndWaits()
        self.alert = False
        self._complete: bool | None = None
        self._kept: deque[Samples] = deque(maxlen=round(PRE_ROLL_S / FRAME_S))
        self._frames: list[Samples] = []
        self._run = self._sure = self._active = self._silent = 0
        self._paused = False
        self._start_s = 0.0

    @property
    def speaking(self) -> bool:
        """Whether an utterance has begun and not ended."""
        return bool(self._frames)

    @property
    def noise_db(self) -> float:
        """The noise floor, dB re full scale, in the band of speech: for a meter."""
        return self._detector.noise_floor.db

    def patience(self, complete: bool | None) -> None:
        """Whether what was said so far can stand, cannot, or is unknown (None), until the speech
        goes on or ends."""
        self._complete = complete

    def feed(
        self, heard: Samples, at_s: float, played: Samples | None = None, over_us: bool = False
    ) -> list[EndpointEvent]:
        """Take the next frame of the microphone, shape (`FRAME`,), which begins at `at_s`, and the
        same of what the loudspeaker was given for that time, None for nothing; `over_us`: the
        assistant is speaking, so that more is needed to count as a person."""
        frame = self._echo.feed(heard, _NOTHING_PLAYED if played is None else played)
        self._detector.feed(frame, over_us)
        end_s = at_s + FRAME_S
        if self.speaking:
            self._frames.append(frame)
            on = self._detector.goes_on(self.alert)
            return self._on(end_s) if on else self._silence(end_s)
        self._kept.append(frame)
        self._detector.learn()
        self._run = self._run + 1 if self._detector.begins else 0
        crowded = self._detector.crowded and not self.alert
        self._sure = self._sure + 1 if self._detector.surely else 0
        if self.alert and self._sure >= SURE_FRAMES:
            self._run = self._sure
        enough = CROWDED_FRAMES if crowded else BEGIN_FRAMES
        return self._begin(end_s) if self._run >= enough else []

    def _begin(self, end_s: float) -> list[EndpointEvent]:
        self._detector.begin()
        self._frames = list(self._kept)
        self._kept.clear()
        self._active, self._silent = self._run, 0
        self._paused, self._complete = False, None
        self._start_s = end_s - self._run * FRAME_S
        return [EndpointEvent("started", self._start_s, end_s)]

    def _on(self, end_s: float) -> list[EndpointEvent]:
        if (self._active + self._silent) * FRAME_S >= LONG_S:
            self._detector.learn()
        events = []
        if self._paused:
            events.append(EndpointEvent("resumed", self._start_s, end_s))
            self._paused, self._complete = False, None
        self._silent = 0
        self._active += 1
        if end_s - self._start_s >= MOST_S:
            self._forget()
            events.append(EndpointEvent("too long", self._start_s, end_s))
        return events

    def _silence(self, end_s: float) -> list[EndpointEvent]:
        self._silent += 1
        silent_s = self._silent * FRAME_S
        word = self._active * FRAME_S >= LEAST_S or self._detector.stands_out
        waits = {True: self.waits.short_s, False: self.waits.long_s, None: self.waits.usual_s}
        over = silent_s >= waits[self._complete]
        if not over and (silent_s < PAUSE_S or self._paused or not word):
            return []
        self._paused = True
        event = EndpointEvent("dropped", self._start_s, end_s)
        if word:
            times = (self._start_s, end_s, end_s - silent_s)
            sound = np.concatenate(self._frames)
            event = EndpointEvent("ended" if over else "paused", *times, sound)
        if over:
            self._forget()
        return [event]

    def _forget(self) -> None:
        # The end of one utterance may be the beginning of the next.
        self._kept.extend(self._frames[-(self._kept.maxlen or 1) :])
        self._frames = []
        self._run = self._sure = 0
