"""The table of causes, as `load` reads it from `dialogs/`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from assistant.card import Card


@dataclass(frozen=True, slots=True)
class Complaint:
    """What a driver says. `heard`: sets of word beginnings, any one set names it."""

    id: str
    name: str
    heard: tuple[tuple[str, ...], ...]
    elsewhere: float


@dataclass(frozen=True, slots=True)
class Finding:
    """What can be read or asked. `usual`: share of any trucks in each state, summing to 1.

    `instead`: for which trucks it is asked for in other words, and these.
    """

    id: str
    name: str
    states: tuple[str, ...]
    usual: tuple[float, ...]
    ask: str
    readings: tuple[str, ...]
    only: tuple[tuple[str, str], ...]
    instead: tuple[tuple[tuple[tuple[str, str], ...], str], ...] = ()


@dataclass(frozen=True, slots=True)
class Cause:
    """What may be behind it: its chances, all between 0 and 1 but for the prior's weight."""

    id: str
    say: str
    fix: str
    why: str
    kind: str
    prior: float
    complaints: Mapping[str, float]
    findings: Mapping[str, tuple[float, ...]]
    only: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Table:
    """Everything of one language.

    `marks`: whose the numbers are, each once; `reasons`: words that ask why it is that cause.
    """

    complaints: dict[str, Complaint]
    findings: dict[str, Finding]
    causes: dict[str, Cause]
    replies: dict[str, str]
    marks: tuple[str, ...]
    reasons: frozenset[str]

    def of(self, card: Card) -> Table:
        """The part of it that counts for this truck."""

        def fits(only: tuple[tuple[str, str], ...]) -> bool:
            return all(getattr(card, key) == value for key, value in only)

        def judged(finding: Finding) -> bool:  # a reading without a limit is neither low nor high
            return not finding.readings or any(card.figures.get(q) for q in finding.readings)

        def worded(finding: Finding) -> Finding:
            asks = [ask for only, ask in finding.instead if fits(only)]
            return replace(finding, ask=asks[0]) if asks else finding

        return Table(
            self.complaints,
            {k: worded(f) for k, f in self.findings.items() if fits(f.only) and judged(f)},
            {k: c for k, c in self.causes.items() if fits(c.only)},
            self.replies,
            self.marks,
            self.reasons,
        )

    def say(self, reply: str, **fields: object) -> str:
        """A reply with its blanks filled in."""
        return self.replies[reply].format_map(fields)

    def heard_in(self, text: str) -> list[str]:
        """Ids of the complaints named in lower-case words without punctuation."""
        words = text.split()
        return [
            c.id
            for c in self.complaints.values()
            if any(all(any(w.startswith(b) for w in words) for b in set_) for set_ in c.heard)
        ]
