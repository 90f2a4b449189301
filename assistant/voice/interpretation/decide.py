"""From what the engines heard to one ranked list of meanings, each with a probability.

Different words with one meaning ("half inch", "a half") count together. Whisper's scores inside the
grammar give the shares; how much better the free decoding fits, and whether a second engine agrees,
say how far the best one can be trusted. The weights are a logistic regression on the tuning voices
(`tests/benchmarks/calibrate.py`), kept in `calibration.toml` beside this file.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

from assistant.voice.recognition.recognizer import Hearing

Interpret = Callable[[str], tuple[Hashable, float] | None]
"""Words to their meaning and how likely such a meaning is beforehand; None when they have none."""

KEEP = 6
VALUES = ("reading", "correct")
"""Names of the meanings that carry a value."""
KEPT = 0.95
"""A reading heard less surely than this is read back, whatever it is for; a command heard like that
is one even while free words are awaited."""
FREE_GAP = 9.0
"""From this much (natural log) on, the free words fit so much better than any in the grammar that
the grammar most likely lacks what was said."""
UNTOLD = -5.0
"""Log probability of no speech where the engine gives none: about that of clear speech."""
FREE_SHARE = 0.1
"""Else what the free words count beside the best ones of the grammar."""


@dataclass(frozen=True, slots=True)
class Candidate:
    """One meaning that may have been said.

    Attributes:
        words: its likeliest wording.
        meaning: what `Interpret` made of them.
        share: its part among the meanings heard, 0 to 1.
        engines: the engines that heard it.
        probability: that this is what was said.
    """

    words: str
    meaning: Hashable
    share: float
    engines: tuple[str, ...] = ()
    probability: float = 0.0


def named(meaning: Hashable) -> str:
    """What kind of meaning this is: "reading", "stop", "question"; "" where it has no name."""
    return str(meaning[0]) if isinstance(meaning, tuple) and meaning else ""


@dataclass(frozen=True, slots=True)
class Decision:
    """What to do about one utterance.

    Attributes:
        kind: "accept" (read back), "choose" (ask which of two), "again", or "nothing".
        ranked: meanings, likeliest first, at most `KEEP`.
        probability: of the first one; 0.0 when there is none.
        addressed: that this was speech to lugcall at all.
        heard: the likeliest wording, or what the free decoding wrote.
        features: the numbers the probabilities were computed from.
    """

    kind: str
    ranked: tuple[Candidate, ...]
    probability: float
    addressed: float
    heard: str
    features: dict[str, float] = field(default_factory=dict)


def first_name(decision: Decision) -> str:
    """What kind of meaning comes first, or "" when there is none."""
    return named(decision.ranked[0].meaning) if decision.ranked else ""


@dataclass(frozen=True, slots=True)
class Bars:
    """Probabilities from which something is done.

    Attributes:
        accept: the first meaning is taken.
        addressed: anything is said at all.
        either: the first two together, to ask which.
    """

    accept: float
    addressed: float
    either: float


@dataclass(frozen=True, slots=True)
class Calibration:
    """Weights by feature for one set of engines, and the bars."""

    right: Mapping[str, float]
    addressed: Mapping[str, float]
    temperature: float
    bars: Bars


@cache
def calibrations() -> dict[str, Calibration]:
    """The calibrations that come with lugcall, by recognizers ("whisper")."""
    text = Path(__file__).with_name("calibration.toml").read_text(encoding="utf-8")
    return {
        name: Calibration(t["right"], t["addressed"], t["temperature"], Bars(**t["bars"]))
        for name, t in tomllib.loads(text).items()
        if isinstance(t, dict)
    }


def calibration_for(engines: Sequence[str]) -> Calibration:
    """The one for these engines, or for the best of them alone."""
    found = calibrations()
    name = "+".join(sorted(set(engines)))
    for key in (name, *sorted(set(engines), key=lambda e: e != "whisper")):
        if key in found:
            return found[key]
    return found["whisper"]


def decide(
    hearings: Sequence[Hearing], interpret: Interpret, calibration: Calibration | None = None
) -> Decision:
    """Combine what the engines heard.

    Args:
        hearings: one for each engine that listened.
        interpret: gives the meaning of words at this moment.
        calibration: other weights than those for the engines present.
    """
    weights = calibration or calibration_for([h.engine for h in hearings])
    main = _main(hearings)
    ranked = _shares(main, hearings, interpret, weights.temperature)
    features = _features(main, hearings, ranked)
    right = _logistic(weights.right, features)
    addressed = _logistic(weights.addressed, features)
    if not ranked:
        right = 0.0
    spread = [
        Candidate(c.words, c.meaning, c.share, c.engines, _part(n, c, ranked, right))
        for n, c in enumerate(ranked[:KEEP])
    ]
    heard = spread[0].words if spread else main.free
    kind = _kind(spread, right, addressed, weights.bars)
    return Decision(kind, tuple(spread), right, addressed, heard, features)


def _kind(ranked: list[Candidate], right: float, addressed: float, bars: Bars) -> str:
    if not ranked:
        return "again" if addressed >= max(bars.addressed, 0.9) else "nothing"
    if addressed < bars.addressed:
        return "nothing"
    if right >= bars.accept:
        return "accept"
    if len(ranked) > 1 and right + ranked[1].probability >= bars.either:
        return "choose"
    return "again"


def _part(n: int, candidate: Candidate, ranked: list[Candidate], right: float) -> float:
    """The first has what the regression gives it; the others share the rest by their shares."""
    if n == 0:
        return right
    others = sum(c.share for c in ranked[1:])
    return (1.0 - right) * candidate.share / others if others else 0.0


def _main(hearings: Sequence[Hearing]) -> Hearing:
    order = ("vosk", "whisper")
    return min(hearings, key=lambda h: order.index(h.engine) if h.engine in order else len(order))


def _shares(
    main: Hearing, hearings: Sequence[Hearing], interpret: Interpret, temperature: float
) -> list[Candidate]:
    """Meanings with their shares, the largest first."""
    weight: dict[Hashable, float] = {}
    words: dict[Hashable, str] = {}
    engines: dict[Hashable, list[str]] = {}
    top = max((h.score for h in main.hypotheses), default=0.0)
    for hypothesis in main.hypotheses:
        meant = interpret(hypothesis.words)
        if meant is None:
            continue
        meaning, prior = meant
        part = math.exp((hypothesis.score - top) / temperature) * prior
        weight[meaning] = weight.get(meaning, 0.0) + part
        words.setdefault(meaning, hypothesis.words)
        if main.engine not in engines.setdefault(meaning, []):
            engines[meaning].append(main.engine)
    best = max(weight.values(), default=1.0)
    _add_free(main, interpret, weight, words, engines, best)
    floor = 0.02 * best
    for hearing in hearings:
        if hearing is main:
            continue
        for hypothesis in hearing.hypotheses[:1]:
            meant = interpret(hypothesis.words)
            if meant is None:
                continue
            meaning = meant[0]
            weight.setdefault(meaning, floor * meant[1])
            words.setdefault(meaning, hypothesis.words)
            engines.setdefault(meaning, []).append(hearing.engine)
    total = sum(weight.values())
    if not total:
        return []
    return sorted(
        (Candidate(words[m], m, w / total, tuple(engines[m])) for m, w in weight.items()),
        key=lambda c: -c.share,
    )


def _add_free(
    main: Hearing,
    interpret: Interpret,
    weight: dict[Hashable, float],
    words: dict[Hashable, str],
    engines: dict[Hashable, list[str]],
    best: float,
) -> None:
    """The free words, should they mean something: they may be said in a way the grammar lacks."""
    meant = interpret(main.free) if main.free else None
    if meant is None:
        return
    inside = main.marks.get("inside")
    fits_badly = inside is None or (main.free_score or 0.0) - inside > FREE_GAP
    meaning, prior = meant
    weight[meaning] = weight.get(meaning, 0.0) + best * prior * (1.0 if fits_badly else FREE_SHARE)
    words.setdefault(meaning, main.free)
    if main.engine not in engines.setdefault(meaning, []):
        engines[meaning].append(main.engine)


def _features(
    main: Hearing, hearings: Sequence[Hearing], ranked: list[Candidate]
) -> dict[str, float]:
    """What the regressions look at; every one is finite and bounded."""
    share = ranked[0].share if ranked else 0.0
    inside = main.marks.get("inside", main.hypotheses[0].score if main.hypotheses else -30.0)
    tokens = main.marks.get("tokens", 1.0)
    free = main.free_score if main.free_score is not None else inside
    others = [h for h in hearings if h is not main]
    agree = [h.engine in ranked[0].engines for h in others] if ranked else []
    return {
        "one": 1.0,
        "odds": max(-6.0, min(6.0, math.log((share + 1e-6) / (1 - share + 1e-6)))),
        "gap": max(-20.0, min(0.0, inside - free)),
        "fit": max(-6.0, inside / max(tokens, 1.0)),
        "free_fit": max(-6.0, free / max(len(main.free.split()), 1)),
        "agree": 1.0 if any(agree) else 0.0,
        "silent": 1.0 if others and not any(h.hypotheses for h in others) else 0.0,
        "posterior": main.marks.get("posterior", 0.0),
        # An engine that cannot tell is believed to have heard speech.
        "no_speech": max(-12.0, main.marks.get("no_speech", UNTOLD)),
    }


def _logistic(weights: Mapping[str, float], features: Mapping[str, float]) -> float:
    z = sum(weight * features.get(name, 0.0) for name, weight in weights.items())
    return 1.0 / (1.0 + math.exp(-max(-30.0, min(30.0, z))))
