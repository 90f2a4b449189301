"""Why a truck came back: what the records of one visit and of the one before say of it, in
words."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from typing import NamedTuple

from assistant.review.beside import AT_LIMIT_IN, NEAR_CHECK
from assistant.review.doubts import WEIGHTS
from assistant.review.planned import decimals
from assistant.review.wording import MILES, Row, in_unit, say, way
from assistant.wear.outlook import Range
from assistant.wear.visits import PER_MILES, SHORTEST_MILES

GREW_IN = 1 / 16
"""Free travel found larger by this was changed elsewhere: four standard uncertainties of two
readings to a rule. From memory."""
_LEFT_SO = ("ring", "out", "unsound", "accepted", "plan", "ratio", "skipped")
"""Doubts of a visit that may bring the truck back, the gravest first."""


class Came(NamedTuple):
    """One visit of a truck, oldest first: its row of the table of jobs, its doubts' rows, and when
    it was due by what was known before it, or None."""

    job: Row
    doubts: Sequence[Row]
    due: tuple[date, date | None] | None = None


def why_back(
    before: Came, now: Came, rate: Range | None, unit: str = MILES, lengths: str = "inch"
) -> list[str]:
    """The reasons, the most telling first; never none. `rate` is the truck's own wear, inches of
    free travel lost per 10,000 miles, `unit` what its odometer counts, and `lengths` in what its
    lengths are shown."""
    worn = _worn(before.job, now.job, rate, unit, lengths)
    return [*_told(before, now, unit), *worn, *_left_so(before)] or [say("back.unknown")]


def headline(before: Came, now: Came, unit: str = MILES) -> str:
    """After how long it came, and whether that was sooner than it was due."""
    days = (now.job["began_utc"] - before.job["ended_utc"]).days
    miles = _miles(before.job, now.job)
    same = "_same_day" if days < 1 else "_one" if days == 1 else ""
    gone = say(f"back.gone{same}", days=days)
    if miles is not None:
        gone = say(f"back.gone_miles{same}", days=days, way=way(miles, unit))
    if now.due is None:
        return gone
    came, (first, last) = now.job["began_utc"].date(), now.due
    when = "early" if came < first else "late" if last is not None and came > last else "in_time"
    until = "" if last is None else say("back.until", day=last)
    return f"{gone} {say(f'back.{when}', first=first, until=until)}"


def _told(before: Came, now: Came, unit: str) -> Iterator[str]:
    """What somebody said of it."""
    if before.job["unfinished"]:
        yield say("back.unfinished", why=before.job["unfinished"])
    elif not before.job["signed_off"]:
        yield say("back.open")
    for doubt in now.doubts:
        if doubt["kind"] == "unsound":
            yield say("back.unsound", what=doubt["text"])
    due, start, end = (
        before.job["next_due_miles"], before.job["odometer_miles"], now.job["odometer_miles"],
    )  # fmt: skip
    if None not in (due, start, end) and end - start >= NEAR_CHECK * (due - start) > 0:
        yield say("back.check", way=way(due, unit))


def _worn(before: Row, now: Row, rate: Range | None, unit: str, lengths: str) -> Iterator[str]:
    left, found, limit = before["free_left_in"], now["free_found_in"], now["free_limit_in"]
    if found is not None and limit is not None and found <= limit + AT_LIMIT_IN:
        yield say("back.at_limit", found=decimals(found, lengths), limit=decimals(limit, lengths))
    if left is None or found is None:
        return
    if found > left + GREW_IN:
        yield say("back.grew", left=decimals(left, lengths), found=decimals(found, lengths))
        return
    miles = _miles(before, now)
    if miles is None or miles < SHORTEST_MILES or rate is None:
        return
    lost = (left - found) / miles * PER_MILES
    high = rate.high
    how = "slow" if lost < rate.low else "fast" if high is not None and lost > high else "usual"
    each = f"{PER_MILES:,.0f} {unit}"
    rates = (one / in_unit(1.0, unit) for one in (lost, rate.low, high or rate.low))
    lost_so, low, usual = (decimals(one, lengths) for one in rates)
    yield say(f"back.{how}", lost=lost_so, low=low, high=usual, per=each)


def _left_so(before: Came) -> Iterator[str]:
    """What was wrong with how it was left the last time."""
    told = sorted((d for d in before.doubts if d["kind"] in _LEFT_SO), key=_weight)
    for doubt in told[:3]:
        yield say("back.left_so", what=doubt["text"])


def _weight(doubt: Mapping[str, str]) -> int:
    return -WEIGHTS[doubt["kind"]]


def _miles(before: Row, now: Row) -> float | None:
    if before["odometer_miles"] is None or now["odometer_miles"] is None:
        return None
    return float(now["odometer_miles"] - before["odometer_miles"])
