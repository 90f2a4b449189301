"""Whole sessions from recordings; `live.py` has those with microphones and loudspeakers."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Executor, Future
from pathlib import Path
from typing import Any

import numpy as np

from assistant.act import Act
from assistant.dialogue import Conversation
from assistant.readings import Reading, read
from assistant.voice.detection.endpointer import Endpointer, EndWaits
from assistant.voice.devices.audio import FAINT, FRAME, FRAME_S, RATE, AudioError, Samples, load
from assistant.voice.interpretation import POLICY, Candidate, Decision
from assistant.voice.interpretation.ranking import decide, reading_interpreter
from assistant.voice.recognition.expected import reading_grammar
from assistant.voice.recognition.recognizers import Recognizers
from assistant.voice.session.attendant import Attendant, SpokenTurn

RECORDING = POLICY["recording"]
LONGEST_S = 60.0
"""Of one utterance: nobody says a reading for a minute."""
Named = tuple[str, Samples]
"""A recording's file name and its sound."""


class AtOnce(Executor):
    """Runs a job when it is given: recordings have no clock to keep up with."""

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        """Run `fn` now; the future given back is done."""
        future: Future[Any] = Future()
        try:
            future.set_result(fn(*args, **kwargs))
        except Exception as error:  # as every executor: it is for whoever asks for the result
            future.set_exception(error)
        return future


def listen_files(
    conversation: Conversation,
    ears: Recognizers,
    sounds: Sequence[Named],
    told: Callable[[SpokenTurn], None] = lambda turn: None,
) -> None:
    """Play recordings into a conversation: the technician's, and the helper's made at the same
    time; with one, both people are in it. Nothing is spoken: a recording cannot listen. `told` is
    called for every turn, and shows it."""
    attendant = Attendant(conversation, ears, AtOnce(), told)
    roles = ("tech", "helper") if len(sounds) > 1 else ("",)
    channels = [attendant.add(role, name) for role, (name, _) in zip(roles, sounds, strict=True)]
    attendant.warm()
    longest = max(len(samples) for _, samples in sounds)
    silence = round(RECORDING["silence_after_s"] / FRAME_S) * FRAME
    for start in range(0, longest + silence - FRAME, FRAME):
        for channel, (_, samples) in zip(channels, sounds, strict=True):
            frame = samples[start : start + FRAME]
            if len(frame) < FRAME:
                frame = np.concatenate([frame, FAINT[start % RATE :][len(frame) : FRAME]])
            channel.feed(frame, start / FRAME * FRAME_S)
        attendant.pump()
        if conversation.dialogue.finished:
            break


# --- Recorded utterances, one a file: where the speech lies, and what it means as a reading.


def hear_files(
    paths: Iterable[Path], quantity: str, ears: Recognizers, metric: bool = False
) -> Iterator[dict[str, Any]]:
    """What was said in each file, one utterance each, as `lugcall hear --json` prints it; a file
    that cannot be read gives an object with `status` "refused" and `why`. In a `metric` shop bare
    numbers are millimetres."""
    ears.expect(reading_grammar(quantity, metric))
    interpret = reading_interpreter(quantity, metric)
    for path in paths:
        begun = time.perf_counter()
        decision = Decision("nothing", (), 0.0, 0.0, "")
        try:
            decision = decide(ears.listen(speech_in(load(path, LONGEST_S))), interpret)
        except AudioError as error:
            reading = Reading("refused", quantity, why=str(error))
        else:
            reading = Reading("none", quantity, why="nothing was heard that is a reading")
            if decision.kind != "nothing" and decision.ranked:
                reading = read(decision.heard, quantity, "mm" if metric else "inch")
        yield {
            **reading.as_json(),
            "file": str(path),
            "heard": decision.heard,
            "probability": round(decision.probability, 4),
            "decision": decision.kind,
            "alternatives": [_alternative(other) for other in decision.ranked[1:]],
            "engines": ears.names,
            "seconds": round(time.perf_counter() - begun, 4),
        }


def _alternative(other: Candidate) -> dict[str, Any]:
    data = (other.meaning.reading if isinstance(other.meaning, Act) else None) or {}
    return {
        "heard": other.words,
        "probability": round(other.probability, 4),
        "engines": list(other.engines),
        "value_in": data.get("value_in"),
        "count": data.get("count"),
        "readback": data.get("readback", ""),
    }


def speech_in(samples: Samples) -> Samples:
    """From the first word to the last with a margin; all of it where no speech is found."""
    pause_s, margin_s = RECORDING["pause_within_s"], RECORDING["margin_s"]
    endpointer = Endpointer(EndWaits(pause_s, pause_s, pause_s))
    whole = np.concatenate([samples, np.resize(FAINT, round((pause_s + 0.3) * RATE))])
    spans = [
        (event.start_s, event.speech_end_s)
        for n in range(len(whole) // FRAME)
        for event in endpointer.feed(whole[n * FRAME : (n + 1) * FRAME], n * FRAME_S)
        if event.kind == "ended"
    ]
    if not spans:
        return samples
    start, end = min(s for s, _ in spans) - margin_s, max(e for _, e in spans) + margin_s
    return samples[max(0, round(start * RATE)) : round(end * RATE)]
