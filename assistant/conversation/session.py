"""Conversations: words understood, acts applied, kept on the disk, and only then answered.

`Talk` is what all of them do with words; `Session` is one about a truck's job, with its record.
"""

from __future__ import annotations

import contextlib
import json
import threading
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import msgspec

from assistant import __version__
from assistant.act import Act, Evidence, Said
from assistant.card import Card, CardError, card_from_text, default_card
from assistant.conversation import report
from assistant.conversation.understand import Missed, understand, which
from assistant.dialogue import Dialogue, Heard, Question
from assistant.job import words
from assistant.job.job import Job
from assistant.quantity import FREE_TRAVEL
from assistant.record import Journal
from assistant.record.history import JobHistory, NotOurs, Opened
from assistant.sentences import DialogError
from assistant.texts.dialogs import Dialogs

if TYPE_CHECKING:
    from assistant.act import Samples
    from assistant.wear.recall import Recall

_PEOPLE = {"tech": "technician"}


class SessionError(Exception):
    """One clear line on why a session cannot begin or go on."""


class Talk:
    """What every `dialogue.Conversation` does with words and acts; it keeps nothing on a disk.

    Args:
        dialogue: what is driven.
    """

    longest = 2000
    """Characters of one utterance that are kept."""

    def __init__(self, dialogue: Dialogue) -> None:
        self.dialogue = dialogue
        self.dialogs = dialogue.dialogs
        """In the words for this kind of truck."""
        self.asked: Question | None = None
        self.keeps_audio = False
        """Whether the sound of confirmed readings is kept."""
        self._missed = Missed()

    def understood(self, words: str, who: str) -> Act | Question:
        """What the words mean now; nothing is moved by it. Its evidence is these words."""
        # A line is speech, not a file; and what cannot be spelled in UTF-8 cannot be recorded.
        words = words[: self.longest].encode("utf-8", "replace").decode("utf-8")
        return replace(self._meaning(words, who), evidence=Evidence(words))

    def hear(self, who: str, words: str) -> list[Said]:
        """One typed turn. Returns the replies, which are on the disk before they are returned."""
        return self.take(self.understood(words, who))

    def take(self, meant: Act | Question) -> list[Said]:
        """Apply an act, or put a question; see `dialogue.Conversation.take`."""
        self._missed.forget()
        if isinstance(meant, Question):
            return self._kept_question(meant, self._put(meant))
        self.asked = None
        return self._applied(meant)

    def unheard(
        self,
        who: str,
        ear: dict[str, Any],
        sound: Samples | None = None,
        alternatives: Sequence[Heard] = (),
    ) -> list[Said]:
        """Speech that was not taken for anything: asks which of two, or to say it again.

        It moves nothing; see `dialogue.Conversation.unheard`.
        """
        if ear.get("decision") == "nothing" or self.dialogue.finished:
            return []
        choose = ear.get("decision") == "choose"
        question = which(who, alternatives, self.dialogue) if choose else None
        if question is not None:
            said = self._put(replace(question, evidence=Evidence("", ear, sound)))
        else:
            # What was asked before still stands: "first" may yet come.
            said = self._reply(self._missed.again(who, self.dialogue))
        self._kept_aside("unheard", said, {"who": who}, ear)
        return said

    def notice(self, to: str, key: str, **fields: str) -> list[Said]:
        """Tell something that is not of the dialogue itself: a device lost, audio kept.

        Args:
            to: "tech", "helper" or "both".
            key: the reply.
            fields: its blanks; `who` may be "tech" or "helper".
        """
        spoken = {name: _PEOPLE.get(value, value) for name, value in fields.items()}
        said = [self.dialogs.said(to, key, **spoken)]
        if not self.dialogue.finished:  # nothing is added to a closed record
            self._kept_aside("notice", said, fields)
        return said

    def _meaning(self, words: str, who: str) -> Act | Question:
        return understand(words, who, self.dialogue, self.asked)

    def _put(self, question: Question) -> list[Said]:
        self.asked = question if question.open else None
        return self._reply(question)

    def _reply(self, question: Question) -> list[Said]:
        return [self.dialogs.said(question.who, question.reply, **question.fields)]

    def _applied(self, act: Act) -> list[Said]:
        return self.dialogue.apply(act)

    def _kept_question(self, question: Question, said: list[Said]) -> list[Said]:
        return said

    def _kept_aside(
        self, kind: str, said: list[Said], data: dict[str, str], ear: dict[str, Any] | None = None
    ) -> None:
        """Where there is a record, what was said beside the dialogue goes into it."""


# --- One job and its record.


class Session(Talk):
    """A job and its record. Use `begin` or `resume`.

    What a turn answers is on the disk before it is returned; if it cannot be written, it raises
    `record.RecordError` and nothing is said.
    """

    def __init__(self, job: Job, journal: Journal) -> None:
        super().__init__(job)
        self.job = job
        self.journal = journal
        self._carried = report.Carried()
        self._recall: Recall | None = None
        warm()

    @classmethod
    def begin(
        cls,
        card: Card,
        dialogs: Dialogs,
        folder: Path,
        now: Callable[[], datetime] = datetime.now,
        keep_audio: bool = False,
    ) -> tuple[Session, list[Said]]:
        """Start a job on a new record; also returns what is said first.

        With `keep_audio`, that the sound of confirmed readings is kept is said before all else.

        Raises:
            SessionError: the card lacks a figure without which there is no job.
            record.RecordError: the record cannot be begun.
        """
        problem = card.unsupported()
        if problem:
            raise SessionError(problem)
        job = Job(card, dialogs)
        source = "card_used" if card.text else "defaults"
        opening = [
            *([dialogs.said("both", "audio_kept")] if keep_audio else []),
            dialogs.said("tech", source, card=card.unit or card.name),
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
        session = cls(job, journal)
        session.keeps_audio = keep_audio
        return session, opening

    @classmethod
    def resume(
        cls,
        path: Path,
        dialogs: Dialogs,
        now: Callable[[], datetime] = datetime.now,
        keep_audio: bool = False,
    ) -> tuple[Session, list[Said]]:
        """Carry on a record at the step it was left; also returns what is said first.

        Whether sound is kept is for each start to say, as in `begin`; the record does not decide.

        Raises:
            SessionError: the record is finished, or does not fit the dialogs any more.
            record.RecordError: the record is damaged, busy or cannot be written.
        """
        journal = Journal.open(path, now)
        try:
            session = cls(replayed(journal, dialogs), journal)
        except BaseException:
            journal.close()
            raise
        said = session.take(Act("resumed", "tech"))
        if journal.events[-2].kind == "repaired":
            said = [dialogs.said("both", "repaired_record"), *said]
        if keep_audio:
            session.keeps_audio = True
            said = [*session.notice("both", "audio_kept"), *said]
        return session, said

    def _put(self, question: Question) -> list[Said]:
        self._carried.ask(self._sound(question), goes_on=question.open)
        return super()._put(question)

    def _applied(self, act: Act) -> list[Said]:
        before = report.Before(self.job)
        said = self._with_due(self.job.apply(act), act, before.step)
        changes = before.changes(self.job)
        kept = self._carried.take(act, self._sound(act), changes, self.job.pending)
        if kept:
            changes["clip"] = report.clip_of(self.journal, kept)
        return self._kept(act, said, changes)

    def _with_due(self, said: list[Said], act: Act, came_from: str) -> list[Said]:
        """The replies; before the question for the next check, when it is due by the truck's own
        wear, and for "why" the reasons. The records are read once free travel is read as left."""
        job, journal = self.job, self.journal
        if not job.facts.card.unit or job.facts.staged(FREE_TRAVEL, "final") is None:
            return said
        from assistant.wear import say
        from assistant.wear.recall import Recall

        step = job.step
        asks = step is not None and step.kind == "read" and step.stage == "due"
        closing, events = report.closing(job), journal.events
        left = closing["as_left"].get(FREE_TRAVEL)
        if self._recall is None or (asks and self._recall.left != left):
            at = events[-1].time
            self._recall = Recall(journal.path.parent, events[0].data, closing, at)
        why = act.meaning == "why"
        anew = came_from != job.step_id or act.meaning in ("resumed", "repeat")
        look = self._recall.look() if asks and (why or anew) else None
        replies = [] if look is None else say.replies(look)
        if look is None or not replies:
            return said
        if why:
            return [*said, *(Said(act.who, line, "reply:due_why") for line in say.why(look))]
        due = [self.dialogs.said("tech", key, **blanks) for key, blanks in replies]
        return [*said[:-1], *due, *said[-1:]]

    def _sound(self, meant: Act | Question) -> Samples | None:
        return meant.evidence.sound if self.keeps_audio else None

    def _kept_question(self, question: Question, said: list[Said]) -> list[Said]:
        return self._kept(question, said, {})

    def _kept(self, meant: Act | Question, said: list[Said], changes: dict[str, Any]) -> list[Said]:
        """Write a turn; its `changes` are as `report.Before` tells them."""
        data: dict[str, Any] = {
            "who": meant.who,
            "words": meant.evidence.words,
            "step": changes.pop("step", self.job.step_id),
            "after": self.job.at,
            "said": [s.as_data() for s in said],
            **changes,
        }
        if meant.evidence.ear is not None:
            data["ear"] = _plain(meant.evidence.ear)
        if isinstance(meant, Act):
            data["act"] = meant.as_data()
        group = [("turn", data)]
        if not self.job.finished:
            self.journal.append_all(group)
            return said
        self.journal.append_all([*group, ("closed", report.closing(self.job))])
        code, seal = words.spelled(self.job.facts.code), words.spelled(self.journal.seal, ", ")
        return [*said, self.dialogs.said("both", "signed", code=code, seal=seal)]

    def _kept_aside(
        self, kind: str, said: list[Said], data: dict[str, str], ear: dict[str, Any] | None = None
    ) -> None:
        told = {"step": self.job.step_id, "said": [s.as_data() for s in said]}
        heard = {} if ear is None else {"ear": _plain(ear)}
        self.journal.append(kind, told | data | heard)

    def close(self) -> None:
        """Let go of the record file."""
        self.journal.close()


def _plain(ear: dict[str, Any]) -> dict[str, Any]:
    """As JSON can hold it: once a turn has moved the job, its line must not fail over this."""
    try:
        text = json.dumps(ear, ensure_ascii=False, allow_nan=False, default=float)
        return dict(json.loads(text.encode("utf-8", "replace")))
    except (TypeError, ValueError):
        return {"unrecordable": True}


# --- Resuming: a record's acts, applied to a new job.


def replayed(journal: Journal, dialogs: Dialogs) -> Job:
    """The job as the record left it; only its turns count.

    Raises:
        SessionError: the record is finished, does not fit the dialogs any more, or holds what
            lugcall does not write.
    """
    try:
        return _replayed(journal, dialogs)
    except (NotOurs, KeyError, TypeError, ValueError, AttributeError, RecursionError):
        raise SessionError(
            f"{journal.path.name} holds what lugcall does not write; see lugcall transcript"
        ) from None


def _replayed(journal: Journal, dialogs: Dialogs) -> Job:
    if journal.finished:
        raise SessionError(f"{journal.path.name} is signed off; start a new session instead")
    history = JobHistory.of(journal.events)
    opened = history.opened
    card = _card_of(opened)
    if card.unsupported():
        raise SessionError(card.unsupported())
    job = Job(card, dialogs)
    job.prompt(entering=True)
    for turn in history.turns:
        if turn.act is not None:
            job.apply(Act(**msgspec.structs.asdict(turn.act)))
        if job.at != turn.after:
            raise SessionError(
                f"{journal.path.name}, line {turn.line}: these dialogs lead to another step "
                f"than the record; use the dialogs it was made with ({opened.dialogs}, "
                f"lugcall {opened.lugcall}; this is {__version__})"
            )
    if job.finished:
        # The plug was pulled between the sign-off and its closing line.
        journal.append("closed", report.closing(job))
        raise SessionError(f"{journal.path.name} is signed off; its closing line is added now")
    return job


def _card_of(opened: Opened) -> Card:
    if not opened.card.text:
        return default_card()
    try:
        return card_from_text(opened.card.text, opened.card.name)
    except CardError as error:
        raise SessionError(f"the card kept in this record cannot be read: {error}") from None


# --- What a job needs late is loaded beside its first steps, so that no turn waits for it.


@cache
def warm() -> None:
    """Load the table of causes and the arithmetic of wear, once, on a thread of its own."""
    threading.Thread(target=_load, name="warm", daemon=True).start()


def _load() -> None:
    import assistant.causes.case
    import assistant.wear.recall
    import assistant.wear.say  # noqa: F401
    from assistant.causes.table import load_table

    with contextlib.suppress(DialogError):  # said when it is asked for
        load_table()
