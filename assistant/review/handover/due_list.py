"""When trucks are due, for the shop's own programs: a calendar file (RFC 5545), and CSV."""

from __future__ import annotations

import csv
import hashlib
import io
from collections.abc import Iterable
from datetime import UTC, datetime, timedelta

from assistant.review.export import harmless
from assistant.review.wording import Row, due_at, say, way

COLUMNS = ("unit", "state", "due_from", "due_to", "check_miles", "worn_from_miles",
           "worn_to_miles", "odometer_miles", "free_left_in", "free_limit_in", "lugs_left",
           "last_job")  # fmt: skip
"""Of the CSV; as the columns of the same name of the table of trucks, days without an hour."""


def calendar(trucks: Iterable[Row], made: datetime | None = None) -> bytes:
    """A calendar with one event a truck whose days are known, from the first to the last day on
    which it may be due; one day where no end is in sight. A truck that is due by the odometer only
    is a to-do without a day (RFC 5545, 3.6.2).

    `trucks` are rows of `questions.units`. An event keeps its UID from one file to the next, so a
    calendar that takes in a newer file moves it. `made` is when (UTC); now, if not given.
    """
    from icalendar import Calendar, Event, Todo

    stamp = (made or datetime.now(UTC)).replace(microsecond=0)
    told = Calendar()
    told.add("prodid", "-//lugcall//due list//EN")
    told.add("version", "2.0")
    told.add("method", "PUBLISH")
    for row in trucks:
        start, end, at = row["due_from_utc"], row["due_to_utc"], due_at(row)
        if start is None and not at:
            continue
        event = Todo() if start is None else Event()
        event.add("uid", f"{hashlib.sha256(row['unit'].encode()).hexdigest()[:32]}@lugcall")
        event.add("dtstamp", stamp)
        summary = "summary_at" if start is None else "summary"
        event.add("summary", say(f"calendar.{summary}", unit=row["unit"], at=at))
        event.add("description", _about(row))
        if start is not None:
            event.add("dtstart", start.date())
            event.add("dtend", (end or start).date() + timedelta(days=1))
            event.add("transp", "TRANSPARENT")
        told.add_component(event)
    return bytes(told.to_ical())


def _about(row: Row) -> str:
    parts, unit = [], row["odometer_unit"]
    if row["worn_from_miles"] is not None:
        parts.append(say("calendar.worn", way=way(row["worn_from_miles"], unit)))
    if row["check_miles"] is not None:
        parts.append(say("calendar.check", way=way(row["check_miles"], unit)))
    if row["due_from_utc"] is None:
        parts.append(say("calendar.no_day"))
    elif row["due_to_utc"] is None:
        parts.append(say("calendar.no_end"))
    if row["lugs_left"] is not None:
        parts.append(say("calendar.lugs", lugs=row["lugs_left"]))
    return " ".join(parts)


def due_csv(trucks: Iterable[Row]) -> str:
    """The same trucks as CSV, `COLUMNS` in the first line; an empty cell is not known: of a truck
    that is due by the odometer only, the days."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(COLUMNS)
    for row in trucks:
        if row["due_from_utc"] is None and not due_at(row):
            continue
        days = {"due_from": row["due_from_utc"], "due_to": row["due_to_utc"],
                "last_job": row["last_utc"]}  # fmt: skip
        told = row | {name: at and f"{at:%Y-%m-%d}" for name, at in days.items()}
        cells = (told[name] for name in COLUMNS)
        writer.writerow([harmless(c) if isinstance(c, str) else c for c in cells])
    return text.getvalue()
