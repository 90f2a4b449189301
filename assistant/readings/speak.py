"""Quantities back into trade words, and into the figures a screen shows.

What is spoken reads back as the same quantity, for fractions to 64ths, decimals and millimetres
(property tests). Decimals are said digit by digit: "fifteen" and "fifty" sound alike in noise,
"one five" and "five zero" do not.
"""

from __future__ import annotations

from fractions import Fraction

from assistant.readings.units import MM_PER_IN

SMALL = (
    "zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen "
    "fifteen sixteen seventeen eighteen nineteen"
).split()
TENS = "_ _ twenty thirty forty fifty sixty seventy eighty ninety".split()
DENOMINATORS = {
    2: "half", 4: "quarter", 8: "eighth", 16: "sixteenth", 32: "thirty-second", 64: "sixty-fourth"
}  # fmt: skip
"""What a rule is divided into."""

Form = tuple[str, int]
"""("f", denominator), ("d", decimal places of an inch) or ("m", decimal places of a millimetre)."""


def number_words(n: int) -> str:
    """A whole number 0..999,999,999 in words, the American way.

    "And" only where a number would else be more: "one million two" is 1,200,000.
    """
    if not 0 <= n <= 999_999_999:
        raise ValueError(f"{n} is outside 0 to 999,999,999; say it in figures")
    for size, name in ((1_000_000, "million"), (1000, "thousand"), (100, "hundred")):
        if n >= size:
            words, rest = f"{number_words(n // size)} {name}", n % size
            and_ = "and " if size == 1_000_000 and rest < 1000 else ""
            return f"{words} {and_}{number_words(rest)}" if rest else words
    tens, ones = divmod(n, 10)
    if n < 20:
        return SMALL[n]
    return f"{TENS[tens]}-{SMALL[ones]}" if ones else TENS[tens]


def fraction_words(value: float, den: int) -> str:
    """ "nine sixteenths", "one and five eighths", "two inches"; value in inches, den 1 to 64."""
    whole, num, den = _split(value, den)
    if num == 0:
        return "one inch" if whole == 1 else f"{number_words(whole)} inches"
    name = DENOMINATORS[den]
    if num > 1:
        name = "halves" if den == 2 else name + "s"
    part = f"{number_words(num)} {name}"
    return f"{number_words(whole)} and {part}" if whole else part


def decimal_words(value: float, places: int, unit: str) -> str:
    """ "point four eight five inch", "twelve point seven millimetres"."""
    text = f"{value:.{places}f}"
    whole, _, after = text.partition(".")
    words = [] if whole == "0" and after and unit == "inch" else [number_words(int(whole))]
    if after:
        words.append("point")
        words += [SMALL[int(d)] for d in after]
    if unit == "inch":
        words.append("inch" if float(text) <= 1 else "inches")
    else:
        words.append("millimetre" if float(text) == 1 else "millimetres")
    return " ".join(words)


def length_words(value_in: float, form: Form) -> str:
    """A length in the form it was said in."""
    kind, detail = form
    if kind == "f":
        return fraction_words(value_in, detail)
    if kind == "d":
        return decimal_words(value_in, detail, "inch")
    return decimal_words(value_in * MM_PER_IN, detail, "mm")


def length_figures(value_in: float, form: Form) -> str:
    """The same in figures: `9/16 in`, `1-5/8 in`, `0.485 in`, `12.7 mm`."""
    kind, detail = form
    if kind == "d":
        return f"{value_in:.{detail}f} in"
    if kind == "m":
        return f"{value_in * MM_PER_IN:.{detail}f} mm"
    whole, num, den = _split(value_in, detail)
    if num == 0:
        return f"{whole} in"
    return f"{whole}-{num}/{den} in" if whole else f"{num}/{den} in"


def near_figures(value_in: float, units: str = "inch") -> str:
    """A computed length as a rule shows it: to the nearest 1/64, or 0.1 mm; may be below zero."""
    return "-" * (value_in < 0) + length_figures(*near(abs(value_in), units))


def limit_figures(value_in: float, units: str = "inch") -> str:
    """A limit exactly as it stands: `9/16 in` on a rule's grid, else `0.520 in`; `12.7 mm`."""
    return length_figures(value_in, _limit_form(value_in, units))


def limit_words(value_in: float, units: str = "inch") -> str:
    """The same in words: "nine sixteenths", "point five two zero inch"."""
    kind, detail = _limit_form(value_in, units)
    if kind == "m" and abs(value_in * MM_PER_IN - round(value_in * MM_PER_IN)) < 1e-6:
        detail = 0  # "thirteen millimetres", not "thirteen point zero"
    return length_words(value_in, (kind, detail))


def _limit_form(value_in: float, units: str) -> Form:
    if units == "mm":
        tenths = value_in * MM_PER_IN * 10
        return ("m", 1) if abs(tenths - round(tenths)) < 1e-6 else ("m", 2)
    return ("f", 64) if abs(value_in * 64 - round(value_in * 64)) < 1e-9 else ("d", 3)


def near(value_in: float, units: str = "inch") -> tuple[float, Form]:
    """Round a computed length to what a rule shows, and the form to say it in."""
    if units == "mm":
        return round(value_in * MM_PER_IN, 1) / MM_PER_IN, ("m", 1)
    return round(value_in * 64) / 64, ("f", 64)


def count_words(count: float, unit: str) -> str:
    """ "three lugs", "one and a half turns", "two turns and one flat"."""
    return " and ".join(_one_count_words(n, of) for n, of in _turns_and_flats(count, unit))


def _one_count_words(count: float, unit: str) -> str:
    whole = int(count)
    part = count - whole
    one = unit[:-1]
    if abs(part) < 1e-6:
        return f"{number_words(whole)} {one if whole == 1 else unit}"
    quarters = Fraction(part).limit_denominator(64)
    if abs(float(quarters) - part) < 1e-9 and quarters.denominator in DENOMINATORS:
        words = fraction_words(float(quarters), quarters.denominator)
        return f"{number_words(whole)} and {words} {unit}" if whole else f"{words} {one}"
    tenths = f"{part:.6f}".rstrip("0")[2:]
    return f"{number_words(whole)} point {' '.join(SMALL[int(d)] for d in tenths)} {unit}"


def count_figures(count: float, unit: str) -> str:
    """`3 lugs`, `1.5 turns`, `412,350 miles`."""
    shown = []
    for n, of in _turns_and_flats(count, unit):
        number = f"{n:,.0f}" if n == int(n) else f"{n:,.6f}".rstrip("0")
        shown.append(f"{number} {of[:-1] if n == 1 else of}")
    return " ".join(shown)


def _turns_and_flats(count: float, unit: str) -> list[tuple[float, str]]:
    """Turns and the whole flats that they end in, but for a half turn; all else as it is."""
    turns, flats = divmod(float(round(count * 6)), 6)
    if unit != "turns" or flats in (0, 3) or abs(count * 6 - round(count * 6)) >= 1e-3:
        return [(count, unit)]
    both = [(turns, "turns"), (flats, "flats")]
    return both if turns else both[1:]


def _split(value: float, den: int) -> tuple[int, int, int]:
    """Wholes, numerator and denominator of a value to 1/den, in lowest terms."""
    part = Fraction(round(value * den), den)
    return *divmod(part.numerator, part.denominator), part.denominator
