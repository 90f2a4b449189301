"""A shape with its numbers in: units resolved, plausibility checked, one reading or a question.

Questions in place of guesses: whatever two plausible meanings are left, are both named.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import NamedTuple

from assistant.quantity import ANY, CLEARANCE, FLATS, LUGS, ODOMETER, TURNS, Quantity
from assistant.readings import speak
from assistant.readings.amounts import MILLION, Amount, AmountAt, evaluate, whole_number
from assistant.readings.language import Value
from assistant.readings.reading import Reading, asked, nothing, refused
from assistant.readings.speak import Form
from assistant.readings.units import COUNT_UNITS, FLATS_PER_TURN, MM_PER_IN, to_inches
from assistant.sentences import capital


class Plan(NamedTuple):
    """One way to take a shape: an operation over some of its amounts."""

    op: str
    nodes: tuple[AmountAt, ...]
    soft: tuple[bool, ...]
    doubt: str
    """"" | "unknown" (a strange word) | "change" (up, off: a move?) | "doubt" (is it a...?)."""


class Filled(NamedTuple):
    """A plan with the numbers of its sentence, and what was asked for."""

    plan: Plan
    kinds: str
    values: list[Value]
    said: list[Amount]
    q: Quantity
    metric: bool


def ask_between(choices: list[Reading], q: Quantity) -> Reading:
    """The question that names every plausible meaning; the first refusal when none is."""
    choices = [c for c in choices if c.status == "read"] or choices
    if choices[0].status != "read":
        return choices[0]
    names = list(dict.fromkeys(c.readback for c in choices))
    text = names[0] if len(names) == 1 else ", ".join(names[:-1]) + " or " + names[-1]
    return asked(q, "one_of", tuple(choices), meanings=capital(text))


def settle(
    plan: Plan, kinds: str, values: list[Value], q: Quantity, units: str, distance: str
) -> Reading:
    """The reading that `plan` gives for quantity `q`."""
    said = [evaluate(n, kinds, values, s) for n, s in zip(plan.nodes, plan.soft, strict=True)]
    counted = q.unit != "in"
    for a in said:
        counted = counted or a.unit in COUNT_UNITS
        if wrong := a.problem and _wrong(a, q):
            return wrong
    filled = Filled(plan, kinds, values, said, q, units == "mm")
    reading = _count(filled, distance) if counted else _length(filled)
    if reading.status == "read" and any(a.problem == "row" for a in said):
        return asked(q, "is_it", (reading,), said=capital(reading.readback))
    return _doubted(reading, filled) if plan.doubt else reading


def _wrong(a: Amount, q: Quantity) -> Reading | None:
    """What is answered to an amount that cannot be as it was said."""
    if a.problem == "rule" and q.name in (TURNS, FLATS) and a.value * 6 % 1 < 1e-9:
        return None  # a sixth or a third of a turn is one or two flats
    if a.problem in ("clash", "half", "improper"):
        return asked(q, f"fraction.{a.problem}")
    return refused(q, f"fraction.{a.problem}") if a.problem in ("zero", "rule") else None


def _doubted(reading: Reading, f: Filled) -> Reading:
    """A reading whose words may be no reading: dropped, or asked about."""
    doubt, q = f.plan.doubt, f.q
    counted = q.unit != "in" or reading.count is not None
    if reading.status == "none" or (doubt == "change" and counted):
        return reading  # "backed it off two lugs" is a count of lugs
    if reading.status == "refused" or (doubt == "unknown" and not _strong(f.said, q)):
        return nothing(q)
    if reading.status == "read":
        return asked(q, "is_it", (reading,), said=capital(reading.readback))
    return reading


def _strong(said: list[Amount], q: Quantity) -> bool:
    """Whether the amount can hardly be anything but a measurement."""
    return any(
        a.unit is not None or a.den >= 8 or a.places or (len(a.digits) >= 3 and q is not ANY)
        for a in said
    )


# --- counts: lugs, turns, flats, miles, kilometres

_NOT_ONE_COUNT = {"withdrawn": "again", "lost": "again"} | dict.fromkeys(
    (
        "one-sided",
        "below",
        "above",
        "goes",
        "or",
        "between",
        "shy",
        "fat",
        "many",
        "gauge",
        "dash-",
        "dash_",
    ),
    "exactly",
)


def _count(f: Filled, distance: str) -> Reading:
    q, op = f.q, f.plan.op
    units = [a.unit for a in f.said if a.unit is not None]
    unit = "" if q.unit == "in" else q.unit
    if not COUNT_UNITS.issuperset(units):
        return refused(q, "count.length", unit=unit)
    if q is not ANY and not unit:
        return refused(q, "count.no_length", unit=units[0])
    if q is ANY:
        unit = units[0]
    elif q.name == ODOMETER:
        unit = distance if {*units}.isdisjoint(("miles", "kilometres")) else units[0]
    if op in _NOT_ONE_COUNT:
        return asked(q, f"count.{_NOT_ONE_COUNT[op]}", unit=unit)
    if op == "negative":
        return refused(q, "count.negative", unit=capital(unit))
    return _unclear_count(f, unit) or _of_rest(f, unit) or _total(f, unit)


def _of_rest(f: Filled, unit: str) -> Reading | None:
    """ "A million two fifty": its 250 are thousands, or are not."""
    at = next((i for i, a in enumerate(f.said) if a.problem == "rest"), -1)
    if at < 0:
        return None
    a = f.said[at]
    ways = [a.value + a.value % MILLION * 999, a.value]
    said = [[*f.said[:at], a._replace(value=value), *f.said[at + 1 :]] for value in ways]
    return ask_between([_total(f._replace(said=way), unit) for way in said], f.q)


def _total(f: Filled, unit: str) -> Reading:
    """The count in `unit`, or why there is none or it cannot be."""
    q, op = f.q, f.plan.op
    parts = [p for a in f.said if (p := _in_count(a, unit)) is not None]
    if len(parts) < len(f.said):
        return refused(q, "count.other", unit=unit)
    turns_and_flats = [a.unit for a in f.said] == [TURNS, FLATS]
    if op.startswith("sum"):
        total = _added(op, parts)
    elif op in ("one", "about") or (op == "join" and turns_and_flats):
        total = float(sum(parts))
    elif op == "join" and parts[0] == parts[1]:
        total = parts[0]
    else:
        return asked(q, "count.two" if op == "join" else "count.how_many", unit=unit)
    if unit == LUGS and total != int(total):
        return refused(q, "count.whole_lugs")
    top = q.possible_in[1] if q is not ANY else 5_000_000
    if total < 0 or total > top:
        if total >= 1e12:
            return refused(q, "count.too_many_to_say", unit=unit)
        return refused(q, "count.too_many", said=speak.count_figures(total, unit), unit=unit)
    return Reading("read", q.name, count=total, kind=unit)


def _unclear_count(f: Filled, unit: str) -> Reading | None:
    q, nodes = f.q, f.plan.nodes
    if q is ANY and any(n.how == "one" for n in nodes):
        return nothing(q)  # "got a flat", "a log": with nothing asked, that is chatter
    if q.name == ODOMETER:
        whole = all(a.places < 3 for a in f.said)
        return None if whole else asked(q, "count.whole", unit=unit)
    if any(n.how == "seq" and len(n.chunks) > 1 for n in nodes):
        return asked(q, "count.which", unit=unit)
    loose = len(f.kinds) - sum(n.end - n.start for n in nodes)
    if f.said[0].digits == "1" and f.said[0].unit is None and loose > 2:
        return nothing(q)  # "it's the one on the left"
    return None


def _added(op: str, parts: list[float]) -> float:
    """The sum of parts, with the signs that stand in the operation after "sum"."""
    signed = zip(op[3:], parts[1:], strict=True)
    return sum((part if sign == "+" else -part for sign, part in signed), parts[0])


def _in_count(a: Amount, unit: str) -> float | None:
    if a.unit is None or a.unit == unit:
        return a.value
    if {a.unit, unit} != {TURNS, FLATS}:
        return None
    return a.value / FLATS_PER_TURN if unit == TURNS else a.value * FLATS_PER_TURN


# --- what an amount can mean as a length: units said, implied, or shared by neighbours


class Length(NamedTuple):
    """One length that an amount can mean; `unit` "16" is a rule's sixteenths."""

    value_in: float
    form: Form
    unit: str = ""


def in_unit(a: Amount, unit: str) -> Length:
    """The amount taken in a unit of length."""
    if unit == "in":
        return Length(a.value, ("d", a.places) if a.places else ("f", a.den or 1), unit)
    value_in = to_inches(a.value, unit)
    form: Form = ("m", 0)
    if unit == "ft":
        form = ("f", a.den or 1)
    elif unit in ("thou", "hundredths"):
        form = ("d", decimal_places(value_in, a.places + (3 if unit == "thou" else 2)))
    elif unit == "mm":
        form = ("m", decimal_places(a.value, a.places))
    elif unit == "cm":
        form = ("m", decimal_places(a.value * 10, max(a.places - 1, 0)))
    return Length(value_in, form, unit)


def _in_parts(a: Amount, den: int) -> Length | None:
    """The amount as so many parts of a rule, where it can be."""
    return Length(a.value / den, ("f", den), str(den)) if a.digits and a.value < den else None


def decimal_places(value: float, least: int, most: int = 9) -> int:
    """Decimal places that hold a value said with a fraction ("two and a half thou")."""
    places = least
    while places < most and abs(round(value, places) - value) > 1e-9:
        places += 1
    return places


def _bare(f: Filled) -> list[Length]:
    """Every meaning that the first number can have without a unit."""
    a, node, q = f.said[0], f.plan.nodes[0], f.q
    if a.den or a.value == 0:
        return [Length(a.value, ("f", a.den or 1), "in")]
    if q is ANY:
        below_one = not a.digits and a.value < 1
        return [Length(a.value, ("d", a.places), "in")] if below_one else []
    if not (q.small or f.metric) and node.how == "seq" and len(node.chunks) > 1:
        return []  # "one twenty five" of pedal: hundredths of an inch, or millimetres?
    if a.digits[:1] == "0":  # "oh eight five" is what follows a decimal point
        point = Length(float("." + a.digits), ("d", len(a.digits)), "in")
        # "oh four eight five" may be nought point four eight five as well.
        return [point] if len(a.digits) < 4 or not q.small else [point, in_unit(a, "thou")]
    return [*_bare_number(a, f), *_slipped_fraction(a, f)]


def _bare_number(a: Amount, f: Filled) -> list[Length]:
    """A number without a unit in every unit that makes it plausible."""
    q = f.q
    low, high = q.plausible_in
    out: list[Length] = []
    if low <= a.value <= high and (not a.digits or not q.small or a.value == 1):
        out.append(in_unit(a, "in"))
    if a.problem == "thousand" and a.value >= 1000:
        out.append(Length(a.value / 1e6, ("d", 3), "thou"))
    in_mm = q.plausible_mm[0] <= a.value <= q.plausible_mm[1]
    if q.small and a.digits and not (in_mm and f.metric):
        out += _small(a, high, f.metric)
    if in_mm:
        out.append(in_unit(a, "mm"))
    if len(out) == 1 and out[0].unit == "thou" and 10 <= a.value < 100 and a.value / 100 <= high:
        out.insert(0, in_unit(a, "hundredths"))  # "sixty six" is point six six as well
    return out


def _small(a: Amount, high: float, metric: bool) -> list[Length]:
    """A bare whole number as thousandths, or as the parts of a rule."""
    out = [in_unit(a, "thou")] if 0 < a.value / 1000 <= high else []
    parts = [] if metric else [_in_parts(a, den) for den in (16, 32, 64)]
    return out + [x for x in parts if x is not None and x.value_in <= high]


def _slipped_fraction(a: Amount, f: Filled) -> list[Length]:
    """ "nine sixteen" may be nine sixteenths with its ending lost."""
    chunks = f.plan.nodes[0].chunks
    if not a.digits or len(chunks) != 2:
        return []
    top, bottom = (
        0 if f.kinds[a] == "o" else whole_number(f.kinds, f.values, a, b) for a, b in chunks
    )
    low, high = f.q.plausible_in
    if bottom in (8, 16, 32, 64) and top % 2 == 1 and low <= top / bottom <= min(high, 1):
        return [Length(top / bottom, ("f", bottom), str(bottom))]
    return []


def meanings(f: Filled) -> list[list[Length]]:
    """Ways to take all amounts of one relation together: a unit said once covers its neighbour."""
    said = f.said
    if len(said) == 1:
        unit = said[0].unit
        return [[m] for m in _bare(f)] if unit is None else [[in_unit(said[0], unit)]]
    fixed = _units_said(f)
    lead = next((n for n, unit in enumerate(fixed) if unit is not None), None)
    rows: list[list[Length | None]]
    if lead is None:
        rows = [[m, *(_as_before(a, m.unit) for a in said[1:])] for m in _bare(f)]
    else:
        unit = fixed[lead] or "in"
        rows = [[_beside(a, u, said[lead], unit, f) for a, u in zip(said, fixed, strict=True)]]
    return [[x for x in row if x is not None] for row in rows if None not in row]


def _as_before(a: Amount, unit: str) -> Length | None:
    return _in_parts(a, int(unit)) if unit.isdigit() else in_unit(a, unit)


def _units_said(f: Filled) -> list[str | None]:
    """The unit of each of several amounts, where it was said or can be no other."""
    said, op = f.said, f.plan.op
    fixed = [a.unit or ("in" if a.den else None) for a in said]
    if said[1].unit is None and said[0].unit in ("mm", "cm") and op in ("within", "between"):
        fixed[1] = said[0].unit  # "13 mm plus or minus a half"
    bare_first = said[0].unit is None and said[0].value >= 3
    if bare_first and said[-1].unit == "mm" and op in ("between", "dash-"):
        fixed[0] = "mm"  # "twelve and a half to thirteen millimetres"
    return fixed


def _beside(a: Amount, unit: str | None, lead: Amount, lead_unit: str, f: Filled) -> Length | None:
    """An amount in its own unit, or in what the one with a unit gives it."""
    if unit is not None:
        return in_unit(a, unit)
    parts = lead.den >= 8 and lead.value < 1 and a.value < lead.den and a.digits
    if parts and f.plan.op in ("between", "or"):
        return _in_parts(a, lead.den)  # "between nine and ten sixteenths"
    if lead_unit == "thou" and a.places and a.value <= f.q.possible_in[1]:
        return in_unit(a, "in")  # ".5 plus or minus 5 thou"
    return in_unit(a, lead_unit)


def _length(f: Filled) -> Reading:
    q, op = f.q, f.plan.op
    if op in ("withdrawn", "lost"):
        return asked(q, "again")
    for a in f.said:
        if a.unit in ("mil", "tenths"):
            return _unclear_unit(a, f)
    rows = meanings(f)
    if f.plan.op.startswith("dash") and (part := _dashed_fraction(f)) is not None:
        either = [operate("one", [part], q), *(operate(op, row, q) for row in rows)]
        return ask_between(either, q)
    if not rows:
        return _no_meaning(f)
    out = [operate(op, row, q) for row in rows]
    good = [r for r in out if r.status == "read"]
    ends = [end for r in out for end in r.choices if op in _ONE_SIDED]
    if ends and not good:
        return asked(q, "length.one_side", tuple(ends))
    return good[0] if len(good) == 1 else ask_between(out, q)


def _dashed_fraction(f: Filled) -> Length | None:
    """ "9-16" in an inch shop may be the fraction as well as the range."""
    top, bottom = f.said
    bare = top.unit is None and bottom.unit is None and top.digits and bottom.digits
    if f.metric or not bare or bottom.value not in (2, 4, 8, 16, 32, 64):
        return None
    return _in_parts(top, int(bottom.value)) if top.value % 2 else None


def _unclear_unit(a: Amount, f: Filled) -> Reading:
    if a.unit == "tenths":
        return asked(f.q, "unit.tenths")
    op, found = f.plan.op, []
    for unit in ("thou", "mm"):
        said = [x._replace(unit=unit) if x.unit == "mil" else x for x in f.said]
        plan = f.plan._replace(op="one") if op == "negative" else f.plan
        for row in meanings(f._replace(said=said, plan=plan)):
            reading = operate(plan.op, row, f.q)
            found += [reading] if reading.status == "read" else []
    likely = [r for r in found if _mils_are(r, f.q)]
    usual = [r for r in likely if r.form[0] == "m" and _usual(r, f.q)]
    if usual:  # nobody reads a few thousandths in a wide space
        likely = [r for r in likely if r in usual or r.parts[0][0] >= LEAST_THOU_IN]
    return asked(f.q, "unit.mil", tuple(likely or found))


def _mils_are(reading: Reading, q: Quantity) -> bool:
    """Whether what was called in mils can well be a reading in this unit."""
    said_in = reading.parts[0][0]
    if reading.form[0] != "m":
        return q.small and said_in <= q.plausible_in[1]
    return q.plausible_mm[0] <= said_in * MM_PER_IN <= q.plausible_mm[1]


def _usual(reading: Reading, q: Quantity) -> bool:
    low, high = q.mostly_in or q.plausible_in
    return low <= reading.parts[0][0] <= high


LEAST_THOU_IN = 0.03
"""The least gap or clearance that is called in mils for thousandths: below it they are
millimetres. Common practice, no source."""


def _no_meaning(f: Filled) -> Reading:
    q, op, a = f.q, f.plan.op, f.said[0]
    number = a.digits[:12] or f"{a.value:g}"
    if op == "negative":
        return refused(q, "length.negative")
    if q is ANY:
        if all(len(x.digits) == 1 for x in f.said) and op != "one":
            return nothing(q)
        return asked(q, "unit.none_said", number=number)
    if a.digits and q.plausible_in[1] <= a.value <= 4000:
        if q.small and a.value / 1000 <= q.possible_in[1]:
            return asked(q, "unit.which", number=number)
        if not q.small and a.value <= 999:
            return asked(q, "unit.which_for", number=number)
    return refused(q, "unit.none_fits", number=number)


# --- lengths in their relations: ranges, offsets, shy and fat, go and no-go, to one reading


_ONE_SIDED = ("below", "above", "goes", "one-sided")


def operate(op: str, row: list[Length], q: Quantity) -> Reading:
    """The reading that an operation makes of lengths."""
    if op == "one":
        return checked(row[0].value_in, None, row[:1], "", q)
    if op in ("shy", "fat", "about"):
        return _qualified(op, row[0], q)
    if op == "negative":
        return refused(q, "length.negative")
    if op == "below" and q.name == CLEARANCE:
        return checked(row[0].value_in / 2, (0.0, row[0].value_in), row[:1], "under", q)
    if op == "odd":
        return asked(q, "only")
    if op == "goes" and not q.small:
        return checked(row[0].value_in, None, row[:1], "", q)  # so far the pedal goes: no gauge
    if op == "goes" and q.name == CLEARANCE:  # a feeler that goes in is how it is read
        one = checked(row[0].value_in, None, row[:1], "", q)
        return asked(q, "length.one_side", (one,) if one.status == "read" else ())
    if op in _ONE_SIDED:
        end = () if op == "one-sided" else (_one_side(op, row[0], q),)
        return asked(q, "length.one_side", tuple(r for r in end if r.status == "read"))
    if op in ("or", "many", "join"):
        return _several(op, row, q)
    if op.startswith("dash"):
        return _dashed(op, row, q)
    if op in ("between", "gauge"):
        return _between(op, row, q)
    if op in ("within", "under", "beyond"):
        return _sliver(op, row, q)
    return _sum(_added(op, [x.value_in for x in row]), row, q)


def _one_side(op: str, x: Length, q: Quantity) -> Reading:
    """A reading with an open side: less, or more, than a length; what it is itself nobody said."""
    op = "above" if op == "goes" else op
    end = checked(x.value_in, None, [x], op, q)
    if end.status != "read":
        return end
    low, high = (0.0, x.value_in) if op == "below" else (x.value_in, None)
    return replace(end, value_in=None, low_in=low, high_in=high)


def _several(op: str, row: list[Length], q: Quantity) -> Reading:
    if op != "or":
        if all(x.value_in == y.value_in for x, y in pairwise(row)):
            return operate("one", row[:1], q)
        inch_and_thou = row[0][1:] == (("f", 1), "in") and row[1].unit == "thou"
        if op == "join" and (inch_and_thou or (row[0].unit == "ft" and row[1].unit == "in")):
            return _sum(row[0].value_in + row[1].value_in, row, q)
    return ask_between([operate("one", [x], q) for x in row], q)


def _dashed(op: str, row: list[Length], q: Quantity) -> Reading:
    """A dash: a range where it rises, else less what follows where that is small."""
    a, b = row[0], row[1]
    if a.value_in < b.value_in:
        if a.unit == "thou" and b.value_in - a.value_in > 0.25:
            return asked(q, "length.wide")
        return _between("between", row, q)
    less = a.value_in - b.value_in
    if op == "dash_" and a.form == ("f", 1) and b.value_in < 1 and b.form[0] == "f":
        return ask_between([_sum(less, row, q), _sum(a.value_in + b.value_in, row, q)], q)
    if b.value_in <= a.value_in / 3:
        return _sum(less, row, q)
    return asked(q, "length.range_or_less")


def _between(op: str, row: list[Length], q: Quantity) -> Reading:
    a, b = row[0], row[1]
    if op == "gauge" and a.value_in >= b.value_in:
        return asked(q, "length.gauges")
    low, high = (a, b) if a.value_in < b.value_in else (b, a)
    if low is b and high.value_in >= 1 and low.value_in < 1:
        # "one and a half to five eighths": was the second one left out?
        return asked(q, "length.upper_lower")
    if low.value_in == high.value_in:
        return asked(q, "length.equal")
    band = low.value_in, high.value_in
    return checked(sum(band) / 2, band, [low, high], "between", q)


def _sliver(op: str, row: list[Length], q: Quantity) -> Reading:
    """The first length plus or minus the second; or the second, less or more by the first."""
    a, b = row[0].value_in, row[1].value_in
    if op == "within":
        if b > a:
            return asked(q, "length.tolerance")
        return checked(a, (a - b, a + b), row, "within", q)
    if a >= b:
        return nothing(q) if op == "beyond" else refused(q, "length.negative")
    return _sum(b + (-a if op == "under" else a), row, q)


def _sum(value_in: float, row: list[Length], q: Quantity) -> Reading:
    """A computed length, in the finest form of its parts."""
    kinds = {x.form[0] for x in row}
    finest = max(x.form[1] for x in row)
    if kinds == {"m"}:
        value_in = round(value_in * MM_PER_IN, finest) / MM_PER_IN
    elif kinds != {"f"}:
        finest = decimal_places(value_in, 3, most=6)
        value_in = round(value_in, finest)
    form = (kinds.pop() if len(kinds) == 1 else "d", finest)
    return checked(value_in, None, [Length(value_in, form)], "", q)


def _qualified(op: str, x: Length, q: Quantity) -> Reading:
    side, value_in = {"shy": -1, "about": 0, "fat": 1}[op], x.value_in
    step = step_in(x.form, q)
    if not side:
        step = max(step, half_width_in(x.form, value_in, q))
    band = value_in - step * (side <= 0), value_in + step * (side >= 0)
    return checked(value_in + side * step / 2, band, [x], op, q)


def half_width_in(form: Form, value_in: float, q: Quantity) -> float:
    """Half the interval that a value said this finely stands for, inches.

    A rule is read to its divisions whatever they reduce to; a decimal to half its last place; one
    or two places that sit on a sixteenth (.5, .25) are a rule read out in decimals.
    Common practice, no source.
    """
    kind, detail = form
    if kind == "m":
        return 0.5 * 10.0**-detail / MM_PER_IN
    on_sixteenth = (value_in * 16).is_integer()
    if kind == "d":
        return q.rule_half_in if detail <= 2 and on_sixteenth else 0.5 * 10.0**-detail
    if detail < 32 or on_sixteenth:
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


def checked(
    value_in: float,
    band: tuple[float, float] | None,
    said: list[Length],
    qualifier: str,
    q: Quantity,
) -> Reading:
    """A reading, or the reason why such a value cannot be."""
    parts = tuple((x.value_in, x.form) for x in said)
    low, high = q.possible_in
    if value_in < 0:
        return refused(q, "length.negative")
    if not low <= value_in <= high:
        key, bound = ("length.under", low) if value_in < low else ("length.over", high)
        return refused(q, key, said=speak.length_figures(*parts[0]), bound=f"{bound:g}")
    if band is None:
        half = half_width_in(parts[0][1], value_in, q)
        band = value_in - half, value_in + half
    low_in = max(band[0], 0.0)
    return Reading("read", q.name, value_in, low_in, band[1], None, "length", "", parts, qualifier)
