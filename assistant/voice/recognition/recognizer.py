"""What one engine makes of one utterance: plain data."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Protocol

from assistant.voice.devices.audio import Samples
from assistant.voice.recognition.grammar import Grammar


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """Words that may have been said.

    Attributes:
        words: lower case, without punctuation, as the grammar spells them.
        score: natural logarithm of a likelihood; comparable within one `Hearing` only.
    """

    words: str
    score: float


@dataclass(frozen=True, slots=True)
class Hearing:
    """One engine's answer to one utterance.

    Attributes:
        engine: its name: "vosk", "sphinx" or "whisper".
        hypotheses: best first; empty when nothing that may be said was heard.
        free: what it makes of the sound without a grammar, or "" where it cannot say.
        free_score: log likelihood of `free` on the scale of `hypotheses`, or None.
        marks: further numbers of the engine's own, by name, for the decision.
        seconds: processor time's wall clock spent on the utterance.
    """

    engine: str
    hypotheses: tuple[Hypothesis, ...] = ()
    free: str = ""
    free_score: float | None = None
    marks: dict[str, float] = field(default_factory=dict)
    seconds: float = 0.0


# --- The one interface that every recognizer stands behind.


class EngineError(Exception):
    """One clear line on why an engine cannot be used, and what to do."""


class Engine(Protocol):
    """A recognizer: told what may be said, fed frames, asked what it heard.

    An engine that works on whole utterances keeps the frames and does its work in `finish`;
    its `feed` then returns "".
    """

    name: str

    def expect(self, grammar: Grammar) -> None:
        """Narrow recognition to `grammar` from the next utterance on."""

    def feed(self, frame: Samples) -> str:
        """Take the next frame (any length); returns the words heard so far, or ""."""

    def finish(self) -> Hearing:
        """End the utterance: what was heard. The engine is ready for the next one."""

    def reset(self) -> None:
        """Forget the utterance begun."""
