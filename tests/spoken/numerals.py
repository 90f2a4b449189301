"""Figures into the words that a shop says, each in several ways. Not the program's own speller.

num2words spells whole numbers; what is built from them here is how readings are called out.
"""

import random
from fractions import Fraction

from num2words import num2words

_NAMES = {2: "half", 4: "quarter", 8: "eighth", 16: "sixteenth", 32: "thirty-second"}
_NAMES[64] = "sixty-fourth"


def whole(n: int) -> str:
    """ "four hundred eighty-five", as Americans say it."""
    return num2words(n).replace(",", "").replace(" and ", " ")


def digits(text: str) -> str:
    """ "four oh five"."""
    return " ".join("oh" if c == "0" else whole(int(c)) for c in text)


def hundreds(n: int) -> str:
    """100 to 999 the short way: "four eighty-five", "four oh five", "five hundred"."""
    head, rest = divmod(n, 100)
    if rest == 0:
        return f"{whole(head)} hundred"
    return f"{whole(head)} {whole(rest) if rest > 9 else 'oh ' + whole(rest)}"


def part(f: Fraction, rng: random.Random) -> str:
    """A fraction of an inch below one, without its unit: "nine sixteenths", "a half"."""
    name = _NAMES[f.denominator]
    if f.numerator == 1:
        article = "an" if name == "eighth" else "a"
        return f"{rng.choice((article, article, article, 'one'))} {name}"
    return f"{whole(f.numerator)} {name}s"


def fraction(f: Fraction, rng: random.Random) -> str:
    """A length as a rule shows it, below one inch or above, with or without its unit."""
    n, rest = divmod(f, 1)
    if n == 0:
        return _below_one(rest, rng)
    if not rest:
        return "one inch" if n == 1 else rng.choice((f"{whole(n)} inches", f"{whole(n)} inches"))
    ways = [f"{whole(n)} and {part(rest, rng)}"] * 3
    ways += [f"{whole(n)} and {part(rest, rng)} inches"]
    if n == 1:
        ways += [f"an inch and {part(rest, rng)}"] * 2 + [f"inch and {part(rest, rng)}"]
    return rng.choice(ways)


def _below_one(f: Fraction, rng: random.Random) -> str:
    said = part(f, rng)
    if f == Fraction(1, 2):
        return rng.choice((said, "half", "half an inch", "a half inch"))
    if f == Fraction(1, 4):
        return rng.choice((said, "a quarter inch"))
    return rng.choice((said, said, said, f"{said} of an inch"))


def thou(n: int, rng: random.Random) -> str:
    """10 to 999 thousandths: "four eighty-five", "twenty-seven thou"."""
    unit = rng.choice((" thou", " thousandths"))
    if n < 100:
        return whole(n) + unit
    british = num2words(n).replace(",", "")
    ways = [whole(n) + unit, british + unit, hundreds(n) + unit]
    if n % 100:
        ways += [hundreds(n), hundreds(n), digits(str(n))]
    return rng.choice(ways)


def decimal(n: int, rng: random.Random) -> str:
    """`n` thousandths of an inch as a decimal: "point four nine", "one point six two five"."""
    head, rest = divmod(n, 1000)
    places = f"{rest:03d}"
    if head or rng.random() < 0.6:
        places = places.rstrip("0")
    if not places:
        places = "0"
    lead = whole(head) if head else rng.choice(("", "", "", "zero", "oh"))
    unit = rng.choice(("", "", " inches" if head else " inch"))
    return f"{lead} point {digits(places)}{unit}".strip()


def metric(tenths: int, unit: str, rng: random.Random) -> str:
    """Tenths of a millimetre: "twelve point seven millimeters", "one ninety millimeters"."""
    n, rest = divmod(tenths, 10)
    if rest == 5 and rng.random() < 0.5:
        return f"{whole(n)} and a half {unit}"
    if rest:
        return f"{whole(n)} point {digits(str(rest))} {unit}"
    if n > 100 and n % 100 and rng.random() < 0.6:
        return rng.choice((f"{hundreds(n)} {unit}", f"{num2words(n)} {unit}"))
    return f"{whole(n)} {unit}"
