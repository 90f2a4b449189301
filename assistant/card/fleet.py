"""A folder of cards, one a truck, found by the truck's unit number."""

from __future__ import annotations

import re
from pathlib import Path

from assistant.card.card import Card
from assistant.card.load import CardError, load_card


def cards_in(folder: Path) -> tuple[list[tuple[Path, Card]], list[str]]:
    """The cards of a folder, by file name, and one line on each file that could not be read.

    Raises:
        CardError: there is no such folder.
    """
    try:
        paths = sorted(p for p in folder.iterdir() if p.suffix.lower() == ".toml" and p.is_file())
    except OSError as error:
        raise CardError(f"{folder} cannot be read: {error.strerror}; name a folder") from None
    cards, problems = [], []
    for path in paths:
        try:
            cards.append((path, load_card(path)))
        except CardError as error:
            problems.append(str(error))
    return cards, problems


def same_unit(one: str, other: str) -> bool:
    """Whether two unit numbers are one truck's: `T-104`, `t 104` and `T104` are."""
    return _plain(one) == _plain(other)


def _plain(unit: str) -> str:
    return re.sub(r"[\W_]+", "", unit).casefold()


def card_of(folder: Path, unit: str) -> Card:
    """The card of a truck in a folder of cards.

    Raises:
        CardError: none, or more than one, is for this unit; the line says which there are.
    """
    cards, problems = cards_in(folder)
    found = [(path, card) for path, card in cards if card.unit and same_unit(card.unit, unit)]
    if len(found) == 1:
        return found[0][1]
    if found:
        names = " and ".join(path.name for path, _ in found)
        raise CardError(f"{len(found)} cards in {folder} are for {unit}: {names}; keep one")
    units = sorted(card.unit for _, card in cards if card.unit)
    there = f"there are {_listed(units)}" if units else "it has no card with a unit"
    broken = f"; not readable: {problems[0]}" if problems else ""
    raise CardError(f"no card in {folder} is for {unit}; {there}{broken}")


def _listed(units: list[str], most: int = 8) -> str:
    more = len(units) - most
    return ", ".join(units[:most]) + (f" and {more} more" if more > 0 else "")


def chosen(path: Path, unit: str = "") -> Card:
    """What `--card PATH --unit UNIT` names: a card's file, or a truck's card in a folder.

    Raises:
        CardError: there is no such card, or it is another truck's.
    """
    if path.is_dir():
        if not unit:
            raise CardError(f"{path} is a folder of cards; say which truck with --unit")
        return card_of(path, unit)
    card = load_card(path)
    if unit and not same_unit(card.unit, unit):
        raise CardError(f"{path.name} is the card of {card.unit or 'no named unit'}, not of {unit}")
    return card
