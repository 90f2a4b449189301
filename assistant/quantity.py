"""What can be asked for, and which values of it a truck can show.

`possible_in` is the hard bound: a value outside is refused with the reason. The windows say which
unit a bare number can be taken in: a number takes the one unit that makes it plausible, and when
two do, we ask. The windows of inches and millimetres never overlap for one number, so "1.5" and
"38" of free travel each have one meaning.

All bounds here are common practice, no source: wide enough for a badly worn clutch, narrow enough
to catch a slipped decimal point.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Quantity:
    """One thing that is read off the truck.

    Attributes:
        name: as the command line spells it.
        spoken: as a person says it.
        unit: "in" for lengths, else the count's unit.
        possible_in: lowest and highest value that can exist, inches (or counts).
        plausible_in: window for a bare number taken as inches.
        plausible_mm: window for a bare number taken as millimetres, in millimetres.
        small: whether thousandths and bare thirty-seconds are usual for it.
        rule_half_in: half the interval a rule or tape is read to, inches.
    """

    name: str
    spoken: str
    unit: str = "in"
    possible_in: tuple[float, float] = (0.0, 40.0)
    plausible_in: tuple[float, float] = (0.0, 20.0)
    plausible_mm: tuple[float, float] = (0.0, 0.0)
    small: bool = False
    rule_half_in: float = 1 / 64


QUANTITIES: dict[str, Quantity] = {
    q.name: q
    for q in (
        Quantity("gap", "gap", "in", (0, 2.0), (0, 1.5), (2.0, 38.0), True),
        Quantity("clearance", "fork clearance", "in", (0, 1.5), (0, 0.8), (0.9, 20.0), True),
        Quantity("bearing-travel", "bearing travel", "in", (0, 2.0), (0, 1.5), (2.0, 38.0), True),
        Quantity(
            "free-travel", "free travel", "in", (0, 8.0), (0, 5.0), (8, 125), rule_half_in=1 / 32
        ),
        Quantity(
            "pedal-height", "pedal height", "in", (1, 24), (2, 20), (50, 500), rule_half_in=1 / 32
        ),
        Quantity(
            "total-travel", "total travel", "in", (1, 20), (2, 16), (50, 400), rule_half_in=1 / 32
        ),
        Quantity(
            "brake-contact",
            "brake contact height",
            "in",
            (0, 12),
            (0, 8),
            (9, 200),
            rule_half_in=1 / 32,
        ),
        Quantity("lugs", "lugs moved", "lugs", (0, 40)),
        Quantity("turns", "turns", "turns", (0, 60)),
        Quantity("flats", "flats", "flats", (0, 360)),
        Quantity("odometer", "odometer", "miles", (0, 5_000_000)),
    )
}

ANY = Quantity("", "length", "in", (0, 40), (0, 0), (0, 0))
"""Nothing was asked for: only words that carry their own unit can be read."""


def quantity_named(name: str) -> Quantity:
    """The quantity called `name`; raises ValueError with the accepted names."""
    if not name:
        return ANY
    try:
        return QUANTITIES[name]
    except KeyError:
        raise ValueError(
            f"there is no quantity {name!r}; use one of {', '.join(QUANTITIES)}"
        ) from None
