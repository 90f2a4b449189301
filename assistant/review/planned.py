"""What the plan led to expect of a job, held against what was read at its end."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from typing import NamedTuple

from assistant.card import Card, CardError, card_from_text, default_card
from assistant.card.arithmetic import lengths_kept, stops_kept
from assistant.pictures.snapshot import SHOWN, PictureError, Snapshot, today_and_after
from assistant.record.history import JobHistory, ReadingKept

FAR = 3.0
"""Planned and measured are far apart where they differ by this many times what either may be off.
From memory of no data, a first guess."""
LEAST_FAR_IN = 1 / 32
"""Nearer than this is never far: a rod's flat or a foot's feel comes to as much. Likewise."""


class Compared(NamedTuple):
    """One quantity: planned, how far off that may be (two standard uncertainties), inches; and as
    it was left."""

    quantity: str
    planned_in: float
    off_in: float
    left: ReadingKept

    @property
    def more_in(self) -> float:
        """Measured less planned, inches."""
        return (self.left.value_in or 0.0) - self.planned_in

    @property
    def far(self) -> bool:
        within = self.left.interval
        own = (within[2] - within[1]) / 2 if within is not None else 0.0
        return abs(self.more_in) > max(LEAST_FAR_IN, FAR * (self.off_in + own))

    def planned(self, units: str) -> str:
        """`1.453 in ± 0.128 in`."""
        return f"{decimals(self.planned_in, units)} ± {decimals(self.off_in, units)}"


def decimals(value_in: float, units: str) -> str:
    """A length that was worked out, `0.521 in` or `13.4 mm`: all of a job in one form, whatever
    forms its readings were called out in."""
    return f"{value_in * 25.4:.1f} mm" if units == "mm" else f"{value_in:.3f} in"


def both_decimals(left_in: float | None, limit_in: float | None, units: str) -> str:
    """A length and its limit: `1.500 / 1.125 in`; "?" for a length that is not known, and nothing
    for a limit."""
    told = [None if one is None else decimals(one, units) for one in (left_in, limit_in)]
    if told[1] is None:
        return told[0] or "?"
    return f"{(told[0] or '?').partition(' ')[0]} / {told[1]}"


@lru_cache(maxsize=4096)
def card_of(text: str) -> Card | None:
    """The card kept in a record; None when this version cannot read it. Kept by its text: a fleet
    has far fewer cards than jobs."""
    try:
        return card_from_text(text, "card") if text else default_card()
    except (CardError, ValueError):
        return None


def units_of(history: JobHistory) -> str:
    """In what lengths are shown: "inch" or "mm"."""
    card = card_of(history.opened.card.text)
    return "inch" if card is None else card.units


def compared(history: JobHistory) -> list[Compared]:
    """The quantities that were planned and read at the end; none where the clutch adjusts itself:
    the maker's procedure sets it."""
    card, left = card_of(history.opened.card.text), history.as_left()
    if card is None or card.clutch == "self-adjusting" or not left:
        return []
    shot = _planned(card, history.last_read("found"))
    found: list[Compared] = []
    if shot is None:
        return found
    for quantity in SHOWN:
        value, kept = shot.values.get(quantity), left.get(quantity)
        if value is not None and kept is not None and kept.value_in is not None:
            found.append(Compared(quantity, value.value_in, 2 * value.u_in, kept))
    return found


def _planned(card: Card, found: Mapping[str, ReadingKept]) -> Snapshot | None:
    """Where the whole plan, worked out from the as-found readings, should have led."""
    try:
        read = lengths_kept(found)
        shots = today_and_after(card, read, locked=stops_kept(card, read))
    except (PictureError, ValueError):
        return None
    return shots[1] if len(shots) > 1 else None
