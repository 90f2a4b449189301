"""What a lead does with a record: lines added to its own chain, never a line changed.

Reviewed, a question to the technician, accepted with a reason, reopened. Leads are named by a code
only. The seal on the paper work order covers the record up to its sign-off; what a lead adds comes
after that, and is held by the chain alone. A question waits for the next session on that truck.
"""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Literal

from assistant.record import (
    BrokenChain,
    Event,
    Journal,
    NotARecord,
    RecordBusy,
    RecordError,
    read_events,
)
from assistant.record.events import may_follow_closed
from assistant.record.folder import SUFFIX, slug
from assistant.record.history import ACTS, LEAD

LeadActName = Literal["reviewed", "question", "accepted", "reopened"]
MAX_TEXT = 500
"""Characters of a reason or a remark."""
MAX_WORDS = 12
"""Words of a question: it is spoken to somebody under a truck, in one breath."""
_CODE = re.compile(r"(?=[A-Z-]*\d)[A-Z0-9-]{1,8}", re.ASCII)
_SIGNED_ONLY = ("accepted", "reopened")
NEWEST = 8
"""Records of one truck that are looked at."""
KEY = "question"
"""Where the notice that put a question to the technician keeps which one it was: its hash."""


class LeadError(RecordError):
    """One clear line on why nothing was added."""


def add(
    path: Path,
    act: LeadActName,
    lead: str,
    text: str = "",
    about: str = "",
    now: Callable[[], datetime] = datetime.now,
) -> Event:
    """Append one act to a record; it is on the disk when this returns.

    Args:
        lead: the lead's code, such as L7: at most 8 letters, digits and dashes, a digit among them.
        text: the question, the reason, or a remark on what was reviewed.
        about: what it is about, if not the whole job.

    Raises:
        LeadError: it does not fit, the record is in use or damaged; nothing was added.
        RecordError: the disk did not take it.
    """
    code = lead_code(lead)
    words, about = " ".join(text.split()), " ".join(about.split())
    if act != "reviewed" and not words:
        what = "the question itself" if act == "question" else f"the reason it is {act}"
        raise LeadError(f"{act}: give {what} as well; nothing was added")
    if len(words) > MAX_TEXT or len(about) > MAX_TEXT:
        raise LeadError(f"that is over {MAX_TEXT} characters; say it shorter. Nothing was added")
    if act == "question" and len(words.split()) > MAX_WORDS:
        raise LeadError(f"ask it in {MAX_WORDS} words at most, it is spoken; nothing was added")
    with opened(path, now) as journal:
        if act in _SIGNED_ONLY and not journal.finished:
            why = f"{path.name} is not signed off yet, so it cannot be {act}"
            raise LeadError(f"{why}; a question can be put, or the job be marked reviewed")
        done = [e.kind for e in journal.events if e.kind.removeprefix(LEAD) in ACTS]
        if act == "reopened" and done[-1:] == [f"{LEAD}reopened"]:
            raise LeadError(f"{path.name} is reopened already; nothing was added")
        data = {"lead": code, "text": words, "about": about}
        last = journal.events[-1]
        if last.kind == LEAD + act and last.data == data:
            raise LeadError(f"{path.name} ends with this very act already; nothing was added")
        return journal.append(LEAD + act, data)


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
        why = "is in use by a session or another lead; nothing was added, try again in a moment"
    except BrokenChain as error:
        why = f"is BROKEN at line {error.line}: nothing can be added; keep the file as it is"
    except NotARecord as error:
        told = str(error).split(". ")[0].removesuffix(".")
        raise LeadError(f"{told}; nothing was added") from None
    raise LeadError(f"{path.name} {why}")


# --- Questions that wait for the next session on a truck.


@dataclass(frozen=True, slots=True)
class WaitingQuestion:
    """A question not yet put: whose (code), its words, and the hash of its line."""

    lead: str
    text: str
    hash: str


def waiting(folder: Path, unit: str) -> list[WaitingQuestion]:
    """The open questions on a truck, oldest first; none when the folder cannot be read.

    Quick, since a session begins with it: only the newest records of that truck are looked at. A
    question is over once it was put in a later session (a "notice" with its hash), or once a lead
    did something else with the record after it.
    """
    put: set[str] = set()
    found: list[WaitingQuestion] = []
    try:
        names = os.listdir(folder) if unit else []
    except OSError:
        return []
    names = [name for name in names if name.endswith(SUFFIX) and slug(unit) in name]
    for path in (folder / name for name in sorted(names, reverse=True)[:NEWEST]):
        try:
            events, _ = read_events(path)
        except RecordError:
            continue
        if not events or events[0].data.get("unit") != unit:
            continue
        put |= {str(e.data[KEY]) for e in events if e.kind == "notice" and KEY in e.data}
        found += [one for one in _open(events) if one.hash not in put]
    return found[::-1]


def _open(events: list[Event]) -> Iterator[WaitingQuestion]:
    """The questions after which the lead did nothing else, newest first."""
    for event in reversed(events):
        if event.kind == f"{LEAD}question":
            data = event.data
            yield WaitingQuestion(str(data.get("lead", "")), str(data.get("text", "")), event.hash)
        elif event.kind.startswith(LEAD) or not may_follow_closed(event.kind):
            return
