"""What finished records say: one visit each."""

from __future__ import annotations

import math
import time
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import pairwise
from pathlib import Path

from assistant.card.arithmetic import length_kept
from assistant.clutch.conformity import Measured
from assistant.quantity import FREE_TRAVEL, GAP, ODOMETER
from assistant.readings import read
from assistant.record import RecordError, read_events, records_in
from assistant.record.history import Closed, JobHistory, NotOurs, Opened
from assistant.sentences import sentences
from assistant.toml_file import TomlError, TomlFile

_KIND = (("transmission", "non-synchronized"), ("linkage", "rod"), ("clutch", "manual"))


def say(name: str, **blanks: object) -> str:
    """A sentence of `dialogs/en/wear.toml`."""
    return sentences("wear").say(name, **blanks)


@dataclass(frozen=True, slots=True)
class Visit:
    """One job that was signed off, or closed unfinished with free travel read at its end.

    Attributes:
        unit: the fleet's number of the truck.
        at: when it was closed.
        miles: odometer as found, or None; distance: the unit the shop counts in.
        found, left: free travel as found and as left, inches; None where it was not read.
        gap_found, gap_left: likewise the gap.
        lugs: lugs moved by the gap, positive tightens.
        low_in: lower limit of free travel then in force, inches, or None.
        kind: transmission, linkage and clutch: trucks of one kind are similar.
        lug_in: bearing travel a lug, inches: by the card, else by what the ring did, else None.
        ring_lugs: lugs of the ring from new to its end by the card, or None.
        check_miles: odometer of the next check, as told at sign-off, or None.
        ring_left: lugs left on the ring as left, where somebody looked or the clutch was new.
        fitted: what was fitted new before its readings: "clutch", "brake".
        units: in what lengths are shown on this truck, "inch" or "mm".
    """

    unit: str
    at: datetime
    miles: float | None
    found: Measured | None
    left: Measured | None
    gap_found: Measured | None
    gap_left: Measured | None
    lugs: int
    low_in: float | None
    kind: tuple[str, ...]
    lug_in: float | None
    distance: str
    name: str
    ring_lugs: int | None = None
    check_miles: float | None = None
    ring_left: int | None = None
    fitted: tuple[str, ...] = ()
    units: str = "inch"

    def with_pitch(self) -> Visit:
        """With the bearing travel a lug by what the ring did, where the card does not say it."""
        return self if self.lug_in else replace(self, lug_in=_by_ring(self))


def visits_in(folder: Path, pause_s: float = 0.0) -> tuple[list[Visit], list[str]]:
    """The visits of all finished records in a folder, oldest first, and what was left out and why.

    Of a record and its copies one counts. `pause_s` is rested after each record: a job going on
    meanwhile keeps its pace.

    Raises:
        RecordError: the folder cannot be listed.
    """
    visits: dict[str, Visit] = {}
    problems: list[str] = []
    for path in records_in(folder):
        name = path.name
        why = ""
        try:
            events, problem = read_events(path)
            why = "damaged" if problem else ""
            if not problem and events[0].hash not in visits:
                ends = JobHistory.of([e for e in events if e.kind in ("opened", "closed")])
                if ends.closed is not None and (
                    ends.signed_off or FREE_TRAVEL in ends.closed.as_left
                ):
                    visits[events[0].hash] = visit_of(ends.opened, ends.closed, name)
        except (NotOurs, TomlError, TypeError, ValueError, AttributeError):
            why = "not_ours"  # or with a card that is no card
        except (RecordError, OSError):
            why = "unreadable"
        if why:
            problems.append(say(f"left_out.{why}", record=name))
        elif pause_s:
            time.sleep(pause_s)
    return sorted(visits.values(), key=lambda v: v.at), problems


def visit_of(opened: Opened, closed: Closed, name: str) -> Visit:
    """The visit that a record's opening and closing line tell.

    Raises:
        TomlError, TypeError, ValueError, AttributeError: it holds a card that lugcall does not
            write.
    """
    found, left = closed.as_found, closed.as_left
    odometer, figure = found.get(ODOMETER), opened.figures.get(FREE_TRAVEL)
    table = TomlFile.of(opened.card.text, opened.card.name).tables
    truck, ring, shop = (table.get(name) or {} for name in ("truck", "ring", "shop"))
    lug, lugs = ring.get("lug"), ring.get("lugs")
    return Visit(
        unit=opened.unit,
        at=closed.time,
        miles=(odometer.miles or None) if odometer is not None else None,
        found=length_kept(found.get(FREE_TRAVEL)),
        left=length_kept(left.get(FREE_TRAVEL)),
        gap_found=length_kept(found.get(GAP)),
        gap_left=length_kept(left.get(GAP)),
        lugs=closed.by_gap,
        low_in=None if figure is None else figure.low_in,
        kind=tuple(str(truck.get(key, usual)) for key, usual in _KIND),
        lug_in=read(lug, GAP).value_in if isinstance(lug, str) else None,
        distance=(odometer and odometer.kind) or "miles",
        name=name,
        ring_lugs=lugs if isinstance(lugs, int) and lugs > 0 else None,
        check_miles=closed.next_due.miles if closed.next_due else None,
        ring_left=closed.ring_left,
        fitted=tuple(closed.fitted),
        units=str(shop.get("units", "inch")),
    ).with_pitch()


def _by_ring(visit: Visit) -> float | None:
    """Bearing travel a lug by what the ring did, inches: gap closed over lugs moved."""
    if visit.gap_found is None or visit.gap_left is None or abs(visit.lugs) < 2:
        return None
    pitch = (visit.gap_found.value_in - visit.gap_left.value_in) / visit.lugs
    return pitch if pitch > 0.0 else None


# --- Free travel lost between two visits, adjustments taken out.
#
# From one visit's as-left to the next one's as-found: what was adjusted at a visit lies between its
# own two readings and so drops out. Every reading is used once, so the intervals are independent.

PER_MILES = 10_000.0
"""Distances inside are in this many miles, so that rates are of the size of readings."""
SHORTEST_MILES = 500.0
"""A shorter interval says nothing about wear. From memory."""
LEAST_U_IN = 0.002
"""No interval is known better than this, whatever gauge its ends were read with. From memory."""
GREW = 4.0
"""Free travel found larger by this many standard uncertainties was changed elsewhere."""


@dataclass(frozen=True, slots=True)
class Interval:
    """`lost_in` of free travel, with standard uncertainty `u_in`, over `way` (of 10,000 miles)."""

    way: float
    lost_in: float
    u_in: float


def by_unit(visits: Iterable[Visit]) -> dict[str, list[Visit]]:
    units: dict[str, list[Visit]] = {}
    for visit in sorted(visits, key=lambda v: v.at):
        units.setdefault(visit.unit, []).append(visit)
    return units


def intervals_of(
    visits: Iterable[Visit], by_gap: bool = False
) -> tuple[dict[str, list[Interval]], list[str]]:
    """The intervals of each unit, oldest first, and what was left out and why.

    Wear shrinks free travel and, at the bearing, opens the gap; `by_gap` gives the latter.
    """
    found: dict[str, list[Interval]] = {}
    notes: list[str] = []
    for unit, mine in by_unit(v for v in visits if v.unit).items():
        found[unit] = []
        for before, visit in pairwise(mine):
            interval = _between(before, visit, by_gap)
            if isinstance(interval, Interval):
                found[unit].append(interval)
            else:
                miles = f"{SHORTEST_MILES:,.0f}"
                notes.append(say(f"left_out.{interval}", record=visit.name, miles=miles))
    return found, notes


def _between(before: Visit, visit: Visit, by_gap: bool) -> Interval | str:
    """The interval, or why there is none: the name of the sentence."""
    # A new brake is of another thickness: that shows at the gap, and not at the fork.
    if "clutch" in visit.fitted or (by_gap and visit.fitted):
        return "fitted"
    if before.miles is None or visit.miles is None:
        return "no_odometer"
    more, less = (visit.gap_found, before.gap_left) if by_gap else (before.left, visit.found)
    if more is None or less is None:
        return "not_read"
    miles = visit.miles - before.miles
    if miles < 0:
        return "odometer_back"
    if miles < SHORTEST_MILES:
        return "too_short"
    lost = more.value_in - less.value_in
    u = max(math.hypot(more.u_in, less.u_in), LEAST_U_IN)
    return "went_back" if lost < -GREW * u else Interval(miles / PER_MILES, lost, u)
