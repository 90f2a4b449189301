"""Lugs, turns, flats and miles as they are called out, with their numbers."""

from __future__ import annotations

import random
from fractions import Fraction

from num2words import num2words

from .forms import Said
from .numerals import digits, whole

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
