"""The picture of this moment, asked for within a job: one breath here, drawn by a terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.clutch.uncertainty import Measured
from assistant.readings import QUANTITIES

from .said import Said

if TYPE_CHECKING:
    from .base import JobBase

KEY = "reply:picture"
"""Key of the reply that a terminal draws under."""


def take(job: JobBase, who: str) -> list[Said]:
    """Where the truck stands, in one breath."""
    from assistant.pictures.say import spoken
    from assistant.pictures.snapshot import PictureError, today_of

    card = job.facts.card
    try:
        return [Said(who, spoken(today_of(card, readings_now(job)), card), KEY)]
    except PictureError:
        return [Said(who, job.dialogs.say("picture_none"), "reply:picture_none")]


def drawn(job: JobBase) -> list[str]:
    """Stroke and chain in plain characters, today and as planned; nothing before they are read."""
    from assistant.pictures import plain
    from assistant.pictures.snapshot import PictureError, today_and_after
    from assistant.pictures.stroke import stroke_of

    card = job.facts.card
    try:
        shots = today_and_after(card, readings_now(job))
    except PictureError:
        return []
    strokes = [stroke_of(shot, card) for shot in shots]
    return [*plain.stroke_lines(strokes, card.units), "", *plain.chain_lines(shots, card)]


def readings_now(job: JobBase) -> dict[str, Measured]:
    """The readings that describe the truck as it is; as found while gap or clearance is not known
    since the last move."""
    facts = job.facts
    taken = {q: facts.latest(q) for q in QUANTITIES}
    if taken["gap"] is None or taken["clearance"] is None:
        taken = {q: facts.as_found(q) for q in QUANTITIES}
    return {q: t.measured for q, t in taken.items() if t is not None and t.value_in is not None}
