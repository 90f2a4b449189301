"""The card conversation's turns: words in, kept on the disk, replies out; as `Session` is used."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

from assistant.act import Act, Said
from assistant.card import Card, CardError
from assistant.card.fleet import cards_in, same_unit
from assistant.card.making import Making, file_name, taken_over
from assistant.card.making import Question as CardQuestion
from assistant.conversation.understand import (
    Missed,
    Question,
    code_of,
    normal,
    note_of,
    understand,
    which,
)
from assistant.interview.draft import Draft, keep
from assistant.interview.job import CardJob, document_name
from assistant.interview.words import CardWords
from assistant.readings import Reading, read
from assistant.texts.dialogs import Dialogs

if TYPE_CHECKING:
    from assistant.job.job import Job

MAX_WORDS = 500
_FREE = ("unit", "document", "code", "thread")
"""Questions that any words may answer, but for those that steer."""


class CardTalk:
    """Makes one card in a folder of cards. Use `begin`.

    `hear` returns only after what it changed is on the disk.
    """

    def __init__(self, draft: Draft, dialogs: Dialogs, texts: CardWords) -> None:
        self.draft = draft
        self.texts = texts
        making = Making()
        for change in draft.changes:
            making.change(change)
        self.job = CardJob(making, dialogs, texts, self._there)
        self.dialogs = self.job.dialogs
        self.asked: tuple[str, Reading] | None = None
        self.keeps_audio = False
        self.path: Path | None = None
        """Where the card was kept, once it was."""
        self._missed = Missed()

    @classmethod
    def begin(
        cls,
        folder: Path,
        dialogs: Dialogs,
        texts: CardWords,
        over: Mapping[str, Any] | None = None,
    ) -> tuple[CardTalk, list[Said]]:
        """Begin a card, or go on with the one that was left off; also returns what is said first.

        Args:
            folder: where the cards are; it is made where it is not there.
            dialogs, texts: the phrases, and the questions.
            over: the change that takes a card or a record over (`card.importing`).

        Raises:
            CardError: the folder cannot be used; or a card is being made there, and another is to
                be taken over.
            RecordBusy: another session makes a card there.
        """
        draft = Draft(folder)
        try:
            if draft.changes and over is not None:
                raise CardError(
                    f"a card is being made in {folder}; finish it with lugcall card --new {folder}"
                )
            talk = cls(draft, dialogs, texts)
            said = talk._opening(over)
        except BaseException:
            draft.close()
            raise
        return talk, said

    def _opening(self, over: Mapping[str, Any] | None) -> list[Said]:
        making = self.job.making
        if making.answers:
            unit = making.value("unit") or "a truck"
            return [self._say("resumed", unit=unit), *self.job.prompt(entering=True)]
        if over is None:
            return [self._say("new"), *self.job.prompt(entering=True)]
        making.change(dict(over))
        self.draft.add([dict(over)])
        said = [self._say("over", name=over["from"])]
        for name, figures in making.left.items():
            if name not in ("record", "by", "lugs"):
                said.append(self._say("left", figures=f"{name.replace('-', ' ')} {figures}"))
        return [*said, *self.job.prompt(entering=True)]

    def beforehand(self, key: str, words: str) -> None:
        """Who makes the card ("by"), or its document ("source"), said before it is asked."""
        words = document_name(words)
        if words and self.job.making.value(key) != words:
            change = {"set": key, "value": words}
            self.job.making.change(change)
            self.draft.add([change])

    def hear(
        self, who: str, words: str, ear: dict[str, Any] | None = None, sound: Any = None
    ) -> list[Said]:
        """One turn. Raises CardError when it cannot be kept; nothing is then answered."""
        words = words[:MAX_WORDS].encode("utf-8", "replace").decode("utf-8")
        self._missed.forget()
        self.job.aloud = ear is not None
        got = self._understood(who, words)
        if isinstance(got, Question):
            self.asked = (words, got.reading) if got.reading is not None else None
            return [Said(who, self.dialogs.say(got.reply, **got.fields), f"reply:{got.reply}")]
        self.asked = None
        said = got if isinstance(got, list) else self.job.apply(got)
        self._keep_changes()
        return self._finished() if self.job.done else said

    def _understood(self, who: str, words: str) -> Act | Question | list[Said]:
        text = normal(words)
        question = self.job.question
        kind = question.kind if question is not None else ""
        named = note_of(words)
        if named is not None:
            return Act("note", who, text=named)
        if kind in _FREE and text and not self._steers(text):
            if kind == "thread":
                return self.job.thread(words)
            code = code_of(text)
            if kind == "code":
                return Act("sign_off", who, text=code) if code else Act("unclear", who)
            return Act("note", who, text=words.strip())
        if kind == "number" and (number := _number(text)) is not None:
            return Act("reading", who, {"value_in": number, "figures": "", "readback": ""})
        if self.job.which and text:
            words = f"correct the {words}"
        # What it reads of a job, a card in the making has as well.
        got = understand(words, who, cast("Job", self.job), self.dialogs, self.asked)
        if question is not None and kind == "number" and isinstance(got, Question):
            # The reader's question is about a length, which this is not.
            return [self._between(question), *self.job.prompt()]
        return got

    def _between(self, question: CardQuestion) -> Said:
        low, high = f"{question.low:g}", f"{question.high:g}"
        return self._say("number", low=low, high=high)

    def _steers(self, text: str) -> bool:
        """Whether the words steer the conversation: they are no name, code or thread then."""
        allowed = self.job.allowed()
        plain = ("skip", "no", "done", "check")
        return any(
            text in meaning.phrases
            for key, meaning in self.dialogs.words.items()
            if meaning.anytime or key in plain or key in allowed
        )

    def unheard(self, who: str, ear: dict[str, Any], sound: Any = None) -> list[Said]:
        """Speech that was taken for nothing; asks to say it again, or which of two it was."""
        if ear.get("decision") == "nothing" or self.job.signed_off:
            return []
        job = cast("Job", self.job)
        question = which(ear, who, job, self.dialogs) if ear.get("decision") == "choose" else None
        if question is None:
            question = self._missed.again(job, self.dialogs)
        elif question.reading is not None:
            self.asked = ("", question.reading)
        text = self.dialogs.say(question.reply, **question.fields)
        return [Said(who, text, f"reply:{question.reply}")]

    def notice(self, to: str, key: str, **fields: str) -> list[Said]:
        """Tell something that is not of the card: a device lost."""
        return [Said(to, self.dialogs.say(key, **fields), f"reply:{key}")]

    def close(self) -> None:
        """Let go of the draft."""
        self.draft.close()

    # --- the disk ---

    def _keep_changes(self) -> None:
        if {"clear": True} in self.job.changes:
            self.draft.clear()
        elif self.job.changes:
            self.draft.add(self.job.changes)

    def _there(self, unit: str) -> tuple[str, dict[str, Any]] | None:
        standing = self._standing(unit)
        if standing is None:
            return None
        path, card = standing
        tables, answers = taken_over(card.text, path.name)
        listed = {key: list(answer) for key, answer in answers.items()}
        left = tomllib.loads(card.text).get("left", {})
        change = {"over": tables, "left": left, "from": path.name, "answers": listed}
        return path.name, change

    def _standing(self, unit: str) -> tuple[Path, Card] | None:
        cards, _ = cards_in(self.draft.folder)
        return next(((p, c) for p, c in cards if c.unit and same_unit(c.unit, unit)), None)

    def _finished(self) -> list[Said]:
        making = self.job.making
        unit = str(making.value("unit"))
        standing = self._standing(unit)
        path = standing[0] if standing is not None else self._free(file_name(unit))
        making.card(path.name)  # whatever is kept can be read
        keep(path, making.text())
        self.path = path
        self.draft.remove()
        return [self._say("kept", name=path.name)]

    def _free(self, name: str) -> Path:
        path, n = self.draft.folder / name, 1
        while path.exists():
            n += 1
            path = path.with_name(f"{Path(name).stem}-{n}.toml")
        return path

    def _say(self, reply: str, **fields: object) -> Said:
        return Said("tech", self.texts.say(reply, **fields), f"reply:card_{reply}")


def _number(text: str) -> float | None:
    """A plain number, "12" or "11.8 to 1", "thirty"."""
    head = text.removesuffix(" to 1").removesuffix(" to one")
    try:
        return float(head)
    except ValueError:
        return read(head, "turns").count
