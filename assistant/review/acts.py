"""What a lead does with a record: lines added to its own chain, never a line changed.

Reviewed, a question to the technician, that question withdrawn, accepted with a reason, reopened.
Leads are named by a code only. The seal on the paper work order covers the record up to its
sign-off; what a lead adds comes after that, and is held by the chain alone. A question is put in
each session on that truck until it is answered or withdrawn.
"""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from assistant.record import (
    BrokenChain,
    Event,
    Journal,
    NotARecord,
    RecordBusy,
    RecordError,
)
from assistant.record.disk import reason
from assistant.record.events import TornEnd
from assistant.record.folder import SUFFIX, slug
from assistant.record.history import ACTS, LEAD, LINE, WITHDRAWN, JobHistory, meant_by
from assistant.review.index import below, roots_of

if TYPE_CHECKING:
    from assistant.act import Said
    from assistant.card import Card
    from assistant.conversation import Session
    from assistant.texts.dialogs import Dialogs

LeadActName = Literal["reviewed", "question", "accepted", "reopened", "withdrawn"]
MAX_TEXT = 500
"""Characters of a reason or a remark."""
MAX_WORDS = 12
"""Words of a question: it is spoken to somebody under a truck, in one breath."""
_CODE = re.compile(r"(?=[A-Z-]*\d)[A-Z0-9-]{1,8}", re.ASCII)
_SIGNED_ONLY = ("accepted", "reopened")
PATIENCE_S = 2.0
"""So long a session waits at its start for folders that another lead's drive may hold."""
NEWEST = 8
"""Records of one truck that are looked at."""


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
    if act not in ("reviewed", WITHDRAWN) and not words:
        what = "the question itself" if act == "question" else f"the reason it is {act}"
        raise LeadError(f"{act}: give {what} as well; nothing was added")
    if len(words) > MAX_TEXT or len(about) > MAX_TEXT:
        raise LeadError(f"that is over {MAX_TEXT} characters; say it shorter. Nothing was added")
    if act == "question" and len(words.split()) > MAX_WORDS:
        raise LeadError(f"ask it in {MAX_WORDS} words at most, it is spoken; nothing was added")
    with opened(path, now) as journal:
        _check_about(about, len(journal.events))
        if act in _SIGNED_ONLY and not journal.finished:
            why = f"{path.name} is not signed off yet, so it cannot be {act}"
            raise LeadError(f"{why}; a question can be put, or the job be marked reviewed")
        if act == WITHDRAWN and not _taken_back(journal.events, about):
            which = f" in {about}" if about else ""
            raise LeadError(f"{path.name} has no open question{which}; nothing was added")
        done = [e.kind for e in journal.events if e.kind.removeprefix(LEAD) in ACTS]
        if act == "reopened" and done[-1:] == [f"{LEAD}reopened"]:
            raise LeadError(f"{path.name} is reopened already; nothing was added")
        data = {"lead": code, "text": words, "about": about}
        last = journal.events[-1]
        if last.kind == LEAD + act and last.data == data:
            raise LeadError(f"{path.name} ends with this very act already; nothing was added")
        try:
            return journal.append(LEAD + act, data)
        except RecordError as error:
            raise not_written(path, error) from error


def _taken_back(events: Iterable[Event], about: str) -> bool:
    """Whether a question is open that would be taken back so."""
    before = JobHistory.of([*events])
    asked = {act.n for act in before.acts if act.act == "question"} - before.withdrawn
    return bool(meant_by(about, asked))


def _check_about(about: str, lines: int) -> None:
    """Refuse a line that is not there. Raises LeadError."""
    for found in LINE.finditer(about):
        if not 1 <= int(found[1]) <= lines:
            raise LeadError(f"there is no {found[0]} in it, it has {lines}; nothing was added")


def not_written(path: Path, error: RecordError) -> LeadError:
    """Why the disk did not take a lead's line: he need stop no work, nor resume anything."""
    cause = error.__cause__
    if not isinstance(cause, OSError):
        return LeadError(f"{str(error).split('. ')[0]}; nothing was added")
    what, remedy = reason(cause)
    return LeadError(
        f"{path.name} cannot be written: {what}; {remedy}, then do it again. Nothing was added"
    )


def lead_code(lead: str, whose: str = "lead's ") -> str:
    """A lead's code as records hold it, or somebody else's, in an error said to be `whose`.

    Raises:
        LeadError: it is none.
    """
    code = lead.strip().upper()
    if not _CODE.fullmatch(code):
        raise LeadError(f"{lead!r} is no {whose}code: give one such as L7, never a name")
    return code


def opened(path: Path, now: Callable[[], datetime]) -> Journal:
    """A record's journal, its chain checked and its lock held, for a line of the lead.

    Raises:
        LeadError: it is in use or damaged, or no record; one clear line.
    """
    if not path.exists():
        raise LeadError(f"{path.name} is not there: check the name; nothing was added")
    try:
        return Journal.open(path, now, cuts_open=False)
    except TornEnd:
        why = "ends in a torn line: lugcall resume repairs it, then do it again; nothing was added"
    except RecordBusy:
        why = "is in use by a session or another lead; nothing was added, try again in a moment"
    except BrokenChain as error:
        why = f"is BROKEN at line {error.line}: nothing can be added; keep the file as it is"
    except NotARecord as error:
        told = str(error).split(". ")[0].removesuffix(".")
        raise LeadError(f"{told}; nothing was added") from None
    except RecordError as error:
        raise not_written(path, error) from error
    raise LeadError(f"{path.name} {why}")


# --- Questions that wait for the next session on a truck, until they are answered.


@dataclass(frozen=True, slots=True)
class WaitingQuestion:
    """A question not yet answered: whose (code), its words, and where it stands: the hash of its
    line, its number, from 1, and the name of its file."""

    lead: str
    text: str
    hash: str
    line: int = 0
    record: str = ""


def waiting(folder: Path, unit: str) -> list[WaitingQuestion]:
    """The open questions on a truck, oldest first.

    A question is over once it was answered in a later session (`JobHistory.questions`), or the
    lead took it back.
    """
    answered: set[str] = set()
    found: list[WaitingQuestion] = []
    for path, history in of_truck(folder, unit):
        answered |= {one.notice.question for one in history.questions if one.answer is not None}
        found += (one for one in _open(path, history) if one.hash not in answered)
    return found[::-1]


def begun(
    card: Card, dialogs: Dialogs, folder: Path, keep_audio: bool = False, full: bool = False
) -> tuple[Session, list[Said]]:
    """A job on a new record, and what is said first: what leads asked since the truck's last job.
    Arguments and errors as of `Session.begin`.

    Looked up before the new record is there, so that it is not among those looked at.
    """
    from assistant.conversation import Session

    questions = waiting(folder, card.unit)
    session, said = Session.begin(card, dialogs, folder, keep_audio=keep_audio, full=full)
    return session, [*_put(session, questions), *said]


def resumed(path: Path, dialogs: Dialogs, keep_audio: bool = False) -> tuple[Session, list[Said]]:
    """The job of a record, and what is said first; what leads asked was put to it once."""
    from assistant.conversation import Session

    session, said = Session.resume(path, dialogs, keep_audio=keep_audio)
    events = session.journal.events
    put = {event.data.get("question") for event in events if event.kind == "notice"}
    questions = waiting(session.journal.path.parent, str(events[0].data.get("unit", "")))
    return session, [*_put(session, (q for q in questions if q.hash not in put)), *said]


def _put(session: Session, questions: Iterable[WaitingQuestion]) -> list[Said]:
    """Put a lead's questions to the technician; the record keeps which they are."""
    return [
        one
        for q in questions
        for one in session.notice(
            "tech", "lead_asks", lead=q.lead, text=q.text, question=q.hash, of_record=q.record,
            of_line=str(q.line),
        )
    ]  # fmt: skip


def of_truck(folder: Path, unit: str) -> list[tuple[Path, JobHistory]]:
    """A truck's newest records, newest first, in a folder and in those that a lead looked at
    together with it.

    Quick, since a session begins with it. A folder that cannot be read, or does not answer in time,
    has none.
    """
    found = list(_newest([folder], unit))
    if unit and (roots := roots_of(folder)):
        from assistant.review.refresh import NoAnswer, within

        more: list[tuple[Path, JobHistory]] = []
        with suppress(NoAnswer):
            within(lambda: more.extend(_newest([folder, *below(roots)], unit)), more.__len__,
                   PATIENCE_S)  # fmt: skip
            found = more
    return found


def _newest(folders: Iterable[Path], unit: str) -> Iterator[tuple[Path, JobHistory]]:
    """The newest records of a truck, newest first, each once."""
    names: dict[str, Path] = {}
    for folder in folders if unit else ():
        try:
            names |= {name: folder / name for name in os.listdir(folder)
                      if name.endswith(SUFFIX) and slug(unit) in name}  # fmt: skip
        except OSError:
            continue
    for name in sorted(names, reverse=True)[:NEWEST]:
        try:
            history = JobHistory.read(names[name])
        except RecordError:
            continue
        if history.opened.unit == unit:
            yield names[name], history


def _open(path: Path, history: JobHistory) -> Iterator[WaitingQuestion]:
    """The questions that the lead did not take back, newest first."""
    back = history.withdrawn
    for act in reversed(history.acts):
        if act.act == "question" and act.n not in back:
            yield WaitingQuestion(act.lead, act.text, act.hash, act.line, path.name)
