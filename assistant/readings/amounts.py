"""One amount: a run of kinds becomes a number, its unit, and how finely it was said.

`find` works on kinds alone, once for each shape of words; `evaluate` puts a sentence's values in.
"""

from __future__ import annotations

import re
from typing import NamedTuple

from assistant.readings.language import AMOUNT, FIGURE, WHOLE, Value

_AMOUNT = re.compile(AMOUNT.pattern)
_CHUNK = re.compile(f"{WHOLE.pattern}|o")
_FIGURE = re.compile(FIGURE.pattern)
_UNIT_NAME = dict(
    i="in", I="in", k="thou", M="mm", m="mil", Z="cm", j="ft", r="hundredths", w="tenths", Y="m",
    L="lugs", N="turns", V="flats", l="miles", p="kilometres",
)  # fmt: skip

Span = tuple[int, int]
MILLION = 1_000_000


class AmountAt(NamedTuple):
    """Where one amount stands in the words, and how to compute it."""

    start: int
    end: int
    how: str
    """frac, mixed, dec, typed, seq, one."""
    unit: str | None
    soft: str = ""
    """"" | "whole" | "inch" | "num" | "prefix": which part is only a sound-alike; "clash": the
    amount carries two units."""
    whole: Span | None = None
    chunks: tuple[Span, ...] = ()
    num: Span | None = None
    den: int = -1
    """Index of the token that carries the denominator, or -1."""
    fixed_den: int = 0
    """The denominator where the kinds alone tell it; -2: a typed fraction."""


class Amount(NamedTuple):
    """One number as said. `unit` None: no unit was said. `den` 0: not a fraction."""

    value: float
    unit: str | None
    den: int = 0
    places: int = 0
    digits: str = ""
    problem: str = ""
    """"" | "rest": what follows a million may be thousands | "thousand": they end it | "row": typed
    figures apart | "clash", "half", "improper", "rule", "zero": no such fraction."""


def find(kinds: str) -> list[AmountAt]:
    """Every amount in a string of kinds, left to right."""
    found = (_amount_at(m, kinds) for m in _AMOUNT.finditer(kinds))
    return [node for node in found if node is not None]


def split_mixed(node: AmountAt, kinds: str) -> list[AmountAt] | None:
    """ "seven and eight sixteenths" as two amounts, for after "between"; None when it is not."""
    if node.how != "mixed" or node.whole is None or node.whole[0] == node.whole[1]:
        return None
    a, b = node.whole
    # Only "seven and eight sixteenths": "between two and a half" lacks its second end.
    if kinds[b : b + 1] != "A" or not (node.fixed_den > 2 or kinds[node.den] in "FGW"):
        return None
    first = AmountAt(a, b, "seq", None, chunks=((a, b),))
    return [first, node._replace(start=b + 1, how="frac", whole=None, soft="")]


def _amount_at(m: re.Match[str], kinds: str) -> AmountAt | None:
    s, e = m.span()
    unit = None
    if m["unit"]:
        letters = m["unit"].lstrip("Oa>")
        unit = {"DY": "mm", "D": "mil"}.get(letters) or _UNIT_NAME[letters[0]]
    if m["one"]:
        return AmountAt(s, e, "one", unit)
    if m["frac"]:
        return _fraction(m, kinds, "1", AmountAt(s, e, "frac", unit))
    if m["mixed"]:
        return _fraction(m, kinds, "2", _with_whole(m, kinds, AmountAt(s, e, "mixed", unit)))
    if m["dp"]:
        whole = m.span("dw") if m["dw"] else None
        soft = "whole" if whole and kinds[whole[0]] in "s2" else ""
        return AmountAt(s, e, "dec", unit, soft, whole, _spans(_FIGURE, kinds, *m.span("dp")))
    if m["dec"]:  # "1 .5" is a whole number then a decimal; not one amount
        return AmountAt(s, e, "typed", unit, den=s) if kinds[s] != "n" else None
    a, b = m.span("seq")
    soft = "prefix" if m["pre"] else ""
    a += len(soft) > 0
    if unit is None and not kinds[a:b].strip("7o"):
        return None
    return AmountAt(s, e, "seq", unit, soft, chunks=_spans(_CHUNK, kinds, a, b))


def _spans(pattern: re.Pattern[str], kinds: str, a: int, b: int) -> tuple[Span, ...]:
    return tuple(m.span() for m in pattern.finditer(kinds, a, b))


def _with_whole(m: re.Match[str], kinds: str, node: AmountAt) -> AmountAt:
    """A mixed number's whole part, and the one unit that it may have inside."""
    unit, soft = node.unit, ""
    inner = m["wi1"] or m["wi2"]
    if inner:
        unit = unit or _UNIT_NAME[inner]
    if m["wi1"]:
        whole = (m.start("wi1"), m.start("wi1"))
    else:
        whole = m.span("w")
        if m["w"] in ("s", "2") and kinds[whole[1]] != "A":
            # "to and a quarter" can only be two; "to a quarter" may be plain "to".
            soft = "inch" if m["wi2"] else "whole"
    if inner and m["unit"] and _UNIT_NAME[inner] != unit:
        soft = "clash"  # "two turns and a half flat" has two units, and is asked about
    return node._replace(unit=unit, soft=soft, whole=whole)


def _fraction(m: re.Match[str], kinds: str, g: str, node: AmountAt) -> AmountAt:
    """The fraction of a match whose groups end in `g`."""
    if m["den" + g]:
        start, end = m.span("den" + g)
        letters = kinds[start:end]
        fixed = 16 if letters == "6E" else {"T": 32, "X": 64}.get(letters[0], 0)
        soft = node.soft
        if m["num" + g] in ("s", "2") and letters in ("c", "F", "H") and not soft:
            soft = "num"
        return node._replace(num=m.span("num" + g), den=start, fixed_den=fixed, soft=soft)
    if m["top" + g]:
        return node._replace(num=m.span("top" + g), den=m.start("bot" + g), fixed_den=-1)
    if m["bare" + g]:
        fixed = 32 if m["bare" + g] == "Te" else 0
        return node._replace(den=m.start("bare" + g), fixed_den=fixed)
    span = m.span(node.how)
    at = max(kinds.rfind("h", *span), kinds.rfind("q", *span))
    half = m["halfof" + g]
    if half is None and kinds[at] == "q":
        return node._replace(den=at, fixed_den=-2)
    return node._replace(num=(at - 1, at) if half in ("d", "n", "7") else None, den=at)


def whole_number(kinds: str, values: list[Value], start: int, end: int) -> int:
    """The whole number said by tokens start..end ("four hundred twelve thousand", "a")."""
    if end - start == 1 and kinds[start] != "a":
        return int(values[start])
    total = current = 0
    for kind, value in zip(kinds[start:end], values[start:end], strict=True):
        if kind == "C":
            current = (current or 1) * 100
        elif kind == "K":
            total += (current or 1) * int(value)
            current = 0
        elif kind not in "aA":
            current += int(value)
    return total + current or int(kinds[start] == "a")


def _digits(kinds: str, values: list[Value], chunks: tuple[Span, ...]) -> str:
    """The figures of numbers in a row, one after the other; typed ones with their zeros."""
    return "".join(
        values[a]
        if b - a == 1 and isinstance(values[a], str)
        else str(whole_number(kinds, values, a, b))
        for a, b in chunks
    )


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


def _loose_rest(kinds: str, values: list[Value], chunk: Span) -> bool:
    """Whether a million ends in "two fifty", with no "and" or thousand to tell what these are."""
    at = kinds.rfind("K", *chunk)
    rest = 0 <= at < chunk[1] - 1 and kinds[at + 1] != "A"
    return rest and int(values[at]) == MILLION


def evaluate(node: AmountAt, kinds: str, values: list[Value], keep_soft: bool = False) -> Amount:
    """The amount at `node`. With `keep_soft`, a sound-alike counts as the number it sounds like."""
    how, unit = node.how, node.unit
    if how == "seq":
        digits = _past_thousand(kinds, values, node.chunks) or _digits(kinds, values, node.chunks)
        if keep_soft and node.soft == "prefix":
            digits = str(int(values[node.start])) + digits
        value = float(digits)
        problem = "thousand" if kinds[node.chunks[-1][1] - 1] == "K" else ""
        if _loose_rest(kinds, values, node.chunks[0]):
            rest = value % MILLION
            if rest < 10:  # "a million two" is 1,200,000
                value += rest * (MILLION / 10 - 1)
                digits = f"{value:.0f}"
            else:
                problem = "rest"
        elif any(kinds[b - 1 : b + 1] == "nn" for _, b in node.chunks[:-1]):
            problem = "row"
        return Amount(value, unit, 0, 0, digits, problem)
    if how in ("frac", "mixed"):
        return _evaluate_fraction(node, kinds, values, keep_soft)
    if how == "typed":
        number, places = values[node.den]
        return Amount(number, unit, 0, places)
    if how == "dec":
        whole = "0"
        if node.whole is not None and (keep_soft or node.soft != "whole"):
            whole = _before_point(kinds, values, *node.whole)
        decimals = _digits(kinds, values, node.chunks)
        return Amount(float(f"{whole}.{decimals}"), unit, 0, len(decimals))
    one = 1 if kinds[node.start] == "a" else int(values[node.start])
    return Amount(float(one), unit, 0, 0, str(one))


def _before_point(kinds: str, values: list[Value], a: int, b: int) -> str:
    if "i" in kinds[a:b]:  # "an inch point two five"
        return "1"
    if b - a == 1:
        return str(int(values[a]))
    return _digits(kinds, values, _spans(_CHUNK, kinds, a, b))


def _evaluate_fraction(node: AmountAt, kinds: str, values: list[Value], keep_soft: bool) -> Amount:
    num, den = _over(node, kinds, values, keep_soft)
    problem = _problem(node, kinds, values, num)
    if den == 0:
        return Amount(0.0, node.unit, 0, 0, "", "zero")
    if node.fixed_den == -2 and den in (100, 1000):  # "485/1000" is a decimal in disguise
        return Amount(num / den, node.unit, 0, len(str(den)) - 1, "", problem)
    if den not in _ON_RULES:
        problem = problem or "rule"
    value = num / den
    if node.whole is not None and (keep_soft or node.soft != "whole"):
        a, b = node.whole
        stripped = node.soft == "inch" and not keep_soft  # "to inch and a half": one inch
        value += 1 if b == a or stripped else whole_number(kinds, values, a, b)
        if num >= den:
            problem = problem or "improper"
    return Amount(value, node.unit, den, 0, "", problem)


def _problem(node: AmountAt, kinds: str, values: list[Value], num: int) -> str:
    """What is wrong with the words of a fraction."""
    at, letters = node.den, kinds[node.den : node.den + 2]
    if node.fixed_den <= 0 and num != 1 and letters[0] == "h":
        return "half"
    if node.soft == "clash":
        return "clash"
    if node.how == "frac" and letters[0] in "cF" and num > 1 and num >= int(values[at]):
        return "improper"  # "eight quarter" is eight and a quarter, or two inches
    # "thirty" needs "two" or what sounds like it, "sixty" needs "four".
    second = {"Td": 2, "T2": 2, "Ts": 2, "Xd": 4}.get(letters) if node.fixed_den > 0 else None
    return "rule" if second is not None and values[at + 1] != second else ""


def _over(node: AmountAt, kinds: str, values: list[Value], keep_soft: bool) -> tuple[int, int]:
    """Numerator and denominator."""
    at = node.den
    if node.fixed_den == -2:
        num, den = values[at]
        return num, den
    num = 1
    if node.num is not None and (keep_soft or node.soft != "num"):
        num = whole_number(kinds, values, *node.num)
    if node.fixed_den > 0:
        return num, node.fixed_den
    den = int(values[at])
    # "15 30 seconds", the way a recognizer writes thirty-seconds
    return num, 32 if den == 30 and kinds[at : at + 2] == "ne" else den


_ON_RULES = frozenset((1, 2, 4, 8, 16, 32, 64))
