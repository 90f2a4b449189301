"""What the test voices say in the hearing benchmark, and what the engines make of it."""

from __future__ import annotations

import pickle
import random
import sys
import time
from collections.abc import Hashable
from dataclasses import dataclass
from functools import cache, partial
from itertools import cycle, product
from pathlib import Path

from assistant.conversation.understand import understand
from assistant.texts.dialogs import load_dialogs
from assistant.voice.devices.audio import RATE, Samples
from assistant.voice.interpretation import Decision, Interpret, identity
from assistant.voice.interpretation.ranking import decide, interpreter, reading_interpreter
from assistant.voice.recognition import models
from assistant.voice.recognition.expected import expected, reading_grammar
from assistant.voice.recognition.grammar import Grammar
from assistant.voice.recognition.recognizer import Hearing
from assistant.voice.recognition.recognizers import Recognizers
from assistant.voice.recognition.whisper import PROMPT
from assistant.voice.session.recorded import speech_in
from tests.demo import card
from tests.spoken import channels, noises, phrases, voices
from tests.spoken.commands import commands, moments

SNRS = (20, 10, 5)
WAYS = ("free", "lugcall")
"""Ways to hear: Whisper's own words typed in; its search in the grammar, and our decision."""
SEED = 700_000
"""Noise and mixing seeds start here, far from those of tuning."""


class Timer:
    """Seconds since it was made, by the wall or by the processor, whichever are fewer: so that
    other programs on the machine are not measured, and two threads at once are."""

    def __init__(self) -> None:
        self._wall, self._processor = time.perf_counter(), time.process_time()

    def seconds(self) -> float:
        return min(time.perf_counter() - self._wall, time.process_time() - self._processor)


@dataclass(frozen=True, slots=True)
class Utterance:
    """One thing said by one voice in one condition; `snr` None stands for no noise.

    `step` is "" where a quantity alone is asked for, as by `lugcall hear`.
    """

    words: str
    text: str
    quantity: str
    meaning: str
    step: str
    pending: bool
    who: str
    voice: voices.Voice
    kind: str
    snr: int | None
    channel: str

    @property
    def is_reading(self) -> bool:
        return self.meaning == "reading"


@dataclass(frozen=True, slots=True)
class Heard:
    """What the engines made of one utterance, before anything was decided.

    Attributes:
        audio_s: length of the sound that they were given.
        hearing: within the grammar. free: the words without one, "" where it was not asked.
        seconds: by way of hearing, what it took.
    """

    said: Utterance
    audio_s: float
    hearing: Hearing
    free: str
    seconds: dict[str, float]


@dataclass(frozen=True, slots=True)
class Row:
    """What came of one utterance.

    Attributes:
        truth: what its words mean, typed; None when that is no act (never so in these lists).
        got: by way of hearing: kind, meaning of the first, probability, words.
        words: by way of hearing, the words for the word error rate.
        seconds: by way of hearing, what it took.
    """

    said: Utterance
    audio_s: float
    truth: Hashable
    got: dict[str, tuple[str, Hashable, float, str]]
    words: dict[str, str]
    seconds: dict[str, float]


@cache
def jobs():
    """The job at every step of the demo, on the demo's card."""
    return moments(card(), load_dialogs())


def plan(n: int, seed: int = 17, split: str = "test", *others: str) -> list[Utterance]:
    """`n` utterances of a split: a third commands, half of the readings at their step; in its
    voices, or in those of `others`.

    Conditions and voices are dealt out in turn, so that each has its share.
    """
    rng = random.Random(seed)
    asks = {job.expects(): step for (step, waits), job in jobs().items() if not waits}
    every = [(kind, snr) for kind, snr in product(noises.KINDS, SNRS)]
    conditions = list(product([*every, *[("", None)] * 4], ("wideband", "narrowband")))
    rng.shuffle(conditions)
    talkers = [v for one in others or (split,) for v in voices.available(one)]
    rng.shuffle(talkers)
    told, called = list(commands(split)), list(phrases.readings(split))
    rng.shuffle(told)
    rng.shuffle(called)
    commanded, read, voice = cycle(told), cycle(called), cycle(talkers)
    out = []
    for i in range(n):
        (kind, snr), channel = conditions[i % len(conditions)]
        if i % 13 == 0:  # thirteen voices and 32 conditions: all pairs come about
            next(voice)
        if i % 3 == 2:
            c = next(commanded)
            who, what = (c.words, c.words, "", c.meaning, c.step, c.pending, c.who), None
        else:
            what = next(read)
            step = asks.get(what.quantity, "") if i % 2 else ""
            who = (what.words, what.text, what.quantity, "reading", step, False, "tech")
        out.append(Utterance(*who, next(voice), kind, snr, channel))
    return out


def asked(u: Utterance) -> tuple[Grammar, Interpret]:
    """The grammar of its moment, and what words mean then."""
    if not u.step:
        return reading_grammar(u.quantity), reading_interpreter(u.quantity)
    job = jobs()[u.step, u.pending]
    grammar = expected(job, u.who)
    return grammar, interpreter(job, partial(understand, dialogue=job), u.who, grammar)


BLOCK = 32
"""Utterances in which every condition comes once."""


def hear_all(
    said: list[Utterance], ears: Recognizers, free: Free | None, kept: Path | None = None
) -> list[Heard]:
    """Each utterance spoken, mixed, cut as `lugcall hear` cuts it, and heard in every way.

    Args:
        said: what `plan` gives.
        ears: Whisper alone.
        free: Whisper without a grammar, if that is wanted too.
        kept: a file to keep it in; what is there already is not heard again.
    """
    voices.prepare([(u.voice, u.text) for u in said])
    out: list[Heard] = pickle.loads(kept.read_bytes()) if kept and kept.exists() else []
    for start in range(len(out), len(said), BLOCK):
        block = range(start, min(start + BLOCK, len(said)))
        for i in sorted(block, key=lambda i: (said[i].step, said[i].quantity, said[i].who)):
            u = said[i]
            words = voices.vary(voices.say(u.voice, u.text), SEED + i)
            scene = channels.scene(words, u.kind, u.snr or 0, u.channel, SEED + i)
            out.append(hear(u, speech_in(scene.samples), ears, free))
        if kept:
            kept.write_bytes(pickle.dumps(out))
        print(f"  {len(out)} of {len(said)} utterances", file=sys.stderr, flush=True)
    return out[: len(said)]


def hear(u: Utterance, sound: Samples, ears: Recognizers, free: Free | None = None) -> Heard:
    """What is made of one sound, whatever it is, where `u` is expected."""
    ears.expect(asked(u)[0])
    timer = Timer()
    (hearing,) = ears.listen(sound)
    seconds, timer = {"lugcall": timer.seconds()}, Timer()
    text = free(sound) if free is not None else ""
    seconds["free"] = timer.seconds()
    return Heard(u, len(sound) / RATE, hearing, text, seconds)


def judge(heard: Heard) -> Row:
    """What is decided in each way of hearing."""
    interpret = asked(heard.said)[1]
    truth = interpret(heard.said.words)
    ours = _got(decide([heard.hearing], interpret))
    meant = interpret(heard.free) if heard.free else None
    kind, sure = ("accept", 1.0) if meant else ("again", 0.0)
    free = (kind, identity(meant[0]) if meant else None, sure, heard.free)
    return Row(
        heard.said,
        heard.audio_s,
        identity(truth[0]) if truth else None,
        {"free": free, "lugcall": ours},
        {"free": heard.free, "lugcall": ours[3]},
        heard.seconds,
    )


def _got(decision: Decision) -> tuple[str, Hashable, float, str]:
    first = None if decision.meaning is None else identity(decision.meaning)
    return decision.kind, first, decision.probability, decision.heard


class Free:
    """The same weights through faster-whisper, without a grammar: its words are typed in.

    int8, beam 5, a prompt of sample readings, no second try at another temperature.
    """

    def __init__(self) -> None:
        from faster_whisper import WhisperModel

        found = models.whisper_folder()
        self._model = WhisperModel(str(found.whole), compute_type="int8", cpu_threads=2)

    def __call__(self, sound: Samples) -> str:
        segments, _ = self._model.transcribe(
            sound,
            language="en",
            beam_size=5,
            temperature=0.0,
            initial_prompt=PROMPT,
            without_timestamps=True,
            condition_on_previous_text=False,
        )
        return " ".join(segment.text.strip() for segment in segments)
