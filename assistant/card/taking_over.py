"""A card that stands, taken over as the beginning of another."""

from __future__ import annotations

import tomllib
from typing import Any

from assistant.readings import speak

from .card import Card
from .load import CardError, card_from_text
from .making import Value
from .questions import QUESTIONS


def taken_over(text: str, name: str) -> tuple[dict[str, Any], dict[str, tuple[Value, str, str]]]:
    """The tables of a card, and its answers: value, document, and who set it, by key.

    Raises:
        CardError: the card cannot be read.
    """
    card = card_from_text(text, name)
    tables = tomllib.loads(text)
    figures = tables.get("figures", {})
    source, by = figures.get("source", ""), figures.get("set_by", "")
    answers: dict[str, tuple[Value, str, str]] = {}
    for question in QUESTIONS:
        if question.key in ("by", "source"):
            continue
        table: Any = tables
        for part in question.key.split(".")[:-1]:
            table = table.get(part, {}) if isinstance(table, dict) else {}
        if question.figure and isinstance(figures.get(question.figure), str):
            table = dict(zip(("low", "high"), _pair(card, question.figure), strict=True))
        if isinstance(table, dict) and question.part in table:
            section = table if question.figure else tables.get(question.key.split(".")[0], {})
            own = section if isinstance(section, dict) else {}
            fallback = (source, by) if question.figure else ("", "")
            answers[question.key] = (
                table[question.part],
                str(own.get("source", fallback[0])),
                str(own.get("set_by", fallback[1])),
            )
        elif question.figure and table:
            answers[question.key] = (None, "", "")  # left out on purpose: a limit on one side
        elif question.kind == "choice" and not question.optional:
            answers[question.key] = (question.choices[0], "", "")
    for key in ("source", "set_by"):
        figures.pop(key, None)
    tables.pop("left", None)
    return tables, answers


def _pair(card: Card, name: str) -> tuple[str, str]:
    figure = card.figures[name]
    if figure is None:
        raise CardError(f"figures.{name} cannot be taken over; write low and high")
    low, high = figure.limits.low_in or 0.0, figure.limits.high_in or 0.0
    return speak.limit_figures(low, card.units), speak.limit_figures(high, card.units)
