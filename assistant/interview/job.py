"""The card in the making as whatever drives a job sees it: what is expected, allowed, prompted.

What a voice session asks of a job is here under the same names, so that the same grammar, the same
ears and the same turns serve it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from types import SimpleNamespace
from typing import Any

from assistant.act import Act, Said
from assistant.card import Card
from assistant.card.making import BY_KEY, QUESTIONS, REVIEW, Making, NotPossible, Question, Value
from assistant.card.show import limit_text
from assistant.dialogue import Danger
from assistant.interview.words import THREADS, CardWords, meanings, steering, unit_said
from assistant.job import words as said_words
from assistant.texts.dialogs import Dialogs

Replies = list[Said]


@dataclass(frozen=True, slots=True)
class CardStep:
    """The question as a step of a job."""

    id: str
    say: str
    answers: tuple[str, ...] = ()
    who: str = "tech"
    kind: str = "read"
    phase: str = "card"
    stage: str = "set"
    """A reading said aloud is read back before it counts, as one that sets something."""
    reading: str = ""


@dataclass(frozen=True, slots=True)
class Waiting:
    """A reading that waits for its check."""

    act: Act
    figures: str
    readback: str
    who: str = "tech"
    quantity: str = ""


class CardDriven:
    """One card being made; `Making` keeps it, this speaks. `CardJob` takes the acts.

    Args:
        making: the card so far.
        dialogs: the phrases of words.toml.
        texts: the words of card.toml.
        there: finds the card that stands for a unit: its file's name, and the change that takes it
            over; or None.
    """

    def __init__(
        self,
        making: Making,
        dialogs: Dialogs,
        texts: CardWords,
        there: Callable[[str], tuple[str, dict[str, Any]] | None],
    ) -> None:
        self.making = making
        self.dialogs = replace(dialogs, words={**steering(dialogs), **meanings(texts)})
        self.texts = texts
        self.there = there
        self.changes: list[dict[str, Any]] = []
        """What the last act changed, for the draft."""
        self.found: tuple[str, dict[str, Any]] | None = None
        self.stands = ""
        """The file of this truck's card that would be replaced, while that is asked."""
        self.which = False
        self.done = False
        """Whether the card is to be kept."""
        self.left_off = False
        self.pending: Waiting | None = None
        self.aloud = False
        """Whether the last words were spoken: readings are then read back first."""
        self.choice = ""
        self.correcting = ""

    # --- what drivers of a job ask ---

    @property
    def question(self) -> Question | None:
        """What is asked now; None at the review."""
        return BY_KEY.get(self.making.now())

    @property
    def state(self) -> str:
        """The key asked for."""
        return self.making.now()

    step_id = at = state
    stopped = choosing = trying = False

    @property
    def finished(self) -> bool:
        """Whether the conversation is over: the card kept, or left off."""
        return self.done or self.left_off

    @property
    def units(self) -> str:
        """The shop's: "inch" or "mm"."""
        return self.making.units

    @property
    def distance(self) -> str:
        """The shop's: "miles" or "kilometres"."""
        return str(self.making.value("shop.distance") or "miles")

    def answers(self) -> dict[str, str]:
        """None but those of the meanings."""
        return {}

    def whose(self) -> str:
        """One person makes a card."""
        return "tech"

    def danger(self) -> Danger:
        """Nobody stands at a truck."""
        return Danger()

    @property
    def signed_off(self) -> bool:
        """Whether the conversation is over: the card kept, or left off."""
        return self.done or self.left_off

    @property
    def step(self) -> CardStep:
        """The question as a step."""
        return CardStep(self.state, self.prompt()[-1].text, reading=self.expects())

    @property
    def facts(self) -> SimpleNamespace:
        """A pedal that nobody presses, and the shop's units."""
        distance = str(self.making.value("shop.distance") or "miles")
        card = Card(units=self.making.units, distance=distance)
        return SimpleNamespace(card=card, hold="up", hands="clear")

    def key_above(self) -> bool:
        """No engine is near."""
        return False

    def pressing_is_danger(self) -> bool:
        """No pedal is near."""
        return False

    def last_quantity(self) -> str:
        """A correction names what it is about."""
        return ""

    def expects(self) -> str:
        """The quantity a bare reading is taken for now, or ""."""
        question = self.question
        if question is None or question.kind not in ("length", "number", "count"):
            return ""
        # A ratio is a plain number, and is read as one of that size would be.
        return "pedal-height" if question.kind == "number" else question.quantity

    def allowed(self) -> list[str]:
        """Meanings that answer the question."""
        question = self.question
        if self.pending is not None:
            return ["check", "no"]
        if self.stands:
            return ["replace"]
        if question is None:
            return ["check", "correct"]
        out = ["skip", "done"] if question.optional else []
        if question.kind == "choice":
            out += [f"{question.key}={value}" for value in question.choices]
        if question.kind == "thread":
            out += [f"{question.key}={name}" for name in THREADS]
        if question.kind == "code":
            out.append("sign_off")
        return ["replace", *out] if self.found is not None else out

    def prompt(self, entering: bool = False) -> Replies:
        """The question."""
        question = self.question
        key = f"prompt:card_{self.state}"
        if self.found is not None:
            text = self._text("there", unit=self.found[1]["unit"], name=self.found[0])
            return [Said("tech", text, key)]
        if self.stands:
            text = self._text("stands", unit=self.making.value("unit"), name=self.stands)
            return [Said("tech", text, key)]
        if self.which:
            return [self._say("which")]
        if self.pending is not None:
            fields = {"figures": self.pending.figures, "spoken": self.pending.readback}
            return [Said("tech", self.dialogs.say("confirm", **fields), "reply:confirm")]
        asked = self.texts.questions[REVIEW if question is None else question.words]
        name = (
            said_words.spoken(question.figure).capitalize() if question and question.figure else ""
        )
        lines = self._review() if question is None and entering else []
        return [*lines, Said("tech", asked.say.format(quantity=name), key)]

    # --- speaking ---

    def _change(self, change: dict[str, Any]) -> None:
        self.making.change(change)
        self.changes.append(change)

    def _review(self) -> Replies:
        card = self.making.card("card")
        out = []
        for name, figure in card.figures.items():
            if figure is not None:
                limits = limit_text(figure.limits, card.units)
                spoken = said_words.spoken(name).capitalize()
                out.append(self._say("line", name=spoken, value=limits, source=figure.source))
        return out

    def _hint(self, reply: str) -> Replies:
        text = self.dialogs.say(reply, hint=self.prompt()[-1].text)
        return [Said("tech", text, f"reply:{reply}")]

    def _text(self, reply: str, **fields: object) -> str:
        return self.texts.say(reply, **fields)

    def _say(self, reply: str, **fields: object) -> Said:
        return Said("tech", self._text(reply, **fields), f"reply:card_{reply}")


# --- The card conversation as a job: acts in, replies out, as `procedure.job.Job` is driven.

MAX_DOCUMENT = 80
"""Characters of a document's name that are kept."""


def document_name(words: str) -> str:
    """A document's name as the card keeps it: one line, nothing a screen would obey."""
    shown = "".join(c for c in " ".join(words.split()) if c.isprintable())
    return shown[:MAX_DOCUMENT].strip()


class CardJob(CardDriven):
    """The acts of the card conversation."""

    def apply(self, act: Act) -> Replies:
        """Take one act; `changes` then holds what it changed."""
        self.changes = []
        waiting, self.pending = self.pending, None
        if waiting is not None and act.meaning in ("check", "done"):
            return self._read(waiting.act)
        if waiting is not None and act.meaning in ("no", "back"):
            return [self._say("dropped"), *self.prompt()]
        if act.meaning in ("repeat", "why", "where", "help", "unclear"):
            self.pending = waiting
        key, _, value = act.meaning.partition("=")
        if value:
            return self._chosen(key, value)
        handler: Callable[[Act], Replies] | None = getattr(self, f"_on_{act.meaning}", None)
        return handler(act) if handler is not None else self._hint("not_now")

    def _on_stop(self, act: Act) -> Replies:
        self.left_off = True
        return [self._say("left_off")]

    _on_pause = _on_stop

    def _on_repeat(self, act: Act) -> Replies:
        return self.prompt(entering=True)

    _on_carry_on = _on_repeat

    def _on_why(self, act: Act) -> Replies:
        question = self.question
        asked = self.texts.questions[REVIEW if question is None else question.words]
        return [Said(act.who, asked.why, "reply:why")]

    def _on_where(self, act: Act) -> Replies:
        done = len(self.making.answers)
        return [self._say("where", done=done, say=self.prompt()[-1].text)]

    def _on_help(self, act: Act) -> Replies:
        phrases = [self.dialogs.words[m].phrases[0] for m in self.allowed()[:6]]
        if self.expects():
            length = self.question is not None and self.question.kind == "length"
            phrases.insert(0, "a length" if length else "a number")
        phrases += ["back", "correct", "why", "stop"]
        text = self.dialogs.say("help", phrases=", ".join(dict.fromkeys(phrases)))
        return [Said(act.who, text, "reply:help")]

    def _on_unclear(self, act: Act) -> Replies:
        return self._hint("again")

    def _on_back(self, act: Act) -> Replies:
        self.which = False
        if self.stands:
            self.stands = ""
            return self.prompt(entering=True)
        if self.found is not None:
            self.found = None
            return self.prompt()
        last = self.making.last()
        if not last:
            return [self._say("nothing"), *self.prompt()]
        self._change({"drop": last})
        return [self._say("dropped"), *self.prompt()]

    _on_no = _on_back

    def _on_start_over(self, act: Act) -> Replies:
        self.changes = [{"clear": True}]
        self.making.answers.clear()
        self.making.base, self.making.left = {}, {}
        self.making.taken_from = self.making.at = ""
        self.found = None
        return [self._say("over_again"), *self.prompt()]

    def _on_replace(self, act: Act) -> Replies:
        if self.stands:
            self.stands, self.done = "", True
            return []
        if self.found is None:
            return self._hint("not_now")
        change = self.found[1]
        self.found = None
        self._change({k: v for k, v in change.items() if k != "unit"})
        return [self._say("replacing"), *self.prompt(entering=True)]

    def _on_note(self, act: Act) -> Replies:
        """Free words: the unit where it is asked, else the document from now on."""
        question = self.question
        if question is not None and question.kind == "unit":
            return self._unit(act.text)
        name = document_name(act.text)
        if not name:
            return self._hint("again")
        first = question is not None and question.kind == "document"
        self._change({"set": "source", "value": name})
        if not first:
            return [self._say("document", name=name), *self.prompt()]
        return [self._say("taken", figures=name), *self.prompt(entering=True)]

    def _unit(self, words: str) -> Replies:
        unit = unit_said(words)
        if not unit:
            return [self._say("spell"), *self.prompt()]
        standing = self.there(unit)
        if standing is not None:
            self.found = (standing[0], {**standing[1], "unit": unit})
            return self.prompt()
        self.found = None
        return self._take(unit, unit)

    def _on_sign_off(self, act: Act) -> Replies:
        question = self.question
        if question is None or question.kind != "code" or not act.text:
            return self._hint("not_now")
        return self._take(act.text, act.text)

    def _on_skip(self, act: Act) -> Replies:
        question = self.question
        if question is None:
            return self._hint("not_now")
        if not question.optional:
            return [self._say("cannot_skip"), *self.prompt()]
        return self._take(None, "")

    def _on_done(self, act: Act) -> Replies:
        """At the review, keep the card; before, leave out all that may be left out."""
        if self.question is None:
            return self._on_check(act)
        while (question := self.question) is not None and question.optional:
            if question.key in ("figures.gap.low", "figures.gap.high"):
                try:
                    self.making.check(question.key, None)
                except NotPossible as problem:
                    return [self._say("refused", why=str(problem)), *self.prompt()]
            self._change({"set": question.key, "value": None})
        return self.prompt(entering=True)

    def _on_check(self, act: Act) -> Replies:
        if self.question is not None:
            return self._hint("not_now")
        standing = self.there(str(self.making.value("unit")))
        if standing is not None and standing[0] != self.making.taken_from:
            self.stands = standing[0]
            return self.prompt()
        self.done = True
        return []

    def _on_correct(self, act: Act) -> Replies:
        """A figure named is asked for again, all of it; else it is asked which."""
        names = {q.figure for q in QUESTIONS if q.figure and self.making.asked(q)}
        if act.quantity not in names:
            self.which = True
            return self.prompt()
        self.which = False
        for part in ("target", "high", "low"):
            self._change({"drop": f"figures.{act.quantity}.{part}"})
        return self.prompt()

    def _on_reading(self, act: Act) -> Replies:
        if self.aloud and act.reading is not None and self.question is not None:
            figures = str(act.reading["figures"])
            readback = str(act.reading["readback"])
            if self.question.kind == "number":
                figures, readback = f"{act.reading['value_in'] or 0.0:g} to 1", "pedal ratio"
            self.pending = Waiting(act, figures, readback[:1].upper() + readback[1:])
            return self.prompt()
        return self._read(act)

    def _read(self, act: Act) -> Replies:
        question, reading = self.question, act.reading
        if question is None or reading is None:
            return self._hint("not_now")
        if question.kind == "count" and reading.get("count") is not None:
            return self._number(question, float(reading["count"]))
        if question.kind == "count" or reading.get("value_in") is None:
            return self._hint("not_now")
        value_in = float(reading["value_in"])
        if question.kind == "number":
            return self._number(question, value_in)
        figures, spoken = str(reading["figures"]), str(reading["readback"])
        low, _, high = figures.partition(" to ")
        if high and question.part == "low":
            return self._both(question, low, high)
        if high or not figures[:1].isdigit():
            return [self._say("exact"), *self.prompt()]
        return self._take(figures, figures, spoken)

    def _both(self, question: Question, low: str, high: str) -> Replies:
        """ "A half to nine sixteenths" answers two questions."""
        if not low.endswith(("in", "mm")):
            low += high[-3:]
        top = f"figures.{question.figure}.high"
        self._set(question.key, low)
        try:
            self.making.check(top, high)
        except NotPossible as problem:
            return self._refused(problem)
        self._set(top, high)
        return [self._say("both", low=low, high=high), *self.prompt(entering=True)]

    def _number(self, question: Question, value: float) -> Replies:
        if not question.low <= value <= question.high:
            text = self._say("number", low=f"{question.low:g}", high=f"{question.high:g}")
            return [text, *self.prompt()]
        if question.kind == "count":
            return self._take(int(value), f"{value:g} lug{'' if value == 1 else 's'}")
        return self._take(round(value, 4), f"{value:g} to 1")

    def _chosen(self, key: str, value: str) -> Replies:
        question = self.question
        if question is None or question.key != key:
            return self._hint("not_now")
        said = self.texts.questions[question.words].phrases.get(value, (value,))[0]
        told = value if question.kind == "thread" else said[0].upper() + said[1:]
        return self._take(value, told)

    # --- taking an answer ---

    def _take(self, value: Value, figures: str, spoken: str = "") -> Replies:
        """An answer taken, read back, and the next question."""
        question = self.question
        assert question is not None
        try:
            self.making.check(question.key, value)
        except NotPossible as problem:
            return self._refused(problem)
        self._set(question.key, value)
        if value is None:
            told = self._say("skipped")
        elif spoken:
            told = self._say("taken_words", figures=figures, spoken=spoken.capitalize())
        else:
            told = self._say("taken", figures=figures)
        return [told, *self.prompt(entering=True)]

    def _refused(self, problem: NotPossible) -> Replies:
        return [self._say("refused", why=str(problem)), *self.prompt()]

    def _set(self, key: str, value: Value) -> None:
        whose = {
            name: self.making.value(of)
            for name, of in (("source", "source"), ("by", "by"))
            if key not in ("unit", "by", "source") and self.making.value(of)
        }
        self._change({"set": key, "value": value, **whose})
