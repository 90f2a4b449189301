"""Units a shop calls out, and the exact factors between them.

`units.txt` beside this file is a pint definitions file, and all conversions come from it. Importing
pint takes longer than a job takes to start, so the factors of the hot path are read from the file
here, by a few lines that know no more than it needs; `tests/readings/test_outside.py` holds every
one of them against pint.
"""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path
from typing import Any

DEFINITIONS = Path(__file__).with_name("units.txt")

Factor = tuple[float, float]
"""What one unit is of another, as multiplier and divisor: one rounding, so 12.7 mm is exactly
half an inch."""

_METRIC_MM = {"milli": 1, "centi": 10, "": 1000, "kilo": 1_000_000}
_DEFINITION = re.compile(
    r"(?P<name>\w+) = (?:(?P<times>[\d.]+) \* )?(?P<unit>\w+)(?: / (?P<by>[\d.]+))?(?P<more>.*)"
)
_LENGTH = re.compile(
    r"(?:(?:(?P<whole>\d+)[\s-]+)?(?P<top>\d+)\s*/\s*(?P<bottom>\d+)|(?P<number>\d*[.,]?\d+))"
    r"\s*(?P<unit>[a-z]+|[\"″])"
)
_INCH_MARKS = str.maketrans({'"': "in", "″": "in"})


def _defined() -> dict[str, tuple[Factor, str]]:
    """Every name in the file, with the factor of the unit that it is defined by."""
    found: dict[str, tuple[Factor, str]] = {}
    for line in DEFINITIONS.read_text(encoding="utf-8").splitlines():
        if line and not line.startswith("#"):
            m = _DEFINITION.fullmatch(line)
            assert m is not None, line
            factor = float(m["times"] or 1), float(m["by"] or 1)
            for name in (m["name"], *re.findall(r"= (\w+)", m["more"])):
                found[name] = factor, m["unit"]
    return found


def _in_inches(defined: dict[str, tuple[Factor, str]]) -> dict[str, Factor]:
    """Inches in one of each unit of length, by every name it has."""
    (mm_per_in, _), _ = defined["inch"]
    found: dict[str, Factor] = {}
    for prefix, mm in _METRIC_MM.items():
        for metre in ("meter", "metre", "m"):
            found[(prefix if len(metre) > 1 else prefix[:1]) + metre] = (mm, mm_per_in)
    for name, ((times, by), unit) in defined.items():
        if unit == "millimeter":
            found[name] = (1, 1)
        elif unit in found:
            found[name] = (times * found[unit][0], by * found[unit][1])
    return found


_UNITS = _defined()
_IN_INCHES = _in_inches(_UNITS)
INCHES_PER = {unit: times / by for unit, (times, by) in _IN_INCHES.items()}
"""Inches in one of each length unit, by all its names."""
MM_PER_IN = _IN_INCHES["mm"][1]
"""Exact by definition."""
FLATS_PER_TURN = int(_UNITS["flat"][0][1])
"""A hex nut has six flats."""
COUNT_UNITS = frozenset({"lugs", "turns", "flats", "miles", "kilometres"})


def to_inches(value: float, unit: str) -> float:
    """Inches in `value` of `unit` (a key of `INCHES_PER`)."""
    times, by = _IN_INCHES[unit]
    return value * times / by


def length_in(text: str) -> float:
    """A length written with its unit: "0.027 in", "1-5/8 in", "12,7 mm", "27 thou", '9/16"'.

    Returns inches. Raises ValueError where no number, or no unit of a length, stands there.
    """
    m = _LENGTH.fullmatch(text.strip().lower())
    unit = m["unit"].translate(_INCH_MARKS) if m else ""
    if unit not in _IN_INCHES:
        unit = unit.removesuffix("s")
    if m is None or unit not in _IN_INCHES or (m["bottom"] and not int(m["bottom"])):
        raise ValueError(f'{text!r} is no length with a unit; write it like "9/16 in" or "12.7 mm"')
    if m["number"]:
        return to_inches(float(m["number"].replace(",", ".")), unit)
    return to_inches(int(m["whole"] or 0) + int(m["top"]) / int(m["bottom"]), unit)


@cache
def registry() -> Any:
    """The one pint registry: pint's own units, and those of `units.txt` over them."""
    import pint

    made: Any = pint.UnitRegistry(on_redefinition="ignore")
    made.load_definitions(DEFINITIONS)
    return made
