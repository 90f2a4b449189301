"""A card interview with its draft: words in, kept on the disk, replies out.

The draft stands in the cards' folder until the card is kept, one line a change, synced before it
is answered; whoever is cut off goes on from it.
"""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Mapping
from itertools import count
from pathlib import Path
from typing import Any

from assistant import named_file
from assistant.act import Act, Said
from assistant.card import Card, CardError
from assistant.card.draft import CardDraft, file_name, taken_over
from assistant.card.fleet import cards_in, same_unit
from assistant.card.ranges import RANGES
from assistant.conversation.session import Talk
from assistant.conversation.understand import code_of, correction, note_of
from assistant.dialogue import Question
from assistant.interview.interview import CardInterview, document_name
from assistant.interview.words import CardWords, thread_said
from assistant.readings import read
from assistant.record.disk import lock, reason, sync_folder, write_all, write_whole
from assistant.texts.dialogs import Dialogs
from assistant.texts.normal import normal, without_lead

NAME = "card-in-the-making.jsonl"
_FREE = ("unit", "document", "code", "thread")
"""Questions that any words may answer, but for those that steer."""
_PLAIN = ("skip", "no", "done", "check")
"""Steer as well as what is said at any time."""


class CardTalk(Talk):
    """Makes one card in a folder of cards. Use `begin`.

    What a turn changed is on the disk before it is answered; `CardError` when it cannot be kept.
    """

    longest = 500

    def __init__(self, draft_file: DraftFile, dialogs: Dialogs, texts: CardWords) -> None:
        self.draft_file = draft_file
        self.interview = CardInterview(draft_file.draft, dialogs, texts, self._there)
        super().__init__(self.interview)
        self.path: Path | None = None
        """Where the card was kept, once it was."""

    @classmethod
    def begin(
        cls,
        folder: Path,
        dialogs: Dialogs,
        texts: CardWords,
        over: Mapping[str, Any] | None = None,
    ) -> tuple[CardTalk, list[Said]]:
        """Begin a card, or go on with the one that was left off; also returns what is said first.

        The folder of cards is made where it is not there. `over` is the change that takes a card
        or a record over; see `CardDraft.change`.

        Raises:
            CardError: the folder cannot be used; or a card is being made there, and another is to
                be taken over.
            RecordBusy: another session makes a card there.
        """
        draft_file = DraftFile(folder)
        try:
            if draft_file.begun and over is not None:
                raise CardError(
                    f"a card is being made in {folder}; finish it with lugcall card --new {folder}"
                )
            talk = cls(draft_file, dialogs, texts)
            said = talk._opening(over)
        except BaseException:
            draft_file.close()
            raise
        return talk, said

    def _opening(self, over: Mapping[str, Any] | None) -> list[Said]:
        draft = self.interview.draft
        if draft.answers:
            unit = draft.value("unit") or "a truck"
            return [
                self.interview.said("resumed", unit=unit),
                *self.interview.prompt(entering=True),
            ]
        if over is None:
            return [self.interview.said("new"), *self.interview.prompt(entering=True)]
        self._change(dict(over))
        said = [self.interview.said("over", name=over["from"])]
        for name, figures in draft.left.items():
            if name not in ("record", "by", "lugs"):
                said.append(
                    self.interview.said("left", figures=f"{name.replace('-', ' ')} {figures}")
                )
        return [*said, *self.interview.prompt(entering=True)]

    def beforehand(self, key: str, words: str) -> None:
        """Who makes the card ("by"), or its document ("source"), said before it is asked."""
        words = document_name(words)
        if words and self.interview.draft.value(key) != words:
            self._change({"set": key, "value": words})

    def _change(self, change: dict[str, Any]) -> None:
        self.interview.draft.change(change)
        self.draft_file.add([change])

    def close(self) -> None:
        """Let go of the draft."""
        self.draft_file.close()

    def _meaning(self, words: str, who: str) -> Act | Question:
        text, question = normal(words), self.interview.question
        note = note_of(words)
        if note is not None:
            return Act("note", who, text=note)
        if question.kind in _FREE and text and not self._steers(text):
            return self._free_words(question.kind, words, who)
        number = _number(text) if question.kind == "number" else None
        if number is not None:
            return Act("reading", who, {"value_in": number, "figures": "", "readback": text})
        got = super()._meaning(words, who)
        if self.interview.which and text and got != Act("stop", who):
            return correction(without_lead(text), who, self.interview) or got
        if question.kind == "number" and isinstance(got, Question):
            # The reader's question is about a length, which this is not.
            low, high = RANGES[question.key].ends()
            return Question("card_number", {"low": low, "high": high}, who)
        return got

    def _free_words(self, kind: str, words: str, who: str) -> Act | Question:
        if kind == "thread":
            name = thread_said(words)
            return Act(f"rod.thread={name}", who) if name else Question("card_thread", {}, who)
        if kind == "code":
            code = code_of(normal(words))
            return Act("sign_off", who, text=code) if code else Act("unclear", who)
        return Act("note", who, text=words.strip())

    def _steers(self, text: str) -> bool:
        """Whether the words steer the interview: they are no name, code or thread then."""
        steering = {*_PLAIN, *self.interview.allowed()}
        return any(
            text in meaning.phrases
            for key, meaning in self.dialogs.words.items()
            if meaning.anytime or key in steering
        )

    def _reply(self, question: Question) -> list[Said]:
        """A question as it is put; one of the interview's own goes before its prompt."""
        own = question.reply.startswith("card_")
        return [*super()._reply(question), *(self.interview.prompt() if own else [])]

    # --- the disk ---

    def _applied(self, act: Act) -> list[Said]:
        said = super()._applied(act)
        changes = self.interview.changes
        if {"clear": True} in changes:
            self.draft_file.clear()
        elif changes:
            self.draft_file.add(changes)
        return self._finished() if self.interview.done else said

    def _finished(self) -> list[Said]:
        draft = self.interview.draft
        unit = str(draft.value("unit"))
        standing = self._standing(unit)
        name = file_name(unit).removesuffix(".toml")
        path = standing[0] if standing else _free(self.draft_file.folder, name, "-", ".toml")
        draft.card(path.name)  # whatever is kept can be read
        keep(path, draft.text())
        self.path = path
        self.draft_file.remove()
        return [self.interview.said("kept", name=path.name)]

    def _there(self, unit: str) -> tuple[str, dict[str, Any]] | None:
        standing = self._standing(unit)
        return standing and (standing[0].name, taken_over(standing[1].text, standing[0].name))

    def _standing(self, unit: str) -> tuple[Path, Card] | None:
        cards, _ = cards_in(self.draft_file.folder)
        return next(((p, c) for p, c in cards if c.unit and same_unit(c.unit, unit)), None)


def _number(text: str) -> float | None:
    """A plain number, "12" or "11.8 to 1", "thirty"."""
    head = text.removesuffix(" to 1").removesuffix(" to one")
    try:
        return float(head)
    except ValueError:
        return read(head, "turns").count


# --- The draft, and the card.


class DraftFile:
    """The draft of one folder, held by this session alone; `begun` once there is a change in it.

    Raises:
        CardError: the folder or the draft cannot be used; one line on what to do.
        RecordBusy: another session makes a card there.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.path = folder / NAME
        try:
            folder.mkdir(parents=True, exist_ok=True)
            self._fd = named_file.descriptor(self.path, os.O_RDWR | os.O_CREAT | os.O_APPEND)
        except OSError as error:
            raise _unusable(folder, error) from None
        try:
            lock(self._fd, NAME)
            self.draft = self._read()
        except BaseException:
            os.close(self._fd)
            raise

    def _read(self) -> CardDraft:
        """The card so far; a line torn by a power cut is cut off."""
        data = named_file.whole(self.path)
        whole = data[: data.rfind(b"\n") + 1]
        if len(whole) < len(data):
            os.ftruncate(self._fd, len(whole))
        draft, self.begun = CardDraft(), bool(whole)
        try:
            for line in whole.decode("utf-8").splitlines():
                if line:
                    draft.change(json.loads(line))
        except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
            raise CardError(
                f"{self.path} holds what lugcall does not write; move it away to begin anew"
            ) from None
        return draft

    def add(self, changes: list[dict[str, Any]]) -> None:
        """Keep changes; they are on the disk when this returns. Raises CardError."""
        block = "".join(json.dumps(change, ensure_ascii=False) + "\n" for change in changes)
        try:
            write_all(self._fd, block.encode("utf-8", "replace"))
            os.fsync(self._fd)
            sync_folder(self.folder)
        except OSError as error:
            raise _unusable(self.folder, error) from None
        self.begun = True

    def clear(self) -> None:
        """Begin anew."""
        os.ftruncate(self._fd, 0)
        self.begun = False

    def remove(self) -> None:
        """The card is kept: the draft goes."""
        self.path.unlink(missing_ok=True)

    def close(self) -> None:
        """Let go of the file; a draft with nothing in it goes."""
        if self._fd >= 0:
            if not self.begun:
                self.remove()
            os.close(self._fd)
            self._fd = -1


def keep(path: Path, text: str) -> None:
    """Write a card in one go; one that stood there is kept beside it, as NAME.old, NAME.old.2...

    Raises:
        CardError: it cannot be written; what stood there stands.
    """
    try:
        named_file.refuse_special(path)
        if path.exists():
            shutil.copyfile(path, _free(path.parent, f"{path.name}.old", "."))
        write_whole(path, text.encode("utf-8"))
    except OSError as error:
        raise _unusable(path.parent, error) from None


def _free(folder: Path, before: str, mark: str, after: str = "") -> Path:
    """The first file that is not there: BEFORE AFTER, then with MARK and a number between."""
    names = (f"{before}{f'{mark}{n}' if n > 1 else ''}{after}" for n in count(1))
    return next(folder / name for name in names if not (folder / name).exists())


def _unusable(folder: Path, error: OSError) -> CardError:
    what, remedy = reason(error)
    return CardError(f"no card can be made in {folder}: {what}; {remedy}, or name another folder")
