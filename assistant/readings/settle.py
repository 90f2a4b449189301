"""A shape with its numbers in: units resolved, plausibility checked, one reading or question."""

from __future__ import annotations

from typing import TYPE_CHECKING

from .amounts import Amount, Node, evaluate
from .asking import ask_between, capital
from .counts import settle_count
from .lengths import meanings, must
from .quantity import ANY, Quantity
from .reading import Reading
from .relations import operate
from .tokens import Value
from .units import COUNT_UNITS

if TYPE_CHECKING:
    from .read import Plan


def settle(
    plan: Plan, kinds: str, values: list[Value], q: Quantity, units: str, distance: str
) -> Reading:
    """The reading that `plan` gives for quantity `q`."""
    nodes = plan.nodes
    if len(nodes) == 1:
        said = [evaluate(nodes[0], kinds, values, plan.soft[0])]
    else:
        said = [evaluate(n, kinds, values, s) for n, s in zip(nodes, plan.soft, strict=True)]
    counted = q.unit != "in"
    for amount in said:
        counted = counted or amount.unit in COUNT_UNITS
        if amount.problem and amount.problem != "thousand":
            if (
                amount.problem == "rule"
                and q.name in ("turns", "flats")
                and amount.value * 6 % 1 < 1e-9
            ):
                continue  # a sixth or a third of a turn is one or two flats
            return _problem(amount, q)
    if counted:
        loose = len(kinds) - sum(n.end - n.start for n in plan.nodes)
        reading = settle_count(plan.op, said, plan.nodes, loose, q, distance)
    else:
        reading = _length(plan.op, said, plan.nodes, kinds, values, q, units)
    doubt = plan.doubt
    if doubt == "change" and (q.unit != "in" or reading.count is not None):
        doubt = ""  # "backed it off two lugs" is a count of lugs
    if doubt and reading.status != "none":
        weak = doubt == "unknown" and not _strong(said, q)
        if weak or reading.status == "refused":
            return Reading("none", q.name, why="no reading in these words")
        if reading.status == "read":
            question = f"{capital(reading.readback)}: is that right?"
            return Reading("ask", q.name, why=question, choices=(reading,))
    return reading


def _problem(amount: Amount, q: Quantity) -> Reading:
    if amount.problem == "zero":
        return Reading("refused", q.name, why="A fraction over zero is no length. Say it again.")
    if amount.problem == "clash":
        return Reading("ask", q.name, why="Two units in one amount. Say it again.")
    if amount.problem == "half":
        return Reading("ask", q.name, why="A half, or a number and a half? Say it again.")
    if amount.problem == "improper":
        return Reading("ask", q.name, why="That fraction is over one. Say it again.")
    return Reading(
        "refused", q.name, why="No rule has that fraction. Use 8ths, 16ths, 32nds or 64ths."
    )


def _strong(said: list[Amount], q: Quantity) -> bool:
    """Whether the amount can hardly be anything but a measurement."""
    return any(
        a.unit is not None or a.den >= 8 or a.places or (len(a.digits) >= 3 and q is not ANY)
        for a in said
    )


def _length(
    op: str,
    said: list[Amount],
    nodes: tuple[Node, ...],
    kinds: str,
    values: list[Value],
    q: Quantity,
    units: str,
) -> Reading:
    if op in ("withdrawn", "lost"):
        return Reading("ask", q.name, why=f"Say the {q.spoken} again.")
    for a in said:
        if a.unit == "mil" or a.unit == "tenths":
            return _unclear_unit(op, said, q)
    rows = meanings(said, nodes, kinds, values, q, units, op)
    if not rows:
        return _no_meaning(op, said, q)
    out = [operate(op, row, q) for row in rows]
    if len(out) == 1:
        return out[0]
    good = [r for r in out if r.status == "read"]
    return good[0] if len(good) == 1 else ask_between(out, q)


def _unclear_unit(op: str, said: list[Amount], q: Quantity) -> Reading:
    a = next(x for x in said if x.unit in ("mil", "tenths"))
    if a.unit == "tenths":
        return Reading(
            "ask", q.name, why="Tenths of an inch, or ten-thousandths? Say it in thousandths."
        )
    choices = []
    if op == "one":
        for unit in ("thou", "mm"):
            r = operate("one", [must(a, unit)], q)
            if r.status == "read":
                choices.append(r)
    return Reading("ask", q.name, why="Mil: thousandths or millimetres?", choices=tuple(choices))


def _no_meaning(op: str, said: list[Amount], q: Quantity) -> Reading:
    number = said[0].digits[:12] or f"{said[0].value:g}"
    if op == "negative":
        return Reading("refused", q.name, why=f"A {q.spoken} cannot be negative.")
    if q is ANY:
        if all(a.digits and len(a.digits) == 1 for a in said) and op != "one":
            return Reading("none", q.name, why="no reading in these words")
        return Reading("ask", q.name, why=f"{number}: inches, thousandths or millimetres?")
    if said[0].digits and said[0].value >= q.plausible_in[1] and said[0].value <= 4000:
        if q.small and said[0].value / 1000 <= q.possible_in[1]:
            return Reading("ask", q.name, why=f"{number}: which unit?")
        if not q.small and said[0].value <= 999:
            return Reading("ask", q.name, why=f"{number} for {q.spoken}: which unit?")
    return Reading(
        "refused", q.name, why=f"{number} fits no unit for {q.spoken}. Say it with its unit."
    )
