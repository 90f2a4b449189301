"""One truck's complaint: what is known so far, and what is said about it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from assistant.card import Card
from assistant.causes.evidence import Fits
from assistant.causes.table import Cause, Finding, Table
from assistant.causes.weigh import Chances, fit, most_telling, weigh
from assistant.readings.asking import capital

CLEAR = 0.40
"""Below this chance the first cause is not named alone. Chosen by eye."""
SURE = 0.90
"""From this chance on nothing more is asked. Chosen by eye."""
NEARLY_ALL = 0.75
"""From this chance of any part being to blame on, no adjustment is talked of. Chosen by eye."""
LEAST_BITS = 0.03
"""A finding expected to tell less is not worth asking for. Chosen by eye."""


@dataclass
class Case:
    """What is complained of and what was found, weighed by the table of this truck."""

    table: Table
    complaints: list[str] = field(default_factory=list)
    found: dict[str, Fits] = field(default_factory=dict)
    skipped: set[str] = field(default_factory=set)

    @classmethod
    def of(cls, table: Table, card: Card) -> Case:
        """A case with nothing known yet."""
        return cls(table.of(card))

    def chances(self) -> Chances:
        """Cause -> chance."""
        return weigh(self.table, self.complaints, self.found)

    def ranked(self) -> list[tuple[Cause, float]]:
        """The causes with their chances, the likeliest first."""
        pairs = [(self.table.causes[k], p) for k, p in self.chances().items()]
        return sorted(pairs, key=lambda pair: -round(pair[1], 9))

    def sentence(self) -> str:
        """What it is and what to do, in one breath."""
        ranked = self.ranked()
        (first, chance), (second, _) = ranked[:2]
        share = round(100 * chance)
        if chance < CLEAR:
            parts = sum(p for cause, p in ranked if cause.kind == "parts")
            only = parts >= NEARLY_ALL and first.kind == second.kind == "parts"
            reply = "parts_unsure" if only else "unsure"
            return self.table.say(reply, cause=first.say, other=second.say)
        reply = "parts" if first.kind == "parts" else "likely"
        return capital(self.table.say(reply, share=share, cause=first.say, fix=first.fix))

    def telling(self) -> list[tuple[Finding, float]]:
        """What is worth asking for, the most telling first, with its bits; empty when done."""
        chances = self.chances()
        if max(chances.values()) >= SURE:
            return []
        ranked = most_telling(self.table, chances, {*self.found, *self.skipped})
        return [(f, b) for f, b in ranked if b >= LEAST_BITS]

    def next_reading(self) -> str:
        """Which reading or look would tell most, in one breath."""
        telling = self.telling()
        if not telling:
            return self.table.say("nothing_more")
        return self.table.say("next_reading", reading=telling[0][0].name)

    def why(self) -> list[str]:
        """The longer answer: the likeliest causes, what speaks for and against the first."""
        say, ranked = self.table.say, self.ranked()
        lines = [
            say("why_for", share=round(100 * p), cause=capital(cause.say), why=cause.why)
            for cause, p in ranked[:3]
        ]
        pulls = self._pulls(ranked[0][0])
        for reply, side in (("why_told", 1), ("why_against", -1)):
            named = [
                f"{name}, {times:.2g} times as likely"
                for name, times in pulls
                if (times > 1) == (side > 0)
            ]
            if named:
                lines.append(say(reply, found="; ".join(named)))
        lines.append(say("why_marks", marks="; ".join(self.table.marks)))
        return lines

    def _pulls(self, cause: Cause) -> list[tuple[str, float]]:
        """What was complained of and found, each with how many times likelier it is with this
        cause than with the others together."""
        others = {k: p for k, p in self.chances().items() if k != cause.id}
        rest = sum(others.values()) or 1.0
        pulls = []
        for key in self.complaints:
            complaint = self.table.complaints[key]

            def chance(c: Cause, key: str = key, elsewhere: float = complaint.elsewhere) -> float:
                return c.complaints.get(key, elsewhere)

            average = sum(p * chance(self.table.causes[k]) for k, p in others.items()) / rest
            pulls.append((complaint.name, chance(cause) / average))
        for key, fits in self.found.items():
            finding = self.table.findings[key]
            average = (
                sum(p * fit(self.table.causes[k], finding, fits) for k, p in others.items()) / rest
            )
            state = finding.states[max(range(len(fits)), key=lambda i: fits[i])]
            pulls.append((f"{finding.name} {state}", fit(cause, finding, fits) / average))
        return sorted(pulls, key=lambda pull: -pull[1])

    def as_json(self) -> dict[str, Any]:
        """The keys that `lugcall cause --json` prints."""
        return {
            "complaints": self.complaints,
            "found": {k: dict(zip(self.table.findings[k].states, v, strict=True))
                      for k, v in self.found.items()},
            "causes": [
                {"cause": c.id, "chance": round(p, 4), "kind": c.kind, "say": c.say, "fix": c.fix}
                for c, p in self.ranked()
            ],
            "next": [{"finding": f.id, "ask": f.ask, "bits": round(b, 4)}
                     for f, b in self.telling()],
            "spoken": self.sentence(),
            "marks": list(self.table.marks),
        }  # fmt: skip
