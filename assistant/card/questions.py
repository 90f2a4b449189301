"""What is asked to make a card: each question fills one key; some are for some trucks only.

The words are in `dialogs/en/card.toml`; here is only what each answer may be.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from assistant.clutch.figures import DEFAULT_FIGURES

from .card import CLUTCHES, COVERS, DISTANCES, LINKAGES, LOCKS, LONGER, RINGS, TRANSMISSIONS, UNITS

Only = tuple[tuple[str, str], ...]
_BRAKE: Only = (("truck.transmission", "non-synchronized"),)
_RING: Only = (("truck.clutch", "manual"),)


@dataclass(frozen=True, slots=True)
class Question:
    """One thing to ask.

    Attributes:
        key: where the answer stands on the card, dotted; "by" and "source" stand beside figures.
        kind: "unit", "code", "document", "choice", "length", "thread", "number" or "count".
        choices: what may be answered, for a choice.
        quantity: the reading that the answer is read as, for all but words.
        optional: whether it may be skipped: common practice, or the maker's manual, then stands.
        only: other answers that must stand for it to be asked.
        low, high: what a number or count may be.
    """

    key: str
    kind: str
    choices: tuple[str, ...] = ()
    quantity: str = ""
    optional: bool = True
    only: Only = ()
    low: float = 0.0
    high: float = 0.0

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


def _choice(
    key: str, choices: tuple[str, ...], optional: bool = False, only: Only = ()
) -> Question:
    return Question(key, "choice", choices, optional=optional, only=only)


def _figures() -> tuple[Question, ...]:
    return tuple(
        Question(
            f"figures.{name}.{part}",
            "length",
            quantity=name,
            only=_BRAKE if name == "brake-contact" else (),
        )
        for name in DEFAULT_FIGURES
        for part in ("low", "high", "target")
    )


QUESTIONS: tuple[Question, ...] = (
    Question("unit", "unit", optional=False),
    Question("by", "code", optional=False),
    Question("source", "document", optional=False),
    _choice("shop.units", UNITS),
    _choice("shop.distance", DISTANCES),
    _choice("truck.transmission", TRANSMISSIONS),
    _choice("truck.clutch", CLUTCHES),
    _choice("truck.linkage", LINKAGES),
    _choice("truck.cover", COVERS),
    _choice("ring.lock", LOCKS, only=_RING),
    _choice("ring.type", RINGS, optional=True, only=_RING),
    Question("ring.lug", "length", quantity="clearance", only=_RING),
    Question("ring.lugs", "count", quantity="lugs", only=_RING, low=1, high=100),
    Question("rod.thread", "thread"),
    _choice("rod.longer", LONGER, optional=True),
    Question("pedal.ratio", "number", quantity="turns", low=2, high=60),
    Question("pedal.lash", "length", quantity="clearance"),
    *_figures(),
)
"""In the order they are asked."""

BY_KEY: Mapping[str, Question] = {q.key: q for q in QUESTIONS}
