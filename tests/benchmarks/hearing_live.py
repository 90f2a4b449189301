"""The microphone's path, frame by frame: latency in noise, and a shop where nobody talks to us.

The clock is that of the frames: a result counts as there so much later as its decode took, with one
worker, as in a live session. What it took is its wall time, or its processor time where that is
less: other programs on the machine are not to be measured, and two threads are.
"""

from __future__ import annotations

import math
import sys
from collections import Counter
from collections.abc import Callable
from concurrent.futures import Executor, Future
from functools import partial
from typing import Any

import numpy as np

from assistant.act import Act, Said
from assistant.conversation.understand import understand
from assistant.dialogue import Question
from assistant.job.job import Job
from assistant.voice.devices.audio import FRAME, FRAME_S, RATE, Samples
from assistant.voice.recognition.recognizers import Recognizers
from assistant.voice.session.attendant import Attendant, SpokenTurn
from tests.spoken import channels, noises, nonspeech, recordings, voices

from .hearing_utterances import SEED, Timer, Utterance, asked, jobs, plan

_QUIET = 10 ** (-46 / 20)
"""RMS of the noise in a stream; the words are set over it."""
_AFTER_S = 0.15  # silence that `voices.say` leaves after the words
_GAP_S = 3.0, 3.8
_DECODE_S = 0.4  # what a decode counts as taking while nobody's patience is measured


class _Later(Future[Any]):
    """A result that is there only from a moment of the frames' clock on, and made at need."""

    def __init__(self, clock: Clocked, work: Callable[[], Any] | None, from_s: float) -> None:
        super().__init__()
        self._clock, self._work, self._from_s = clock, work, from_s

    def done(self) -> bool:
        if self._clock.now_s < self._from_s:
            return False
        if self._work is not None:
            work, self._work = self._work, None
            self.set_result(self._clock.worked(work)[0])
        return True


class Clocked(Executor):
    """One worker on the clock of the frames; `now_s` is set by whoever feeds them.

    With `fixed_s`, every decode counts as taking so long, and one whose result nobody waits for is
    never made: the same outcome on any machine, and sooner.
    """

    def __init__(self, fixed_s: float | None = None) -> None:
        self.now_s = 0.0
        self.worked_s = 0.0
        self._fixed_s = fixed_s
        self._free_s = 0.0

    def worked(self, work: Callable[[], Any]) -> tuple[Any, float]:
        """Do it now: the result, and what it took."""
        timer = Timer()
        result = work()
        took_s = timer.seconds()
        self.worked_s += took_s
        return result, took_s

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        work = partial(fn, *args, **kwargs)
        if self._fixed_s is not None:
            return _Later(self, work, self.now_s + self._fixed_s)
        result, took_s = self.worked(work)
        self._free_s = max(self.now_s, self._free_s) + took_s
        future = _Later(self, None, self._free_s)
        future.set_result(result)
        return future


class Still:
    """A conversation that stays where it is, so that every utterance meets the same step."""

    def __init__(self, job: Job) -> None:
        self.dialogue, self.asked = job, None

    def understood(self, words: str, who: str) -> Act | Question:
        return understand(words, who, self.dialogue)

    def take(self, *_: object) -> list[Said]:
        return []

    unheard = take


class Stream:
    """One microphone of `role` into an attendant, its turns with the moment each was answered."""

    def __init__(
        self, ears: Recognizers, job: Job, role: str, fixed_s: float | None = None
    ) -> None:
        self.clock = Clocked(fixed_s)
        self.turns: list[tuple[float, SpokenTurn]] = []
        self.attendant = Attendant(Still(job), ears, self.clock, self._answer)  # type: ignore[arg-type]
        self.channel = self.attendant.add(role, "bench")
        self.attendant.warm()
        self.feeding_s = 0.0

    def at(self, job: Job) -> None:
        self.attendant.conversation = Still(job)  # type: ignore[assignment]
        self.attendant.dialogue = job
        self.attendant.warm()

    def feed(self, frame: Samples) -> None:
        timer, worked = Timer(), self.clock.worked_s
        at_s = self.clock.now_s
        self.channel.feed(frame, at_s)
        self.clock.now_s = at_s + FRAME_S
        self.attendant.pump()
        self.feeding_s += timer.seconds() - (self.clock.worked_s - worked)

    def _answer(self, turn: SpokenTurn) -> None:
        self.turns.append((self.clock.now_s, turn))


def _laid(said: list[Utterance], kind: str, snr: int, channel: str, seed: int):
    """The utterances one after the other in one noise: sound, and (start, end) of the words."""
    rng = np.random.default_rng(seed)
    voices.prepare([(u.voice, u.text) for u in said])
    at, placed, spans = 2.0, [], []
    for i, u in enumerate(said):
        words = voices.vary(voices.say(u.voice, u.text), seed + i)
        power = channels.active_level(words)[0]
        words = words * np.float32(_QUIET * 10 ** (snr / 20) / np.sqrt(power))
        placed.append((round(at * RATE), words))
        spans.append((at, at + len(words) / RATE - _AFTER_S))
        at += len(words) / RATE + float(rng.uniform(*_GAP_S))
    out = noises.scaled(noises.noise(kind, at, seed), _QUIET)
    for start, words in placed:
        out[start : start + len(words)] += words
    return channels.CHANNELS[channel](out), spans


def latency(ears: Recognizers, n: int) -> dict[str, Any]:
    """From the end of the words to the decision made, at their steps, in four noises.

    Each word list is said in one stream at 20 dB and one at 10 dB; an utterance counts as
    answered by the first turn whose speech ended no more than 0.4 s from its own end.
    """
    said = [u for u in plan(6 * n, seed=23) if u.step and u.who == "tech" and not u.pending][:n]
    scenes = [(kind, snr) for kind in noises.KINDS for snr in (20, 10)]
    each = -(-len(said) // len(scenes))
    waits, totals = [], []
    unanswered = early = right = 0
    for at, (kind, snr) in enumerate(scenes):
        here = said[at * each : (at + 1) * each]
        if not here:
            continue
        channel = ("wideband", "narrowband")[at // 2 % 2]
        sound, spans = _laid(here, kind, snr, channel, SEED + 1000 * at)
        stream = Stream(ears, jobs()[here[0].step, False], "tech")
        heard_at = _through(stream, sound, here, spans)
        for u, (start, end), turns in zip(here, spans, heard_at, strict=True):
            good = [t for t in turns if abs(t[1].speech_end_s - end) <= 0.4]
            early += sum(start < t[1].speech_end_s < end - 0.4 for t in turns)
            if not good:
                unanswered += 1
                continue
            now_s, turn = good[0]
            totals.append(now_s - end)
            waits.append(turn.wait_s)
            meant = asked(u)[1](u.words)
            first = turn.decision.ranked[0].meaning if turn.decision.ranked else None
            right += bool(turn.kind == "accept" and meant and first == meant[0])
    return {
        "n": len(said),
        "unanswered": unanswered,
        "cut in two": early,
        "right at once": right,
        "totals": sorted(totals),
        "waits": sorted(waits),
    }


def _through(stream: Stream, sound: Samples, said: list[Utterance], spans) -> list[list]:
    """Feed a stream, each utterance at its own step; the turns that fall to each."""
    found: list[list] = [[] for _ in said]
    current = -1
    for n in range(len(sound) // FRAME):
        while current + 1 < len(said) and n * FRAME_S >= spans[current + 1][0] - 1.2:
            current += 1
            stream.at(jobs()[said[current].step, False])
        before = len(stream.turns)
        stream.feed(sound[n * FRAME : (n + 1) * FRAME])
        if current >= 0:
            found[current] += stream.turns[before:]
    return found


STRETCH_MIN = 30.0


def rejection(ears: Recognizers, minutes: float, seed: int = 90) -> dict[str, Any]:
    """Stretches of shop noise, off-topic talk and radio, a quarter of each at each of four steps;
    people's sentences among it where their recordings are."""
    counts, worked = Counter[str](), Counter[str]()
    found: dict[str, Counter[str]] = {"accept": Counter(), "again": Counter()}
    examples: list[dict[str, Any]] = []
    for at in range(math.ceil(minutes / STRETCH_MIN)):
        length = min(STRETCH_MIN, minutes - at * STRETCH_MIN)
        stream, events = _stretch(ears, length, seed + at)
        counts.update(e.kind for e in events)
        worked.update({"found": len(stream.turns), "decode": stream.clock.worked_s})
        worked["feeding"] += stream.feeding_s
        for _, turn in stream.turns:
            if turn.kind == "nothing":
                continue
            by = [e for e in events if e.start_s - 0.3 <= turn.speech_end_s <= e.end_s + 0.5]
            kind = by[-1].kind if by else "between"
            found["accept" if turn.kind == "accept" else "again"][kind] += 1
            examples.append(
                {
                    "decision": turn.kind,
                    "heard": turn.heard,
                    "probability": round(turn.decision.probability, 3),
                    "event": kind,
                    "words": by[-1].words if by else "",
                }
            )
        print(f"  {length:.0f} minutes: {dict(found)}, {dict(worked)}", file=sys.stderr, flush=True)
    return {
        "minutes": minutes,
        "events": dict(counts),
        "utterances found": worked["found"],
        "false accepts": dict(found["accept"]),
        "say agains": dict(found["again"]),
        "false accepts an hour": sum(found["accept"].values()) * 60 / minutes,
        "say agains an hour": sum(found["again"].values()) * 60 / minutes,
        "decode s": worked["decode"],
        "turn-taking s": worked["feeding"],
        "examples": examples,
    }


def _stretch(ears: Recognizers, minutes: float, seed: int) -> tuple[Stream, list[nonspeech.Event]]:
    people = 0.0 if recordings.missing() else 6.0
    sound, events = nonspeech.stream(minutes, seed, "test", people)
    steps = ("found_gap", "chocks", "chain_loose", "found_odometer")
    stream = Stream(ears, jobs()[steps[0], False], "", _DECODE_S)
    quarter = -(-len(sound) // FRAME // len(steps))
    for n in range(len(sound) // FRAME):
        if n % quarter == 0:
            stream.at(jobs()[steps[n // quarter], False])
        stream.feed(sound[n * FRAME : (n + 1) * FRAME])
    return stream, events
