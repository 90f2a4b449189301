"""The card in the making as whatever drives a job sees it: what is expected, allowed, prompted.

What a voice session asks of a job is here under the same names, so that the same grammar, the same
ears and the same turns serve it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from types import SimpleNamespace
from typing import Any

from assistant.card import Card
from assistant.card.making import REVIEW, Making
from assistant.card.questions import BY_KEY, Question
from assistant.card.show import limit_text
from assistant.procedure import words as said_words
from assistant.procedure.dialog import Dialogs
from assistant.procedure.said import Act, Said

from .card_meanings import meanings, steering
from .card_spelling import THREADS
from .card_words import CardWords

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

    step_id = state

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
