"""Gauges: what they show of a true length, and the many ways in which people call it out."""

import random
from dataclasses import dataclass

ONES = (
    "zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen "
    "fifteen sixteen seventeen eighteen nineteen"
).split()
TENS = "twenty thirty forty fifty sixty seventy eighty ninety".split()
PARTS = {2: "half", 4: "quarter", 8: "eighth", 16: "sixteenth", 32: "thirty-second"}
MM = 25.4


@dataclass(frozen=True)
class Gauge:
    """One gauge: the smallest step that is read on it, inches, and how its figures are said."""

    name: str
    step: float
    form: str

    def shows(self, true: float) -> float:
        return round(true / self.step) * self.step

    @property
    def half(self) -> float:
        return self.step / 2


RULE32, RULE16 = Gauge("rule to 1/32", 1 / 32, "parts"), Gauge("rule to 1/16", 1 / 16, "parts")
DIAL = Gauge("dial to 0.001", 0.001, "thou")
CALIPER_MM, RULE_MM = Gauge("caliper to 0.1 mm", 0.1 / MM, "mm"), Gauge("mm rule", 1 / MM, "mm")


def number(n: int) -> str:
    if n < 20:
        return ONES[n]
    if n < 100:
        return TENS[n // 10 - 2] + (f"-{ONES[n % 10]}" if n % 10 else "")
    rest = f" {number(n % 100)}" if n % 100 else ""
    return f"{ONES[n // 100]} hundred{rest}"


def called(value: float, gauge: Gauge, rng: random.Random) -> str:
    """One person's way of saying it."""
    return rng.choice(ways(value, gauge))


def plain(value: float, gauge: Gauge) -> str:
    """Figures with their unit: what is said when the first way was not understood."""
    if gauge.form == "parts":
        return f"{ways(value, gauge)[0]} inch"
    return f"{value:.3f} in" if gauge.form == "thou" else ways(value, gauge)[0]


def ways(value: float, gauge: Gauge) -> list[str]:
    if gauge.form == "parts":
        return _parts(value)
    if gauge.form == "thou":
        return _thou(value)
    return _millimetres(value, gauge is CALIPER_MM)


def _parts(value: float) -> list[str]:
    whole, n = divmod(round(value * 32), 32)
    if n == 0:
        return [str(whole), ONES[whole] if whole < 20 else str(whole)]
    of = 32
    while n % 2 == 0:
        n, of = n // 2, of // 2
    name = PARTS[of]
    article = "an" if of == 8 else "a"
    part = f"{number(n)} {name}s" if n > 1 else f"{article} {name}"
    part = part.replace("halfs", "halves")
    if whole == 0:
        return [f"{n}/{of}", part, part.replace("thirty-second", "thirty second")]
    said = [f"{whole} {n}/{of}", f"{whole}-{n}/{of}", f"{number(whole)} and {part}"]
    return [*said, f"{whole} and {n}/{of}"]


def _thou(value: float) -> list[str]:
    n = round(value * 1000)
    whole, n = divmod(n, 1000)
    if whole:
        return [f"{whole}.{n:03d}", f"{number(whole)} point {_digits(n)}"]
    said = [f"0.{n:03d}", f".{n:03d}", f"{n} thou", f"point {_digits(n)}"]
    if n >= 100 and n % 100 >= 10:
        said.append(f"{ONES[n // 100]} {number(n % 100)}")
    elif n >= 100 and n % 100:
        said.append(f"{ONES[n // 100]} oh {ONES[n % 100]}")
    return said if n else ["0", "zero"]


def _digits(n: int) -> str:
    return " ".join(ONES[int(d)] for d in f"{n:03d}")


def _millimetres(value: float, tenths_shown: bool) -> list[str]:
    tenths = round(value * MM * 10)
    whole, n = divmod(tenths, 10)
    if n == 0 and not (tenths_shown and whole):
        return [f"{whole} mm", f"{number(whole)} millimetres"]
    return [f"{whole}.{n} mm", f"{number(whole)} point {ONES[n]} millimetres", f"{whole}.{n}mm"]
