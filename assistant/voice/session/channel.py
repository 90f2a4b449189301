"""One microphone of a session: its turns, and the utterances on their way to being understood."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Hashable
from concurrent.futures import Future
from dataclasses import dataclass, field
from typing import Any

from assistant.voice.detection.endpointer import Endpointer, EndpointEvent
from assistant.voice.devices.audio import FRAME_S, Samples
from assistant.voice.interpretation import Decision
from assistant.voice.recognition.recognizer import Hearing


@dataclass(slots=True, eq=False)
class Utterance:
    """One person's words on their way to being understood.

    Attributes:
        grammar: the name of the one it is heard with.
        hearings: what the recognizers make of it; done or still to come.
        start_s, speech_end_s, ended_s: by the clock of the frames; `ended_s` is when it was taken
            for finished.
        looked_at: the guess was used already, to be more or less patient.
        moment, decision: what was decided last, and where the dialogue stood then.
        again_for: it is heard a second time for free words, as "note" or "accept", or for the
            "rest" of a reading together with that; else "".
        again: these words, or hearings; done or still to come.
    """

    samples: Samples
    grammar: str
    hearings: Future[list[Hearing]]
    start_s: float
    speech_end_s: float
    ended_s: float = 0.0
    looked_at: bool = False
    moment: Hashable = None
    decision: Decision | None = None
    again_for: str = ""
    again: Future[Any] | None = None

    def heard(self) -> list[Hearing]:
        """What the recognizers made of it; nothing if one failed."""
        return [] if self.hearings.exception() is not None else self.hearings.result()

    def heard_again(self) -> Any:
        """What `again` gave; None if there is none or it failed."""
        if self.again is None or self.again.exception() is not None:
            return None
        return self.again.result()


Hear = Callable[[Samples], tuple[str, Future[list[Hearing]]]]
"""Begins to decode a sound; gives the name of the grammar, and what will be heard."""


@dataclass(slots=True, eq=False)
class Channel:
    """A microphone that one role, or both ("" then), speak into; `name` is the device or file, for
    the record.

    `on_speech` is told the role when somebody begins to speak (True), and when that turned out to
    be no word (False).

    Attributes:
        guess: words after which there is a pause that may not be the end, or None.
        ended: utterances that are over, the oldest first; each waits for its answer.
        now_s: where the last frame ended.
    """

    role: str
    name: str
    hear: Hear
    on_speech: Callable[[str, bool], None]
    endpointer: Endpointer = field(default_factory=Endpointer)
    guess: Utterance | None = None
    ended: deque[Utterance] = field(default_factory=deque)
    now_s: float = 0.0
    _over: bool = False

    def feed(
        self, samples: Samples, at_s: float, played: Samples | None = None, over_us: bool = False
    ) -> None:
        """Take one frame of the microphone, what the loudspeaker played meanwhile, and whether the
        assistant was speaking."""
        self.now_s = at_s + FRAME_S
        for event in self.endpointer.feed(samples, at_s, played, over_us):
            self._take(event)

    def reset(self) -> None:
        """The microphone was away: what was being said into it is gone, as is what it sounded like;
        utterances that had ended are still answered."""
        self._forget()
        waits, alert = self.endpointer.waits, self.endpointer.alert
        self.endpointer = Endpointer(waits)
        self.endpointer.alert = alert

    def end_now(self) -> None:
        """The guess is taken for finished; what follows without a pause is not listened to."""
        self.guess, self._over = None, True

    def _take(self, event: EndpointEvent) -> None:
        if self._over and event.kind != "started":
            return
        match event.kind:
            case "started":
                self._over = False
                self.on_speech(self.role, True)
            case "paused":
                # Decoding begins on the guess that this is the end: the wait costs nothing then.
                self.guess = self._decode(event)
            case "resumed":
                self._forget()
            case "too long" | "dropped":
                self._forget()
                self.on_speech(self.role, False)
            case "ended":
                done, self.guess = self.guess or self._decode(event), None
                done.ended_s = event.at_s
                done.samples = event.samples
                self.ended.append(done)

    def _forget(self) -> None:
        if self.guess is not None:
            self.guess.hearings.cancel()  # the recognizers may be needed for what is said instead
            self.guess = None

    def _decode(self, event: EndpointEvent) -> Utterance:
        heard = self.hear(event.samples)
        return Utterance(event.samples, *heard, event.start_s, event.speech_end_s)
