"""A record's acts, applied to a new job: how a session is resumed."""

from __future__ import annotations

import contextlib
import json
import threading
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from assistant import __version__
from assistant.act import Act, Said
from assistant.card import Card, CardError, card_from_text, default_card
from assistant.conversation import report
from assistant.conversation.due import Due
from assistant.conversation.understand import Missed, Question, understand, which
from assistant.job.facts import Taken
from assistant.job.job import Job
from assistant.readings import Reading
from assistant.record import Journal
from assistant.record.clips import ClipError, keep
from assistant.sentences import DialogError
from assistant.texts.dialogs import Dialogs

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt


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

if TYPE_CHECKING:
    Samples = npt.NDArray[np.float32]

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


class Session:
    """A job and its record. Use `begin` or `resume`.

    `hear` returns only after the turn is on the disk; if it cannot be written, it raises
    `record.RecordError` and nothing is said.
    """

    def __init__(self, job: Job, journal: Journal) -> None:
        self.job = job
        self.dialogs = job.dialogs
        """In the words for this kind of truck."""
        self.journal = journal
        self.asked: tuple[str, Reading] | None = None
        self.keeps_audio = False
        """Whether the sound of confirmed readings is kept; set by `begin` and `resume`."""
        self._missed = Missed()
        self._carried = Carried()
        self._due = Due()
        warm()
        self.stages: dict[str, float] = {}
        """Seconds of the last turn by stage: meaning, procedure, record."""

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
        said = session._take("tech", "", Act("resumed", "tech"))
        if journal.events[-2].kind == "repaired":
            note = dialogs.say("repaired_record")
            said = [Said("both", note, "reply:repaired_record"), *said]
        if keep_audio:
            session.keeps_audio = True
            said = [*session.notice("both", "audio_kept"), *said]
        return session, said

    def hear(
        self,
        who: str,
        words: str,
        ear: dict[str, Any] | None = None,
        sound: Samples | None = None,
    ) -> list[Said]:
        """One turn. Returns the replies, which are on the disk before they are returned.

        Args:
            who: "tech" or "helper".
            words: as typed or recognized.
            ear: how they were recognized, for the record: plain JSON data. With a true `doubt`,
                a reading or a code is read back before it counts.
            sound: the utterance, 16 kHz, full scale -1 to 1, shape (n,). It reaches the disk only
                if audio is kept, and once the reading in it is confirmed.
        """
        # A line is speech, not a file; and what cannot be spelled in UTF-8 cannot be recorded.
        words = words[:MAX_WORDS].encode("utf-8", "replace").decode("utf-8")
        start = time.perf_counter()
        got = understand(words, who, self.job, self.dialogs, self.asked)
        self.stages = {"meaning": time.perf_counter() - start}
        self._missed.forget()
        heard = {} if ear is None else {"ear": _plain(ear)}
        if isinstance(got, Act) and ear is not None and ear.get("doubt"):
            got = replace(got, doubt=True)
        sound = sound if self.keeps_audio else None
        if isinstance(got, Question):
            said = self._ask(who, words, got, sound)
            return self._write(who, words, None, said, heard)
        self.asked = None
        return self._take(who, words, got, heard, sound)

    def unheard(self, who: str, ear: dict[str, Any], sound: Samples | None = None) -> list[Said]:
        """Speech that was not taken for anything: asks which of two, or to say it again.

        Recorded as an event of its own, which moves nothing.

        Args:
            who: "tech" or "helper".
            ear: how it was recognized; its `decision` is "choose", "again" or "nothing", its
                `alternatives` are what it may have been, the likeliest first (see `missed.which`).
            sound: as in `hear`; part of the clip, if an answer makes a reading of it.
        """
        if ear.get("decision") == "nothing" or self.job.signed_off:
            return []
        question = None
        if ear.get("decision") == "choose":
            question = which(ear, who, self.job, self.dialogs)
        if question is None:
            # What was asked before still stands: "first" may yet come.
            question = self._missed.again(self.job, self.dialogs)
            said = [self._reply(who, question)]
        else:
            said = self._ask(who, "", question, sound if self.keeps_audio else None)
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

    def _ask(self, who: str, words: str, question: Question, sound: Samples | None) -> list[Said]:
        self.asked = (words, question.reading) if question.reading is not None else None
        self._carried.ask(sound, goes_on=self.asked is not None)
        return [self._reply(who, question)]

    def _reply(self, who: str, question: Question) -> Said:
        text = self.dialogs.say(question.reply, **question.fields)
        return Said(who, text, f"reply:{question.reply}")

    def _take(
        self,
        who: str,
        words: str,
        act: Act,
        heard: dict[str, Any] | None = None,
        sound: Samples | None = None,
    ) -> list[Said]:
        start = time.perf_counter()
        before = report.Before.of(self.job)
        said = self._due.add(self.job.apply(act), act, before.step, self.job, self.journal)
        extra = before.changes(self.job)
        kept = self._carried.take(act, sound, extra, self.job)
        self.stages["procedure"] = time.perf_counter() - start
        if kept:
            extra["clip"] = clip_of(self.journal, kept)
        return self._write(who, words, act, said, {**extra, **(heard or {})})

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


def _plain(ear: dict[str, Any]) -> dict[str, Any]:
    """As JSON can hold it: once a turn has moved the job, its line must not fail over this."""
    try:
        text = json.dumps(ear, ensure_ascii=False, allow_nan=False, default=float)
        return dict(json.loads(text.encode("utf-8", "replace")))
    except (TypeError, ValueError):
        return {"unrecordable": True}
