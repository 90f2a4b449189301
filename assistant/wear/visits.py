"""What finished records say: one visit each."""

from __future__ import annotations

import os
import time
import tomllib
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from assistant.clutch.uncertainty import Measured, combine
from assistant.readings import read
from assistant.record import Event, RecordError, read_events, records_in

MILES_PER = {"miles": 1.0, "kilometres": 1 / 1.609344}
"""The international mile is 1609.344 m exactly."""
_KIND = (("transmission", "non-synchronized"), ("linkage", "rod"), ("clutch", "manual"))


@dataclass(frozen=True, slots=True)
class Visit:
    """One finished job.

    Attributes:
        unit: the fleet's number of the truck.
        at: when it was signed off.
        miles: odometer as found, or None; distance: the unit the shop counts in.
        found, left: free travel as found and as left, inches; None where it was not read.
        gap_found, gap_left: likewise the gap.
        lugs: lugs moved by the gap, positive tightens.
        low_in: lower limit of free travel then in force, inches, or None.
        kind: transmission, linkage and clutch: trucks of one kind are similar.
        lug_in: bearing travel a lug, inches: by the card, else by what the ring did, else None.
        ring_lugs: lugs of the ring from new to its end by the card, or None.
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


def visits_in(
    folder: Path, pause_s: float = 0.0, below: bool = False
) -> tuple[list[Visit], list[str]]:
    """The visits of all finished records in a folder, oldest first, and what was left out and why.

    Of a record and its copies one counts.

    Args:
        folder: where the records are.
        pause_s: rest after each record, so that a job going on meanwhile keeps its pace.
        below: look into its subfolders too, but hidden ones and those of clips.

    Raises:
        RecordError: the folder cannot be listed.
    """
    visits: list[Visit] = []
    problems: list[str] = []
    seen: set[str] = set()
    paths = records_in(folder)
    if below:
        paths += _below(folder, problems)
    for path in paths:
        name = str(path.relative_to(folder))
        try:
            events, problem = read_events(path)
            if problem:
                problems.append(f"{name}: damaged, left out")
                continue
            visit = visit_of(events, name)
        except (RecordError, OSError):
            problems.append(f"{name}: cannot be read, left out")
            continue
        except (KeyError, TypeError, ValueError, AttributeError):
            problems.append(f"{name}: holds what lugcall does not write, left out")
            continue
        if visit is not None and events[0].hash not in seen:
            seen.add(events[0].hash)
            visits.append(visit)
        if pause_s:
            time.sleep(pause_s)
    return sorted(visits, key=lambda v: v.at), problems


def _below(folder: Path, problems: list[str]) -> list[Path]:
    """The records in the subfolders; a line is added for each that cannot be listed."""
    paths: list[Path] = []
    for top, folders, _ in os.walk(folder):
        folders[:] = sorted(
            f for f in folders if not f.startswith(".") and not f.endswith(".clips")
        )
        if top != str(folder):
            try:
                paths += records_in(Path(top))
            except RecordError:
                problems.append(f"{Path(top).relative_to(folder)}: cannot be listed, left out")
    return paths


def visit_of(events: Iterable[Event], name: str) -> Visit | None:
    """The visit of one record; None when it is not finished."""
    opened: dict[str, Any] = {}
    for event in events:
        if event.kind == "opened":
            opened = event.data
        if event.kind == "closed":
            return visit_from(opened, event.data, event.time, name)
    return None


def visit_from(opened: dict[str, Any], closed: dict[str, Any], at: datetime, name: str) -> Visit:
    """The visit that the data of a record's opening and closing line tell.

    Raises:
        KeyError, TypeError, ValueError, AttributeError: they are not what lugcall writes.
    """
    found, left = closed["as_found"], closed["as_left"]
    odometer = found.get("odometer")
    miles = None
    if odometer is not None and odometer.get("count"):
        miles = float(odometer["count"]) * MILES_PER.get(odometer.get("kind", "miles"), 1.0)
    figure = (opened.get("figures") or {}).get("free-travel") or {}
    table = tomllib.loads((opened.get("card") or {}).get("text") or "")
    truck = table.get("truck") or {}
    return Visit(
        unit=str(opened.get("unit") or ""),
        at=at,
        miles=miles,
        found=_length(found.get("free-travel")),
        left=_length(left.get("free-travel")),
        gap_found=_length(found.get("gap")),
        gap_left=_length(left.get("gap")),
        lugs=int(closed.get("lugs_by_gap", closed["lugs"])),
        low_in=figure.get("low_in"),
        kind=tuple(str(truck.get(key, usual)) for key, usual in _KIND),
        lug_in=_card_lug(table) or _lug(closed),
        distance=(odometer or {}).get("kind") or "miles",
        name=name,
        ring_lugs=_ring_lugs(table),
    )


def _length(taken: dict[str, Any] | None) -> Measured | None:
    if not taken or taken.get("value_in") is None:
        return None
    return Measured.from_interval(taken["value_in"], taken["low_in"], taken["high_in"])


def _card_lug(table: dict[str, Any]) -> float | None:
    lug = (table.get("ring") or {}).get("lug")
    return read(lug, "gap").value_in if isinstance(lug, str) else None


def _ring_lugs(table: dict[str, Any]) -> int | None:
    lugs = (table.get("ring") or {}).get("lugs")
    return lugs if isinstance(lugs, int) and lugs > 0 else None


def _lug(closed: dict[str, Any]) -> float | None:
    """Bearing travel a lug by what the ring did, inches: gap closed over lugs moved."""
    gap_found = _length(closed["as_found"].get("gap"))
    gap_left = _length(closed["as_left"].get("gap"))
    lugs = int(closed.get("lugs_by_gap", closed["lugs"]))
    if gap_found is None or gap_left is None or abs(lugs) < 2:
        return None
    pitch = (gap_found.value_in - gap_left.value_in) / lugs
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


def free_travel_lost(before: Visit, visit: Visit) -> tuple[Measured | None, Measured | None]:
    """What shrinks: free travel as left, and as found at the next visit."""
    return before.left, visit.found


def gap_opened(before: Visit, visit: Visit) -> tuple[Measured | None, Measured | None]:
    """The same wear at the bearing: the gap as found, and as left the time before."""
    return visit.gap_found, before.gap_left


Ends = Callable[[Visit, Visit], tuple[Measured | None, Measured | None]]


def intervals_of(
    visits: Iterable[Visit], ends: Ends = free_travel_lost
) -> tuple[dict[str, list[Interval]], list[str]]:
    """The intervals of each unit, oldest first, and what was left out and why."""
    last: dict[str, Visit] = {}
    found: dict[str, list[Interval]] = {}
    notes: list[str] = []
    for visit in sorted(visits, key=lambda v: v.at):
        if not visit.unit:
            continue
        intervals = found.setdefault(visit.unit, [])
        before = last.get(visit.unit)
        last[visit.unit] = visit
        if before is None:
            continue
        interval, note = _between(before, visit, ends)
        if interval is not None:
            intervals.append(interval)
        if note:
            notes.append(f"{visit.name}: {note}")
    return found, notes


def _between(before: Visit, visit: Visit, ends: Ends) -> tuple[Interval | None, str]:
    if before.miles is None or visit.miles is None:
        return None, "no odometer, so no wear from this visit"
    more, less = ends(before, visit)
    if more is None or less is None:
        return None, "free travel or gap not read, so no wear from this visit"
    miles = visit.miles - before.miles
    if miles < 0:
        return None, "the odometer went back; left out"
    if miles < SHORTEST_MILES:
        return None, f"under {SHORTEST_MILES:,.0f} miles since the last visit; left out"
    lost = more.value_in - less.value_in
    u = combine(more.u_in, less.u_in)
    if lost < -GREW * max(u, LEAST_U_IN):
        return None, "wear went back since the last visit: changed elsewhere; left out"
    return Interval(miles / PER_MILES, lost, max(u, LEAST_U_IN)), ""
