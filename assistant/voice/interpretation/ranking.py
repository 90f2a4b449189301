"""From what the recognizers heard to one ranked list of meanings, each with a probability.

Different words with one meaning ("half inch", "a half") count together. Whisper's scores inside the
grammar give the shares; how much better the free decoding fits, and whether a second one agrees,
say how far the best one can be trusted. The weights are a logistic regression on the tuning voices
(`tests/benchmarks/calibrate.py`), kept in `policy.toml` beside this file.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import replace
from functools import cache
from typing import Any

from assistant.act import Act
from assistant.dialogue import Dialogue, Question
from assistant.quantity import QUANTITIES
from assistant.readings import read
from assistant.texts.normal import normal, without_lead
from assistant.voice.interpretation import (
    POLICY,
    Candidate,
    Decision,
    Interpret,
    Meaning,
    identity,
    items_of,
)
from assistant.voice.recognition.expected import denial
from assistant.voice.recognition.grammar import Grammar
from assistant.voice.recognition.recognizer import Hearing

RANKING, CALIBRATION = POLICY["ranking"], POLICY["calibration"]
PRIOR: dict[str, float] = POLICY["prior"]
_BEST_FIRST = ("vosk", "whisper-base", "whisper")
_CALIBRATIONS: dict[str, Mapping[str, Any]] = {"whisper-base": POLICY["calibration_base"]}
"""Of engines that are as sure as no other; of the others `CALIBRATION`."""


def decide(
    hearings: Sequence[Hearing],
    interpret: Interpret,
    calibration: Mapping[str, Any] | None = None,
) -> Decision:
    """Combine what the recognizers heard, one hearing each; `interpret` knows what words mean now,
    `calibration` are the weights and bars, as the policy holds them, else those of the best one."""
    main, *others = sorted(hearings, key=lambda h: (*_BEST_FIRST, h.engine).index(h.engine))
    calibration = calibration or _CALIBRATIONS.get(main.engine, CALIBRATION)
    ranked = _shares(main, others, interpret, calibration["temperature"])
    features = _features(main, others, ranked[0] if ranked else None)
    right = _logistic(calibration["right"], features) if ranked else 0.0
    meant_for_us = _logistic(calibration["meant_for_us"], features)
    rest = sum(c.share for c in ranked[1:])
    # The first has what the regression gives it; the others share what is left.
    parts = [right, *((1.0 - right) * c.share / rest if rest else 0.0 for c in ranked[1:])]
    spread = [replace(c, probability=part) for c, part in zip(ranked, parts, strict=False)]
    heard = spread[0].words if spread else main.free
    kind = _decision_kind(spread, right, meant_for_us, calibration)
    return Decision(kind, tuple(spread[: RANKING["most"]]), right, meant_for_us, heard, features)


def _decision_kind(
    ranked: Sequence[Candidate], right: float, meant_for_us: float, bars: Mapping[str, float]
) -> str:
    if meant_for_us < bars["meant_for_us_from"]:
        return "nothing"
    if not ranked:
        return "again" if meant_for_us >= RANKING["meant_for_us_without_meaning"] else "nothing"
    if right >= bars["take_from"]:
        return "accept"
    if len(ranked) > 1 and right + ranked[1].probability >= bars["either_from"]:
        return "choose"
    return "again"


def _shares(
    main: Hearing, others: Sequence[Hearing], interpret: Interpret, temperature: float
) -> list[Candidate]:
    """Meanings with their shares, the largest first."""
    found: dict[Hashable, Candidate] = {}

    def add(words: str, engine: str, weight: float, counts: bool = True) -> None:
        """`counts`: adds to a meaning that was heard already."""
        meant = interpret(words) if words else None
        if meant is None:
            return
        meaning, prior = meant
        key = identity(meaning)
        heard = found.get(key, Candidate(words, meaning, 0.0))
        share = heard.share + (weight * prior if counts or key not in found else 0.0)
        engines = tuple(dict.fromkeys((*heard.engines, engine)))
        found[key] = replace(heard, share=share, engines=engines)

    top = max((h.score for h in main.hypotheses), default=0.0)
    for hypothesis in main.hypotheses:
        add(hypothesis.words, main.engine, math.exp((hypothesis.score - top) / temperature))
    best = max((heard.share for heard in found.values()), default=1.0)
    # The free words, should they mean something: they may be said in a way the grammar lacks.
    inside = main.marks.get("inside")
    lacks = inside is None or (main.free_score or 0.0) - inside > RANKING["free_fits_better"]
    add(main.free, main.engine, best if lacks else best * RANKING["free_share"])
    for hearing in others:
        for hypothesis in hearing.hypotheses[:1]:
            weight = RANKING["second_engine_share"] * best
            add(hypothesis.words, hearing.engine, weight, counts=False)
    total = sum(heard.share for heard in found.values())
    if not total:
        return []
    ranked = [replace(heard, share=heard.share / total) for heard in found.values()]
    return sorted(ranked, key=lambda c: -c.share)


def _features(
    main: Hearing, others: Sequence[Hearing], first: Candidate | None
) -> dict[str, float]:
    """What the regressions look at; every one is finite and bounded."""
    share, agreeing = (first.share, first.engines) if first is not None else (0.0, ())
    inside = main.marks.get("inside", main.hypotheses[0].score if main.hypotheses else -30.0)
    free = main.free_score if main.free_score is not None else inside
    # The decoder was adapted to one thing at a time: it takes several of them for talk.
    items = len(items_of(first.meaning)) if first is not None else 0
    untold = RANKING["no_speech_untold"]
    no_speech = untold if items > 1 else main.marks.get("no_speech", untold)
    return {
        "one": 1.0,
        "odds": _within(math.log((share + 1e-6) / (1 - share + 1e-6)), -6.0, 6.0),
        "gap": _within((inside - free) / max(items, 1), -20.0, 0.0),
        "fit": max(-6.0, inside / max(main.marks.get("tokens", 1.0), 1.0)),
        "free_fit": max(-6.0, free / max(len(main.free.split()), 1)),
        "agree": float(any(h.engine in agreeing for h in others)),
        "silent": float(bool(others) and not any(h.hypotheses for h in others)),
        "posterior": main.marks.get("posterior", 0.0),
        # An engine that cannot tell is believed to have heard speech.
        "no_speech": max(-12.0, no_speech),
    }


def _within(value: float, low: float, high: float) -> float:
    return max(low, min(high, value))


def _logistic(weights: Mapping[str, float], features: Mapping[str, float]) -> float:
    z = sum(weight * features.get(name, 0.0) for name, weight in weights.items())
    return 1.0 / (1.0 + math.exp(-_within(z, -30.0, 30.0)))


# --- Words to meanings with their priors: in a conversation, and as one reading alone.

_CASUAL = frozenset({"yup", "yep", "yeah", "okay", "good"})
_PEDAL_ALARMS = frozenset({"holding", "released", "clear"})
"""Out of order these are alarms."""
_NO_COMMAND = frozenset({"unclear", "unsure", "aside"})
"""What words mean that ask for nothing: no rival of those that do."""
_AS_ASKED = frozenset({"stop", "accept", "sign_off"})
"""Never held less likely: what must not be missed, and what nobody says by accident."""
_FREE_WORDS = frozenset({"note", "accept", "sign_off"})
_RANGE_OR_REPAIR = re.compile(r"\b(?:to|no|nope|correction|sorry|scratch|mean|make|wait)\b")
_PARTS = {"quarters": 4, "eighths": 8, "sixteenths": 16, "thirty second": 32, "sixty fourth": 64}


def interpreter(
    dialogue: Dialogue,
    understood: Callable[[str, str], Meaning],
    who: str,
    grammar: Grammar,
    earlier: Callable[[Meaning], float] = lambda meaning: 1.0,
) -> Interpret:
    """Meanings of words said at this moment of a dialogue; each wording is understood once.

    Args:
        understood: what words of somebody mean to it.
        who: "tech" or "helper"; "" for a microphone that both speak into.
        grammar: what may be said; other words count less.
        earlier: a further factor, from what was said before.
    """

    @cache
    def interpret(words: str) -> tuple[Meaning, float] | None:
        speaker = who or speaker_of(words, dialogue)
        meant, prior = understood(words, speaker), PRIOR["question"]
        if denies(words, dialogue):  # whatever it does, it is what tells "are" from "aren't"
            lost = isinstance(meant, Act) and meant.meaning in _NO_COMMAND
            return (Question("say_again", {}, speaker) if lost else meant), earlier(meant)
        if isinstance(meant, Act):
            if meant.meaning in _NO_COMMAND:
                return None
            prior = _prior(meant, dialogue, words)
            free = meant.reading is not None or meant.meaning in _FREE_WORDS
            if not free and not grammar.accepts(words):
                prior *= PRIOR["outside_grammar"]
        return meant, prior * earlier(meant)

    return interpret


def denies(words: str, dialogue: Dialogue) -> bool:
    """Whether words deny a phrase that would complete this step or one said in one breath."""
    own = {*dialogue.answers(), *(p for _, each in dialogue.breath().items for p in each)}
    return any(f" {no} " in f" {words} " for p in own if (no := denial(p)) != p)


def reading_interpreter(quantity: str, metric: bool = False) -> Interpret:
    """Meanings of words as readings of `quantity`, whatever was said before."""

    @cache
    def interpret(words: str) -> tuple[Meaning, float] | None:
        reading = read(words, quantity, "mm" if metric else "inch")
        if reading.status in ("none", "refused"):
            return None
        if reading.status != "read":
            return Question("ask_reading", {"question": reading.why}), PRIOR["question"]
        seldom = PRIOR["seldom_said"] if _RANGE_OR_REPAIR.search(words) else 1.0
        data = reading.as_data()
        return Act("reading", "", data), seldom * _prior_of_length(data, quantity, words)

    return interpret


def speaker_of(words: str, dialogue: Dialogue) -> str:
    """Who said `words` into a shared microphone: by the words, then by whose step it is. While the
    pedal is down the helper's words are his at any step: he may be asked whether he holds."""
    text = normal(words)
    said = {text, without_lead(text)}
    if text.startswith("helper "):
        return "helper"
    allowed, down = dialogue.allowed(), dialogue.danger().pedal
    whose = {
        meaning.who
        for key, meaning in dialogue.dialogs.words.items()
        if (meaning.anytime or key in allowed or (down and meaning.who == "helper"))
        and said & set(meaning.phrases)
    }
    if len(whose) == 1 and "any" not in whose:
        return whose.pop()
    return dialogue.whose()


def _prior(act: Act, dialogue: Dialogue, words: str) -> float:
    allowed, pending = dialogue.allowed(), dialogue.pending is not None
    if act.reading is not None:
        seldom = PRIOR["seldom_said"] if _RANGE_OR_REPAIR.search(words) else 1.0
        seldom = PRIOR["reading_anew"] if pending else seldom
        quantity = act.quantity or dialogue.expects()
        known = _prior_of_length(act.reading, quantity, words)
        return known * seldom if act.meaning == "reading" else known
    if act.meaning == "lost":  # nothing can be lost but a pedal that is held
        return 1.0 if dialogue.danger().pedal else PRIOR["refused"]
    if act.meaning == "stop" and dialogue.stopped:
        return PRIOR["aside"]  # it has stopped already, and "carry on" sounds like "hang on"
    if pending and words in _CASUAL:
        return PRIOR["casual_check"]
    if act.meaning in (*_AS_ASKED, *allowed):
        return 1.0
    meant = dialogue.dialogs.words.get(act.meaning)
    if meant is None:
        return 1.0  # what is asked for word for word has no phrases
    anywhere = meant.anytime or act.meaning in _PEDAL_ALARMS
    return PRIOR["aside" if anywhere else "refused"]


def _prior_of_length(data: Mapping[str, Any], quantity: str, words: str) -> float:
    """Less for a wide range, for what trucks seldom show, and for "thirty thirty-seconds"."""
    value_in, low_in, high_in = (data.get(key) for key in ("value_in", "low_in", "high_in"))
    prior = 1.0
    if low_in is not None and high_in is not None and high_in - low_in > PRIOR["wide_in"]:
        prior = PRIOR["too_wide"]
    known = QUANTITIES.get(quantity)
    if value_in is None or known is None or known.mostly_in is None:
        return prior
    low_in, high_in = known.mostly_in
    seldom = PRIOR["seldom_said"] if _unreduced(words, value_in) else 1.0
    return prior * seldom * (1.0 if low_in <= value_in <= high_in else PRIOR["odd_length"])


def _unreduced(words: str, value_in: float) -> bool:
    """Whether a fraction was called that a rule shows in coarser parts: "six eighths"."""
    parts = [parts for name, parts in _PARTS.items() if name in words]
    if len(parts) != 1:
        return False
    ticks = value_in * parts[0]
    return abs(ticks - round(ticks)) < 1e-6 and round(ticks) % 2 == 0
