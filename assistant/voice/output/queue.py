"""One output and what waits to be said on it."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterable, Sequence

import numpy as np

from assistant.act import Said
from assistant.voice.devices.audio import RATE, Samples
from assistant.voice.output.earcons import earcon
from assistant.voice.output.player import (
    CUE,
    STOP,
    Output,
    SilentPlayer,
    Utterance,
    ranked,
    utterances,
)
from assistant.voice.output.spoken_text import sentences, spoken
from assistant.voice.output.synthesizer import Speech, SpeechError

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


# --- The mouth: says replies on one output or two, the most urgent first, and can be hushed.

_QUEUE_POLL_S = 0.01


def _nothing(*_: object) -> None:
    pass


class Mouth:
    """Says what a turn's `Said` hold. Shared by threads; close it when done.

    With two outputs the technician's and the helper's talk go apart, and what is for both goes to
    both. With one, the helper's is told by another voice, and what is for both is said once.
    """

    def __init__(
        self,
        speech: Speech,
        output: Output,
        helper_output: Output | None = None,
        on_first: Callable[[Said, str, float], None] = _nothing,
        on_trouble: Callable[[str], None] = _nothing,
        live: bool = True,
    ) -> None:
        """Speak on `output`, and for the helper on `helper_output` if there is one.

        Args:
            on_first: told the first sound of each thing said: what, on which output, and when by
                the output's clock.
            on_trouble: told in one line when nothing can be synthesized.
            live: outputs run by themselves; otherwise `advance` lets time pass.
        """
        self.speech = speech
        self._tech = Line(output, speech, on_first, on_trouble)
        self._helper = self._tech
        if helper_output is not None and helper_output is not output:
            self._helper = Line(helper_output, speech, on_first, on_trouble)
        self._lines = list(dict.fromkeys((self._tech, self._helper)))
        self._order = 0
        self._say_lock = threading.Lock()
        self._closed = threading.Event()
        self._threads: list[threading.Thread] = []
        if live:
            for line in self._lines:
                thread = threading.Thread(target=line.run, args=(self._closed,), daemon=True)
                thread.start()
                self._threads.append(thread)

    @property
    def shared(self) -> bool:
        """Whether the two people hear one output."""
        return len(self._lines) == 1

    def say(self, said: Sequence[Said]) -> None:
        """Queue a turn's replies. A stop among them clears what was queued, on every output; a cue
        to the helper does on his own."""
        if not said:
            return
        with self._say_lock:
            new: dict[Line, list[Utterance]] = {line: [] for line in self._lines}
            for rank, one in ranked(said):
                self._order += 1
                for line in self._lines_for(one.to):
                    helpers = one.to == "helper" or (not self.shared and line is self._helper)
                    voice = "helper" if helpers else "tech"
                    new[line] += utterances(rank, self._order, one, voice)
            for one in said:
                if one.cue == "STOP":
                    for line in self._lines:
                        line.hush(stop_too=False)
                elif one.cue and not self.shared:
                    # Nothing older may follow on it: "Pedal up" after a HOLD would mislead.
                    self._helper.hush(stop_too=False)
            for line, some in new.items():
                if some:
                    line.add(some)

    def warm(self, texts: Iterable[str], to: str = "both") -> None:
        """Think `texts` over (as they stand in a `Said`), so that they come at once when said."""
        voices = {"tech": ["tech"], "helper": ["helper"]}.get(to, ["tech", "helper"])
        for text in texts:
            for voice in voices:
                self.speech.warm(sentences(spoken(text)), voice)

    def signal(self, name: str, to: str = "tech") -> None:
        """Play an earcon, next of all but a stop."""
        with self._say_lock:
            self._order += 1
            for line in self._lines_for(to):
                what = Said(to, "", f"earcon:{name}")
                line.add([Utterance(CUE, self._order, what, "tech", name, [])])

    def hush(self, to: str = "both", stop_too: bool = False) -> list[Said]:
        """Be silent at once, on the outputs of `to`.

        A stop goes on being said unless `stop_too`: whoever speaks over it needs it the more.

        Returns:
            what was broken off or not said at all; say it again if it was no person who spoke.
        """
        with self._say_lock:
            lost = [said for line in self._lines_for(to) for said in line.hush(stop_too)]
        return [said for said in dict.fromkeys(lost) if said.text]

    def speaking(self, to: str = "both") -> bool:
        """Whether something is heard, or about to be, on the outputs of `to`."""
        return any(line.speaking() for line in self._lines_for(to))

    def reference(self, seconds: float, until: float | None = None) -> Samples:
        """What all outputs played in the `seconds` up to `until` by their clock (default: now)."""
        out = np.zeros(round(seconds * RATE), dtype=np.float32)
        for line in self._lines:
            out += line.output.playing.reference(seconds, until)
        return out

    def ambient(self, dbfs: float | None) -> None:
        """How loud the shop is at the microphone; signals stand out of it."""
        for line in self._lines:
            line.ambient_dbfs = dbfs

    def advance(self, seconds: float) -> None:
        """Not live: let time pass on silent outputs, synthesizing what falls due."""
        for line in self._lines:
            while line.turn():
                pass
            if isinstance(line.output, SilentPlayer):
                line.output.run(round(seconds * RATE))

    def wait(self, timeout_s: float = 60.0) -> bool:
        """Live: wait until all is said; whether it was in time."""
        end = time.monotonic() + timeout_s
        while any(line.busy() for line in self._lines):
            if time.monotonic() > end:
                return False
            time.sleep(_QUEUE_POLL_S)
        return True

    def close(self) -> None:
        """Be silent, and let go of the outputs. `speech` is the caller's to close."""
        self._closed.set()
        for line in self._lines:
            line.hush(stop_too=True)
            line.wake.set()
        for thread in self._threads:
            thread.join(timeout=2.0)
        for line in self._lines:
            line.output.close()

    def _lines_for(self, to: str) -> list[Line]:
        return {"tech": [self._tech], "helper": [self._helper]}.get(to, self._lines)
