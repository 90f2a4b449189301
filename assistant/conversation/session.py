"""Conversations: words understood, acts applied, kept on the disk, and only then answered.

`Talk` is what all of them do with words; `Session` is one about a truck's job, with its record.
"""

from __future__ import annotations

import atexit
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
from assistant.card.show import figure_data
from assistant.conversation.dead_ends import dead_end
from assistant.conversation.meaning import weights
from assistant.conversation.network import network
from assistant.conversation.understand import Missed, two_called, understand, which, yes_to
from assistant.dialogue import Dialogue, Heard, Question
from assistant.job import unfinished, words
from assistant.job.job import Job
from assistant.job.state import LEFT, RULES, Facts, Taken
from assistant.quantity import FREE_TRAVEL, GAP, ODOMETER, QUANTITIES
from assistant.record import Journal
from assistant.record.clips import ClipError, keep
from assistant.record.history import JobHistory, NotOurs, Opened, Understood
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
        self._newest: dict[str, Question] = {}
        """What each was asked last, while he answered nothing and nothing else was said to him."""
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
        expected = self.dialogue.expects() if meant.meaning == "reading" else ""
        said = self._applied(meant)
        if self._newest:
            heard = {meant.who, *(one.to for one in said)}
            other = {} if "both" in heard else self._newest
            self._newest = {who: asked for who, asked in other.items() if who not in heard}
        return self._also_called(meant, expected, said) if expected else said

    def _also_called(self, act: Act, expected: str, said: list[Said]) -> list[Said]:
        """After a reading, the other one called out in the same breath: taken where it is what is
        asked next, else told that it was not."""
        parts = two_called(act.evidence.words)
        other = next((q for q in parts if q != expected), "") if expected in parts else ""
        if not other or self.dialogue.finished:
            return said
        if self.dialogue.expects() == other and self.dialogue.pending is None:
            next_one = self._meaning(parts[other], act.who)
            if isinstance(next_one, Act) and next_one.meaning == "reading":
                heard = replace(act.evidence, words=parts[other])
                doubt = next_one.doubt or act.evidence.ear is not None
                return [*said, *self.take(replace(next_one, evidence=heard, doubt=doubt))]
        names = {"quantity": QUANTITIES[expected].spoken, "named": QUANTITIES[other].spoken}
        return [*self.notice(act.who, "one_kept", **names), *said]

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
        meant = understand(words, who, self.dialogue, self.asked)
        return yes_to(meant, words, self._newest.get(who), self.dialogue)

    def _put(self, question: Question) -> list[Said]:
        self.asked = question if question.open else None
        self._newest[question.who] = question
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
        self._carried = Carried()
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
        full: bool = False,
        rules: int = RULES,
    ) -> tuple[Session, list[Said]]:
        """Start a job on a new record; also returns what is said first.

        `full`, `rules`: see `job.state.JobState`; the record keeps them, so that it goes on alike.
        With `keep_audio`, that the sound of confirmed readings is kept is said before all else.

        Raises:
            SessionError: the card lacks a figure without which there is no job.
            record.RecordError: the record cannot be begun.
        """
        problem = card.unsupported()
        if problem:
            raise SessionError(problem)
        job = Job(card, dialogs, full, rules)
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
            "figures": figures(card),
            "defaulted": list(card.defaulted),
            "said": [s.as_data() for s in opening],
            **({"full": True} if job.full else {}),
            "rules": job.rules,
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

        Where the dialogs are not those that the job was begun, or last resumed, with, that is said
        and the job stands still until the technician says to carry on.

        Whether sound is kept is for each start to say, as in `begin`; the record does not decide.

        Raises:
            SessionError: the record is finished, or does not fit the dialogs any more.
            record.RecordError: the record is damaged, busy or cannot be written.
        """
        journal = Journal.open(path, now)
        try:
            session = cls(replayed(journal, dialogs), journal)
            # As the record was begun with, or as a later start was told of and went on with.
            known = session.in_force()
            changed = "" if known == dialogs.fingerprint else dialogs.fingerprint
            said = session.take(Act("resumed", "tech", text=changed))
        except BaseException:
            journal.close()
            raise
        if journal.events[-2].kind == "repaired":
            said = [dialogs.said("both", "repaired_record"), *said]
        if keep_audio:
            session.keeps_audio = True
            said = [*session.notice("both", "audio_kept"), *said]
        return session, said

    def in_force(self) -> str:
        """The fingerprint of the dialogs that the people last worked with."""
        history = JobHistory.of(self.journal.events)
        told = [t.act.text for t in history.turns if t.act is not None and _new_words(t.act)]
        return told[-1] if told else history.opened.dialogs

    def _put(self, question: Question) -> list[Said]:
        self._carried.ask(self._sound(question), goes_on=question.open)
        return super()._put(question)

    def _applied(self, act: Act) -> list[Said]:
        before = Before(self.job)
        said = self._with_due(self.job.apply(act), act, before.step)
        changes = before.changes(self.job)
        kept = self._carried.take(act, self._sound(act), changes, self.job.pending)
        if kept:
            changes["clip"] = clip_of(self.journal, kept)
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
        told, events = closing(job), journal.events
        left = told["as_left"].get(FREE_TRAVEL)
        if self._recall is None or (asks and self._recall.left != left):
            at = events[-1].time
            self._recall = Recall(journal.path.parent, events[0].data, told, at)
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
        """Write a turn; its `changes` are as `Before` tells them."""
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
        self.journal.append_all([*group, ("closed", closing(self.job))])
        code, seal = words.spelled(self.job.facts.code), words.spelled(self.journal.seal, ", ")
        if self.job.at == LEFT:
            return [*said, unfinished.sealed(self.job, code, seal)]
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


def _new_words(act: Understood) -> bool:
    """Whether the job was resumed with dialogs other than before."""
    return act.meaning == "resumed" and bool(act.text)


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
        left = journal.events[-1].data if journal.events[-1].kind == "closed" else {}
        how = "closed unfinished" if "unfinished" in left else "signed off"
        raise SessionError(f"{journal.path.name} is {how}; start a new session instead")
    history = JobHistory.of(journal.events)
    opened = history.opened
    card = _card_of(opened)
    if card.unsupported():
        raise SessionError(card.unsupported())
    job = Job(card, dialogs, opened.full, opened.rules)
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
        journal.append("closed", closing(job))
        how = "closed unfinished" if job.at == LEFT else "signed off"
        raise SessionError(f"{journal.path.name} is {how}; its closing line is added now")
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
    """Load what words are weighed by, causes and wear, once, on a thread of its own.

    Where the program ends meanwhile, what is being loaded is waited for, and no more is begun: a
    thread that is cut off within numpy's libraries can keep them, and the program, from ending.
    """
    leaving = threading.Event()
    thread = threading.Thread(target=_load, args=(leaving,), name="warm", daemon=True)
    thread.start()
    atexit.register(thread.join)
    atexit.register(leaving.set)  # the last to be registered is the first to be called


def _load(leaving: threading.Event) -> None:
    for load in (weights, network, lambda: dead_end(""), _causes_and_wear):
        if leaving.is_set():
            return
        load()


def _causes_and_wear() -> None:
    import assistant.causes.case
    import assistant.wear.recall
    import assistant.wear.say  # noqa: F401
    from assistant.causes.table import load_table

    with contextlib.suppress(DialogError):  # said when it is asked for
        load_table()


# --- What a turn changed, as the record keeps it beside the words: readings, judgements, moves.


def figures(card: Card) -> dict[str, Any]:
    """Every limit in force and whose it is; lengths in inches."""
    return {name: figure_data(f) for name, f in card.figures.items() if f is not None}


_READING = ("quantity", "stage", "who", "figures", "value_in", "low_in", "high_in")


def taken(facts: Facts, reading: Taken) -> dict[str, Any]:
    """One reading with its judgement."""
    data = {name: getattr(reading, name) for name in _READING}
    if reading.count is not None:
        data |= {"count": reading.count, "kind": reading.kind}
    judgement, figure = facts.judged(reading), facts.figure(reading.quantity)
    if judgement is not None and figure is not None:
        data["judged"] = {
            "decision": judgement.decision,
            "probability": round(judgement.probability, 4),
            "low_in": figure.low_in,
            "high_in": figure.high_in,
            "source": figure.source,
        }
    if reading.accepted:
        data["accepted"] = reading.accepted
    return data


class Before:
    """How a job stands before a turn."""

    def __init__(self, job: Job) -> None:
        facts = job.facts
        self.step = job.step_id
        self._readings = list(facts.readings)
        self._moved = [m.moved for m in facts.moves]
        self._linkage = len(facts.linkage)
        self._people = list(facts.people)
        self._pedal = _pedal(facts)

    def changes(self, job: Job) -> dict[str, Any]:
        """What is different now."""
        facts, was = job.facts, self._readings
        out: dict[str, Any] = {"step": self.step}
        for i, reading in enumerate(facts.readings):
            if i >= len(was) and reading.over:
                out.setdefault("over", []).append(taken(facts, reading))
            elif i >= len(was):
                out["taken"] = taken(facts, reading)
                if reading.quantity == GAP and facts.moves:
                    out |= _finding(facts)
            elif reading is not was[i]:
                out["corrected"] = {"was": taken(facts, was[i]), "is": taken(facts, reading)}
        if [m.moved for m in facts.moves] != self._moved:
            gap_in = facts.plans.gap_expected_in()
            out["ring"] = {
                "told": facts.moves[-1].told,
                "moved": facts.moves[-1].moved,
                "total": facts.lugs_total,
                "predicted_in": None if gap_in is None else round(gap_in, 6),
            }
        if facts.people != self._people:
            out["person"] = dict(zip(("who", "code"), facts.people[-1], strict=True))
        if len(facts.linkage) > self._linkage:
            out["linkage"] = {"step": facts.linkage[-1].step, "what": facts.linkage[-1].what}
        now = _pedal(facts)
        return out | {name: now[name] for name in now if now[name] != self._pedal[name]}


def _pedal(facts: Facts) -> dict[str, str]:
    return {"hold": facts.hazards["pedal"], "hands": facts.hazards["hands"]}


def _finding(facts: Facts) -> dict[str, Any]:
    """What the ring really did, once a gap is read after a move."""
    _, findings = facts.plans.findings()
    last = findings[-1]
    if last is None:
        return {}
    finding = {
        "kind": last.kind,
        "probability": round(last.probability, 4),
        "lugs_moved": last.lugs_moved,
        "predicted_in": round(last.predicted_in, 6),
        "measured_in": round(last.measured_in, 6),
    }
    return {"finding": finding}


def closing(job: Job) -> dict[str, Any]:
    """The whole job in one event: as found beside as left."""
    facts = job.facts
    stages: dict[str, dict[str, Any]] = {"found": {}, "final": {}}
    for reading in facts.readings:
        if reading.stage in stages:
            stages[reading.stage][reading.quantity] = taken(facts, reading)
    due = facts.staged(ODOMETER, "due")
    left = unfinished.as_left(job)
    return {
        **({"unfinished": left} if left else {}),
        **({"people": [{"who": w, "code": c} for w, c in facts.people]} if facts.people else {}),
        **({"fitted": [*facts.fitted]} if facts.fitted else {}),
        **({"first_set_up": {"new": facts.new, "wedges": facts.wedges}} if facts.seated else {}),
        **({} if facts.ring_left is None else {"ring_left": facts.ring_left}),
        "code": facts.code,
        "as_found": stages["found"],
        "as_left": stages["final"],
        "lugs": facts.lugs_total,
        "lugs_by_gap": facts.plans.lugs_by_gap(),
        "ring_moves": [{"told": m.told, "moved": m.moved} for m in facts.moves],
        "linkage": [{"step": c.step, "what": c.what} for c in facts.linkage],
        "doubts": list(facts.doubts),
        "notes": [{"who": w, "text": t} for w, t in facts.notes],
        "next_due": {"count": due.count, "kind": due.kind} if due is not None else None,
    }


# --- The sound that carried a reading, held in memory until the reading is confirmed, or dropped.

_KEPT = ("taken", "corrected", "ring")
"""What a turn's event says when a reading or a count was kept in it."""


class Carried:
    """Which sound belongs to the reading that is read back. Nothing else is kept of any sound."""

    def __init__(self) -> None:
        self._asked: list[Samples] = []
        self._of: Taken | None = None
        self._sound: list[Samples] = []

    def ask(self, sound: Samples | None, goes_on: bool) -> None:
        """A question was asked back; if it `goes_on`, its answer completes what was said."""
        now = [] if sound is None else [sound]
        self._asked = [*self._asked, *now] if goes_on else []

    def take(
        self, act: Act, sound: Samples | None, changes: dict[str, Any], waiting: Taken | None
    ) -> list[Samples]:
        """The sounds of the reading that this turn kept, in order; mostly one, or none.

        Args:
            act: the turn's, applied already.
            sound: the turn's own sound, if it was spoken.
            changes: what the turn changed, as the record keeps it.
            waiting: what waits for its check now.
        """
        now = [*self._asked, *([] if sound is None else [sound])]
        before, self._asked = self._sound, []
        if waiting is None or waiting is not self._of:
            self._of, self._sound = waiting, [] if waiting is None else now
        if not any(name in changes for name in _KEPT):
            return []
        return now if act.reading is not None else before


def clip_of(journal: Journal, sounds: list[Samples]) -> dict[str, Any]:
    """Put the sounds beside the record as one; gives what the turn's event holds of them."""
    import numpy as np

    try:
        return keep(journal.path.parent, journal.path.name, np.concatenate(sounds))
    except ClipError as error:
        return {"lost": str(error)}  # a reading is not given up for its sound
