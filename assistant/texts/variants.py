"""Which steps and words a truck of this kind is given: one job, composed from shared pieces.

A step with `when` stands only where the truck's traits fit; its `instead` pieces change its words,
never its kind, its person or what it notes. The rules of `interlocks` are checked on every job
that can be composed so.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import product
from typing import TYPE_CHECKING

from assistant.card.card import CLUTCHES, COVERS, LINKAGES, LOCKS, RINGS, TRANSMISSIONS, UNITS

if TYPE_CHECKING:
    from assistant.texts.dialogs import Phase, Step

TRAITS: dict[str, tuple[str, ...]] = {
    "transmission": TRANSMISSIONS,
    "linkage": LINKAGES,
    "clutch": CLUTCHES,
    "cover": COVERS,
    "lock": LOCKS,
    "ring": ("unsaid", *RINGS),
    "units": UNITS,
}
"""Trait of a truck -> the values it may have, the usual one first."""

Traits = Mapping[str, str]
USUAL: Traits = {name: values[0] for name, values in TRAITS.items()}
"""The truck that no card describes."""
WORDS = ("say", "why", "helper", "answers", "cautions")
"""What an `instead` piece may change of a step."""

When = tuple[tuple[str, tuple[str, ...]], ...]
"""Trait and the values that fit, all of which must; empty: every truck."""


@dataclass(frozen=True, slots=True)
class Instead:
    """Other words for one step on trucks of a kind; a field that is None stays as it is."""

    when: When
    say: str | None = None
    why: str | None = None
    helper: str | None = None
    answers: tuple[str, ...] | None = None
    cautions: tuple[str, ...] | None = None

    def on(self, step: Step) -> Step:
        """The step in these words."""
        changed = {name: getattr(self, name) for name in WORDS if getattr(self, name) is not None}
        return replace(step, **changed)


def fits(when: When, traits: Traits) -> bool:
    """Whether a truck is of the kind that `when` names."""
    return all(traits[name] in values for name, values in when)


def steps_for(steps: Iterable[Step], traits: Traits) -> tuple[Step, ...]:
    """The steps of a truck, in their words for it; of two pieces that fit, the later one wins."""
    out = []
    for step in steps:
        if not fits(step.when, traits):
            continue
        for other in step.instead:
            if fits(other.when, traits):
                step = other.on(step)
        out.append(step)
    return tuple(out)


def phases_for(phases: Iterable[Phase], steps: Iterable[Step]) -> tuple[Phase, ...]:
    """The phases that have a step, counted: {at} and {all} in their headings are filled in."""
    used = {s.phase for s in steps}
    there = [p for p in phases if p.id in used]
    return tuple(
        replace(p, heading=p.heading.format(at=i, all=len(there))) for i, p in enumerate(there, 1)
    )


def replies_for(
    replies: dict[str, str], others: Iterable[tuple[When, dict[str, str]]], traits: Traits
) -> dict[str, str]:
    """The replies of a truck."""
    out = dict(replies)
    for when, changed in others:
        if fits(when, traits):
            out.update(changed)
    return out


def kinds(steps: Iterable[Step]) -> Iterator[Traits]:
    """One truck of every kind that the steps tell apart."""
    named = {name for step in steps for name, _ in step.when}
    values = [TRAITS[name] if name in named else TRAITS[name][:1] for name in TRAITS]
    for chosen in product(*values):
        yield dict(zip(TRAITS, chosen, strict=True))


def named(traits: Traits) -> str:
    """What is unusual about a truck: `a cable linkage, a synchronized transmission`."""
    odd = [f"{traits[n]} {n}" for n in TRAITS if traits[n] != USUAL[n]]
    return ", ".join(odd) or "the usual truck"
