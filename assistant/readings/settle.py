"""Questions in place of guesses."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

from assistant.quantity import ANY, Quantity
from assistant.readings import speak
from assistant.readings.amounts import Amount, Node, evaluate, whole_number
from assistant.readings.language import Value
from assistant.readings.reading import Reading
from assistant.readings.speak import Form
from assistant.readings.units import COUNT_UNITS, FLATS_PER_TURN, INCHES_PER, MM_PER_IN, to_inches

if TYPE_CHECKING:
    from assistant.readings.read import Plan


def capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def ask_between(choices: list[Reading], q: Quantity) -> Reading:
    """The question that names every plausible meaning; the first refusal when none is."""
    choices = [c for c in choices if c.status == "read"] or choices
    if choices[0].status != "read":
        return choices[0]
    names = list(dict.fromkeys(c.readback for c in choices))
    text = names[0] if len(names) == 1 else ", ".join(names[:-1]) + " or " + names[-1]
    return Reading("ask", q.name, why=f"{capital(text)}?", choices=tuple(choices))


# --- How wide the interval is that a value said this finely stands for.


def half_width_in(form: Form, value_in: float, q: Quantity) -> float:
    """Half the interval that a value said this finely stands for, inches.

    A rule is read to its divisions whatever they reduce to; a decimal to half its last place; one
    or two places that sit on a sixteenth (.5, .25) are a rule read out in decimals.
    Common practice, no source.
    """
    kind, detail = form
    if kind == "f":
        return _rule_half(value_in, detail, q)
    if kind == "d":
        if detail <= 2 and (value_in * 16).is_integer():
            return q.rule_half_in
        return 0.5 * 10.0**-detail
    return 0.5 * 10.0**-detail / MM_PER_IN


def _rule_half(value_in: float, den: int, q: Quantity) -> float:
    if den < 32 or (value_in * 16).is_integer():
        return q.rule_half_in
    return 1 / 64 if (value_in * 32).is_integer() else 1 / 128


def step_in(form: Form, q: Quantity) -> float:
    """How far "shy", "fat" and "about" may reach, inches. Common practice, no source."""
    kind, detail = form
    if kind == "f":
        return 1 / 32 if q.small or q is ANY else 1 / 16
    if kind == "d":
        return 0.005 if detail >= 3 else 1 / 32
    return (1.0 if detail == 0 else 0.5) / MM_PER_IN


# --- Counts: lugs, turns, flats, miles, kilometres.


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


# --- What an amount can mean as a length: units said, units implied, units shared by neighbours.

_RULE_DENS = (16, 32, 64)


class Length(NamedTuple):
    """One length that an amount can mean."""

    value_in: float
    form: Form
    unit: str


def in_unit(a: Amount, unit: str) -> Length | None:
    """The amount taken in `unit` (or in a rule's division, "16"); None when it cannot be."""
    value = a.value
    if unit == "in":
        if a.places:
            return Length(value, ("d", a.places), unit)
        return Length(value, ("f", a.den or 1), unit)
    if unit in INCHES_PER:
        value_in = to_inches(value, unit)
        return Length(value_in, _form(a, value_in, unit), unit)
    den = int(unit)
    if a.digits and value < den:
        return Length(value / den, ("f", den), unit)
    return None


def _form(a: Amount, value_in: float, unit: str) -> Form:
    """How finely the amount was said, in the form it is read back in."""
    if unit == "ft":
        return ("f", a.den or 1)
    if unit == "thou":
        return ("d", decimal_places(value_in, 3 + a.places))
    if unit == "hundredths":
        return ("d", decimal_places(value_in, 2 + a.places))
    if unit == "mm":
        return ("m", decimal_places(a.value, a.places))
    if unit == "cm":
        return ("m", decimal_places(a.value * 10, max(a.places - 1, 0)))
    return ("m", 0)


def must(a: Amount, unit: str) -> Length:
    length = in_unit(a, unit)
    assert length is not None
    return length


def decimal_places(value: float, least: int, most: int = 9) -> int:
    """Decimal places that hold a value said with a fraction ("two and a half thou")."""
    places = least
    while places < most and abs(round(value, places) - value) > 1e-9:
        places += 1
    return places


def _bare_units(
    a: Amount, node: Node, kinds: str, values: list[Value], q: Quantity, units: str
) -> list[Length]:
    """Every meaning that a number without a unit can have for `q`."""
    value = a.value
    if a.den or value == 0:
        return [Length(value, ("f", a.den or 1), "in")]
    if q is ANY:
        if not a.digits and value < 1:
            return [Length(value, ("d", a.places), "in")]
        return []
    out: list[Length] = []
    low, high = q.plausible_in
    mm_low, mm_high = q.plausible_mm
    metric = mm_low <= value <= mm_high
    if node.how == "seq" and len(node.chunks) > 1 and not q.small and units != "mm":
        return []  # "one twenty five" of pedal: hundredths of an inch, or millimetres?
    if a.digits[:1] == "0":  # "oh eight five" is what follows a decimal point
        point = Length(float("." + a.digits), ("d", len(a.digits)), "in")
        # "oh four eight five" may be nought point four eight five as well.
        return [point] if len(a.digits) < 4 or not q.small else [point, must(a, "thou")]
    if low <= value <= high and (not a.digits or not q.small or value == 1):
        out.append(must(a, "in"))
    if a.problem == "thousand" and value >= 1000:
        out.append(Length(value / 1e6, ("d", 3), "thou"))
    if q.small and a.digits and not (metric and units == "mm"):
        if 0 < value / 1000 <= high:
            out.append(must(a, "thou"))
        if units != "mm" and value < 64:
            for den in _RULE_DENS:
                if value < den and value / den <= high:
                    out.append(Length(value / den, ("f", den), str(den)))
    if metric:
        out.append(must(a, "mm"))
    if a.digits and len(node.chunks) == 2:
        pair = _slipped_fraction(node, kinds, values)
        if pair is not None and low <= pair.value_in <= high:
            out.append(pair)
    return out


def _slipped_fraction(node: Node, kinds: str, values: list[Value]) -> Length | None:
    """ "nine sixteen" may be nine sixteenths with its ending lost."""
    (a, b), (c, d) = node.chunks
    top = 0 if kinds[a] == "o" else whole_number(kinds, values, a, b)
    bottom = 0 if kinds[c] == "o" else whole_number(kinds, values, c, d)
    if bottom in (8, 16, 32, 64) and top % 2 == 1 and top < bottom:
        return Length(top / bottom, ("f", bottom), str(bottom))
    return None


def meanings(
    said: list[Amount],
    nodes: tuple[Node, ...],
    kinds: str,
    values: list[Value],
    q: Quantity,
    units: str,
    op: str,
) -> list[list[Length]]:
    """Ways to take all amounts of one relation together: a unit said once covers its neighbour."""
    if len(said) == 1:
        a = said[0]
        if a.unit is None:
            return [[m] for m in _bare_units(a, nodes[0], kinds, values, q, units)]
        return [[must(a, a.unit)]]
    fixed = [a.unit or ("in" if a.den else None) for a in said]
    if said[0].unit in ("mm", "cm") and op in ("within", "between") and said[1].unit is None:
        fixed[1] = said[0].unit  # "13 mm plus or minus a half"
    if (
        said[-1].unit == "mm"
        and op in ("between", "dash-")
        and said[0].unit is None
        and said[0].value >= 3
    ):
        fixed[0] = "mm"  # "twelve and a half to thirteen millimetres"
    if all(u is not None for u in fixed):
        return [[must(a, u) for a, u in zip(said, fixed, strict=True) if u]]
    known = [i for i, u in enumerate(fixed) if u is not None]
    if known:
        lead = said[known[0]]
        unit = fixed[known[0]] or "in"
        row = []
        for a, u in zip(said, fixed, strict=True):
            if u is not None:
                row.append(must(a, u))
            elif (
                lead.den >= 8
                and lead.value < 1
                and a.value < lead.den
                and a.digits
                and op in ("between", "or")
            ):
                length = in_unit(a, str(lead.den))  # "between nine and ten sixteenths"
                if length is None:
                    return []
                row.append(length)
            elif unit == "thou" and a.places and a.value <= q.possible_in[1]:
                row.append(must(a, "in"))  # ".5 plus or minus 5 thou"
            else:
                row.append(must(a, unit))
        return [row]
    rows = []
    for first in _bare_units(said[0], nodes[0], kinds, values, q, units):
        others = [in_unit(a, first.unit) for a in said[1:]]
        if all(o is not None for o in others):
            rows.append([first, *[o for o in others if o is not None]])
    return rows


# --- Amounts in their relations: ranges, offsets, shy and fat, go and no-go, to one reading.


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


# --- A shape with its numbers in: units resolved, plausibility checked, one reading or question.


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
