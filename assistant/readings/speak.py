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
_DEN = {2: "half", 4: "quarter", 8: "eighth", 16: "sixteenth", 32: "thirty-second"}
_DEN[64] = "sixty-fourth"

Form = tuple[str, int]
"""("f", denominator), ("d", decimal places of an inch) or ("m", decimal places of a millimetre)."""


def number_words(n: int) -> str:
    """A whole number 0..999,999,999 in words, the American way, without "and"."""
    if n < 0 or n > 999_999_999:
        raise ValueError(f"{n} is outside 0 to 999,999,999; say it in figures")
    parts = []
    for size, name in ((1_000_000, "million"), (1000, "thousand")):
        if n >= size:
            parts.append(f"{_below_thousand(n // size)} {name}")
            n %= size
    if n or not parts:
        parts.append(_below_thousand(n))
    return " ".join(parts)


def _below_thousand(n: int) -> str:
    words = []
    if n >= 100:
        words += [SMALL[n // 100], "hundred"]
        n %= 100
    if n >= 20:
        tens = TENS[n // 10]
        words.append(f"{tens}-{SMALL[n % 10]}" if n % 10 else tens)
    elif n or not words:
        words.append(SMALL[n])
    return " ".join(words)


def fraction_words(value: float, den: int) -> str:
    """ "nine sixteenths", "one and five eighths", "two inches"; value in inches, den 1 to 64."""
    whole, num, den = _split(value, den)
    if num == 0:
        return "one inch" if whole == 1 else f"{number_words(whole)} inches"
    name = _DEN[den]
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
    if value_in < 0:
        return "-" + length_figures(*near(-value_in, units))
    return length_figures(*near(value_in, units))


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
    whole = int(count)
    part = count - whole
    one = unit[:-1]
    if abs(part) < 1e-6:
        return f"{number_words(whole)} {one if whole == 1 else unit}"
    flats = part * 6
    if unit == "turns" and abs(flats - round(flats)) < 1e-3 and round(flats) != 3:
        tail = count_words(float(round(flats)), "flats")
        return f"{count_words(float(whole), 'turns')} and {tail}" if whole else tail
    quarters = Fraction(part).limit_denominator(64)
    if abs(float(quarters) - part) < 1e-9 and quarters.denominator in _DEN:
        words = fraction_words(float(quarters), quarters.denominator)
        if whole:
            return f"{number_words(whole)} and {words} {unit}"
        return f"{words} {one}"
    tenths = f"{part:.6f}".rstrip("0")[2:]
    return f"{number_words(whole)} point {' '.join(SMALL[int(d)] for d in tenths)} {unit}"


def count_figures(count: float, unit: str) -> str:
    """`3 lugs`, `1.5 turns`, `412,350 miles`."""
    flats = count * 6
    if unit == "turns" and count != int(count) and abs(flats - round(flats)) < 1e-3:
        turns, left = divmod(round(flats), 6)
        if left != 3:
            tail = count_figures(float(left), "flats")
            return f"{count_figures(float(turns), 'turns')} {tail}" if turns else tail
    number = f"{count:,.0f}" if count == int(count) else f"{count:,.6f}".rstrip("0")
    return f"{number} {unit[:-1] if count == 1 else unit}"


def _split(value: float, den: int) -> tuple[int, int, int]:
    ticks = round(value * den)
    whole, num = divmod(ticks, den)
    while den > 1 and num % 2 == 0:
        num //= 2
        den //= 2
    return whole, num, den
