"""The one interface that every recognizer stands behind, and what it makes of an utterance."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Protocol

from assistant.voice.devices.audio import Samples
from assistant.voice.recognition.grammar import Grammar


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """Words that may have been said, lower case, without punctuation, as the grammar spells them;
    the score is a natural logarithm of a likelihood, comparable within one `Hearing` only."""

    words: str
    score: float


@dataclass(frozen=True, slots=True)
class Hearing:
    """One recognizer's answer to one utterance: plain data.

    Attributes:
        engine: the recognizer's name, "vosk" or "whisper".
        hypotheses: best first; empty when nothing that may be said was heard.
        free: what it makes of the sound without a grammar, or "" where it cannot say.
        free_score: log likelihood of `free` on the scale of `hypotheses`, or None.
        marks: further numbers of the recognizer's own, by name, for the decision.
        seconds: processor time's wall clock spent on the utterance.
    """

    engine: str
    hypotheses: tuple[Hypothesis, ...] = ()
    free: str = ""
    free_score: float | None = None
    marks: dict[str, float] = field(default_factory=dict)
    seconds: float = 0.0


class RecognizerError(Exception):
    """One clear line on why a recognizer cannot be used, and what to do."""


class Recognizer(Protocol):
    """Told what may be said, then given an utterance, gives what it heard."""

    name: str

    def expect(self, grammar: Grammar) -> None:
        """Narrow recognition to `grammar` from the next utterance on."""

    def hear(self, samples: Samples) -> Hearing:
        """What is said in one whole utterance."""
