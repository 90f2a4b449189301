"""Counts: lugs, turns, flats, miles, kilometres."""

from __future__ import annotations

from . import speak
from .amounts import Amount, Node
from .asking import capital
from .quantity import ANY, Quantity
from .reading import Reading
from .units import COUNT_UNITS, FLATS_PER_TURN


def settle_count(
    op: str, said: list[Amount], nodes: tuple[Node, ...], loose: int, q: Quantity, distance: str
) -> Reading:
    unit = q.unit if q.unit != "in" else ""
    units = [a.unit for a in said if a.unit is not None]
    for u in units:
        if u not in COUNT_UNITS:
            return Reading(
                "refused", q.name, why=f"That is a length. Say how many {unit}, as a number."
            )
    if not unit:
        if q is not ANY:
            return Reading(
                "refused", q.name, why=f"That counts {units[0]}. Say the {q.spoken} as a length."
            )
        unit = units[0] or ""
    elif q.name == "odometer":
        unit = units[0] if units and units[0] in ("miles", "kilometres") else distance
    if op in ("one-sided", "or", "between", "shy", "fat", "many", "gauge", "dash-", "dash_"):
        return Reading("ask", q.name, why=f"Exactly how many {unit}?")
    if op in ("withdrawn", "lost"):
        return Reading("ask", q.name, why=f"Say how many {unit} again.")
    if op == "negative":
        return Reading("refused", q.name, why=f"{capital(unit)} cannot be negative.")
    if q is ANY and any(n.how == "one" for n in nodes):
        # "got a flat", "a log": with nothing asked, that is chatter
        return Reading("none", q.name, why="no reading in these words")
    if q.name != "odometer":
        if any(n.how == "seq" and len(n.chunks) > 1 for n in nodes):
            return Reading("ask", q.name, why=f"Which number of {unit}?")
        if said[0].digits == "1" and said[0].unit is None and loose > 2:
            # "it's the one on the left"
            return Reading("none", q.name, why="no reading in these words")
    elif any(a.places >= 3 for a in said):
        return Reading("ask", q.name, why=f"How many whole {unit}?")
    parts = [_in_count(a, unit) for a in said]
    if any(p is None for p in parts):
        return Reading("refused", q.name, why=f"I asked for {unit}. Say how many {unit}.")
    total = float(sum(p for p in parts if p is not None))
    if op.startswith("sum"):
        total = parts[0] or 0.0
        for sign, part in zip(op[3:], parts[1:], strict=True):
            total += (part or 0.0) * (1 if sign == "+" else -1)
    elif op == "join" and [a.unit for a in said] != ["turns", "flats"]:
        if parts[0] != parts[1]:
            return Reading("ask", q.name, why=f"Two numbers. Which is the {unit}?")
        total = parts[0] or 0.0
    elif op not in ("one", "about", "join"):
        return Reading("ask", q.name, why=f"How many {unit}?")
    if unit == "lugs" and total != int(total):
        return Reading(
            "refused", q.name, why="The ring seats on whole lugs only. Say a whole number."
        )
    top = q.possible_in[1] if q is not ANY else 5_000_000
    if total < 0 or total > top:
        number = speak.count_figures(total, unit) if total < 1e12 else "That number"
        return Reading("refused", q.name, why=f"{number} cannot be. Say how many {unit} again.")
    return Reading("read", q.name, count=total, kind=unit)


def _in_count(a: Amount, unit: str) -> float | None:
    if a.unit is None or a.unit == unit:
        return a.value
    if unit == "turns" and a.unit == "flats":
        return a.value / FLATS_PER_TURN
    if unit == "flats" and a.unit == "turns":
        return a.value * FLATS_PER_TURN
    return None
