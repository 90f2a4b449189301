"""A card as people and programs read it: every figure with whose it is."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import asdict
from functools import lru_cache
from typing import Any

from assistant.card.card import Card
from assistant.clutch.conformity import Limits
from assistant.clutch.ring import COARSE_IN
from assistant.quantity import BRAKE_CONTACT
from assistant.readings import speak
from assistant.sentences import Both, fill


@lru_cache(maxsize=256)  # the same few figures are told again and again
def limit_text(limit: Limits, units: str) -> Both:
    """`1/2 in to 9/16 in`, `at least 1/2 in`, `at most 9/16 in`."""
    low, high = limit.low_in, limit.high_in
    if low is None:
        return fill("at most {edge}", {"edge": _edge(high or 0.0, units)})
    if high is None:
        return fill("at least {edge}", {"edge": _edge(low, units)})
    first, last = _edge(low, units), _edge(high, units)
    unit = next((u for u in (" inches", " inch", " millimetres") if last.spoken.endswith(u)), "")
    once = first.spoken.removesuffix(unit)  # "eight to nine inches"
    return Both(f"{first} to {last}", f"{once} to {last.spoken}")


def _edge(value_in: float, units: str) -> Both:
    return Both(speak.limit_figures(value_in, units), speak.limit_words(value_in, units))


def figure_data(figure: Limits) -> dict[str, Any]:
    """A figure as programs read it; lengths in inches."""
    return {
        "low_in": figure.low_in,
        "high_in": figure.high_in,
        "target_in": figure.target_in,
        "source": figure.source,
    }


def card_report(card: Card) -> dict[str, Any]:
    """Everything in force for the truck; lengths in inches."""
    return {
        **{name: getattr(card, name) for name in ("unit", "transmission", "linkage", "cover")},
        "lock": card.lock,
        "ring": card.ring or None,
        **{name: getattr(card, name) for name in ("clutch", "units", "distance", "lug_in")},
        "ring_lugs": card.ring_lugs,
        "rod_thread": card.thread,
        "rod_longer": card.longer,
        "rod_per_fork": card.per_fork,
        "pedal_ratio": card.ratio,
        **{name: getattr(card, name) for name in ("lash_in", "height_turn_in", "total_turn_in")},
        "geometry_ratio_at_rest": None if card.geometry is None else card.geometry.ratio(0.0),
        "figures": {
            name: None if figure is None else figure_data(figure)
            for name, figure in card.figures.items()
        },
        "sources": dict(card.sources),
        "left": None if card.left is None else asdict(card.left),
        "defaulted": list(card.defaulted),
        "unsupported": card.unsupported(),
    }


def card_lines(card: Card) -> Iterator[str]:
    yield f"Card {card.name or 'none'}: unit {card.unit or 'not named'}"
    yield f"{card.transmission} transmission, {card.linkage} linkage, {card.clutch} clutch"
    yield from _ring_lines(card)
    if card.holds_pedal:
        yield _row("alone", card.holds_pedal, "the shop's own way of holding the pedal")
    yield _row("rod thread", card.thread, _whose(card, "rod.thread"))
    yield _row("longer rod", card.longer or "not said", _whose(card, "rod.longer"))
    yield from _ratio_lines(card)
    for name, figure in card.figures.items():
        if figure is not None:
            yield _row(name, limit_text(figure, card.units), figure.source)
        elif name != BRAKE_CONTACT or card.transmission != "synchronized":  # no clutch brake
            yield _row(name, "no limit", "not on the card; the maker's manual has it")
    if card.left is not None:
        yield f"Left by the last job, record {card.left.record}, signed off by {card.left.by}:"
        for name, value_in in card.left.readings_in.items():
            yield f"  {name:<15} {speak.limit_figures(value_in, card.units)}"
    if card.unsupported():
        yield f"NOTICE: {card.unsupported()}."


def _ring_lines(card: Card) -> Iterator[str]:
    if card.clutch != "manual":
        yield f"no ring to move, inspection hole: {card.cover}"
        return
    yield f"{card.ring or 'unsaid'} ring with a lock {card.lock}, inspection hole: {card.cover}"
    yield _row("lug", f"{card.lug_in or COARSE_IN:.3f} in", _whose(card, "ring.lug"))
    if card.ring_lugs is not None:
        yield _row("lugs of the ring", f"{card.ring_lugs}", _whose(card, "ring.lugs"))


def _ratio_lines(card: Card) -> Iterator[str]:
    source = "geometry" if card.geometry is not None else "readings"
    if card.ratio:
        yield _row("pedal ratio", f"{card.ratio:g}", _whose(card, "pedal.ratio"))
    else:
        yield _row("pedal ratio", f"from the {source}", f"worked out from the {source}")
    if card.geometry is not None:
        joints = ", ".join(joint.name for joint in card.geometry.joints(0.0))
        yield _row("linkage", f"{card.geometry.ratio(0.0):.1f} to 1 at rest", f"card: {joints}")


def _row(name: str, value: str, source: str) -> str:
    return f"  {name:<16} {value:<22} {source}"


def _whose(card: Card, key: str) -> str:
    if key in card.defaulted:
        return "common practice, no source; not on the card"
    return card.sources.get(key.split(".")[0], "card")


# --- TOML for a card: scalars first, a section each, limits as one-line tables.


def toml_text(tables: Mapping[str, Any]) -> str:
    """The tables as TOML. Reading it with `tomllib` gives the same tables.

    Raises:
        TypeError: a value is none of text, number, truth, list or table.
    """
    lines = [f"{_key(k)} = {_value(v)}" for k, v in tables.items() if not isinstance(v, dict)]
    for name, table in tables.items():
        if isinstance(table, dict):
            lines += ["", f"[{_key(name)}]"]
            lines += [f"{_key(k)} = {_value(v)}" for k, v in table.items()]
    return "\n".join(lines) + "\n"


def _key(name: str) -> str:
    plain = name.replace("-", "").replace("_", "")
    return name if plain.isascii() and plain.isalnum() else _value(name)


def _value(value: Any) -> str:
    if isinstance(value, list):
        return f"[{', '.join(_value(v) for v in value)}]"
    if isinstance(value, dict):
        inside = ", ".join(f"{_key(k)} = {_value(v)}" for k, v in value.items())
        return f"{{ {inside} }}" if inside else "{}"
    if isinstance(value, str | int | float):
        # JSON spells these as TOML does, but TOML wants DEL escaped as well.
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    raise TypeError(f"{value!r} cannot stand on a card")
