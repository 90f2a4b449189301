"""What is said when: replies by their urgency, on one output or two, and silence at once."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from assistant.act import Said
from assistant.voice.devices.audio import Samples
from assistant.voice.output.earcons import earcon
from assistant.voice.output.player import AudioOutput, Chunk
from assistant.voice.output.synthesizer import SpeechError, Synthesizer, split_sentences, spoken

STOP, CUE, PROMPT, REST = range(4)
"""Ranks, the most urgent first."""
HEAD = 2
"""Sentences of a stop that both must hear before either hears more: `STOP. Everything out.`"""
_EARCON = {"HOLD": "hold", "RELEASE": "release", "STOP": "danger"}
_POLL_S = 0.01
_IDLE_S = 0.2


@dataclass(slots=True, eq=False)
class QueuedSpeech:
    """A part of a reply on its way to one output.

    Attributes:
        rank: `STOP` to `REST`.
        parts: sentences to be spoken one after another, each with its voice ("tech" or "helper"); a
            signal has its name and no voice.
        next: which of the parts is to be handed to the output next.
        chunks: what was handed to it.
        begun: whether its first sound was told of.
    """

    rank: int
    said: Said
    parts: tuple[tuple[str, str], ...]
    next: int = 0
    chunks: list[Chunk] = field(default_factory=list)
    begun: bool = False

    @property
    def instructs(self) -> bool:
        """Whether it is what is to be done now."""
        return self.said.key.startswith("prompt:")


def rank_of(said: Said) -> int:
    """A stop or an alarm, a cue to the helper, a prompt or caution, or the rest."""
    if said.cue == "STOP" or (said.signal == "DANGER" and said.key.startswith("reply:")):
        return STOP
    if said.cue:
        return CUE
    if said.signal or said.key.partition(":")[0] in ("prompt", "helper", "caution"):
        return PROMPT
    return REST


def ranked(turn: Sequence[Said]) -> list[tuple[int, Said]]:
    """A turn's parts with their ranks, in the order they are to be said.

    Stops come first. Otherwise a turn keeps its order: what leads up to a cue or a prompt shares
    its rank, for a caution comes before the act, and a verdict before the next question.
    """
    out: list[tuple[int, Said]] = []
    lead = REST
    for said in reversed(turn):
        rank = rank_of(said)
        if rank != STOP:
            rank = lead = min(rank, lead)
        out.append((rank, said))
    out.reverse()
    return sorted(out, key=lambda pair: pair[0] != STOP)


def queued(rank: int, said: Said, helpers: bool) -> list[QueuedSpeech]:
    """One, or two: what is long in a stop waits until the other person has heard his. On an output
    that is the `helpers` own all is told by one voice."""
    voice = "helper" if helpers or said.to == "helper" else "tech"
    parts = [(sentence, voice) for sentence in split_sentences(spoken(said))]
    if said.signal and not said.cue and rank != STOP:
        parts.insert(0, (f"{said.signal.capitalize()}.", voice))
    head = HEAD if rank == STOP else len(parts)
    signal = [(_EARCON[said.cue], "")] if said.cue in _EARCON else []
    first = QueuedSpeech(rank, said, (*signal, *parts[:head]))
    rest = QueuedSpeech(PROMPT, said, tuple(parts[head:]))
    return [first, rest] if rest.parts else [first]


@dataclass(slots=True, eq=False)
class OutputQueue:
    """What waits before one output; for callbacks and noise see `SpeechOutput`. Only `turn`
    synthesizes; one thread calls it."""

    output: AudioOutput
    synthesizer: Synthesizer
    on_first: Callable[[Said, str, float], None]
    on_trouble: Callable[[str], None]
    ambient_dbfs: float | None = None
    wake: threading.Event = field(default_factory=threading.Event)
    _queue: list[QueuedSpeech] = field(default_factory=list)
    _now: QueuedSpeech | None = None
    _lock: threading.Lock = field(default_factory=threading.Lock)
    _ahead: tuple[str, str] | None = None
    _there: bool = True
    _told: set[str] = field(default_factory=set)

    def add(self, new: list[QueuedSpeech]) -> None:
        """Take up what is new; what is urgent interrupts, what it makes stale is dropped."""
        with self._lock:
            top, now = min(one.rank for one in new), self._now
            if now is not None and top <= CUE and now.rank > top:
                self._break_off()
                self._queue.insert(0, replace(now, next=0, chunks=[], begun=False))
            if top == STOP:
                self._queue.clear()
            if any(one.instructs for one in new):
                # There is one present instruction: an older one, not begun or broken off by this
                # one, would mislead.
                self._queue = [one for one in self._queue if not one.instructs]
            self._queue += new
            self._queue.sort(key=lambda one: one.rank)  # within a rank they keep their order
        self.wake.set()

    def hush(self, stop_too: bool) -> list[Said]:
        """Cut off and drop everything but a stop (and that as well with `stop_too`)."""
        with self._lock:
            kept = [] if stop_too else [one for one in self._queue if one.rank == STOP]
            lost = [one.said for one in self._queue if one not in kept]
            self._queue = kept
            now = self._now
            if now is not None and (stop_too or now.rank != STOP):
                self._break_off()
                lost.insert(0, now.said)
        return lost

    def busy(self) -> bool:
        """Whether something is being said or waits; not while the output is lost."""
        with self._lock:
            return self._there and (self._now is not None or bool(self._queue))

    def speaking(self) -> bool:
        """Whether something is heard now, or about to be; not while the output is lost."""
        return self._there and (self.output.buffer.busy() or self.busy())

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
            begun = self._first_heard()
            now = self._current()
            part = None
            if now is not None and now.next < len(now.parts):
                part = now.parts[now.next]
                now.next += 1
            following = self._queue[0].parts if self._queue else ()
        if begun is not None:
            self.on_first(*begun)
        if now is not None and part is not None:
            sound = self._sound(*part)
            with self._lock:
                if self._now is now and sound is not None:
                    now.chunks.append(self.output.buffer.play(sound))
            return True
        ahead = next((part for part in following if part[1]), self._ahead)
        if ahead is not None and ahead != self._ahead:
            self._ahead = ahead
            self._sound(*ahead)  # remembered: it will come at once
        return False

    def _current(self) -> QueuedSpeech | None:
        """What is in hand, or the next when that is over. The lock is held."""
        now = self._now
        if now is not None and now.next == len(now.parts):
            ends = now.chunks[-1].ends if now.chunks else 0.0
            if ends is not None and ends <= self.output.buffer.clock():
                self._now = None
        if self._now is None and self._queue:
            self._now = self._queue.pop(0)
        return self._now

    def _first_heard(self) -> tuple[Said, str, float] | None:
        """What was first heard since last asked, where and when. The lock is held."""
        now = self._now
        if now is None or now.begun or not now.chunks or now.chunks[0].began is None:
            return None
        now.begun = True
        return now.said, self.output.name, now.chunks[0].began

    def _sound(self, part: str, voice: str) -> Samples | None:
        if not voice:
            return earcon(part, self.ambient_dbfs)
        try:
            return self.synthesizer.samples(part, voice)
        except SpeechError as error:
            self._trouble(str(error))
            return None

    def _trouble(self, line: str) -> None:
        if line not in self._told:
            self._told.add(line)
            self.on_trouble(line)

    def _break_off(self) -> None:
        self.output.buffer.hush()
        self._now = None


class SpeechOutput:
    """Says what a turn's `Said` hold. Shared by threads; close it when done.

    With two outputs, each with a queue of its own, the technician's and the helper's talk go apart,
    and what is for both goes to both. With one, the helper's is told by another voice, and what is
    for both is said once.
    """

    def __init__(
        self,
        synthesizer: Synthesizer,
        output: AudioOutput,
        helper_output: AudioOutput | None = None,
        on_first: Callable[[Said, str, float], None] = lambda said, where, at_s: None,
        on_trouble: Callable[[str], None] = lambda line: None,
    ) -> None:
        """`on_first` is told of the first sound of each thing said: what, on which output, and when
        by its clock; `on_trouble`, in one line, when nothing can be synthesized."""
        self._synthesizer = synthesizer
        self.queues = [
            OutputQueue(one, synthesizer, on_first, on_trouble)
            for one in (output, helper_output)
            if one is not None
        ]
        self._say_lock = threading.Lock()
        self._closed = threading.Event()
        self._threads: list[threading.Thread] = []

    def start(self) -> None:
        """Begin to speak: a thread an output, that takes the turns of its queue."""
        for queue in self.queues:
            thread = threading.Thread(target=queue.run, args=(self._closed,), daemon=True)
            thread.start()
            self._threads.append(thread)

    def say(self, turn: Sequence[Said]) -> None:
        """Queue a turn's replies. A stop among them clears what was queued, on every output; a cue
        to the helper does on his own."""
        with self._say_lock:
            cues = {said.cue for said in turn} - {""}
            for queue in self.queues:
                own = queue in self.queues[1:]
                # Nothing older may follow on a cue: "Pedal up" after a HOLD would mislead.
                if "STOP" in cues or (cues and own):
                    queue.hush(stop_too=False)
                his = [(rank, s) for rank, s in ranked(turn) if queue in self._queues_of(s.to)]
                new = [one for rank, s in his for one in queued(rank, s, own)]
                if new:
                    queue.add(new)

    def warm(self, texts: Iterable[str], voice: str) -> None:
        """Think `texts` over (as they stand in a `Said`), so that they come at once when said."""
        for text in texts:
            for part in split_sentences(spoken(text)):
                self._synthesizer.samples(part, voice)

    def signal(self, name: str, to: str = "tech") -> None:
        """Play an earcon, next of all but a stop."""
        with self._say_lock:
            for queue in self._queues_of(to):
                queue.add([QueuedSpeech(CUE, Said(to, "", f"earcon:{name}"), ((name, ""),))])

    def hush(self, to: str = "both", stop_too: bool = False) -> list[Said]:
        """Be silent at once, on the outputs of `to`; gives what was broken off or not said at all.
        A stop goes on being said unless `stop_too`: whoever speaks over it needs it the more."""
        with self._say_lock:
            lost = [said for queue in self._queues_of(to) for said in queue.hush(stop_too)]
        return [said for said in dict.fromkeys(lost) if said.text]

    def speaking(self, to: str = "both") -> bool:
        """Whether something is heard, or about to be, on the outputs of `to`."""
        return any(queue.speaking() for queue in self._queues_of(to))

    def reference(self, seconds: float, until: float | None = None) -> Samples:
        """What all outputs played in the `seconds` up to `until` by their clock (default: now)."""
        played = [queue.output.buffer.reference(seconds, until) for queue in self.queues]
        return np.asarray(np.sum(played, axis=0), np.float32)

    def ambient(self, dbfs: float | None) -> None:
        """How loud the shop is at the microphone, None when unknown; signals stand out of it."""
        for queue in self.queues:
            queue.ambient_dbfs = dbfs

    def wait(self, timeout_s: float = 60.0) -> bool:
        """Wait until all is said; whether it was in time. A lost output is not waited for."""
        end = time.monotonic() + timeout_s
        while any(queue.busy() for queue in self.queues):
            if time.monotonic() > end:
                return False
            time.sleep(_POLL_S)
        return True

    def close(self) -> None:
        """Be silent, and let go of the outputs. The synthesizer is the caller's to close."""
        self._closed.set()
        for queue in self.queues:
            queue.hush(stop_too=True)
            queue.wake.set()
        for thread in self._threads:
            thread.join(timeout=2.0)
        for queue in self.queues:
            queue.output.close()

    def _queues_of(self, to: str) -> list[OutputQueue]:
        return {"tech": self.queues[:1], "helper": self.queues[-1:]}.get(to, self.queues)
