"""One amount: a run of kinds becomes a number, its unit, and how finely it was said.

`find` works on kinds alone, once for each shape of words; `evaluate` puts a sentence's values in.
"""

from __future__ import annotations

import re
from typing import NamedTuple

from assistant.readings.language import AMOUNT, FIGURE, WHOLE, Digits, Value

_AMOUNT = re.compile(AMOUNT.pattern)
_CHUNK = re.compile(f"{WHOLE.pattern}|o")
_DIGIT = re.compile(FIGURE.pattern)

_UNIT_NAME = {
    "i": "in",
    "I": "in",
    "k": "thou",
    "M": "mm",
    "m": "mil",
    "Z": "cm",
    "j": "ft",
    "r": "hundredths",
    "w": "tenths",
    "Y": "m",
    "L": "lugs",
    "N": "turns",
    "V": "flats",
    "l": "miles",
    "p": "kilometres",
}

Span = tuple[int, int]


class Node(NamedTuple):
    """Where one amount stands in the words, and how to compute it."""

    start: int
    end: int
    how: str
    """frac, mixed, dec, typed, seq, one."""
    whole: Span | None
    chunks: tuple[Span, ...]
    num: Span | None
    den: int
    """Index of the token that carries the denominator, or -1."""
    fixed_den: int
    unit: str | None
    soft: str
    """"" | "whole" | "inch" | "num" | "prefix": which part is only a sound-alike; "clash": the
    amount carries two units."""


class Amount(NamedTuple):
    """One number as said. `unit` None: no unit was said. `den` 0: not a fraction."""

    value: float
    unit: str | None
    den: int
    places: int
    digits: str
    problem: str


def find(kinds: str) -> list[Node]:
    """Every amount in a string of kinds, left to right."""
    nodes = []
    for m in _AMOUNT.finditer(kinds):
        node = _node(m, kinds)
        if node is not None:
            nodes.append(node)
    return nodes


def split_mixed(node: Node, kinds: str) -> list[Node] | None:
    """ "seven and eight sixteenths" as two amounts, for after "between"; None when it is not."""
    if node.how != "mixed" or node.whole is None or node.whole[0] == node.whole[1]:
        return None
    a, b = node.whole
    # Only "seven and eight sixteenths": "between two and a half" lacks its second end.
    if kinds[b : b + 1] != "A" or not (node.fixed_den > 2 or kinds[node.den] in "FGW"):
        return None
    first = Node(a, b, "seq", None, ((a, b),), None, -1, 0, None, "")
    return [first, node._replace(start=b + 1, how="frac", whole=None, soft="")]


def _node(m: re.Match[str], kinds: str) -> Node | None:
    unit_text = m["unit"]
    unit = None
    if unit_text:
        letters = unit_text.lstrip("Oa>")
        unit = "mm" if letters == "DY" else "mil" if letters == "D" else _UNIT_NAME[letters[0]]
    s, e = m.span()
    if m["one"]:
        return Node(s, e, "one", None, (), None, -1, 0, unit, "")
    if m["frac"] or m["mixed"]:
        return _fraction(m, kinds, "1" if m["frac"] else "2", unit)
    if m["dec"]:
        if not m["dp"]:
            x = m.start("dec") + (1 if kinds[m.start("dec")] == "n" else 0)
            if x > s:  # "1 .5": a whole number then a decimal; not one amount
                return None
            return Node(s, e, "typed", None, (), None, x, 0, unit, "")
        whole = m.span("dw") if m["dw"] else None
        decimals = tuple(c.span() for c in _DIGIT.finditer(kinds, *m.span("dp")))
        soft = "whole" if whole and kinds[whole[0]] in "s2" else ""
        return Node(s, e, "dec", whole, decimals, None, -1, 0, unit, soft)
    a, b = m.span("seq")
    soft = ""
    if m["pre"]:
        soft = "prefix"
        a += 1
    body = kinds[a:b]
    if unit is None and all(c in "7o" for c in body):
        return None
    chunks = tuple(c.span() for c in _CHUNK.finditer(kinds, a, b))
    return Node(s, e, "seq", None, chunks, None, -1, 0, unit, soft)


def _fraction(m: re.Match[str], kinds: str, g: str, unit: str | None) -> Node:
    s, e = m.span()
    whole: Span | None = None
    soft = ""
    if g == "2":
        if m["wi1"]:
            whole = (m.start("wi1"), m.start("wi1"))
            unit = unit or _UNIT_NAME[m["wi1"]]
        else:
            whole = m.span("w")
            if m["wi2"]:
                unit = unit or _UNIT_NAME[m["wi2"]]
            if m["w"] in ("s", "2"):
                # "to and a quarter" can only be two; "to a quarter" may be plain "to".
                after = kinds[whole[1] : whole[1] + 1]
                soft = "" if after == "A" else "inch" if m["wi2"] else "whole"
    how = "mixed" if whole is not None else "frac"
    unit, soft = _one_unit(m, unit, soft)
    if m["den" + g]:
        d0, d1 = m.span("den" + g)
        letters = kinds[d0:d1]
        fixed, den = 0, d0
        if letters == "Te" or letters[0] == "T":
            fixed = 32
        elif letters[0] == "X":
            fixed = 64
        elif letters == "6E":
            fixed = 16
        num = m.span("num" + g)
        if m["num" + g] in ("s", "2") and letters in ("c", "F", "H") and not soft:
            soft = "num"
        return Node(s, e, how, whole, (), num, den, fixed, unit, soft)
    if m["top" + g]:
        return Node(s, e, how, whole, (), m.span("top" + g), m.start("bot" + g), -1, unit, soft)
    if m["bare" + g]:
        fixed = 32 if m["bare" + g] == "Te" else 0
        return Node(s, e, how, whole, (), None, m.start("bare" + g), fixed, unit, soft)
    half = m["halfof" + g]
    at = _half_at(m, kinds)
    if half is None and kinds[at] == "q":
        return Node(s, e, how, whole, (), None, at, -2, unit, soft)
    one = (at - 1, at) if half in ("d", "n", "7") else None
    return Node(s, e, how, whole, (), one, at, 0, unit, soft)


def _one_unit(m: re.Match[str], unit: str | None, soft: str) -> tuple[str | None, str]:
    """One amount has one unit: "two turns and a half flat" has two, and is asked about."""
    inner = m["wi1"] or m["wi2"]
    if inner and m["unit"] and unit is not None and _UNIT_NAME[inner] != unit:
        return unit, "clash"
    return unit, soft


def _half_at(m: re.Match[str], kinds: str) -> int:
    """Index of the `h` or `q` that ends the fraction part of a match."""
    end = m.start("unit") if m["unit"] else m.end()
    at = end - 1
    while kinds[at] not in "hq":
        at -= 1
    return at


def whole_number(kinds: str, values: list[Value], start: int, end: int) -> int:
    """The whole number said by tokens start..end ("four hundred twelve thousand")."""
    if end - start == 1 and kinds[start] != "a":
        return int(values[start])
    total = current = 0
    for k in range(start, end):
        kind = kinds[k]
        if kind == "C":
            current = (current or 1) * 100
        elif kind == "K":
            total += (current or 1) * int(values[k])
            current = 0
        elif kind == "a":
            current = current or (1 if end - start == 1 else 0)
        elif kind != "A":
            current += int(values[k])
    return total + current


def _digits(kinds: str, values: list[Value], chunks: tuple[Span, ...]) -> str:
    return "".join(_spelled(kinds, values, a, b) for a, b in chunks)


def _past_thousand(kinds: str, values: list[Value], chunks: tuple[Span, ...]) -> str:
    """ "Two thousand nine seventeen" is 2,917: what follows a thousand are its hundreds, in digits.

    "" where nothing follows, or more than three digits.
    """
    a, b = chunks[0]
    at = kinds.rfind("K", a, b) + 1
    if len(chunks) == 1 or not at or at == b:
        return ""
    rest = _digits(kinds, values, ((at, b), *chunks[1:]))
    return str(whole_number(kinds, values, a, at) + int(rest)) if len(rest) <= 3 else ""


def _spelled(kinds: str, values: list[Value], a: int, b: int) -> str:
    value = values[a]
    if b - a == 1 and isinstance(value, Digits):
        return value.text
    return str(whole_number(kinds, values, a, b))


def evaluate(node: Node, kinds: str, values: list[Value], keep_soft: bool = False) -> Amount:
    """The amount at `node`. With `keep_soft`, a sound-alike counts as the number it sounds like."""
    how = node.how
    unit = node.unit
    if how == "seq":
        digits = _past_thousand(kinds, values, node.chunks)
        digits = digits or _digits(kinds, values, node.chunks)
        if keep_soft and node.soft == "prefix":
            digits = str(int(values[node.start])) + digits
        problem = "thousand" if kinds[node.chunks[-1][1] - 1] == "K" else ""
        return Amount(float(digits), unit, 0, 0, digits, problem)
    if how == "frac" or how == "mixed":
        return _evaluate_fraction(node, kinds, values, keep_soft)
    if how == "typed":
        number, places = values[node.den]
        return Amount(number, unit, 0, places, "", "")
    if how == "dec":
        whole = 0
        if node.whole is not None and (keep_soft or node.soft != "whole"):
            inch = "i" in kinds[node.whole[0] : node.whole[1]]  # "an inch point two five"
            whole = 1 if inch else int(_digits_of(kinds, values, node.whole))
        places = _digits(kinds, values, node.chunks)
        return Amount(float(f"{whole}.{places}"), unit, 0, len(places), "", "")
    one = 1 if kinds[node.start] == "a" else int(values[node.start])
    return Amount(float(one), unit, 0, 0, str(one), "")


def _digits_of(kinds: str, values: list[Value], span: Span) -> str:
    if span[1] - span[0] == 1:
        return str(int(values[span[0]]))
    return _digits(kinds, values, tuple(c.span() for c in _CHUNK.finditer(kinds, *span)))


def _evaluate_fraction(node: Node, kinds: str, values: list[Value], keep_soft: bool) -> Amount:
    problem = "clash" if node.soft == "clash" else ""
    fixed = node.fixed_den
    if fixed == -2:
        num, den = values[node.den]
    else:
        num = 1
        if node.num is not None and (keep_soft or node.soft != "num"):
            num = whole_number(kinds, values, *node.num)
        den = fixed if fixed > 0 else int(values[node.den])
    at = kinds[node.den]
    if fixed > 0:
        problem = problem or _check_fixed(node, kinds, values)
    elif at == "n" and kinds[node.den : node.den + 2] == "ne":
        # "15 30 seconds", the way a recognizer writes thirty-seconds.
        den = 32 if den == 30 else den
    elif at == "h" and num != 1:
        problem = "half"
    if den == 0:
        return Amount(0.0, node.unit, 0, 0, "", "zero")
    if fixed == -2 and den in (100, 1000):  # "485/1000" is a decimal in disguise
        return Amount(num / den, node.unit, 0, len(str(den)) - 1, "", problem)
    if den not in (1, 2, 4, 8, 16, 32, 64) and not problem:
        problem = "rule"
    value = num / den
    if node.how == "mixed" and (keep_soft or node.soft != "whole"):
        assert node.whole is not None
        a, b = node.whole
        stripped = node.soft == "inch" and not keep_soft  # "to inch and a half": one inch
        value += 1 if b == a or stripped else whole_number(kinds, values, a, b)
        if num >= den and not problem:
            problem = "improper"
    return Amount(value, node.unit, den, 0, "", problem)


def _check_fixed(node: Node, kinds: str, values: list[Value]) -> str:
    """Whether "thirty" + "two"-ish + suffix really spells the denominator it stands for."""
    letters = kinds[node.den : node.den + 3]
    if letters[:1] == "T" and letters[1:2] in ("d", "2", "s") and values[node.den + 1] != 2:
        return "rule"
    if letters[:1] == "X" and letters[1:2] == "d" and values[node.den + 1] != 4:
        return "rule"
    return ""
