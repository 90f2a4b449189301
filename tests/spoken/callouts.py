"""What a person calls out for a true value: form by form, other words the second time, then digits.

Each line carries what its caller means by it, worked out from the figures; the reader has to agree,
as in `phrases`.
"""

import random
import re
from dataclasses import dataclass
from fractions import Fraction

from assistant.readings import Reading, read

from . import forms, numerals
from .forms import MM, Said
from .phrases import plain, true

SMALL = ("gap", "clearance")


@dataclass(frozen=True, slots=True)
class Line:
    """Something said.

    Attributes:
        text: for a talker. words: plain, as a grammar spells it.
        meant: the reading its caller means, None for what is no reading.
        kind: the form, or "command".
    """

    text: str
    words: str
    meant: Reading | None = None
    kind: str = "command"


def command(text: str) -> Line:
    """A line that is no reading."""
    return Line(text, plain(text))


def call(quantity: str, value_in: float, attempt: int, finer: bool, rng: random.Random) -> Line:
    """A reading of `value_in` called out, the `attempt`-th time (from 0), in thousandths if
    `finer`. From the third time on it is mostly spelled in digits, as lugcall proposes."""
    for _ in range(200):
        said = _drawn(quantity, value_in, attempt, finer, rng)
        line = _line(quantity, said, attempt, rng)
        if line is not None:
            return line
    raise ValueError(f"no way found to say {value_in} of {quantity}")


def count(n: int, rng: random.Random) -> Line:
    """Lugs moved; negative loosens."""
    said = "one" if abs(n) == 1 else "zero" if n == 0 else numerals.whole(abs(n))
    unit = "lug" if abs(n) == 1 else "lugs"
    way = "tighter" if n > 0 else "looser"
    ways = [f"{said} {unit}", f"{said} {unit} {way}", f"I went {said} {unit}"]
    text = rng.choice(ways if n > 0 else ways[1:2] if n else ways[:1])
    return Line(text, plain(text), read(plain(text), "lugs"), "lugs")


def left(n: int, rng: random.Random) -> Line:
    """Lugs left on the ring, as they are seen."""
    said = plain(rng.choice((f"{numerals.whole(n)} lugs", numerals.whole(n))))
    return Line(said, said, read(said, "ring-left"), "ring-left")


def in_figures(quantity: str, value_in: float) -> Line:
    """The same figure by figure and no other way, thousandths where they are meant."""
    said = _digits(value_in, 3 if quantity in SMALL else 2)
    bare = said.text.removeprefix("point ")
    meant = read(plain(bare), quantity)
    # "Zero four one" is no way that the ears await: lugcall itself proposes "point zero four one".
    text = bare if true(said, meant) and value_in >= 0.1 else said.text
    return Line(text, plain(text), read(plain(text), quantity), said.kind)


def miles(n: int, attempt: int, rng: random.Random, figures: bool = False) -> Line:
    """An odometer, in full or figure by figure; the latter always if `figures`."""
    full = not figures and (attempt == 1 or (attempt == 0 and rng.random() < 0.6))
    text = numerals.whole(n).replace("-", " ") if full else numerals.digits(str(n))
    text = text.replace("oh", "zero") if figures else text
    return Line(text, plain(text), read(plain(text), "odometer"), "odometer")


def _line(quantity: str, said: Said, attempt: int, rng: random.Random) -> Line | None:
    text = said.text
    if attempt == 0 and rng.random() < 0.12:
        text = rng.choice(forms.LEADS["test"]).format(text)
    meant = read(plain(text), quantity)
    return Line(text, plain(text), meant, said.kind) if true(said, meant) else None


def _drawn(quantity: str, value: float, attempt: int, finer: bool, rng: random.Random) -> Said:
    small = quantity in SMALL
    if attempt >= 2 and attempt % 3 != 0:
        return _digits(value, 3 if small else 2)
    if finer:
        return _thou(value, rng) if attempt == 0 else _decimal(value, small, rng)
    weights = (46, 20, 10, 9, 8, 4, 3) if small else (64, 0, 11, 11, 8, 4, 2)
    if attempt == 1:
        weights = (30, 35, 20, 0, 0, 0, 0) if small else (60, 0, 40, 0, 0, 0, 0)
    form = rng.choices(("rule", "thou", "decimal", "metric", "shade", "between", "offset"), weights)
    match form[0]:
        case "rule":
            f = _on_rule(value, small, rng)
            kind = "mixed" if f >= 1 else "fraction"
            return Said(numerals.fraction(f, rng), kind, (), f)
        case "thou":
            return _thou(value, rng)
        case "decimal":
            return _decimal(value, small, rng)
        case "metric":
            tenths = round(value / float(MM) * 10)
            tenths = tenths if small else round(tenths / 10) * 10
            text = numerals.metric(tenths, forms.MILLIMETRES["test"], rng)
            return Said(text, "metric", (), tenths * MM / 10)
        case "shade":
            return _shade(value, small, rng)
        case "between":
            step = Fraction(1, 16 if small else 8)
            low = max(step, step * int(value / float(step)))
            ends = [
                numerals.fraction(x, rng).removesuffix(" of an inch") for x in (low, low + step)
            ]
            return Said(
                forms.BETWEEN["test"][0].format(*ends), "between", (), None, low, low + step
            )
        case _:
            return _offset(value, small, rng)


def _on_rule(value: float, small: bool, rng: random.Random, coarse: bool = False) -> Fraction:
    ticks = rng.choices((16, 32, 64), (10, 60, 30))[0] if small else rng.choice((8, 16, 16))
    ticks = ticks if not coarse else 16 if small else 8
    return Fraction(max(1, round(value * ticks)), ticks)


def _thou(value: float, rng: random.Random) -> Said:
    n = max(25, round(value * 1000))
    return Said(numerals.thou(n, rng), "thou", (), Fraction(n, 1000))


def _decimal(value: float, small: bool, rng: random.Random) -> Said:
    n = round(value * 1000) if small else round(value * 20) * 50
    return Said(numerals.decimal(n, rng), "decimal", (), Fraction(n, 1000))


def _digits(value: float, places: int) -> Said:
    f = Fraction(round(value * 10**places), 10**places)
    head, rest = divmod(f, 1)
    after = f"{int(rest * 10**places):0{places}d}"
    lead = numerals.whole(int(head)) + " " if head else ""
    # "Zero", as lugcall itself reads it back: "oh" was not understood before.
    spelled = numerals.digits(after).replace("oh", "zero")
    return Said(f"{lead}point {spelled}", "digits", (), f)


def _shade(value: float, small: bool, rng: random.Random) -> Said:
    f = _on_rule(value, small, rng, coarse=True)
    over = value >= f
    pattern = rng.choice([p for p in forms.SHADES["test"] if _is_over(p) == over])
    text = numerals.fraction(f, rng).removesuffix(" of an inch")
    if pattern.startswith("a shy"):
        text = text.removeprefix("a ").removeprefix("an ")
    return Said(pattern.format(text), "shade", (), None, *((f, None) if over else (None, f)))


def _is_over(pattern: str) -> bool:
    return "over" in pattern or "fat" in pattern


def _offset(value: float, small: bool, rng: random.Random) -> Said:
    by = Fraction(1, 32 if small else 16)
    base = _on_rule(value - float(by), small, rng, coarse=True)
    text = numerals.fraction(base, rng).removesuffix(" of an inch")
    step = numerals.part(by, rng).replace("one ", "a ")
    return Said(f"{text} plus {step}", "offset", (), base + by)


def code(figures: str) -> str:
    """A technician's code, figure by figure."""
    return numerals.digits(figures).replace("oh", "zero")


def figure(text: str) -> float | None:
    """The length in inches that figures begin with: "1-5/8 in", "0.485 in", "12.7 mm"."""
    found = re.match(r"(?:(\d+)-)?(\d+(?:\.\d+)?|\d+/\d+)(?:/(\d+))? (in|mm)\b", text)
    if found is None:
        return None
    whole, top, bottom, unit = found.groups()
    value = float(whole or 0) + float(top) / float(bottom or 1)
    return value / 25.4 if unit == "mm" else value


def lugs_in(text: str) -> int:
    """ "5 lugs tighter. Turn the ring." as a signed count."""
    found = re.match(r"(\d+) lugs?(?: (tighter|looser))?", text)
    if found is None:
        return 0
    return int(found[1]) * (-1 if found[2] == "looser" else 1)


def same(text: str, line: Line) -> bool:
    """Whether the figures that a reply begins with are what was meant.

    The same value in other figures will do ("0.5 in" for a half), a shade or a range only as it
    was said.
    """
    meant = line.meant
    if text.startswith((f"{meant.figures}.", f"{meant.figures}:", f"{meant.figures} ")):
        return not text.startswith(f"{meant.figures} to ")
    shaded = re.match(r"just|\S+ in to", meant.figures) or re.match(r"just|\S+ in to", text)
    value = figure(text)
    if shaded or value is None or meant.value_in is None:
        return False
    return abs(value - meant.value_in) < 1e-6


def fits(reading: Reading, line: Line) -> bool:
    """Whether a reading offered is what was meant."""
    if reading.count is not None or line.meant.count is not None:
        return reading.count == line.meant.count
    if reading.value_in is None or line.meant.value_in is None:
        return False
    return abs(reading.value_in - line.meant.value_in) < 1e-6
