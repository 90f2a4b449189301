"""Units a shop calls out, and the exact factors between them.

`units.txt` beside this file is a pint definitions file, and all conversions come from it: what a
shop uses as factors, what a card or a command names beyond it through the registry.
Importing pint takes longer than a job takes to start, so the factors are read from the file here,
by a few lines that know no more than it needs; `tests/readings/test_outside.py` holds every one of
them against pint.
"""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pint import UnitRegistry

DEFINITIONS = Path(__file__).with_name("units.txt")

Factor = tuple[float, float]
"""What one unit is of another, as multiplier and divisor: one rounding, so 12.7 mm is exactly
half an inch."""

_METRIC_MM = {"milli": 1, "centi": 10, "": 1000, "kilo": 1_000_000}
_DEFINITION = re.compile(
    r"^(?P<name>\w+) = (?:(?P<times>[\d.]+) \* )?(?P<unit>\w+)(?: / (?P<by>[\d.]+))?(?P<more>.*)$",
    re.MULTILINE,
)
_LENGTH = re.compile(
    r"(?:(?:(?P<whole>\d+)[\s-]+)?(?P<top>\d+)\s*/\s*(?P<bottom>\d+)|(?P<number>\d*[.,]?\d+))"
    r"\s*(?P<unit>[a-z]+|[\"″])"
)
_INCH_MARKS = str.maketrans({'"': "in", "″": "in"})


def _lengths() -> dict[str, Factor]:
    """Inches in one of each unit of length: the file's, each defined by one before, and metres."""
    found: dict[str, Factor] = {}
    for m in _DEFINITION.finditer(DEFINITIONS.read_text(encoding="utf-8")):
        times, by = float(m["times"] or 1), float(m["by"] or 1)
        if m["unit"] == "millimeter":  # the inch
            for prefix, mm in _METRIC_MM.items():
                names = prefix + "meter", prefix + "metre", prefix[:1] + "m"
                found |= dict.fromkeys(names, (mm, times))
            times = 1
        elif m["unit"] in found:
            of = found[m["unit"]]
            times, by = times * of[0], by * of[1]
        else:  # an angle or a count
            continue
        found |= dict.fromkeys((m["name"], *re.findall(r"= ([a-z]\w*)", m["more"])), (times, by))
    return found


INCHES_PER = _lengths()
"""Inches in one of each length unit, by all its names."""
MM_PER_IN = INCHES_PER["mm"][1]
"""Exact by definition."""
FLATS_PER_TURN = 6
"""Of a hex nut."""
MOST_INCHES = 40.0
"""No longer unit is a measure on a truck: a yard is, a mile is not."""
COUNT_UNITS = frozenset({"lugs", "turns", "flats", "miles", "kilometres"})


def to_inches(value: float, unit: str) -> float:
    """Inches in `value` of `unit` (a key of `INCHES_PER`)."""
    times, by = INCHES_PER[unit]
    return value * times / by


def length_in(text: str) -> float:
    """A length written with its unit: "0.027 in", "1-5/8 in", "12,7 mm", "27 thou", '9/16"'.

    Returns inches. Raises ValueError where no number, or no unit of a length, stands there.
    """
    m = _LENGTH.fullmatch(text.strip().lower())
    unit = m["unit"].translate(_INCH_MARKS) if m else ""
    if unit not in INCHES_PER:
        unit = unit.removesuffix("s")
    inches = None if m is None else INCHES_PER.get(unit) or _by_pint(unit)
    if m is None or inches is None or (m["bottom"] and not int(m["bottom"])):
        raise ValueError(f'{text!r} is no length with a unit; write it like "9/16 in" or "12.7 mm"')
    if m["number"]:
        value = float(m["number"].replace(",", "."))
    else:
        value = int(m["whole"] or 0) + int(m["top"]) / int(m["bottom"])
    return value * inches[0] / inches[1]


@cache
def registry() -> UnitRegistry[Any]:
    """Pint's units with the trade's own added: thou, lug, flat, turn."""
    import pint  # takes longer than a job takes to start, and few shops name such units

    found: UnitRegistry[Any] = pint.UnitRegistry(on_redefinition="ignore")
    found.load_definitions(DEFINITIONS)
    return found


def _by_pint(unit: str) -> Factor | None:
    """Inches in one of a unit that a shop seldom names: "ft", "dm", "yards"."""
    try:
        inches = float(registry().Quantity(1.0, unit).to("inch").magnitude)
    except Exception:  # pint has many kinds of error for words that are no unit of length
        return None
    return (inches, 1.0) if 1e-6 < inches < MOST_INCHES else None
