"""Asked within a job what is behind a complaint: answered from the readings there are.

Nothing moves by it. The table of causes is loaded when it is first asked for, not before.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.act import REASONS, Said
from assistant.clutch.uncertainty import Measured
from assistant.readings import QUANTITIES
from assistant.sentences import DialogError

if TYPE_CHECKING:
    from assistant.causes.case import Case
    from assistant.job.base import JobBase


def complain(job: JobBase, who: str, text: str) -> list[Said]:
    """Answer to a complaint, or to "what is the cause".

    Args:
        job: where it stands; its complaints grow by those in `text`.
        who: who asked.
        text: ids of complaints, or `REASONS`, or "" for what the readings alone say.
    """
    try:
        case = case_of(job)
    except DialogError as error:
        return [Said(who, f"{error}.", "reply:cause")]
    for key in text.split():
        if key in case.table.complaints and key not in case.complaints:
            job.facts.complaints.append((key, _as_left(job)))
            case.complaints.append(key)
            job.facts.notes.append((who, f"complaint: {case.table.complaints[key].name}"))
    if text == REASONS:
        return [Said(who, line, "reply:cause_why") for line in case.why()]
    return [Said(who, line, "reply:cause") for line in (case.sentence(), case.next_reading())]


def told(job: JobBase) -> list[Said]:
    """Once all is read as found: what is behind the complaint, if there was one."""
    if not job.facts.complaints:
        return []
    return complain(job, "tech", "")[:1]


def case_of(job: JobBase) -> Case:
    """The complaints and the readings of this job, weighed.

    The readings as found with what was complained of then; once all is set, the readings as left
    with what is complained of since. What is between describes neither.

    Raises:
        DialogError: the table of causes is damaged.
    """
    from assistant.causes.case import Case, findings_of
    from assistant.causes.table import load_table

    facts, as_left = job.facts, _as_left(job)
    read: dict[str, Measured] = {}
    for quantity in QUANTITIES:
        taken = facts.latest(quantity) if as_left else facts.as_found(quantity)
        if taken is not None and taken.value_in is not None:
            read[quantity] = taken.measured
    case = Case.of(load_table(), facts.card)
    for key, since in facts.complaints:
        if since == as_left and key in case.table.complaints:
            case.complaints.append(key)
    case.found.update(findings_of(case.table, facts.card, read))
    return case


def _as_left(job: JobBase) -> bool:
    """Whether it is set: free travel, the last to be set, was read once more."""
    return job.facts.staged("free-travel", "final") is not None


# --- The picture of this moment, asked for within a job: one breath here, drawn by a terminal.

KEY = "reply:picture"
"""Key of the reply that a terminal draws under."""


def picture(job: JobBase, who: str) -> list[Said]:
    """Where the truck stands, in one breath."""
    from assistant.pictures.plain import spoken
    from assistant.pictures.snapshot import PictureError, today_of

    card = job.facts.card
    try:
        return [Said(who, spoken(today_of(card, readings_now(job)), card), KEY)]
    except PictureError:
        return [Said(who, job.dialogs.say("picture_none"), "reply:picture_none")]


def drawn(job: JobBase) -> list[str]:
    """Stroke and chain in plain characters, today and as planned; nothing before they are read."""
    from assistant.pictures import plain
    from assistant.pictures.snapshot import PictureError, stroke_of, today_and_after

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
