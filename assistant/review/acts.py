"""What a lead does with a record: lines added to its own chain, never a line changed.

Reviewed, a question to the technician, accepted with a reason, reopened. Leads are named by a code
only. The seal on the paper work order covers the record up to its sign-off; what a lead adds comes
after that, and is held by the chain alone.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, Literal

from assistant.record import BrokenChain, Event, Journal, NotARecord, RecordBusy, RecordError

Act = Literal["reviewed", "question", "accepted", "reopened"]
ACTS: tuple[Act, ...] = ("reviewed", "question", "accepted", "reopened")
PREFIX = "lead-"
MAX_TEXT = 500
"""Characters of a reason or a remark."""
MAX_WORDS = 12
"""Words of a question: it is spoken to somebody under a truck, in one breath."""
_CODE = re.compile(r"(?=[A-Z-]*\d)[A-Z0-9-]{1,8}", re.ASCII)
_WANTS = {
    "question": "the question itself",
    "accepted": "the reason it is accepted",
    "reopened": "the reason it is reopened",
}
_SIGNED_ONLY = ("accepted", "reopened")


class LeadError(RecordError):
    """One clear line on why nothing was added."""


@dataclass(frozen=True, slots=True)
class LeadAct:
    """One act as the record holds it.

    `line` counts from 1; `at` is ISO 8601; `about` names what it is about (a reading, a line of the
    record) or is empty.
    """

    line: int
    at: str
    act: str
    lead: str
    text: str
    about: str


def add(
    path: Path,
    act: Act,
    lead: str,
    text: str = "",
    about: str = "",
    now: Callable[[], datetime] = datetime.now,
) -> Event:
    """Append one act; it is on the disk when this returns.

    Args:
        path: the record.
        act: one of `ACTS`.
        lead: the lead's code, such as L7: at most 8 letters, digits and dashes, a digit among them.
        text: the question, the reason, or a remark on what was reviewed.
        about: what it is about, if not the whole job.
        now: the clock.

    Raises:
        LeadError: it does not fit, the record is in use or damaged; nothing was added.
        RecordError: the disk did not take it.
    """
    code = lead_code(lead)
    words, about = " ".join(text.split()), " ".join(about.split())
    if act in _WANTS and not words:
        raise LeadError(f"{act}: give {_WANTS[act]} as well; nothing was added")
    if len(words) > MAX_TEXT or len(about) > MAX_TEXT:
        raise LeadError(f"that is over {MAX_TEXT} characters; say it shorter. Nothing was added")
    if act == "question" and len(words.split()) > MAX_WORDS:
        raise LeadError(f"ask it in {MAX_WORDS} words at most, it is spoken; nothing was added")
    with opened(path, now) as journal:
        _check(journal, act, path)
        data = {"lead": code, "text": words, "about": about}
        last = journal.events[-1]
        if last.kind == PREFIX + act and last.data == data:
            raise LeadError(f"{path.name} ends with this very act already; nothing was added")
        return journal.append(PREFIX + act, data)


def lead_code(lead: str) -> str:
    """A lead's code as records hold it.

    Raises:
        LeadError: it is none.
    """
    code = lead.strip().upper()
    if not _CODE.fullmatch(code):
        raise LeadError(f"{lead!r} is no lead's code: give one such as L7, never a name")
    return code


def opened(path: Path, now: Callable[[], datetime]) -> Journal:
    """A record's journal, its chain checked and its lock held, for a line of the lead.

    Raises:
        LeadError: it is in use or damaged, or no record; one clear line.
    """
    if not path.exists():
        raise LeadError(f"{path.name} is not there: check the name; nothing was added")
    try:
        return Journal.open(path, now)
    except RecordBusy:
        raise LeadError(
            f"{path.name} is in use by a session or another lead; nothing was added, "
            "try again in a moment"
        ) from None
    except BrokenChain as error:
        raise LeadError(
            f"{path.name} is BROKEN at line {error.line}: nothing can be added; "
            "keep the file as it is"
        ) from None
    except NotARecord as error:
        why = str(error).split(". ")[0].removesuffix(".")
        raise LeadError(f"{why}; nothing was added") from None


def _check(journal: Journal, act: Act, path: Path) -> None:
    if act in _SIGNED_ONLY and not journal.finished:
        raise LeadError(
            f"{path.name} is not signed off yet, so it cannot be {act}; "
            "a question can be put, or the job be marked reviewed"
        )
    if act == "reopened" and standing(journal.events) == "reopened":
        raise LeadError(f"{path.name} is reopened already; nothing was added")


def acts_in(events: Iterable[Event]) -> list[LeadAct]:
    """The lead's acts of a record, in order; what other versions may add is given as it is."""
    return [
        LeadAct(
            e.n + 1,
            e.at,
            e.kind.removeprefix(PREFIX),
            _text(e.data, "lead"),
            _text(e.data, "text"),
            _text(e.data, "about"),
        )
        for e in events
        if e.kind.startswith(PREFIX)
    ]


def _text(data: dict[str, Any], key: str) -> str:
    value = data.get(key)
    return value if isinstance(value, str) else ""


def standing(events: Iterable[Event]) -> str:
    """How the lead left it: "reopened", "question", "accepted", "reviewed", or "" (not looked at).

    The last act decides, but a question stays open until the record is reviewed, accepted or
    reopened after it.
    """
    known = [act.act for act in acts_in(events) if act.act in ACTS]
    return known[-1] if known else ""
