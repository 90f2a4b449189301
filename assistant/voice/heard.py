"""What one engine makes of one utterance: plain data."""

from __future__ import annotations

from dataclasses import dataclass, field


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
