"""The card conversation's turns: words in, kept on the disk, replies out; as `Session` is used."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from assistant.act import Act, Evidence, Said
from assistant.card import Card, CardError
from assistant.card.fleet import cards_in, same_unit
from assistant.card.making import Making, file_name, taken_over
from assistant.conversation.session import plain_line
from assistant.conversation.understand import Missed, code_of, note_of, understand, which
from assistant.dialogue import Heard, Question
from assistant.interview.draft import Draft, keep
from assistant.interview.job import CardJob, document_name
from assistant.interview.words import CardWords, thread_said
from assistant.readings import read
from assistant.texts.dialogs import Dialogs
from assistant.texts.normal import normal

if TYPE_CHECKING:
    from assistant.act import Samples

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
        self.asked: Question | None = None
        self.keeps_audio = False
        self.path: Path | None = None
        """Where the card was kept, once it was."""
        self._missed = Missed()

    @property
    def dialogue(self) -> CardJob:
        """The card in the making, as ears, keyboard and screens know it."""
        return self.job

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

    def hear(self, who: str, words: str) -> list[Said]:
        """One typed turn. Raises CardError when it cannot be kept; nothing is then answered."""
        return self.take(self.understood(words, who))

    def take(self, meant: Act | Question) -> list[Said]:
        """Apply an act, or put a question; see `dialogue.Conversation.take`."""
        self._missed.forget()
        if isinstance(meant, Question):
            return self._put(meant)
        self.asked = None
        self.job.aloud = meant.evidence.ear is not None
        said = self.job.apply(meant)
        self._keep_changes()
        return self._finished() if self.job.done else said

    def understood(self, words: str, who: str) -> Act | Question:
        """What the words mean now; nothing is moved by it."""
        words = plain_line(words, MAX_WORDS)
        return replace(self._understood(words, who), evidence=Evidence(words))

    def _understood(self, words: str, who: str) -> Act | Question:
        text = normal(words)
        question = self.job.question
        kind = question.kind if question is not None else ""
        note = note_of(words)
        if note is not None:
            return Act("note", who, text=note)
        if kind in _FREE and text and not self._steers(text):
            if kind == "thread":
                name = thread_said(words)
                return Act(f"rod.thread={name}", who) if name else Question("card_thread", {}, who)
            code = code_of(text)
            if kind == "code":
                return Act("sign_off", who, text=code) if code else Act("unclear", who)
            return Act("note", who, text=words.strip())
        if kind == "number" and (number := _number(text)) is not None:
            data = {"value_in": number, "figures": f"{number:g} to 1", "readback": text}
            return Act("reading", who, data)
        if self.job.which and text:
            words = f"correct the {words}"
        got = understand(words, who, self.job, self.asked)
        if question is not None and kind == "number" and isinstance(got, Question):
            # The reader's question is about a length, which this is not.
            low, high = f"{question.low:g}", f"{question.high:g}"
            return Question("card_number", {"low": low, "high": high}, who)
        return got

    def _put(self, question: Question) -> list[Said]:
        self.asked = question if question.open else None
        return self._reply(question)

    def _reply(self, question: Question) -> list[Said]:
        """A question as it is said; one of the card's own goes before its prompt."""
        own = question.reply.removeprefix("card_")
        if own != question.reply:
            return [self._say(own, **question.fields), *self.job.prompt()]
        text = self.dialogs.say(question.reply, **question.fields)
        return [Said(question.who, text, f"reply:{question.reply}")]

    def _steers(self, text: str) -> bool:
        """Whether the words steer the conversation: they are no name, code or thread then."""
        allowed = self.job.allowed()
        plain = ("skip", "no", "done", "check")
        return any(
            text in meaning.phrases
            for key, meaning in self.dialogs.words.items()
            if meaning.anytime or key in plain or key in allowed
        )

    def unheard(
        self,
        who: str,
        ear: dict[str, Any],
        sound: Samples | None = None,
        alternatives: Sequence[Heard] = (),
    ) -> list[Said]:
        """Speech that was taken for nothing; asks to say it again, or which of two it was."""
        if ear.get("decision") == "nothing" or self.job.finished:
            return []
        question = None
        if ear.get("decision") == "choose":
            question = which(who, alternatives, self.job)
        if question is None:
            return self._reply(self._missed.again(who, self.job))
        if question.open:
            return self._put(question)
        return self._reply(question)

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
