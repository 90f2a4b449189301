"""The unfinished card: the answers so far, which question comes next, and the card they give.

A `CardDraft` is made by its changes alone, in their order, so that a draft kept on disk gives the
same one again. Each answer carries who gave it and from what document.
"""

from __future__ import annotations

import copy
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NamedTuple

from assistant.card.card import CHOICES, Card
from assistant.card.load import CardError, card_from_text, ring_of
from assistant.card.ranges import LEAST_BAND_IN, MOST_SIGNS, FigureRange, range_of
from assistant.card.show import toml_text
from assistant.clutch.conformity import DEFAULT_FIGURES
from assistant.readings import read, speak
from assistant.sentences import printable

REVIEW = "review"
"""What is asked when nothing else is left to ask."""
Value = str | float | None


class NotPossible(Exception):
    """An answer that cannot stand: the reply that says why, and its blanks."""

    def __init__(self, reply: str, **blanks: str) -> None:
        super().__init__(reply)
        self.blanks = blanks


class Answer(NamedTuple):
    """What was answered (None: skipped), of what document, and who set it."""

    value: Value
    source: str = ""
    by: str = ""


@dataclass
class CardDraft:
    """The unfinished card; see the module.

    Attributes:
        answers: by key, in the order they were given.
        base: the tables of a card that was taken over.
        left: what a finished job left, as the card's table of that name.
        taken_from: which file or record was taken over, or "".
    """

    answers: dict[str, Answer] = field(default_factory=dict)
    base: dict[str, Any] = field(default_factory=dict)
    left: dict[str, Any] = field(default_factory=dict)
    taken_from: str = ""
    at: str = ""
    """The key that is asked again, out of order, or ""."""

    def change(self, data: dict[str, Any]) -> None:
        """Apply one line of a draft.

        Raises:
            KeyError, TypeError, ValueError: it holds what lugcall does not write.
        """
        if "set" in data:
            key = str(data["set"])
            self.answers.pop(key, None)
            answer = Answer(data["value"], data.get("source", ""), data.get("by", ""))
            self.answers[BY_KEY[key].key] = answer
            self.at = ""
        elif "drop" in data:
            self.answers.pop(str(data["drop"]), None)
            self.at = str(data["drop"])
        elif "over" in data:
            self.base, self.left = dict(data["over"]), dict(data.get("left", {}))
            self.taken_from, self.at = str(data["from"]), ""
            for key, given in data["answers"].items():
                self.answers[BY_KEY[key].key] = Answer(*given)
        elif "clear" in data:
            self.answers.clear()
            self.base, self.left, self.taken_from, self.at = {}, {}, "", ""
        else:
            raise ValueError("no change of a card")

    def asked(self, question: CardQuestion) -> bool:
        """Whether a question concerns this truck."""
        if any(self.value(key) != value for key, value in question.only):
            return False
        if question.part == "target":
            low, high = (self.value(f"figures.{question.figure}.{p}") for p in ("low", "high"))
            return low is not None or high is not None
        known = self.value("ring.lug") is not None  # a lug tells which ring it is
        return question.key != "ring.type" or question.key in self.answers or not known

    def next_question(self) -> str:
        """The key to ask for now, or `REVIEW`."""
        if self.at:
            return self.at
        return next(
            (q.key for q in QUESTIONS if q.key not in self.answers and self.asked(q)), REVIEW
        )

    def value(self, key: str) -> Value:
        answer = self.answers.get(key)
        return None if answer is None else answer.value

    def last(self) -> str:
        """The key answered last, or ""."""
        return next(reversed(self.answers), "")

    @property
    def units(self) -> str:
        return str(self.value("shop.units") or "inch")

    def length_in(self, key: str) -> float | None:
        """A length that was answered, inches."""
        value = self.value(key)
        if not isinstance(value, str):
            return None
        return read(value, BY_KEY[key].quantity, self.units).value_in

    def check(self, key: str, value: Value) -> None:
        """Raises NotPossible where an answer cannot stand beside the others."""
        trial = CardDraft({**self.answers, key: Answer(value)})
        of, length_in = range_of(key), trial.length_in(key)
        if key != "ring.lug" and of is not None and of.unit and length_in is not None:
            _check_range(of, length_in, trial.units)
        if BY_KEY[key].figure:
            _check_figure(trial, BY_KEY[key].figure)
        if key == "ring.lug" and value is not None:
            lug = trial.length_in(key) or 0.0
            if not ring_of(lug):
                raise NotPossible("no_lug")
            kind = trial.value("ring.type")
            if kind and kind != ring_of(lug):
                raise NotPossible("other_ring", kind=str(kind))
        if (
            key == "figures.gap.high"
            and value is trial.value("figures.gap.low") is None
            and trial.value("truck.transmission") == "synchronized"
        ):
            raise NotPossible("gap_needed")

    def tables(self) -> dict[str, Any]:
        """The card as TOML tables, what was taken over first."""
        out = copy.deepcopy(self.base)
        for question in QUESTIONS:
            if question.key in ("by", "source") or question.figure:
                continue
            section, _, key = question.key.rpartition(".")
            table = out.setdefault(section, {}) if section else out
            _put(table, key, self.value(question.key) if self.asked(question) else None)
            answer = self.answers.get(question.key)
            if section in ("ring", "rod", "pedal") and answer is not None and answer.source:
                _whose(table, answer)
        for name in DEFAULT_FIGURES:
            _put(out.setdefault("figures", {}), name, self._figure(name))
        if self.left:
            out["left"] = self.left
        return {key: value for key, value in out.items() if value != {}}

    def _figure(self, name: str) -> dict[str, Any] | None:
        keys = [f"figures.{name}.{part}" for part in ("low", "high", "target")]
        out = {
            BY_KEY[key].part: self.value(key)
            for key in keys
            if self.value(key) is not None and self.asked(BY_KEY[key])
        }
        if not {"low", "high"} & out.keys():
            return None
        # Of what document and whom: those of the limit set last.
        last = [a for key, a in self.answers.items() if key in keys and a.value is not None][-1]
        return out | {k: v for k, v in (("source", last.source), ("set_by", last.by)) if v}

    def text(self) -> str:
        lines = ["# Made with lugcall card --new."]
        if self.taken_from:
            lines.append(f"# Taken over from {printable(self.taken_from)}.")
        return "\n".join(lines) + "\n" + toml_text(self.tables())

    def card(self, name: str) -> Card:
        """The card, read as it would be from its file. Raises CardError."""
        return card_from_text(self.text(), name)


def _check_range(of: FigureRange, length_in: float, units: str) -> None:
    if not of.holds(length_in):
        low, high = of.ends(units)
        raise NotPossible("no_truck", low=low, high=high)


def _check_figure(trial: CardDraft, name: str) -> None:
    low, high, target = (trial.length_in(f"figures.{name}.{p}") for p in ("low", "high", "target"))
    if low is not None and high is not None and low > high:
        raise NotPossible("low_above_high")
    if low is not None and high is not None and high - low < LEAST_BAND_IN - 1e-9:
        raise NotPossible("too_near")
    if target is not None and not ((low or 0.0) <= target <= (high if high is not None else 1e9)):
        raise NotPossible("outside")


def _whose(table: dict[str, Any], answer: Answer) -> None:
    """Whose a section's values are, after them."""
    if answer.value is None:
        return
    for key, value in (("source", answer.source), ("set_by", answer.by)):
        table.pop(key, None)
        if value:
            table[key] = value


def _put(table: dict[str, Any], key: str, value: Value | dict[str, Any]) -> None:
    if value is None:
        table.pop(key, None)
    else:
        table[key] = value


def file_name(unit: str) -> str:
    """`t-104.toml`."""
    slug = re.sub(r"[^a-z0-9]+", "-", unit.lower()).strip("-")
    return f"{slug or 'truck'}.toml"


# --- What is asked to make a card: each question fills one key; some are for some trucks only.
#
# The words are in `dialogs/en/card.toml`; here is only what each answer may be.

Only = tuple[tuple[str, str], ...]
_BRAKE: Only = (("truck.transmission", "non-synchronized"),)
_RING: Only = (("truck.clutch", "manual"),)


@dataclass(frozen=True, slots=True)
class CardQuestion:
    """One thing to ask.

    Attributes:
        key: where the answer stands on the card, dotted; "by" and "source" stand beside figures.
        kind: "unit", "code", "document", "choice", "length", "thread", "number" or "count".
        quantity: the reading that the answer is read as, for all but words.
        optional: whether it may be skipped: common practice, or the maker's manual, then stands.
        only: other answers that must stand for it to be asked.
    """

    key: str
    kind: str
    quantity: str = ""
    optional: bool = True
    only: Only = ()

    @property
    def choices(self) -> tuple[str, ...]:
        """What may be answered, for a choice."""
        return CHOICES.get(self.key, ())

    @property
    def figure(self) -> str:
        """The quantity whose limit this is, or ""."""
        return self.key.split(".")[1] if self.key.startswith("figures.") else ""

    @property
    def part(self) -> str:
        """The last part of the key: "low", "lug"."""
        return self.key.rsplit(".", 1)[-1]

    @property
    def words(self) -> str:
        """The entry in card.toml that has its words: one for all limits of a kind."""
        return f"figure_{self.part}" if self.figure else self.key.replace(".", "_")


def _figures() -> tuple[CardQuestion, ...]:
    return tuple(
        CardQuestion(
            f"figures.{name}.{part}",
            "length",
            quantity=name,
            only=_BRAKE if name == "brake-contact" else (),
        )
        for name in DEFAULT_FIGURES
        for part in ("low", "high", "target")
    )


QUESTIONS: tuple[CardQuestion, ...] = (
    CardQuestion("unit", "unit", optional=False),
    CardQuestion("by", "code", optional=False),
    CardQuestion("source", "document", optional=False),
    CardQuestion("shop.units", "choice", optional=False),
    CardQuestion("shop.distance", "choice", optional=False),
    CardQuestion("truck.transmission", "choice", optional=False),
    CardQuestion("truck.clutch", "choice", optional=False),
    CardQuestion("truck.linkage", "choice", optional=False),
    CardQuestion("truck.cover", "choice", optional=False),
    CardQuestion("ring.lock", "choice", optional=False, only=_RING),
    CardQuestion("ring.type", "choice", only=_RING),
    CardQuestion("ring.lug", "length", quantity="clearance", only=_RING),
    CardQuestion("ring.lugs", "count", quantity="lugs", only=_RING),
    CardQuestion("rod.thread", "thread"),
    CardQuestion("rod.longer", "choice"),
    # A ratio is a plain number, and is read as one of that size would be.
    CardQuestion("pedal.ratio", "number", quantity="pedal-height"),
    CardQuestion("pedal.lash", "length", quantity="clearance"),
    *_figures(),
)
"""In the order they are asked."""

BY_KEY: Mapping[str, CardQuestion] = {q.key: q for q in QUESTIONS}


# --- A card out of a finished record: the one it was opened with, and what the job left.


def from_record(path: Path) -> dict[str, Any]:
    """The change that takes a record over, see `CardDraft.change`.

    Raises:
        CardError: the record is damaged or not signed off, or its card cannot be read.
        RecordError: the file is no record, or cannot be read.
    """
    from assistant.record import verify_file
    from assistant.record.history import JobHistory

    if not path.exists():
        raise CardError(f"there is no record {path}; check the name")
    verdict = verify_file(path)
    if not verdict.ok:
        raise CardError(
            f"{path.name} is no record, or damaged, so nothing is taken from it; "
            "lugcall verify tells where"
        )
    if verdict.unfinished:
        raise CardError(f"{path.name} was closed unfinished; name a record that is signed off")
    if not verdict.closed:
        raise CardError(f"{path.name} is not signed off; lugcall resume finishes it first")
    history = JobHistory.read(path)
    opened, closed = history.opened, history.closed
    assert closed is not None
    text, name = opened.card.text, opened.card.name or "no card"
    change = taken_over(text, name) if text else {"over": {}, "answers": {}}
    if opened.unit and printable(opened.unit) == opened.unit:
        change["answers"].setdefault("unit", [opened.unit, "", ""])
    units = card_from_text(text, name).units
    name_kept, code = printable(path.name)[:200], printable(closed.code)[: MOST_SIGNS["by"]]
    left = {"record": name_kept, "by": code, "lugs": closed.lugs}
    left |= {
        quantity: speak.limit_figures(kept.value_in, units)
        for quantity, kept in closed.as_left.items()
        if kept.value_in is not None
    }
    return change | {"left": left, "from": f"record {path.name}, opened with {name}"}


def taken_over(text: str, name: str) -> dict[str, Any]:
    """The change that takes over a card that stands, see `CardDraft.change`.

    Raises:
        CardError: the card cannot be read.
    """
    card = card_from_text(text, name)
    tables = tomllib.loads(text)
    answers = {
        question.key: list(answer)
        for question in QUESTIONS
        if question.key not in ("by", "source")
        and (answer := _answer_of(question, tables, card)) is not None
    }
    for key in ("source", "set_by"):
        tables.get("figures", {}).pop(key, None)
    return {"left": tables.pop("left", {}), "over": tables, "from": name, "answers": answers}


def _answer_of(question: CardQuestion, tables: dict[str, Any], card: Card) -> Answer | None:
    """What a card says to a question, with its document and who set it; None when it is silent."""
    figures = tables.get("figures", {})
    table: Any = tables
    for part in question.key.split(".")[:-1]:
        table = table.get(part, {}) if isinstance(table, dict) else {}
    if question.figure and isinstance(table, str):
        table = dict(zip(("low", "high"), _pair(card, question.figure), strict=True))
    if isinstance(table, dict) and question.part in table:
        own = table if question.figure else tables.get(question.key.split(".")[0], {})
        whose = {**(figures if question.figure else {}), **(own if isinstance(own, dict) else {})}
        set_by = str(whose.get("set_by", ""))
        return Answer(table[question.part], str(whose.get("source", "")), set_by)
    if question.figure and table:
        return Answer(None)  # left out on purpose: a limit on one side
    required = question.kind == "choice" and not question.optional
    return Answer(question.choices[0]) if required else None


def _pair(card: Card, name: str) -> tuple[str, str]:
    figure = card.figures[name]
    if figure is None:
        raise CardError(f"figures.{name} cannot be taken over; write low and high")
    low, high = figure.low_in or 0.0, figure.high_in or 0.0
    return speak.limit_figures(low, card.units), speak.limit_figures(high, card.units)
