"""vosk's rival hypotheses of one utterance: which may be said, and how sure it is of the first."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

from .heard import Hypothesis


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
