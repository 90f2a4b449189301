"""When each truck is due, for a whole review: the one table of it, and the outlook behind a row.

What the similar trucks say of wear is worked out when something changed, and kept in the folder of
indexes with the table: a truck's own outlook then needs no more than its own visits.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from contextlib import suppress
from datetime import UTC, date, datetime, time
from pathlib import Path
from typing import TYPE_CHECKING

import msgspec

from assistant import named_file
from assistant.clutch.conformity import Measured
from assistant.record.disk import write_whole
from assistant.review.columns import BROKEN
from assistant.review.index import Index, source_hash
from assistant.review.wording import Row
from assistant.wear.outlook import KindRate, Outlook, Range, due_state, newest, rates_of
from assistant.wear.visits import Visit, by_unit

if TYPE_CHECKING:
    from assistant.review import Review

_WEAR = Path(__file__).parents[1] / "wear"
_MADE_BY = (Path(__file__), *(_WEAR / f"{name}.py" for name in ("outlook", "rate", "visits")))
_READ = (("found", "free_found"), ("left", "free_left"), ("gap_found", "gap_found"),
         ("gap_left", "gap_left"))  # fmt: skip
"""Fields of a visit, and the columns of a job that hold them."""


_COLUMNS = ", ".join([
    "job", "unit", "ended_utc", "odometer_miles", "odometer_unit", "lugs_by_gap", "free_limit_in",
    "transmission", "linkage", "clutch", "lug_pitch_in", "path", "ring_lugs", "next_due_miles",
    "ring_left", "fitted", "length_unit",
    *(f"{column}{end}_in" for _, column in _READ for end in ("", "_low", "_high")),
])  # fmt: skip


class TruckDue(msgspec.Struct):
    """One truck's row, but for its `state`, which is of today."""

    job: int
    unit: str
    jobs: int
    last_utc: datetime
    since_utc: datetime
    lugs: int
    odometer_miles: float | None
    odometer_unit: str
    length_unit: str
    a_day_miles: float | None
    due: tuple[date, date | None] | None
    worn_from_miles: float | None
    worn_to_miles: float | None
    check_miles: float | None
    free_left_in: float | None
    free_limit_in: float | None
    lugs_left: int | None
    ring_lugs: int | None
    looked: bool
    clutch: str
    lining_from_miles: float | None
    lining_to_miles: float | None
    unknown: str

    def row(self, today: date) -> Row:
        """As the table of the index has it."""
        row = {name: getattr(self, name) for name in self.__struct_fields__ if name != "due"}
        start, end = self.due or (None, None)
        days = {"due_from_utc": _moment(start), "due_to_utc": _moment(end)}
        return row | days | {"state": due_state(self.due, today)}


class _Kept(msgspec.Struct):
    key: str
    rates: list[tuple[tuple[str, ...], KindRate]]
    trucks: list[TruckDue]


class FleetDue:
    """When the trucks of a review are due.

    Attributes:
        trucks: a row each, by their numbers.
    """

    def __init__(self, desk: Review, indexes: Sequence[Index]) -> None:
        self._desk = desk
        digest = hashlib.sha256("\0".join(str(one.folder) for one in indexes).encode(
            "utf-8", "surrogateescape"))  # fmt: skip
        file = desk.home / f"due-{digest.hexdigest()[:12]}.json"
        changed = " ".join(f"{one.file} {one.when('changed_us')}" for one in indexes)
        key = f"{source_hash(*_MADE_BY)} {changed}"
        kept = _read(file)
        if kept is None or kept.key != key:
            kept = self._worked_out(key)
            with suppress(OSError, ValueError):  # kept only to be quicker the next time
                write_whole(file, msgspec.json.encode(kept), durable=False)
        self._rates = dict(kept.rates)
        self.trucks = kept.trucks

    def _worked_out(self, key: str) -> _Kept:
        every = self.visits()
        rates = rates_of(visit for _, visit in every)
        last = {visit.unit: job for job, visit in every}
        trucks = []
        for mine in by_unit(visit for _, visit in every).values():
            trucks.append(
                _due(Outlook(mine, rates[mine[-1].kind], None), mine, last[mine[-1].unit])
            )
        trucks.sort(key=lambda truck: truck.unit)
        return _Kept(key, list(rates.items()), trucks)

    def visits(self, units: Iterable[str] | None = None) -> list[tuple[int, Visit]]:
        """Job and visit of each job of these trucks, or of all, that is a `Visit`, oldest first;
        not of records whose chain is broken."""
        left = "signed_off OR free_left_in IS NOT NULL"
        sql = f"SELECT {_COLUMNS} FROM jobs WHERE ({left}) AND unit <> '' AND chain <> '{BROKEN}'"
        some = "" if units is None else f" AND unit IN ({', '.join(map(_quoted, units)) or 'NULL'})"
        found = self._desk.run(f"{sql}{some} ORDER BY ended_utc, job")
        return [(row["job"], _visit(row)) for row in found]

    def look(self, mine: Sequence[Visit]) -> Outlook:
        """The outlook of one truck by some of its visits, oldest first: what was known after
        them."""
        return Outlook(mine, self._rates[mine[-1].kind], None)

    def outlooks(self, units: Iterable[str], ring_lugs: int | None = None) -> dict[str, Outlook]:
        """The outlook of each of these trucks that has a job signed off."""
        trucks = by_unit(visit for _, visit in self.visits(units))
        return {
            unit: Outlook(mine, self._rates[mine[-1].kind], ring_lugs)
            for unit, mine in trucks.items()
        }


def _due(look: Outlook, mine: Sequence[Visit], job: int) -> TruckDue:
    worn, lining = _ends(look.miles), _ends(look.lining)
    return TruckDue(
        job=job,
        unit=look.unit,
        jobs=len(mine),
        last_utc=mine[-1].at,
        since_utc=mine[0].at,
        lugs=look.lugs_used,
        odometer_miles=newest(mine, "miles"),
        odometer_unit=look.last.distance,
        length_unit=look.last.units,
        a_day_miles=None if look.usage is None else look.usage.miles_a_day,
        due=look.due,
        worn_from_miles=worn[0],
        worn_to_miles=worn[1],
        check_miles=look.check_miles,
        free_left_in=None if look.left is None else look.left.value_in,
        free_limit_in=look.limit_in,
        lugs_left=look.lugs_left,
        ring_lugs=newest(mine, "ring_lugs"),
        looked=look.looked,
        clutch=mine[-1].kind[-1],
        lining_from_miles=lining[0],
        lining_to_miles=lining[1],
        unknown="; ".join(look.unknown),
    )


def _ends(miles: Range | None) -> tuple[float | None, float | None]:
    return (None, None) if miles is None else (miles.low, miles.high)


def _visit(row: Row) -> Visit:
    read = {field: _length(*(row[f"{column}{end}_in"] for end in ("", "_low", "_high")))
            for field, column in _READ}  # fmt: skip
    return Visit(
        unit=row["unit"],
        at=row["ended_utc"].replace(tzinfo=UTC),
        miles=row["odometer_miles"] or None,
        **read,
        lugs=row["lugs_by_gap"] or 0,
        low_in=row["free_limit_in"],
        kind=(row["transmission"], row["linkage"], row["clutch"]),
        lug_in=row["lug_pitch_in"],
        distance=row["odometer_unit"] or "miles",
        name=row["path"],
        ring_lugs=row["ring_lugs"],
        check_miles=row["next_due_miles"],
        ring_left=row["ring_left"],
        fitted=tuple((row["fitted"] or "").split()),
        units=row["length_unit"] or "inch",
    ).with_pitch()


def _length(value_in: float | None, low_in: float | None, high_in: float | None) -> Measured | None:
    """As the wear's arithmetic takes it; None for what no gauge can have shown."""
    if value_in is None or low_in is None or high_in is None:
        return None
    try:
        return Measured.from_interval(value_in, low_in, high_in)
    except ValueError:
        return None


def _moment(day: date | None) -> datetime | None:
    return None if day is None else datetime.combine(day, time())


def _quoted(text: str) -> str:
    return "'" + text.replace("'", "''") + "'"


def _read(file: Path) -> _Kept | None:
    try:
        return msgspec.json.decode(named_file.whole(file), type=_Kept)
    except (OSError, ValueError):
        return None
