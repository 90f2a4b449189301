"""Recorded utterances, one a file: where the speech lies, and what it means as a reading."""

from __future__ import annotations

import time
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

import numpy as np

from assistant.readings import Reading, read

from .audio import FRAME, FRAME_S, RATE, AudioError, Samples, load
from .decide import Decision
from .ears import Ears
from .endpoint import Turns, Waits
from .reading_grammar import reading_grammar
from .readings_heard import interpreter
from .turn_events import Ended
from .vad import Vad

MARGIN_S = 0.25
LONG_S = 1.5
"""A pause within one recorded utterance may be this long."""


def hear_files(
    paths: Iterable[Path], quantity: str, ears: Ears, metric: bool = False
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
        decision = ears.hear(samples, interpreter(quantity, metric))
        reading = _reading(decision, quantity, units)
        yield _report(reading, path, decision, ears, begun, units)


def speech_in(samples: Samples) -> Samples:
    """From the first word to the last with a margin; all of it where no speech is found."""
    turns = Turns(Vad(), Waits(LONG_S, LONG_S, LONG_S))
    quiet = np.random.default_rng(0).standard_normal(round((LONG_S + 0.3) * RATE)) * 1e-4
    whole = np.concatenate([samples, quiet.astype(np.float32)])
    spans = [
        (event.start_s, event.speech_end_s)
        for n in range(len(whole) // FRAME)
        for event in turns.feed(whole[n * FRAME : (n + 1) * FRAME], n * FRAME_S)
        if isinstance(event, Ended)
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
    ears: Ears,
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
