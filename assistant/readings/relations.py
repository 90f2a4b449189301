"""Amounts in their relations: ranges, offsets, shy and fat, go and no-go, to one reading."""

from __future__ import annotations

from itertools import pairwise

from . import speak
from .asking import ask_between
from .lengths import Length, decimal_places
from .quantity import Quantity
from .reading import Reading
from .speak import Form
from .spread import half_width_in, step_in
from .units import MM_PER_IN


def operate(op: str, row: list[Length], q: Quantity) -> Reading:
    first = row[0]
    if op == "one":
        return checked(first.value_in, None, ((first.value_in, first.form),), "", q)
    if op in ("shy", "fat", "about"):
        return _qualified(op, first, q)
    if op == "negative":
        return Reading("refused", q.name, why=f"A {q.spoken} cannot be negative.")
    if op == "one-sided":
        return Reading("ask", q.name, why="That is one side only. Say the reading itself.")
    if op == "or":
        return _which(row, q)
    if op == "odd":
        return Reading("ask", q.name, why=f"Say the {q.spoken} again, only the reading.")
    if op in ("many", "join"):
        return _several(op, row, q)
    return _related(op, row, q)


def _several(op: str, row: list[Length], q: Quantity) -> Reading:
    if all(x.value_in == y.value_in for x, y in pairwise(row)):
        return operate("one", row[:1], q)
    inch_and_thou = row[0].unit == "in" and row[0].form == ("f", 1) and row[1].unit == "thou"
    if op == "join" and (inch_and_thou or (row[0].unit == "ft" and row[1].unit == "in")):
        return _sum(row[0].value_in + row[1].value_in, row, q)
    return _which(row, q)


def _which(row: list[Length], q: Quantity) -> Reading:
    """The question which of several lengths it is."""
    return ask_between([operate("one", [x], q) for x in row], q)


def _related(op: str, row: list[Length], q: Quantity) -> Reading:
    a, b = row[0], row[1]
    if op.startswith("dash"):
        if a.value_in < b.value_in:
            if a.unit == "thou" and b.value_in - a.value_in > 0.25:
                return Reading("ask", q.name, why="That range is wide. Say the reading itself.")
            op = "between"
        elif op == "dash_" and a.form == ("f", 1) and b.value_in < 1 and b.form[0] == "f":
            minus = _sum(a.value_in - b.value_in, row, q)
            plus = _sum(a.value_in + b.value_in, row, q)
            return ask_between([minus, plus], q)
        elif b.value_in <= a.value_in / 3:
            return _sum(a.value_in - b.value_in, row, q)
        else:
            return Reading("ask", q.name, why="A range, or less? Say the reading itself.")
    if op == "between" or op == "gauge":
        if op == "gauge" and a.value_in >= b.value_in:
            return Reading("ask", q.name, why="The bigger gauge cannot go if the smaller does not.")
        low, high = (a, b) if a.value_in < b.value_in else (b, a)
        if low is b and high.value_in >= 1 and low.value_in < 1:
            # "one and a half to five eighths": was the second one left out?
            return Reading("ask", q.name, why="The upper end is lower. Say both ends in full.")
        if low.value_in == high.value_in:
            return Reading("ask", q.name, why="Between two equal values? Say it again.")
        parts = ((low.value_in, low.form), (high.value_in, high.form))
        middle = (low.value_in + high.value_in) / 2
        return checked(middle, (low.value_in, high.value_in), parts, "between", q)
    if op == "within":
        if b.value_in > a.value_in:
            return Reading(
                "ask", q.name, why="That tolerance is more than the reading. Say it again."
            )
        parts = ((a.value_in, a.form), (b.value_in, b.form))
        band = (a.value_in - b.value_in, a.value_in + b.value_in)
        return checked(a.value_in, band, parts, "within", q)
    if op in ("under", "beyond"):
        if a.value_in >= b.value_in:
            if op == "beyond":
                return Reading("none", q.name, why="no reading in these words")
            return Reading("refused", q.name, why=f"A {q.spoken} cannot be negative.")
        sign = -1 if op == "under" else 1
        return _sum(b.value_in + sign * a.value_in, row, q)
    total = a.value_in
    for sign_char, x in zip(op[3:], row[1:], strict=True):
        total += x.value_in if sign_char == "+" else -x.value_in
    return _sum(total, row, q)


def _sum(value_in: float, row: list[Length], q: Quantity) -> Reading:
    """A computed length, in the finest form of its parts."""
    kinds = {x.form[0] for x in row}
    form: Form
    if kinds == {"f"}:
        form = ("f", max(x.form[1] for x in row))
    elif kinds == {"m"}:
        places = max(x.form[1] for x in row)
        value_in = round(value_in * MM_PER_IN, places) / MM_PER_IN
        form = ("m", places)
    else:
        places = decimal_places(value_in, 3, most=6)
        value_in = round(value_in, places)
        form = ("d", places)
    return checked(value_in, None, ((value_in, form),), "", q)


def _qualified(op: str, x: Length, q: Quantity) -> Reading:
    step = step_in(x.form, q)
    half = half_width_in(x.form, x.value_in, q)
    if op == "shy":
        value, band = x.value_in - step / 2, (x.value_in - step, x.value_in)
    elif op == "fat":
        value, band = x.value_in + step / 2, (x.value_in, x.value_in + step)
    else:
        width = max(step, half)
        value, band = x.value_in, (x.value_in - width, x.value_in + width)
    return checked(value, band, ((x.value_in, x.form),), op, q)


def checked(
    value_in: float,
    band: tuple[float, float] | None,
    parts: tuple[tuple[float, Form], ...],
    qualifier: str,
    q: Quantity,
) -> Reading:
    """A reading, or the reason why such a value cannot be."""
    low, high = q.possible_in
    if value_in < 0:
        return Reading("refused", q.name, why=f"A {q.spoken} cannot be negative.")
    if not low <= value_in <= high:
        said = speak.length_figures(*parts[0])
        bound = f"under {low:g} in" if value_in < low else f"over {high:g} in"
        return Reading(
            "refused", q.name, why=f"{said}: a {q.spoken} {bound} cannot be. Read it again."
        )
    if band is None:
        half = half_width_in(parts[0][1], value_in, q)
        low_in, high_in = value_in - half, value_in + half
    else:
        low_in, high_in = band
    if low_in < 0:
        low_in = 0.0
    return Reading("read", q.name, value_in, low_in, high_in, None, "length", "", parts, qualifier)
