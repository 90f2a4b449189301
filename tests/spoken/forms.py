"""Ways to call a length out, each with its truth worked out from the figures, not the words."""

import random
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction

from num2words import num2words

from . import numerals
from .numerals import digits, whole

MM = Fraction(10, 254)
"""Inches in a millimetre."""


@dataclass(frozen=True, slots=True)
class Range:
    """What values of a quantity a job shows. Common practice, no source.

    Attributes:
        low, high: inches.
        rule: how often it is read in halves and wholes, quarters, eighths, ... sixty-fourths.
        small: whether it is also called in thousandths.
        gauged: whether a go/no-go gauge fits there.
    """

    low: Fraction
    high: Fraction
    rule: tuple[int, ...]
    small: bool = False
    gauged: bool = False


def _range(low: str, high: str, rule: str, small: bool = False, gauged: bool = False) -> Range:
    return Range(Fraction(low), Fraction(high), tuple(map(int, rule.split())), small, gauged)


RANGES = {
    "gap": _range("5/16", "7/8", "3 2 4 8 5 3", True, True),
    "clearance": _range("1/32", "5/16", "0 1 4 6 6 4", True, True),
    "bearing-travel": _range("3/8", "3/4", "3 2 4 8 4 2", True, True),
    "free-travel": _range("3/8", "11/4", "3 4 6 6 1 0"),
    "pedal-height": _range("6", "19/2", "4 5 6 2 0 0"),
    "total-travel": _range("6", "10", "4 5 6 2 0 0"),
    "brake-contact": _range("3/8", "3/2", "2 3 6 6 1 0"),
}
SHADES = {
    "tuning": ("{} shy", "{} fat", "just over {}", "a hair over {}", "a scant {}", "a fat {}"),
    "test": ("{} shy", "{} fat", "just under {}", "a touch over {}", "a hair under {}", "a shy {}"),
}
BETWEEN = {
    "tuning": ("between {} and {}",),
    "test": ("between {} and {}", "{} to {}"),
}
GAUGES = {
    "tuning": ("goes on {}, no go on {}", "{} goes, {} doesn't"),
    "test": ("goes on {}, no go on {}", "fits {} but not {}"),
}
LEADS = {
    "tuning": ("it's {}", "I got {}", "reads {}", "I got {}", "{}, boss"),
    "test": ("it's {}", "I'm reading {}", "call it {}", "looks like {}", "{}, chief"),
}
MILLIMETRES = {"tuning": "millimeters", "test": "millimetres"}


@dataclass(frozen=True, slots=True)
class Said:
    """One calling out and its truth, inches.

    Attributes:
        text: with the commas a talker needs.
        kind: the form's name.
        key: the figures it was made of; a split has its own.
        value: exact, or None when only a stretch is said.
        low, high: ends that must be met exactly, or None.
    """

    text: str
    kind: str
    key: tuple[int, ...]
    value: Fraction | None
    low: Fraction | None = None
    high: Fraction | None = None


def on_rule(q: Range, rng: random.Random) -> Fraction:
    """A value that a rule shows, as finely as it is usually read."""
    while True:
        den = 2 ** (rng.choices(range(1, 7), q.rule)[0])
        ticks = rng.randint(-(-q.low * den // 1), q.high * den // 1)
        found = Fraction(ticks, den)
        if found.denominator in (den, 1 if den == 2 else den):
            return found


def _key(f: Fraction) -> tuple[int, ...]:
    return f.numerator, f.denominator


def rule(q: Range, split: str, rng: random.Random) -> Said:
    f = on_rule(q, rng)
    return Said(numerals.fraction(f, rng), "mixed" if f >= 1 else "fraction", _key(f), f)


def thou(q: Range, split: str, rng: random.Random) -> Said:
    n = rng.randint(int(q.low * 1000), int(q.high * 1000))
    n -= n % 5 if rng.random() < 0.6 else 0
    n = max(n, 25)
    return Said(numerals.thou(n, rng), "thou", (n,), Fraction(n, 1000))


def decimal(q: Range, split: str, rng: random.Random) -> Said:
    n = rng.randint(int(q.low * 1000), int(q.high * 1000))
    if not q.small:
        n = (
            round(n / rng.choice((250, 125, 100, 50))) * 125
            if rng.random() < 0.5
            else n // 100 * 100
        )
        n = min(max(n, int(q.low * 1000)), int(q.high * 1000))
    return Said(numerals.decimal(n, rng), "decimal", (n,), Fraction(n, 1000))


def metric(q: Range, split: str, rng: random.Random) -> Said:
    tenths = rng.randint(int(q.low / MM * 10) + 1, int(q.high / MM * 10))
    if not q.small:
        tenths = round(tenths / 10) * 10
    elif rng.random() < 0.5:
        tenths = max(5, round(tenths / 5) * 5)
    text = numerals.metric(tenths, MILLIMETRES[split], rng)
    return Said(text, "metric", (tenths,), tenths * MM / 10)


def shade(q: Range, split: str, rng: random.Random) -> Said:
    f = on_rule(q, rng)
    pattern = rng.choice(SHADES[split])
    text = numerals.fraction(f, rng)
    if pattern.startswith(("a scant", "a fat", "a shy")):
        text = text.removeprefix("a ").removeprefix("an ")
    if pattern.endswith(("shy", "fat")):
        text = text.removesuffix(" of an inch")
    over = "over" in pattern or "fat" in pattern
    ends = (f, None) if over else (None, f)
    return Said(pattern.format(text), "shade", _key(f), None, *ends)


def _pair(q: Range, rng: random.Random) -> tuple[Fraction, Fraction]:
    """Two neighbours on the rule."""
    step = Fraction(1, 16) if q.small else Fraction(1, 8)
    low = round(on_rule(q, rng) / step) * step
    low = min(max(low, step), Fraction(7, 8) if q.small else q.high)
    return low, low + step * (1 if q.small else rng.choice((1, 1, 2)))


def between(q: Range, split: str, rng: random.Random) -> Said:
    low, high = _pair(q, rng)
    text = rng.choice(BETWEEN[split]).format(
        *(numerals.fraction(x, rng).removesuffix(" of an inch") for x in (low, high))
    )
    return Said(text, "between", _key(low), None, low, high)


def gauge(q: Range, split: str, rng: random.Random) -> Said:
    low, high = _pair(q, rng)
    said = [numerals.part(x, rng) for x in (low, high)]
    if low == Fraction(1, 2):
        said[0] = "the half"
    return Said(rng.choice(GAUGES[split]).format(*said), "gauge", _key(low), None, low, high)


def offset(q: Range, split: str, rng: random.Random) -> Said:
    f = round(on_rule(q, rng) * 8) / Fraction(8) or Fraction(1, 8)
    by = Fraction(1, rng.choice((16, 32, 64) if q.small else (8, 16)))
    less = rng.random() < 0.6 and f > by
    total = f - by if less else f + by
    base, step = numerals.fraction(f, rng), numerals.part(by, rng).replace("one ", "a ")
    step = step.replace("a eighth", "an eighth")
    if split == "test" and rng.random() < 0.4:
        text = f"{step} {'under' if less else 'over'} {base}"
    else:
        base = base.removesuffix(" of an inch")
        text = f"{base} {'minus' if less else 'plus'} {step}"
    return Said(text, "offset", _key(total), total)


Form = Callable[[Range, str, random.Random], Said]

WEIGHTS: tuple[tuple[Form, int, int], ...] = (
    (rule, 40, 62),
    (thou, 18, 0),
    (decimal, 10, 11),
    (metric, 9, 12),
    (shade, 9, 8),
    (between, 5, 4),
    (gauge, 4, 0),
    (offset, 5, 3),
)
"""How often each form is used, for small quantities and for the pedal's. No source."""


LUGS = {
    "tuning": ("{} {lugs}", "{} {lugs}", "{} {lugs} tighter", "moved it {} {lugs}", "{}"),
    "test": ("{} {lugs}", "{} {lugs}", "{} {lugs} looser", "I went {} {lugs}", "{} {lugs} in"),
}
FLATS = {
    "tuning": ("{} {flats}", "{} {flats}", "gave it {} {flats}", "{} {flats} tighter"),
    "test": ("{} {flats}", "{} {flats}", "backed it off {} {flats}", "it took {} {flats}"),
}


def lugs(split: str, rng: random.Random) -> Said:
    n = rng.choice((1, 1, 2, 2, 3, 3, 4, 5, 6, 7, 8, 9, 10, 12))
    return _counted(LUGS[split], "lugs", n, rng)


def flats(split: str, rng: random.Random) -> Said:
    n = rng.choice((1, 1, 2, 2, 3, 3, 4, 5, 6, 7, 8))
    return _counted(FLATS[split], "flats", n, rng)


def _counted(patterns: tuple[str, ...], unit: str, n: int, rng: random.Random) -> Said:
    one = unit[:-1]
    said = rng.choice(("one", "a")) if n == 1 else whole(n)
    text = rng.choice(patterns).format(said, **{unit: one if n == 1 else unit})
    return Said(text, unit, (), Fraction(n))


_QUARTERS = {1: "a quarter", 2: "a half", 3: "three quarters"}


def turns(split: str, rng: random.Random) -> Said:
    """In quarters, or in whole turns and flats (sixths)."""
    n = rng.randint(0, 5)
    if n and rng.random() < 0.35:
        k = rng.choice((1, 2, 4, 5))
        text = f"{_turns(n)} and {rng.choice(('one', 'a')) if k == 1 else whole(k)} flat"
        return Said(text + ("s" if k > 1 else ""), "turns", (), n + Fraction(k, 6))
    k = rng.randint(0 if n else 1, 3)
    if k == 0:
        return Said(_turns(n), "turns", (), Fraction(n))
    if n == 0:
        text = {1: "a quarter turn", 2: "half a turn", 3: "three quarters of a turn"}[k]
    elif n == 1:
        text = rng.choice((f"a turn and {_QUARTERS[k]}", f"one and {_QUARTERS[k]} turns"))
    else:
        text = f"{whole(n)} and {_QUARTERS[k]} turns"
    return Said(text, "turns", (), n + Fraction(k, 4))


def _turns(n: int) -> str:
    return "one turn" if n == 1 else f"{whole(n)} turns"


def odometer(split: str, rng: random.Random) -> Said:
    """Miles, to the thousand, in full, or figure by figure."""
    n = rng.randint(60_000, 990_000)
    way = rng.random()
    if way < 0.3:
        n -= n % 1000
        return Said(f"{whole(n)}{rng.choice(('', ' miles'))}", "odometer", (), Fraction(n))
    if way < 0.6:
        n -= n % 10
        said = num2words(n).replace(",", "") if split == "test" else whole(n)
        return Said(said.replace("-", " "), "odometer", (), Fraction(n))
    return Said(digits(str(n)), "odometer", (), Fraction(n))
