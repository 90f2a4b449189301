"""The arithmetic alone: how likely each cause is, and how much a finding would tell.

One cause is taken to be behind it all, and given the cause every complaint and finding stands for
itself (naive Bayes): chance of a cause ~ prior * product of the chances of what was found. What a
finding is expected to tell is the mutual information of finding and cause, in bits (Shannon 1948).
A finding that is not certain counts by the chances of its states (Pearl's virtual evidence).
Chances are plain floats from 0 to 1.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from functools import partial
from typing import Any

from assistant.card import Card
from assistant.card.arithmetic import readings_for
from assistant.causes.table import Cause, Finding, Table
from assistant.clutch.conformity import Limits, Measured, normal_cdf
from assistant.clutch.equations import finding_of
from assistant.quantity import CLEARANCE, GAP
from assistant.sentences import capital

Chances = dict[str, float]
"""Cause -> its chance; they sum to 1."""


def weigh(
    table: Table, complaints: Iterable[str], found: Mapping[str, tuple[float, ...]]
) -> Chances:
    """The chances of all causes, by ids of complaints, and finding -> how well each of its states
    fits what was seen, not all zero.
    """
    logs = {}
    for cause in table.causes.values():
        log = math.log(cause.prior.weight)
        for key in complaints:
            log += math.log(cause.brings(table.complaints[key]))
        for key, fits in found.items():
            log += math.log(fit(cause, table.findings[key], fits))
        logs[cause.id] = log
    top = max(logs.values())
    raw = {key: math.exp(log - top) for key, log in logs.items()}
    total = sum(raw.values())
    return {key: value / total for key, value in raw.items()}


def fit(cause: Cause, finding: Finding, fits: tuple[float, ...]) -> float:
    """Chance of what was seen, given the cause."""
    return sum(p * f for p, f in zip(cause.shows(finding), fits, strict=True))


def bits(chances: Iterable[float]) -> float:
    """Entropy in bits."""
    return -sum(p * math.log2(p) for p in chances if p > 0.0)


def gain_bits(table: Table, chances: Chances, finding: Finding) -> float:
    """Bits that knowing the finding's state is expected to tell about the cause."""
    before, after = bits(chances.values()), 0.0
    for state in range(len(finding.states)):
        joint = [p * table.causes[key].shows(finding)[state] for key, p in chances.items()]
        share = sum(joint)
        after += share * bits(p / share for p in joint)
    return max(0.0, before - after)


def most_telling(
    table: Table, chances: Chances, known: Iterable[str]
) -> list[tuple[Finding, float]]:
    """What may be asked next, the most telling first, with the bits each is expected to tell."""
    done = set(known)
    open_ = [f for f in table.findings.values() if f.ask and not f.derived and f.id not in done]
    ranked = [(f, gain_bits(table, chances, f)) for f in open_]
    return sorted(ranked, key=lambda pair: -round(pair[1], 9))


# --- Readings and answers as findings: how well each state fits what was seen.

Fits = tuple[float, ...]
NO: Fits = (1.0, 0.0)
YES: Fits = (0.0, 1.0)


def low_in_high(measured: Measured, limits: Limits) -> Fits:
    """Chance that the true value is below the limits, in them, above them; sums to 1."""
    value, u = measured.value_in, measured.u_in

    def beyond(depth_in: float) -> float:
        return normal_cdf(depth_in / u) if u > 0.0 else float(depth_in > 0.0)

    low = 0.0 if limits.low_in is None else beyond(limits.low_in - value)
    high = 0.0 if limits.high_in is None else beyond(value - limits.high_in)
    return low, max(0.0, 1.0 - low - high), high


def findings_of(table: Table, card: Card, read: Mapping[str, Measured]) -> dict[str, Fits]:
    """Finding -> fits, for all that these readings show.

    Free travel and fork clearance are one finding: the one is the other seen at the pedal, and
    counted twice they would make the table surer than it is. Where they contradict each other,
    that shows as ratios that disagree.
    """
    found: dict[str, Fits] = {}
    for finding in table.findings.values():
        for quantity in finding.readings:
            figure = card.figures.get(quantity)
            if quantity in read and figure is not None:
                found[finding.id] = low_in_high(read[quantity], figure)
                break
    if "quarrel" in table.findings and read.keys() >= {GAP, CLEARANCE}:
        with suppress(ValueError):  # readings too odd for any plan
            ratios = finding_of(readings_for(card, read))
            if ratios is not None:  # the pedal ratio can be told in two ways
                found["quarrel"] = NO if ratios.agree else YES
    return found


# --- One truck's complaint: what is known so far, and what is said about it.

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
    """What is complained of and what was found, weighed by the part of the table for this truck."""

    table: Table
    complaints: list[str] = field(default_factory=list)
    found: dict[str, Fits] = field(default_factory=dict)
    skipped: set[str] = field(default_factory=set)

    def chances(self) -> Chances:
        return weigh(self.table, self.complaints, self.found)

    def ranked(self) -> list[tuple[Cause, float]]:
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
        known = {*self.found, *self.skipped, *self.complaints}  # a complaint may tell a finding
        ranked = most_telling(self.table, chances, known)
        return [(f, b) for f, b in ranked if b >= LEAST_BITS]

    def next_reading(self) -> str:
        """Which reading or look would tell most, in one breath."""
        telling = self.telling()
        if not telling:
            return self.table.say("nothing_more")
        first = telling[0][0]
        if not first.readings:
            return self.table.say("next_look", ask=first.ask)
        return self.table.say("next_reading", reading=first.name)

    def why(self) -> list[str]:
        """The longer answer: the likeliest causes, what speaks for and against the first."""
        say, ranked = self.table.say, self.ranked()
        lines = [
            say("why_for", share=round(100 * p), cause=capital(cause.say), why=cause.why)
            for cause, p in ranked[:3]
        ]
        pulls = self._pulls(ranked[0][0])
        for reply, side in (("why_told", 1), ("why_against", -1)):
            some = [pull for pull in pulls if (pull[1] > 1) == (side > 0)]
            named = [say("why_pull", name=name, times=f"{times:.2g}") for name, times in some]
            if named:
                lines.append(say(reply, found="; ".join(named)))
        lines.append(say("why_marks", marks="; ".join(self.table.marks)))
        return lines

    def _pulls(self, cause: Cause) -> list[tuple[str, float]]:
        """What was complained of and found, each with how many times likelier it is with this
        cause than with the others together."""
        others = [(self.table.causes[k], p) for k, p in self.chances().items() if k != cause.id]
        rest = sum(p for _, p in others) or 1.0

        def times(chance: Callable[[Cause], float]) -> float:
            return chance(cause) * rest / sum(p * chance(other) for other, p in others)

        pulls = []
        for complaint in map(self.table.complaints.__getitem__, self.complaints):
            pulls.append((complaint.name, times(partial(Cause.brings, complaint=complaint))))
        for key, fits in self.found.items():
            finding = self.table.findings[key]
            state = finding.states[max(range(len(fits)), key=lambda i: fits[i])]
            name = f"{finding.name} {state}"
            pulls.append((name, times(partial(fit, finding=finding, fits=fits))))
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
            "marks": self.table.marks,
        }  # fmt: skip
