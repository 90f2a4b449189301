"""Quantity: one thing that is read off the truck or counted, and all that the house knows of it.

This is the only table of quantities. Its names are the keys used everywhere: on the command line,
in cards, in `dialogs/`, in records and in JSON. `possible_in` is the hard bound: a value outside is
refused with the reason. The windows say which unit a bare number can be taken in: a number takes
the one unit that makes it plausible, and when two do, we ask. The windows of inches and millimetres
never overlap for one number, so "1.5" and "38" of free travel each have one meaning.

All bounds here are common practice, no source: wide enough for a badly worn clutch, narrow enough
to catch a slipped decimal point.
"""

from __future__ import annotations

from dataclasses import dataclass

GAP = "gap"
CLEARANCE = "clearance"
FREE_TRAVEL = "free-travel"
PEDAL_HEIGHT = "pedal-height"
TOTAL_TRAVEL = "total-travel"
BRAKE_CONTACT = "brake-contact"
BEARING_TRAVEL = "bearing-travel"
LUGS = "lugs"
RING_LEFT = "ring-left"
TURNS = "turns"
FLATS = "flats"
ODOMETER = "odometer"

MILES_PER = {"miles": 1.0, "kilometres": 1 / 1.609344}
"""Miles in one of what an odometer counts; the international mile is 1609.344 m exactly."""

RING, ROD, STOPS = "ring", "rod", "stops"
"""What can be adjusted; `Quantity.moved_by` names those whose move makes a reading history."""


@dataclass(frozen=True, slots=True)
class Quantity:
    """One quantity.

    Attributes:
        name: its key, as typed and in JSON.
        spoken: its name as people say it, and as it is printed.
        unit: "in" for lengths, else the count's unit.
        possible_in: lowest and highest value that can exist, inches (or counts).
        plausible_in: window for a bare number taken as inches.
        plausible_mm: window for a bare number taken as millimetres, in millimetres.
        mostly_in: where most trucks' readings lie, as found or as left, or None.
        small: whether thousandths and bare thirty-seconds are usual for it.
        also: other names that people use for it.
        step: the part of step ids that read it: "height" in found_height, set_height, final_height.
        fix: the step that puts it right, or "".
        moved_by: the adjusters that change it.
    """

    name: str
    spoken: str
    unit: str = "in"
    possible_in: tuple[float, float] = (0.0, 40.0)
    plausible_in: tuple[float, float] = (0.0, 20.0)
    plausible_mm: tuple[float, float] = (0.0, 0.0)
    mostly_in: tuple[float, float] | None = None
    small: bool = False
    also: tuple[str, ...] = ()
    step: str = ""
    fix: str = ""
    moved_by: tuple[str, ...] = ()

    @property
    def rule_half_in(self) -> float:
        """Half the interval it is read to, inches: with a rule, or the larger ones with a tape."""
        return 1 / 64 if self.small or self.mostly_in is None else 1 / 32

    def read_at(self, stage: str) -> str:
        """The id of the step that reads it in a stage: `read_at("final")` -> "final_height"."""
        return f"{stage}_{self.step}"


QUANTITIES: dict[str, Quantity] = {
    q.name: q
    for q in (
        Quantity(
            GAP, "gap", "in", (0, 2.0), (0, 1.5), (2.0, 38.0), (0.2, 1.1), small=True,
            step="gap", fix="ring_plan", moved_by=(RING,),
        ),
        Quantity(
            CLEARANCE, "fork clearance", "in", (0, 1.5), (0, 0.8), (0.9, 20.0), (0.0, 0.5),
            small=True, also=("clearance",), step="clearance", fix="fork_rod",
            moved_by=(RING, ROD),
        ),
        Quantity(
            BEARING_TRAVEL, "bearing travel", "in", (0, 2.0), (0, 1.5), (2.0, 38.0), (0.2, 1.1),
            small=True,
        ),
        Quantity(
            FREE_TRAVEL, "free travel", "in", (0, 8.0), (0, 5.0), (8, 125), (0.2, 3.5),
            also=("free play", "free pedal"), step="free", fix="free_rod",
            moved_by=(RING, ROD, STOPS),
        ),
        Quantity(
            PEDAL_HEIGHT, "pedal height", "in", (1, 24), (2, 20), (50, 500), (4.0, 12.0),
            step="height", fix="height_stop", moved_by=(STOPS,),
        ),
        Quantity(
            TOTAL_TRAVEL, "total travel", "in", (1, 20), (2, 16), (50, 400), (4.0, 12.0),
            also=("stroke",), step="total", fix="total_stop", moved_by=(STOPS,),
        ),
        Quantity(
            BRAKE_CONTACT, "brake contact height", "in", (0, 12), (0, 8), (9, 200), (0.2, 3.5),
            also=("brake contact", "contact height"), step="contact", fix="contact_rod",
            moved_by=(ROD, STOPS),
        ),
        Quantity(LUGS, "lugs moved", "lugs", (0, 40), also=("lugs", "lug count")),
        Quantity(
            RING_LEFT, "lugs left", "lugs", (0, 40), also=("ring left", "left on the ring"),
            step="ring_left", moved_by=(RING,),
        ),
        Quantity(TURNS, "turns", "turns", (0, 60)),
        Quantity(FLATS, "flats", "flats", (0, 360)),
        Quantity(ODOMETER, "odometer", "miles", (0, 5_000_000), also=("mileage",)),
    )
}  # fmt: skip

SEEN = (RING_LEFT,)
"""Counted at a look inside: no gauge, no limits."""
PEDAL_MOVES = (TOTAL_TRAVEL, FREE_TRAVEL, BRAKE_CONTACT, BEARING_TRAVEL)
"""Readings for which the helper has to move the pedal."""
JUDGED = (GAP, CLEARANCE, PEDAL_HEIGHT, TOTAL_TRAVEL, FREE_TRAVEL, BRAKE_CONTACT)
"""Judged against limits, in the order in which the job reads them last."""
NEVER_TOUCHED = (BRAKE_CONTACT, 0.0)
"""Quantity and high end of a reading that says that the brake is not touched before the floor: it
is no height."""
BY_STEP = {q.step: q for q in QUANTITIES.values() if q.step}
BY_FIX = {q.fix: q for q in QUANTITIES.values() if q.fix}
NAMES = tuple(
    sorted(
        ((said, q.name) for q in QUANTITIES.values() for said in (q.spoken, *q.also)),
        key=lambda pair: -len(pair[0]),
    )
)
"""What people call a quantity, and which it is; the longest first."""

ANY = Quantity("", "length", "in", (0, 40), (0, 0), (0, 0))
"""Nothing was asked for: only words that carry their own unit can be read."""
BY_NAME = {"": ANY, **QUANTITIES}


def quantity_named(name: str) -> Quantity:
    """The quantity called `name`; raises ValueError with the accepted names."""
    try:
        return BY_NAME[name]
    except KeyError:
        raise ValueError(
            f"there is no quantity {name!r}; use one of {', '.join(QUANTITIES)}"
        ) from None


def spoken_name(name: str) -> str:
    """How people call the quantity `name`; the name itself where it is none of these."""
    known = QUANTITIES.get(name)
    return name if known is None else known.spoken


def name_in(words: str, quantity: str) -> str:
    """The name that a quantity found in `NAMES` has in `words`, the longest."""
    q = QUANTITIES[quantity]
    return max((n for n in (q.spoken, *q.also) if n in words), key=len)
