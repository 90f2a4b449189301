"""The making of a card as a dialogue: what is asked and taken now, acts in, replies out.

What may be answered is the table `card.draft.QUESTIONS`; what is said is in `card.toml`. Ears,
keyboard and screens drive it as they drive a truck's job.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from assistant.act import Act, Said
from assistant.card.draft import (
    BY_KEY,
    QUESTIONS,
    REVIEW,
    CardDraft,
    CardQuestion,
    NotPossible,
    Value,
)
from assistant.card.ranges import RANGES
from assistant.card.show import limit_text
from assistant.clutch.conformity import DEFAULT_FIGURES
from assistant.dialogue import Dialogue
from assistant.interview.words import THREADS, Asked, CardWords, unit_said
from assistant.quantity import QUANTITIES
from assistant.readings import speak
from assistant.sentences import capital
from assistant.texts.dialogs import Dialogs
from assistant.texts.normal import normal

Replies = list[Said]
MAX_DOCUMENT = 80
"""Characters of a document's name that are kept."""
MUCH_LASH_IN = 0.25
"""More slack than that at the pedal is asked about: from memory."""
_UNKNOWN = re.compile(
    r"(?:i |we )?(?:really )?(?:don'?t|do not) (?:really )?know\b|(?:dunno|unknown|skip|forgot)\b"
    r"|(?:i'm |i am )?not sure\b|no (?:idea|clue)\b|(?:none|nothing|nope|no|what|n/?a)$"
)
"""What is said instead of a document's name."""
_ASIDES = frozenset({"repeat", "why", "where", "help", "unclear"})
"""After these a reading still waits for its check."""


@dataclass(frozen=True, slots=True)
class ToCheck:
    """A reading that was read back and waits for its check: a `dialogue.Pending`."""

    act: Act
    figures: str
    readback: str
    who: str = "tech"
    quantity: str = ""
    odd: str = ""
    """What is asked of an answer that can stand, but is seldom meant; else ""."""


def document_name(words: str) -> str:
    """A document's name as the card keeps it: one line, nothing a screen would obey; "" for words
    that name none ("I don't know")."""
    shown = "".join(c for c in " ".join(words.split()) if c.isprintable())
    name = shown[:MAX_DOCUMENT].strip()
    return "" if _UNKNOWN.match(normal(name)) else name


def _name(quantity: str) -> str:
    return capital(QUANTITIES[quantity].spoken) if quantity else ""


class CardInterview(Dialogue):
    """One card being made, by one person at a desk. `CardDraft` keeps the answers, this speaks.

    `there` finds the card that stands for a unit: its file's name, and the change that takes it
    over; or None.
    """

    pending: ToCheck | None = None
    standing: tuple[str, str, dict[str, Any]] | None = None
    """This unit, and the file and the change of the card that stands for it, while it is asked
    whether to replace that."""
    which = False
    """Whether it is asked what to correct."""
    done = False
    """Whether the card is to be kept."""
    left_off = False

    def __init__(
        self,
        draft: CardDraft,
        dialogs: Dialogs,
        texts: CardWords,
        there: Callable[[str], tuple[str, dict[str, Any]] | None],
    ) -> None:
        self.draft = draft
        self.dialogs = texts.within(dialogs)
        self.texts = texts
        self.changes: list[dict[str, Any]] = []
        """What the last act changed, for the draft."""
        self._there = there

    # --- where it stands ---

    @property
    def at(self) -> str:
        """The key asked for, or `REVIEW`."""
        return self.draft.next_question()

    @property
    def question(self) -> CardQuestion:
        return BY_KEY.get(self.at, _AT_REVIEW)

    @property
    def finished(self) -> bool:
        return self.done or self.left_off

    @property
    def units(self) -> str:
        return self.draft.units

    @property
    def distance(self) -> str:
        return str(self.draft.value("shop.distance") or "miles")

    def expects(self) -> str:
        return self.question.quantity

    def allowed(self) -> list[str]:
        """Meanings that answer the question."""
        question = self.question
        if self.pending is not None:
            return ["check", "no"]
        replace = ["replace"] if self.standing is not None else []
        if question.kind == REVIEW:
            return replace or ["check", "correct"]
        values = THREADS if question.kind == "thread" else question.choices
        return [
            *replace,
            *(["skip", "done"] if question.optional else []),
            *(f"{question.key}={value}" for value in values),
            *(["sign_off"] if question.kind == "code" else []),
        ]

    def prompt(self, entering: bool = False) -> Replies:
        """The question; on entering the review, all limits first."""
        question, key = self.question, f"prompt:card_{self.at}"
        at_review = question.kind == REVIEW
        if self.standing is not None:
            unit, name, _ = self.standing
            return [self.said("stands" if at_review else "there", key=key, unit=unit, name=name)]
        if self.which:
            return [self.said("which")]
        if self.pending is not None and self.pending.odd:
            return [Said("tech", self.pending.odd, "reply:card_odd")]
        if self.pending is not None:
            figures, spoken = self.pending.figures, self.pending.readback
            return [self.dialogs.said("tech", "confirm", figures=figures, spoken=spoken)]
        lines = self._limits() if at_review and entering else []
        return [*lines, Said("tech", self.asked.say.format(quantity=_name(question.figure)), key)]

    def _limits(self) -> Replies:
        card = self.draft.card("card")
        return [
            self.said("line", name=_name(name), value=limit_text(f, card.units), source=f.source)
            for name, f in card.figures.items()
            if f is not None
        ]

    @property
    def asked(self) -> Asked:
        return self.texts.questions[self.question.words]

    # --- acts ---

    def apply(self, act: Act) -> Replies:
        """Take one act; `changes` then holds what it changed."""
        self.changes = []
        waiting, self.pending = self.pending, None
        if waiting is not None:
            if waiting.odd and act in (waiting.act, Act("check", act.who)):
                return self._sure(waiting.act)
            if act.meaning in ("check", "done") and not waiting.odd:
                return self._take_reading(waiting.act)
            if act.meaning in ("no", "back"):
                return self._again("dropped")
            if act.meaning in _ASIDES:
                self.pending = waiting
        key, _, value = act.meaning.partition("=")
        take = CardInterview._choose if value and key == self.at else _ACTS.get(act.meaning)
        if take is None or self.question.kind not in _ONLY.get(act.meaning, (self.question.kind,)):
            return self._hint("not_now")
        try:
            return take(self, act)
        except NotPossible as problem:
            why = self._say(str(problem), **problem.blanks)
            return self._again("refused", why=why)

    def _leave_off(self, act: Act) -> Replies:
        self.left_off = True
        return [self.said("left_off")]

    def _where(self, act: Act) -> Replies:
        return [self.said("where", done=len(self.draft.answers), say=self.prompt()[-1].text)]

    def _help(self, act: Act) -> Replies:
        phrases = [self.dialogs.words[m].phrases[0] for m in self.allowed()[:6]]
        length = self.question.kind == "length"
        first = [self._say("a_length" if length else "a_number")] if self.expects() else []
        listed = ", ".join(dict.fromkeys([*first, *phrases, self._say("always")]))
        return [self.dialogs.said(act.who, "help", phrases=listed)]

    def _back(self, act: Act) -> Replies:
        self.which = False
        if self.standing is not None:
            self.standing = None
            return self.prompt(entering=True)
        last = self.draft.last()
        if not last:
            return self._again("nothing")
        self._change({"drop": last})
        return self._again("dropped")

    def _start_over(self, act: Act) -> Replies:
        self._change({"clear": True})
        self.standing = None
        return self._again("over_again")

    def _replace(self, act: Act) -> Replies:
        if self.standing is None:
            return self._hint("not_now")
        change, self.standing = self.standing[2], None
        if self.question.kind == REVIEW:
            self.done = True
            return []
        self._change(change)
        return self._on("replacing")

    def _note(self, act: Act) -> Replies:
        """Free words: the unit where it is asked, else the document from now on."""
        kind = self.question.kind
        if kind == "unit":
            return self._unit(act.text)
        name = document_name(act.text)
        if not name:
            return self._again("no_document")
        self._change({"set": "source", "value": name})
        document = kind == "document"
        return self._on("taken", figures=name) if document else self._again("document", name=name)

    def _unit(self, words: str) -> Replies:
        unit = unit_said(words)
        if not unit:
            return self._again("spell")
        found = self._there(unit)
        self.standing = None if found is None else (unit, *found)
        return self._take(unit, unit) if found is None else self.prompt()

    def _code(self, act: Act) -> Replies:
        return self._take(act.text, act.text) if act.text else self._hint("not_now")

    def _skip(self, act: Act) -> Replies:
        if not self.question.optional:
            document = self.question.kind == "document"
            return self._again("no_document" if document else "cannot_skip")
        return self._asks_open(act) or self._take(None, "")

    # --- answers that can stand, but are seldom meant: asked about once ---

    def _asks_open(self, act: Act) -> Replies:
        """A lowest limit alone, of a figure that common practice bounds above as well."""
        question = self.question
        usual = DEFAULT_FIGURES.get(question.figure)
        low = self.draft.value(f"figures.{question.figure}.low")
        if question.part != "high" or low is None or usual is None or usual.high_in is None:
            return []
        return self._odd(act, "open", quantity=_name(question.figure), low=low)

    def _odd(self, act: Act, reply: str, **fields: Any) -> Replies:
        self.pending = ToCheck(act, "", "", odd=self._say(f"odd_{reply}", **fields))
        return self.prompt()

    def _sure(self, act: Act) -> Replies:
        """It was meant as it was said."""
        if act.meaning == "skip":
            return self._take(None, "")
        reading = act.reading or {}
        return self._take(str(reading["figures"]), str(reading["figures"]), reading["readback"])

    def _done(self, act: Act) -> Replies:
        """At the review, keep the card; before, leave out all that may be left out."""
        if self.question.kind == REVIEW:
            return self._check(act)
        while self.question.optional:
            key = self.at
            asked = self._asks_open(Act("skip", act.who))
            if asked:
                return asked
            self.draft.check(key, None)
            self._change({"set": key, "value": None})
        return self.prompt(entering=True)

    def _check(self, act: Act) -> Replies:
        unit = str(self.draft.value("unit"))
        found = self._there(unit)
        if found is not None and found[0] != self.draft.taken_from:
            self.standing = (unit, *found)
            return self.prompt()
        self.done = True
        return []

    def _correct(self, act: Act) -> Replies:
        """A figure named is asked for again, all of it; else it is asked which."""
        figures = {q.figure for q in QUESTIONS if q.figure and self.draft.asked(q)}
        self.which, self.standing = act.quantity not in figures, None
        if not self.which:
            for part in ("target", "high", "low"):
                self._change({"drop": f"figures.{act.quantity}.{part}"})
        return self.prompt()

    # --- answers ---

    def _read(self, act: Act) -> Replies:
        """A reading: one that was heard is read back first."""
        if act.evidence.ear is None or act.reading is None:
            return self._take_reading(act)
        figures, readback = str(act.reading["figures"]), str(act.reading["readback"])
        if self.question.kind == "number":
            figures = self._say("ratio", number=f"{act.reading['value_in'] or 0.0:g}")
            readback = self._say("ratio_name")
        self.pending = ToCheck(act, figures, capital(readback))
        return self.prompt()

    def _take_reading(self, act: Act) -> Replies:
        question, reading = self.question, act.reading or {}
        value = reading.get("count" if question.kind == "count" else "value_in")
        if value is None:
            return self._hint("not_now")
        if question.kind != "length":
            return self._number(question, float(value))
        figures, spoken = str(reading["figures"]), str(reading["readback"])
        low, _, high = figures.partition(" to ")
        if high and question.part == "low":
            return self._both(question, low, high)
        if high or not figures[:1].isdigit():
            return self._again("exact")
        if question.key == "pedal.lash" and float(value) > MUCH_LASH_IN:
            self.draft.check(question.key, figures)
            return self._odd(act, "lash", figures=figures)
        return self._take(figures, figures, spoken)

    def _both(self, question: CardQuestion, low: str, high: str) -> Replies:
        """ "A half to nine sixteenths" answers two questions."""
        if not low.endswith(("in", "mm")):
            low += high[-3:]
        top = f"figures.{question.figure}.high"
        self.draft.check(question.key, low)
        self._set(question.key, low)
        self.draft.check(top, high)
        self._set(top, high)
        return self._on("both", low=low, high=high)

    def _number(self, question: CardQuestion, value: float) -> Replies:
        of = RANGES[question.key]
        if not of.holds(value):
            low, high = of.ends()
            return self._again("number", low=low, high=high)
        if question.kind == "count":
            return self._take(int(value), speak.count_figures(value, question.quantity))
        return self._take(round(value, 4), self._say("ratio", number=f"{value:g}"))

    def _choose(self, act: Act) -> Replies:
        value = act.meaning.partition("=")[2]
        said = self.asked.phrases.get(value)
        return self._take(value, capital(said[0]) if said else value)

    def _take(self, value: Value, figures: str, spoken: str = "") -> Replies:
        """An answer taken, read back, and the next question."""
        key = self.at
        self.draft.check(key, value)
        self._set(key, value)
        if value is None:
            return self._on("skipped")
        if spoken:
            return self._on("taken_words", figures=figures, spoken=spoken.capitalize())
        return self._on("taken", figures=figures)

    def _set(self, key: str, value: Value) -> None:
        whose = () if key in ("unit", "by", "source") else ("source", "by")
        kept = {name: self.draft.value(name) for name in whose if self.draft.value(name)}
        self._change({"set": key, "value": value, **kept})

    def _change(self, change: dict[str, Any]) -> None:
        self.draft.change(change)
        self.changes.append(change)

    # --- saying ---

    def _say(self, reply: str, **fields: Any) -> str:
        return self.dialogs.say(f"card_{reply}", **fields)

    def said(self, reply: str, key: str = "", **fields: Any) -> Said:
        return self.dialogs.said("tech", f"card_{reply}", key=key, **fields)

    def _again(self, reply: str, **fields: Any) -> Replies:
        """A reply, and the question once more."""
        return [self.said(reply, **fields), *self.prompt()]

    def _on(self, reply: str, **fields: Any) -> Replies:
        """A reply, and the next question."""
        return [self.said(reply, **fields), *self.prompt(entering=True)]

    def _hint(self, reply: str) -> Replies:
        return [self.dialogs.said("tech", reply, hint=self.prompt()[-1].text)]


_AT_REVIEW = CardQuestion(REVIEW, REVIEW, optional=False)
_ACTS: dict[str, Callable[[CardInterview, Act], Replies]] = {
    "stop": CardInterview._leave_off,
    "pause": CardInterview._leave_off,
    "repeat": lambda card, act: card.prompt(entering=True),
    "carry_on": lambda card, act: card.prompt(entering=True),
    "why": lambda card, act: [Said(act.who, card.asked.why, "reply:why")],
    "where": CardInterview._where,
    "help": CardInterview._help,
    "unclear": lambda card, act: card._hint("again"),
    "back": CardInterview._back,
    "no": CardInterview._back,
    "start_over": CardInterview._start_over,
    "replace": CardInterview._replace,
    "note": CardInterview._note,
    "sign_off": CardInterview._code,
    "skip": CardInterview._skip,
    "done": CardInterview._done,
    "check": CardInterview._check,
    "correct": CardInterview._correct,
    "reading": CardInterview._read,
}
"""What each act does, by its meaning."""
_ONLY = {
    "sign_off": ("code",),
    "check": (REVIEW,),
    "reading": ("length", "number", "count"),
    "skip": tuple({q.kind for q in QUESTIONS}),
}
"""The kinds of questions at which an act is taken, where that is not at any."""
