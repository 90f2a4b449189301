"""Whole sessions from recordings; `live.py` has those with microphones and loudspeakers."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Executor, Future
from pathlib import Path
from typing import Any

import numpy as np

from assistant.cli.terminal import show
from assistant.conversation import Session
from assistant.readings import Reading, read
from assistant.voice.detection.endpointer import Endpointer, EndWaits
from assistant.voice.devices.audio import FRAME, FRAME_S, RATE, AudioError, Samples, load
from assistant.voice.interpretation.decide import Decision, decide
from assistant.voice.interpretation.meanings import reading_interpreter
from assistant.voice.recognition.reading_grammar import reading_grammar
from assistant.voice.recognition.recognizers import Recognizers
from assistant.voice.session.attendant import Attendant, Turn

TAIL_S = 1.5
"""Silence put after a recording, so that its last words end."""

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
    session: Session,
    ears: Recognizers,
    tech: Named,
    helper: Named | None = None,
    told: Callable[[Turn], None] = lambda turn: None,
) -> Attendant:
    """Play recordings into a session: the technician's, and the helper's made at the same time.

    With one recording both people are in it. Nothing is spoken: a recording cannot listen.

    Args:
        told: called for every turn, after it was printed.
    """

    def answer(turn: Turn) -> None:
        print_turn(turn)
        told(turn)

    attendant = Attendant(session, ears, AtOnce(), answer)
    sounds = [(attendant.add("tech" if helper else "", tech[0]), tech[1])]
    if helper is not None:
        sounds.append((attendant.add("helper", helper[0]), helper[1]))
    attendant.warm()
    longest = max(len(samples) for _, samples in sounds) + round(TAIL_S / FRAME_S) * FRAME
    try:
        for start in range(0, longest - FRAME, FRAME):
            for channel, samples in sounds:
                frame = samples[start : start + FRAME]
                if len(frame) < FRAME:
                    faint = np.random.default_rng(start).standard_normal(FRAME) * 1e-4
                    frame = np.concatenate([frame, faint[len(frame) :].astype(np.float32)])
                channel.feed(frame, start / FRAME * FRAME_S)
            attendant.pump()
            if session.job.signed_off:
                break
    finally:
        session.close()
    return attendant


def print_turn(turn: Turn) -> None:
    """Show a turn as the typed session shows its own."""
    if not turn.said:
        return
    print(f"{turn.role}: {turn.heard}  [{turn.kind} {turn.decision.probability:.2f}]")
    show(turn.said)


# --- Recorded utterances, one a file: where the speech lies, and what it means as a reading.

MARGIN_S = 0.25
LONG_S = 1.5
"""A pause within one recorded utterance may be this long."""


def hear_files(
    paths: Iterable[Path], quantity: str, ears: Recognizers, metric: bool = False
) -> Iterator[dict[str, Any]]:
    """What was said in each file, as `lugcall hear --json` prints it.

    A file that cannot be read gives an object with `status` "refused" and `why`.

    Args:
        paths: sound files, one utterance each.
        quantity: a name from `QUANTITIES`.
        ears: the engines.
        metric: a metric shop: bare numbers are millimetres.
    """
    units = "mm" if metric else "inch"
    ears.expect(reading_grammar(quantity, metric))
    for path in paths:
        begun = time.perf_counter()
        try:
            samples = speech_in(load(path))
        except AudioError as error:
            yield _report(
                Reading("refused", quantity, why=str(error)), path, None, ears, begun, units
            )
            continue
        decision = decide(ears.listen(samples), reading_interpreter(quantity, metric))
        reading = _reading(decision, quantity, units)
        yield _report(reading, path, decision, ears, begun, units)


def speech_in(samples: Samples) -> Samples:
    """From the first word to the last with a margin; all of it where no speech is found."""
    endpointer = Endpointer(EndWaits(LONG_S, LONG_S, LONG_S))
    quiet = np.random.default_rng(0).standard_normal(round((LONG_S + 0.3) * RATE)) * 1e-4
    whole = np.concatenate([samples, quiet.astype(np.float32)])
    spans = [
        (event.start_s, event.speech_end_s)
        for n in range(len(whole) // FRAME)
        for event in endpointer.feed(whole[n * FRAME : (n + 1) * FRAME], n * FRAME_S)
        if event.kind == "ended"
    ]
    if not spans:
        return samples
    start, end = min(s for s, _ in spans) - MARGIN_S, max(e for _, e in spans) + MARGIN_S
    return samples[max(0, round(start * RATE)) : round(end * RATE)]


def _reading(decision: Decision, quantity: str, units: str) -> Reading:
    if decision.kind == "nothing" or not decision.ranked:
        return Reading("none", quantity, why="nothing was heard that is a reading")
    return read(decision.ranked[0].words, quantity, units)


def _report(
    reading: Reading,
    path: Path,
    decision: Decision | None,
    ears: Recognizers,
    begun: float,
    units: str,
) -> dict[str, Any]:
    ranked = decision.ranked if decision else ()
    return {
        **reading.as_json(),
        "file": str(path),
        "heard": decision.heard if decision else "",
        "probability": round(decision.probability, 4) if decision else 0.0,
        "decision": decision.kind if decision else "nothing",
        "alternatives": [
            {
                "heard": c.words,
                "probability": round(c.probability, 4),
                "engines": list(c.engines),
                **_value(read(c.words, reading.quantity, units)),
            }
            for c in ranked[1:]
        ],
        "engines": list(ears.names),
        "seconds": round(time.perf_counter() - begun, 4),
    }


def _value(reading: Reading) -> dict[str, Any]:
    return {"value_in": reading.value_in, "count": reading.count, "readback": reading.readback}
