"""A record's acts, applied to a new job: how a session is resumed."""

from __future__ import annotations

from typing import Any

from assistant import __version__
from assistant.card import Card, CardError, card_from_text, default_card
from assistant.procedure.dialog import Dialogs
from assistant.procedure.job import Job
from assistant.procedure.said import Act
from assistant.record import Journal

from . import report


class SessionError(Exception):
    """One clear line on why a session cannot begin or go on."""


def replayed(journal: Journal, dialogs: Dialogs) -> Job:
    """The job as the record left it; only its turns count.

    Raises:
        SessionError: the record is finished, does not fit the dialogs any more, or holds what
            lugcall does not write.
    """
    try:
        return _replayed(journal, dialogs)
    except (KeyError, TypeError, ValueError, AttributeError, RecursionError):
        raise SessionError(
            f"{journal.path.name} holds what lugcall does not write; see lugcall transcript"
        ) from None


def _replayed(journal: Journal, dialogs: Dialogs) -> Job:
    if journal.finished:
        raise SessionError(f"{journal.path.name} is signed off; start a new session instead")
    opened = journal.events[0].data
    card = _card_of(opened)
    if card.unsupported():
        raise SessionError(card.unsupported())
    job = Job(card, dialogs)
    job.prompt(entering=True)
    for event in journal.events:
        if event.kind != "turn":
            continue
        act = event.data.get("act")
        if act is not None:
            job.apply(Act.from_data(act))
        if job.state != event.data.get("after"):
            raise SessionError(
                f"{journal.path.name}, line {event.n + 1}: these dialogs lead to another step "
                f"than the record; use the dialogs it was made with ({opened.get('dialogs')}, "
                f"lugcall {opened.get('lugcall')}; this is {__version__})"
            )
    if job.signed_off:
        # The plug was pulled between the sign-off and its closing line.
        journal.append("closed", report.closing(job))
        raise SessionError(f"{journal.path.name} is signed off; its closing line is added now")
    return job


def _card_of(opened: dict[str, Any]) -> Card:
    kept = opened.get("card", {})
    if not kept.get("text"):
        return default_card()
    try:
        return card_from_text(kept["text"], kept.get("name", "card"))
    except CardError as error:
        raise SessionError(f"the card kept in this record cannot be read: {error}") from None
