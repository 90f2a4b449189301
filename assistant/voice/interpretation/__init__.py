"""What was heard becomes meanings, ranked, and what to do about them.

`ranking` makes one list of them with probabilities, `context` knows what was said before at this
moment, and `policy.toml` has every tuned number.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Hashable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from assistant.act import Act
from assistant.dialogue import Question

POLICY: dict[str, dict[str, Any]] = tomllib.loads(
    Path(__file__).with_name("policy.toml").read_text(encoding="utf-8")
)
"""Every tuned number of hearing, by section and name; the file says what each is for."""

Meaning = Act | Question
Interpret = Callable[[str], tuple[Meaning, float] | None]
"""Words to their meaning and its prior; None when they have none."""

VALUES = ("reading", "correct")
"""Names of the acts that carry a value."""
_VALUE_FIELDS = ("value_in", "low_in", "high_in", "count", "kind")


def name_of(meaning: Meaning | None) -> str:
    """ "reading", "stop" and so on, "question", or "" for None."""
    if meaning is None:
        return ""
    return meaning.meaning if isinstance(meaning, Act) else "question"


def items_of(meaning: Meaning | None) -> list[str]:
    """What was said done in one breath, or by its name alone; nothing for all else."""
    done = isinstance(meaning, Act) and meaning.meaning in ("done", "sound")
    return meaning.text.split() if done and isinstance(meaning, Act) else []


def identity(meaning: Meaning) -> Hashable:
    """What two wordings share that mean the same."""
    if isinstance(meaning, Question):
        return ("question", meaning.reply, tuple(sorted(meaning.fields.items())))
    values = tuple((meaning.reading or {}).get(name) for name in _VALUE_FIELDS)
    return (meaning.meaning, meaning.who, values, meaning.quantity, meaning.text, meaning.way)


@dataclass(frozen=True, slots=True)
class Candidate:
    """One meaning that may have been said: its likeliest wording, its share among the meanings
    heard, the recognizers that heard it, and the probability that this is what was said."""

    words: str
    meaning: Meaning
    share: float
    engines: tuple[str, ...] = ()
    probability: float = 0.0


@dataclass(frozen=True, slots=True)
class Decision:
    """What to do about one utterance.

    Attributes:
        kind: "accept" (take it), "choose" (ask which of two), "again", or "nothing".
        ranked: meanings, likeliest first, at most `most` of the policy.
        probability: of the first one; 0.0 when there is none.
        meant_for_us: probability that this was speech to lugcall at all.
        heard: the likeliest wording, or what the free decoding wrote.
        features: the numbers the probabilities were computed from.
    """

    kind: str
    ranked: tuple[Candidate, ...]
    probability: float
    meant_for_us: float
    heard: str
    features: dict[str, float] = field(default_factory=dict)

    @property
    def meaning(self) -> Meaning | None:
        """The likeliest, or None when there is none."""
        return self.ranked[0].meaning if self.ranked else None

    @property
    def name(self) -> str:
        """What the likeliest meaning is called; see `name_of`."""
        return name_of(self.meaning)
