"""One output and what waits to be said on it."""

from __future__ import annotations

import threading
from collections.abc import Callable

from assistant.procedure.said import Said

from .audio import Samples
from .earcons import earcon
from .player import Output
from .speech import Speech, SpeechError
from .utterance import CUE, STOP, Utterance

_POLL_S = 0.01
_IDLE_S = 0.2


class Line:
    """A queue before an output. Only `turn` synthesizes; one thread calls it.

    Attributes:
        ambient_dbfs: noise at the microphone, for the level of the signals; None when unknown.
    """

    def __init__(
        self,
        output: Output,
        speech: Speech,
        on_first: Callable[[Said, str, float], None],
        on_trouble: Callable[[str], None],
    ) -> None:
        self.output = output
        self.speech = speech
        self.ambient_dbfs: float | None = None
        self.wake = threading.Event()
        self._on_first = on_first
        self._on_trouble = on_trouble
        self._queue: list[Utterance] = []
        self._now: Utterance | None = None
        self._lock = threading.Lock()
        self._ahead: tuple[str, str] | None = None
        self._there = True
        self._told: set[str] = set()

    def add(self, new: list[Utterance]) -> None:
        """Take up what is new; what is urgent interrupts, what it makes stale is dropped."""
        with self._lock:
            top = min(u.rank for u in new)
            if top == STOP:
                self._drop()
            now = self._now
            if now is not None and top <= CUE and now.rank > top:
                self.output.hush()
                self._queue.append(now.fresh())
                self._now = None
            if any(_instructs(u) for u in new):
                # There is one present instruction: an older one, not begun or broken off by this
                # one, would mislead.
                self._queue = [u for u in self._queue if not _instructs(u)]
            self._queue += new
            self._queue.sort(key=lambda u: (u.rank, u.order))
        self.wake.set()

    def hush(self, stop_too: bool) -> list[Said]:
        """Cut off and drop everything but a stop (and that as well with `stop_too`)."""
        with self._lock:
            kept = [] if stop_too else [u for u in self._queue if u.rank == STOP]
            lost = [u.said for u in self._queue if u not in kept]
            self._queue = kept
            now = self._now
            if now is not None and (stop_too or now.rank != STOP):
                self.output.hush()
                self._now = None
                lost.insert(0, now.said)
        return list(dict.fromkeys(lost))

    def busy(self) -> bool:
        """Whether something is being said or waits."""
        with self._lock:
            return self._now is not None or bool(self._queue)

    def speaking(self) -> bool:
        """Whether something is heard now, or about to be; not while the output is lost."""
        return self._there and (self.output.playing.busy() or self.busy())

    def run(self, closed: threading.Event) -> None:
        """Take turns until `closed`, whatever goes wrong in one of them."""
        while not closed.is_set():
            self.wake.clear()
            try:
                while self.turn() and not closed.is_set():
                    pass
            except Exception as error:  # a mute assistant is worse than one sentence lost
                self._trouble(f"something could not be said ({error}); look at the screen")
                self.hush(stop_too=False)
            self.wake.wait(_POLL_S if self.speaking() else _IDLE_S)

    def turn(self) -> bool:
        """Take the next step; returns whether there may be another at once."""
        self._there = self.output.check()
        if not self._there:
            return False
        with self._lock:
            first = self._first()
            now = self._current()
            part = ""
            if now is not None and now.earcon:
                signal, now.earcon = now.earcon, ""
                now.chunks.append(self.output.playing.play(earcon(signal, self.ambient_dbfs)))
            elif now is not None and now.parts:
                part = now.parts.pop(0)
            more = now is not None and bool(now.parts)
            ahead = self._queue[0] if self._queue and not part and not more else None
        if first is not None:
            self._on_first(*first)
        if now is not None and part:
            sound = self._synthesized(part, now.voice)
            with self._lock:
                if self._now is now and sound is not None:
                    now.chunks.append(self.output.playing.play(sound))
            return True
        if more:
            return True
        if ahead is not None and ahead.parts and self._ahead != (ahead.parts[0], ahead.voice):
            self._ahead = (ahead.parts[0], ahead.voice)
            self._synthesized(*self._ahead)  # remembered: it will come at once
        return False

    def _current(self) -> Utterance | None:
        """The utterance in hand, or the next one when that is over. The lock is held."""
        now = self._now
        if now is not None and not now.parts and not now.earcon:
            ends = now.chunks[-1].ends if now.chunks else 0.0
            if ends is not None and ends <= self.output.playing.clock():
                self._now = None
        if self._now is None and self._queue:
            self._now = self._queue.pop(0)
        return self._now

    def _first(self) -> tuple[Said, str, float] | None:
        """What was first heard since last asked, where and when. The lock is held."""
        now = self._now
        if now is None or now.first or not now.chunks or now.chunks[0].began is None:
            return None
        now.first = True
        return now.said, self.output.name, now.chunks[0].began

    def _synthesized(self, part: str, voice: str) -> Samples | None:
        try:
            return self.speech.samples(part, voice)
        except SpeechError as error:
            self._trouble(str(error))
            return None

    def _trouble(self, line: str) -> None:
        if line not in self._told:
            self._told.add(line)
            self._on_trouble(line)

    def _drop(self) -> None:
        self._queue.clear()
        if self._now is not None and self._now.rank != STOP:
            self.output.hush()
            self._now = None


def _instructs(utterance: Utterance) -> bool:
    return utterance.said.key.startswith("prompt:")
