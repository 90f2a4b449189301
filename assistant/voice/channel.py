"""One microphone of a session: its turns, and the utterance being decoded."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Executor, Future
from dataclasses import dataclass

from .audio import Samples
from .ears import Ears
from .grammar import Grammar
from .heard import Hearing
from .turn_events import BargedIn, Dropped, Ended, Event, Paused, Resumed, Started, TooLong
from .turns import Listener


@dataclass(slots=True, eq=False)
class Utterance:
    """One person's words on their way to being understood.

    Attributes:
        samples: the sound.
        hearings: what the engines make of it; done or still to come.
        speech_end_s, begun_s, ended_s: by the clock of the frames; `ended_s` is None while the
            pause may not be the end yet.
        looked_at: the guess was used already, to be more or less patient.
    """

    samples: Samples
    hearings: Future[list[Hearing]]
    speech_end_s: float
    begun_s: float
    ended_s: float | None = None
    looked_at: bool = False


class Channel:
    """A microphone that one role, or both ("" then), speak into.

    Args:
        role: "tech", "helper" or "".
        name: the device or file, for the record.
        ears: the engines; shared by channels, used by one job of `executor` at a time.
        executor: where decoding runs.
        grammar: gives what may be said now.
        on_speech: told when somebody begins to speak.
    """

    def __init__(
        self,
        role: str,
        name: str,
        ears: Ears,
        executor: Executor,
        grammar: Callable[[], Grammar],
        on_speech: Callable[[], None],
    ) -> None:
        self.role = role
        self.name = name
        self.listener = Listener()
        self.utterance: Utterance | None = None
        self._ears = ears
        self._executor = executor
        self._grammar = grammar
        self._on_speech = on_speech

    def feed(self, samples: Samples, at_s: float, played: Samples | None = None) -> None:
        """Take one frame of the microphone, and what the loudspeaker played meanwhile."""
        for event in self.listener.feed(samples, at_s, played):
            self._take(event)

    def _take(self, event: Event) -> None:
        match event:
            case Started() | BargedIn():
                self._on_speech()
            case Paused():
                # Decoding begins on the guess that this is the end: the wait costs nothing then.
                self.utterance = self._decode(event.samples, event.speech_end_s, event.at_s)
            case Resumed() | TooLong() | Dropped():
                self.utterance = None
            case Ended():
                if self.utterance is None:
                    self.utterance = self._decode(event.samples, event.speech_end_s, event.at_s)
                self.utterance.ended_s = event.at_s
                self.utterance.samples = event.samples

    def _decode(self, samples: Samples, speech_end_s: float, at_s: float) -> Utterance:
        grammar = self._grammar()

        def work() -> list[Hearing]:
            self._ears.expect(grammar)
            return self._ears.listen(samples)

        return Utterance(samples, self._executor.submit(work), speech_end_s, at_s)
