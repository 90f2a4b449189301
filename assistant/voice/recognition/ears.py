"""vosk's rival hypotheses of one utterance: which may be said, and how sure it is of the first."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from assistant.voice.devices.audio import Samples
from assistant.voice.interpretation.decide import Decision, Interpret, decide
from assistant.voice.recognition.grammar import Grammar
from assistant.voice.recognition.recognizer import Engine, EngineError, Hearing, Hypothesis


@dataclass(frozen=True, slots=True)
class Weighed:
    """The parts of a `Hearing` that come from the rivals."""

    hypotheses: tuple[Hypothesis, ...] = ()
    free: str = ""
    free_score: float | None = None
    marks: dict[str, float] = field(default_factory=dict)


def weighed(
    alternatives: Sequence[dict[str, Any]],
    accepts: Callable[[str], bool],
    out: Sequence[str],
) -> Weighed:
    """Rank the rivals that are sentences; none, when the best holds a word of the way out.

    Args:
        alternatives: vosk's, each with `text`, `confidence` (log likelihood) and, for `result`,
            its words with `start` and `end` in seconds.
        accepts: whether a text is a sentence of the grammar.
        out: spellings of the way out.

    Marks, all 0 to 1: `inside`, the share of sentences among the rivals, by likelihood;
    `posterior`, that of the first hypothesis; `confidence` and `weakest`, mean and least share of
    its words, each counted where rivals agree on it at that time; `out`, that the way out was best.
    """
    ranked = sorted(alternatives, key=lambda a: -float(a["confidence"]))
    if not ranked or not ranked[0]["text"]:
        return Weighed()
    best = ranked[0]
    if any(word in out for word in best["text"].split()):
        return Weighed(marks={"out": 1.0})
    shares = _shares([float(a["confidence"]) for a in ranked])
    inside = [
        accepts(a["text"]) and not any(word in out for word in a["text"].split()) for a in ranked
    ]
    taken = [a for a, good in zip(ranked, inside, strict=True) if good]
    scores: dict[str, float] = {}
    for a in taken:  # one text may come by several paths
        scores.setdefault(a["text"], float(a["confidence"]))
    hypotheses = tuple(Hypothesis(text, score) for text, score in scores.items())
    marks = {"inside": sum(s for s, good in zip(shares, inside, strict=True) if good)}
    if taken:
        marks |= _sureness(taken[0], ranked, shares)
    return Weighed(hypotheses, best["text"], float(best["confidence"]), marks)


def _shares(scores: list[float]) -> list[float]:
    weights = [math.exp(score - scores[0]) for score in scores]
    return [weight / sum(weights) for weight in weights]


def _sureness(
    first: dict[str, Any], ranked: Sequence[dict[str, Any]], shares: list[float]
) -> dict[str, float]:
    weighted = list(zip(ranked, shares, strict=True))
    agreed = [
        sum(share for a, share in weighted if _holds(a, word)) for word in first.get("result", [])
    ] or [0.0]
    return {
        "posterior": sum(share for a, share in weighted if a["text"] == first["text"]),
        "confidence": sum(agreed) / len(agreed),
        "weakest": min(agreed),
    }


def _holds(alternative: dict[str, Any], word: dict[str, Any]) -> bool:
    """Whether the alternative has the word where at least half of it is."""
    for other in alternative.get("result", []):
        shared = min(other["end"], word["end"]) - max(other["start"], word["start"])
        if other["word"] == word["word"] and shared >= 0.5 * (word["end"] - word["start"]):
            return True
    return False


# --- The engines that listen to one person, chosen and run together.

BEST_FIRST = ("vosk", "whisper", "sphinx")


def open_engines(wanted: Sequence[str] = ()) -> tuple[list[Engine], list[str]]:
    """The engines to listen with, the best first, and a line on each that cannot be had.

    Without `wanted`, the two best that can be had: one gives the words, the other agrees or not.
    Whisper adapted to the shop listens alone: fitted beside it, PocketSphinx's agreement made no
    difference to how sure one can be (logistic loss 0.197 with and without, 420 utterances).

    Raises:
        EngineError: one that was asked for cannot be used, or none can.
    """
    opened: list[Engine] = []
    problems: list[str] = []
    for name in wanted or BEST_FIRST:
        if not wanted and (len(opened) == 2 or any(getattr(e, "shop", False) for e in opened)):
            break
        try:
            engine = _open(name)
        except EngineError as error:
            if wanted:
                raise
            problems.append(str(error))
            continue
        if engine is not None:
            opened.append(engine)
        elif wanted:
            raise EngineError(f"there is no {name} model here; see models_readme, or name another")
    if not opened:
        raise EngineError("no speech engine can be used: " + "; ".join(problems))
    return opened, problems


def _open(name: str) -> Engine | None:
    from assistant.voice.recognition import models

    if name == "vosk":
        from assistant.voice.recognition.vosk_engine import VoskEngine

        folder = models.vosk_folder()
        return VoskEngine(folder) if folder is not None else None
    if name == "whisper":
        from assistant.voice.recognition.whisper import WhisperEngine

        found = models.whisper_folder()
        return WhisperEngine(found.folder, shop=found.checked) if found is not None else None
    if name == "sphinx":
        from assistant.voice.recognition.sphinx import SphinxEngine

        return SphinxEngine()
    raise EngineError(f"there is no engine {name!r}; use one of {', '.join(BEST_FIRST)}")


class Ears:
    """One person's engines together.

    Args:
        engines: as `open_engines` gives them.
    """

    def __init__(self, engines: Sequence[Engine]) -> None:
        self.engines = list(engines)

    @property
    def names(self) -> tuple[str, ...]:
        """The engines' names, the best first."""
        return tuple(engine.name for engine in self.engines)

    def expect(self, grammar: Grammar) -> None:
        """Narrow all of them to `grammar`."""
        for engine in self.engines:
            engine.expect(grammar)

    def listen(self, samples: Samples) -> list[Hearing]:
        """What each engine makes of one whole utterance."""
        hearings = []
        peak = float(np.abs(samples).max()) if len(samples) else 0.0
        # A far voice and a near one should not differ in anything but noise.
        even = samples * np.float32(0.5 / peak) if peak > 1e-4 else samples
        for engine in self.engines:
            engine.feed(even)
            hearings.append(engine.finish())
        return hearings

    def dictate(self, samples: Samples) -> str:
        """Free words, of the best engine that writes such; "" where none does."""
        for engine in self.engines:
            free = getattr(engine, "dictate", None)
            if free is not None:
                return str(free(samples))
        return ""

    def hear(self, samples: Samples, interpret: Interpret) -> Decision:
        """Decide about one whole utterance."""
        return decide(self.listen(samples), interpret)
