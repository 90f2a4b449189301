"""One session: every turn understood, applied, written to the record, and only then answered."""

from __future__ import annotations

import time
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

from assistant import __version__
from assistant.card import Card, CardError, card_from_text, default_card
from assistant.procedure.dialog import Dialogs
from assistant.procedure.job import Job
from assistant.procedure.said import Act, Said
from assistant.readings import Reading
from assistant.record import Journal

from . import report
from .meaning import Question, understand

MAX_WORDS = 2000
"""Characters of one utterance that are kept."""


class SessionError(Exception):
    """One clear line on why a session cannot begin or go on."""


class Session:
    """A job and its record. Use `begin` or `resume`.

    `hear` returns only after the turn is on the disk; if it cannot be written, it raises
    `record.RecordError` and nothing is said.
    """

    def __init__(self, job: Job, dialogs: Dialogs, journal: Journal) -> None:
        self.job = job
        self.dialogs = dialogs
        self.journal = journal
        self.asked: tuple[str, Reading] | None = None
        self.stages: dict[str, float] = {}
        """Seconds of the last turn by stage: meaning, procedure, record."""

    @classmethod
    def begin(
        cls,
        card: Card,
        dialogs: Dialogs,
        folder: Path,
        now: Callable[[], datetime] = datetime.now,
    ) -> tuple[Session, list[Said]]:
        """Start a job on a new record; also returns what is said first.

        Raises:
            SessionError: the truck is one there is no procedure for.
            record.RecordError: the record cannot be begun.
        """
        problem = card.unsupported()
        if problem:
            raise SessionError(problem)
        job = Job(card, dialogs)
        source = "card_used" if card.text else "defaults"
        opening = [
            Said("tech", dialogs.say(source, card=card.unit or card.name), f"reply:{source}"),
            *job.prompt(entering=True),
        ]
        data = {
            "lugcall": __version__,
            "language": dialogs.language,
            "dialogs": dialogs.fingerprint,
            "unit": card.unit,
            "card": {"name": card.name, "text": card.text},
            "figures": report.figures(card),
            "defaulted": list(card.defaulted),
            "said": [s.as_data() for s in opening],
        }
        journal = Journal.create(folder, card.unit or "truck", data, now)
        return cls(job, dialogs, journal), opening

    @classmethod
    def resume(
        cls, path: Path, dialogs: Dialogs, now: Callable[[], datetime] = datetime.now
    ) -> tuple[Session, list[Said]]:
        """Carry on a record at the step it was left; also returns what is said first.

        Raises:
            SessionError: the record is finished, or does not fit the dialogs any more.
            record.RecordError: the record is damaged, busy or cannot be written.
        """
        journal = Journal.open(path, now)
        try:
            session = cls._replayed(journal, dialogs)
        except (KeyError, TypeError, ValueError, AttributeError, RecursionError):
            journal.close()
            raise SessionError(
                f"{path.name} holds what lugcall does not write; see lugcall transcript"
            ) from None
        except BaseException:
            journal.close()
            raise
        said = session._take("tech", "", Act("resumed", "tech"))
        if journal.events[-2].kind == "repaired":
            note = dialogs.say("repaired_record")
            said = [Said("both", note, "reply:repaired_record"), *said]
        return session, said

    @classmethod
    def _replayed(cls, journal: Journal, dialogs: Dialogs) -> Session:
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
        session = cls(job, dialogs, journal)
        if job.signed_off:
            # The plug was pulled between the sign-off and its closing line.
            journal.append("closed", report.closing(job))
            raise SessionError(f"{journal.path.name} is signed off; its closing line is added now")
        return session

    def hear(self, who: str, words: str) -> list[Said]:
        """One turn. Returns the replies, which are on the disk before they are returned."""
        # A line is speech, not a file; and what cannot be spelled in UTF-8 cannot be recorded.
        words = words[:MAX_WORDS].encode("utf-8", "replace").decode("utf-8")
        start = time.perf_counter()
        got = understand(words, who, self.job, self.dialogs, self.asked)
        self.stages = {"meaning": time.perf_counter() - start}
        if isinstance(got, Question):
            self.asked = (words, got.reading) if got.reading is not None else None
            text = self.dialogs.say(got.reply, **got.fields)
            return self._write(who, words, None, [Said(who, text, f"reply:{got.reply}")], {})
        self.asked = None
        return self._take(who, words, got)

    def _take(self, who: str, words: str, act: Act) -> list[Said]:
        start = time.perf_counter()
        before = report.Before.of(self.job)
        said = self.job.apply(act)
        extra = before.changes(self.job)
        self.stages["procedure"] = time.perf_counter() - start
        return self._write(who, words, act, said, extra)

    def _write(
        self, who: str, words: str, act: Act | None, said: list[Said], extra: dict[str, Any]
    ) -> list[Said]:
        start = time.perf_counter()
        data: dict[str, Any] = {
            "who": who,
            "words": words,
            "step": extra.pop("step", self.job.step_id),
            "after": self.job.state,
            "said": [s.as_data() for s in said],
            **extra,
        }
        if act is not None:
            data["act"] = act.as_data()
        group = [("turn", data)]
        if self.job.signed_off:
            group.append(("closed", report.closing(self.job)))
        self.journal.append_all(group)
        self.stages["record"] = time.perf_counter() - start
        if self.job.signed_off:
            text = self.dialogs.say("signed", code=self.job.facts.code, seal=self.journal.seal)
            return [*said, Said("both", text, "reply:signed")]
        return said

    def close(self) -> None:
        """Let go of the record file."""
        self.journal.close()


def _card_of(opened: dict[str, Any]) -> Card:
    kept = opened.get("card", {})
    if not kept.get("text"):
        return default_card()
    try:
        return card_from_text(kept["text"], kept.get("name", "card"))
    except CardError as error:
        raise SessionError(f"the card kept in this record cannot be read: {error}") from None
