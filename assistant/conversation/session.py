"""A record's acts, applied to a new job: how a session is resumed."""

from __future__ import annotations

import contextlib
import json
import threading
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from assistant import __version__
from assistant.act import Act, Evidence, Said
from assistant.card import Card, CardError, card_from_text, default_card
from assistant.conversation import report
from assistant.conversation.due import Due
from assistant.conversation.understand import Missed, understand, which
from assistant.dialogue import Heard, Question
from assistant.job.job import Job
from assistant.job.state import Taken
from assistant.record import Journal
from assistant.record.clips import ClipError, keep
from assistant.sentences import DialogError
from assistant.texts.dialogs import Dialogs

if TYPE_CHECKING:
    from assistant.act import Samples


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


# --- The sound that carried a reading, held in memory until the reading is confirmed, or dropped.

KEPT = ("taken", "corrected", "ring")
"""What a turn's event says when a reading or a count was kept in it."""


class Carried:
    """Which sound belongs to the reading that is read back. Nothing else is kept of any sound."""

    def __init__(self) -> None:
        self._asked: list[Samples] = []
        self._of: Taken | None = None
        self._sound: list[Samples] = []

    def ask(self, sound: Samples | None, goes_on: bool) -> None:
        """A question was asked back; if it `goes_on`, its answer completes what was said."""
        if not goes_on:
            self._asked = []
        elif sound is not None:
            self._asked = [*self._asked, sound]

    def take(
        self, act: Act, sound: Samples | None, changes: dict[str, Any], job: Job
    ) -> list[Samples]:
        """The sounds of the reading that this turn kept, in order; mostly one, or none.

        Args:
            act: the turn's, already applied to `job`.
            sound: the turn's own sound, if it was spoken.
            changes: what the turn changed, as the record keeps it.
            job: how it stands now.
        """
        now = [*self._asked, *([] if sound is None else [sound])]
        self._asked = []
        kept: list[Samples] = []
        if any(name in changes for name in KEPT):
            kept = now if act.reading is not None else self._sound
        if job.pending is None:
            self._of, self._sound = None, []
        elif job.pending is not self._of:
            self._of, self._sound = job.pending, now
        return kept


def clip_of(journal: Journal, sounds: list[Samples]) -> dict[str, Any]:
    """Put the sounds beside the record as one; gives what the turn's event holds of them."""
    import numpy as np

    try:
        return keep(journal.path.parent, journal.path.name, np.concatenate(sounds))
    except ClipError as error:
        return {"lost": str(error)}  # a reading is not given up for its sound


# --- What a job needs late is loaded beside its first steps, so that no turn waits for it.

_warm = False


def warm() -> None:
    """Load the table of causes and the arithmetic of wear, once, on a thread of its own."""
    global _warm
    if _warm:
        return
    _warm = True
    threading.Thread(target=_load, name="warm", daemon=True).start()


def _load() -> None:
    import assistant.causes.case
    import assistant.wear.recall
    import assistant.wear.say  # noqa: F401
    from assistant.causes.table import load_table

    with contextlib.suppress(DialogError):  # said when it is asked for
        load_table()


# --- One session: every turn understood, applied, written to the record, and only then answered.

MAX_WORDS = 2000
"""Characters of one utterance that are kept."""
_PEOPLE = {"tech": "technician"}


def plain_line(words: str, longest: int) -> str:
    """A line is speech, not a file; and what cannot be spelled in UTF-8 cannot be recorded."""
    return words[:longest].encode("utf-8", "replace").decode("utf-8")


class Session:
    """A job and its record: a `dialogue.Conversation`. Use `begin` or `resume`.

    What a turn answers is on the disk before it is returned; if it cannot be written, it raises
    `record.RecordError` and nothing is said.
    """

    def __init__(self, job: Job, journal: Journal) -> None:
        self.job = job
        self.dialogs = job.dialogs
        """In the words for this kind of truck."""
        self.journal = journal
        self.asked: Question | None = None
        self.keeps_audio = False
        """Whether the sound of confirmed readings is kept; set by `begin` and `resume`."""
        self._missed = Missed()
        self._carried = Carried()
        self._due = Due()
        warm()

    @property
    def dialogue(self) -> Job:
        """The job, as ears, keyboard and screens know it."""
        return self.job

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
            Said("tech", dialogs.say(source, card=card.unit or card.name), f"reply:{source}"),
            *job.prompt(entering=True),
        ]
        if keep_audio:
            opening.insert(0, Said("both", dialogs.say("audio_kept"), "reply:audio_kept"))
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
            note = dialogs.say("repaired_record")
            said = [Said("both", note, "reply:repaired_record"), *said]
        if keep_audio:
            session.keeps_audio = True
            said = [*session.notice("both", "audio_kept"), *said]
        return session, said

    def understood(self, words: str, who: str) -> Act | Question:
        """What the words mean now; nothing is moved by it."""
        words = plain_line(words, MAX_WORDS)
        got = understand(words, who, self.job, self.asked)
        return replace(got, evidence=Evidence(words))

    def hear(self, who: str, words: str) -> list[Said]:
        """One typed turn. Returns the replies, which are on the disk before they are returned."""
        return self.take(self.understood(words, who))

    def take(self, meant: Act | Question) -> list[Said]:
        """Apply an act, or put a question; see `dialogue.Conversation.take`."""
        self._missed.forget()
        if isinstance(meant, Question):
            return self._write(meant, self._put(meant), {})
        self.asked = None
        before = report.Before.of(self.job)
        said = self._due.add(self.job.apply(meant), meant, before.step, self.job, self.journal)
        changes = before.changes(self.job)
        kept = self._carried.take(meant, self._sound(meant), changes, self.job)
        if kept:
            changes["clip"] = clip_of(self.journal, kept)
        return self._write(meant, said, changes)

    def unheard(
        self,
        who: str,
        ear: dict[str, Any],
        sound: Samples | None = None,
        alternatives: Sequence[Heard] = (),
    ) -> list[Said]:
        """Speech that was not taken for anything: asks which of two, or to say it again.

        Recorded as an event of its own, which moves nothing; see `dialogue.Conversation.unheard`.
        """
        if ear.get("decision") == "nothing" or self.job.signed_off:
            return []
        question = None
        if ear.get("decision") == "choose":
            question = which(who, alternatives, self.job)
        if question is None:
            # What was asked before still stands: "first" may yet come.
            said = [self._reply(self._missed.again(who, self.job))]
        else:
            said = self._put(replace(question, evidence=Evidence("", ear, sound)))
        told = [s.as_data() for s in said]
        data = {"who": who, "step": self.job.step_id, "said": told, "ear": _plain(ear)}
        self.journal.append("unheard", data)
        return said

    def notice(self, to: str, key: str, **fields: str) -> list[Said]:
        """Tell something that is not of the procedure: a device lost, audio kept. Recorded.

        Args:
            to: "tech", "helper" or "both".
            key: the reply.
            fields: its blanks; `who` may be "tech" or "helper".
        """
        spoken = {name: _PEOPLE.get(value, value) for name, value in fields.items()}
        said = [Said(to, self.dialogs.say(key, **spoken), f"reply:{key}")]
        if not self.job.signed_off:  # nothing is added to a closed record
            data = {"step": self.job.step_id, "said": [s.as_data() for s in said], **fields}
            self.journal.append("notice", data)
        return said

    def _put(self, question: Question) -> list[Said]:
        self.asked = question if question.open else None
        self._carried.ask(self._sound(question), goes_on=question.open)
        return [self._reply(question)]

    def _reply(self, question: Question) -> Said:
        text = self.dialogs.say(question.reply, **question.fields)
        return Said(question.who, text, f"reply:{question.reply}")

    def _sound(self, meant: Act | Question) -> Samples | None:
        return meant.evidence.sound if self.keeps_audio else None

    def _write(
        self, meant: Act | Question, said: list[Said], changes: dict[str, Any]
    ) -> list[Said]:
        """Keep a turn; what it `changes` as `report.Before` tells."""
        data: dict[str, Any] = {
            "who": meant.who,
            "words": plain_line(meant.evidence.words, MAX_WORDS),
            "step": changes.pop("step", self.job.step_id),
            "after": self.job.state,
            "said": [s.as_data() for s in said],
            **changes,
        }
        if meant.evidence.ear is not None:
            data["ear"] = _plain(meant.evidence.ear)
        if isinstance(meant, Act):
            data["act"] = meant.as_data()
        group = [("turn", data)]
        if self.job.signed_off:
            group.append(("closed", report.closing(self.job)))
        self.journal.append_all(group)
        if self.job.signed_off:
            text = self.dialogs.say("signed", code=self.job.facts.code, seal=self.journal.seal)
            return [*said, Said("both", text, "reply:signed")]
        return said

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
