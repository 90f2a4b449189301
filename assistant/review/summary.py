"""The review in plain lines, for a terminal."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from assistant.review import fleet
from assistant.review.worded import short

if TYPE_CHECKING:
    from assistant.review.desk import Review


def summary(desk: Review, most: int) -> Iterator[str]:
    """What came of the folders, damaged files, what needs eyes, what is due; `most` lines of each.

    Control characters in names are shown, not obeyed.
    """
    for line in _lines(desk, most):
        yield "".join(c if c.isprintable() else repr(c)[1:-1] for c in line)


def _lines(desk: Review, most: int) -> Iterator[str]:
    t = desk.tables
    yield from desk.told
    bad = desk.rows(fleet.damaged(t))
    yield from _few([_file(row) for row in bad], most, "more files like these")
    total = desk.rows(fleet.totals(t))[0]
    if not total["jobs"]:
        yield "No records here yet."
        return
    yield (
        f"{_many(total['jobs'], 'job')} on {_many(total['units'], 'truck')}, "
        f"{total['signed_off'] or 0:,} signed off"
        f"{_share(total['first_time_right'])}; {total['doubtful'] or 0:,} with doubts."
    )
    eyes = desk.rows(fleet.needs_eyes(t).limit(most + 1))
    if eyes:
        yield "Needs eyes first:"
        yield from _few([f"  {_eye(desk, row)}" for row in eyes], most, "more, further down")
    due = [row for row in desk.rows(fleet.units(t).limit(most)) if row["due_s"] is not None]
    if due:
        yield "Due next, by the odometer and this truck's miles a day so far:"
        yield from (f"  {_due(row)}" for row in due)


def _few(lines: list[str], most: int, rest: str) -> Iterator[str]:
    yield from lines[:most]
    if len(lines) > most:
        yield f"  ... and {len(lines) - most:,} {rest}"


def _file(row: dict[str, Any]) -> str:
    line = row["line"] or row["status"]
    seen = (
        f" (last seen {row['seen_utc']:%Y-%m-%d %H:%M} UTC)" if row["status"] == "missing" else ""
    )
    return f"{row['folder']}/{row['path']}: {line}{seen}"


def _many(count: int, what: str) -> str:
    return f"{count:,} {what}{'' if count == 1 else 's'}"


def _share(share: float | None) -> str:
    return "" if share is None else f", {share:.0%} right the first time"


def _eye(desk: Review, row: dict[str, Any]) -> str:
    d = desk.tables.doubts
    found = desk.rows(d.filter(d.job == row["job"]).order_by("n").limit(1))
    first = short(found[0]["text"].rstrip(".")) if found else ""
    more = f" (+{row['doubts'] - 1})" if row["doubts"] > 1 else ""
    asked = f" [{row['asked'].removeprefix('lead-')}]" if row["asked"] else ""
    what = f"{first}{more}{asked}".strip()
    return f"{row['began_utc']:%Y-%m-%d} {row['unit'] or 'no unit'}: {what}"


def _due(row: dict[str, Any]) -> str:
    from datetime import UTC, datetime, timedelta

    day = row["last_utc"] + timedelta(seconds=max(0.0, min(row["due_s"], 1e9)))
    past = ": OVERDUE" if day < datetime.now(UTC).replace(tzinfo=None) else ""
    return f"{row['unit']}: at {row['next_due_miles']:,.0f} miles, about {day:%Y-%m-%d}{past}"
