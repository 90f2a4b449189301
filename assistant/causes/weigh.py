"""The arithmetic alone: how likely each cause is, and how much a finding would tell.

One cause is taken to be behind it all, and given the cause every complaint and finding stands for
itself (naive Bayes): chance of a cause ~ prior * product of the chances of what was found. What a
finding is expected to tell is the mutual information of finding and cause, in bits (Shannon 1948).
A finding that is not certain counts by the chances of its states (Pearl's virtual evidence).
Chances are plain floats from 0 to 1.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping

from assistant.causes.table import Cause, Finding, Table

Chances = dict[str, float]
"""Cause -> its chance; they sum to 1."""


def state_chances(cause: Cause, finding: Finding) -> tuple[float, ...]:
    """Chance of each state of a finding, given the cause."""
    return cause.findings.get(finding.id, finding.usual)


def weigh(
    table: Table, complaints: Iterable[str], found: Mapping[str, tuple[float, ...]]
) -> Chances:
    """The chances of all causes.

    Args:
        table: the causes of this truck.
        complaints: ids of what is complained of.
        found: finding -> how well each of its states fits what was seen, not all zero.
    """
    logs = {}
    for cause in table.causes.values():
        log = math.log(cause.prior)
        for key in complaints:
            log += math.log(cause.complaints.get(key, table.complaints[key].elsewhere))
        for key, fits in found.items():
            log += math.log(fit(cause, table.findings[key], fits))
        logs[cause.id] = log
    top = max(logs.values())
    raw = {key: math.exp(log - top) for key, log in logs.items()}
    total = sum(raw.values())
    return {key: value / total for key, value in raw.items()}


def fit(cause: Cause, finding: Finding, fits: tuple[float, ...]) -> float:
    """Chance of what was seen, given the cause."""
    return sum(p * f for p, f in zip(state_chances(cause, finding), fits, strict=True))


def bits(chances: Iterable[float]) -> float:
    """Entropy in bits."""
    return -sum(p * math.log2(p) for p in chances if p > 0.0)


def gain_bits(table: Table, chances: Chances, finding: Finding) -> float:
    """Bits that knowing the finding's state is expected to tell about the cause."""
    before, after = bits(chances.values()), 0.0
    for state in range(len(finding.states)):
        joint = [p * state_chances(table.causes[key], finding)[state] for key, p in chances.items()]
        share = sum(joint)
        after += share * bits(p / share for p in joint)
    return max(0.0, before - after)


def most_telling(
    table: Table, chances: Chances, known: Iterable[str]
) -> list[tuple[Finding, float]]:
    """What may be asked next, the most telling first, with the bits each is expected to tell."""
    done = set(known)
    open_ = [f for f in table.findings.values() if f.ask and f.id not in done]
    ranked = [(f, gain_bits(table, chances, f)) for f in open_]
    return sorted(ranked, key=lambda pair: -round(pair[1], 9))
