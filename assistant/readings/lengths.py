"""What an amount can mean as a length: units said, units implied, units shared by neighbours."""

from __future__ import annotations

from typing import NamedTuple

from .amounts import Amount, Node, whole_number
from .quantity import ANY, Quantity
from .speak import Form
from .tokens import Value
from .units import LENGTH_UNITS, to_inches

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
    if unit in LENGTH_UNITS:
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
