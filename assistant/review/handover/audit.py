"""A time's records held against the shop's paper: seals, a lead's acts, damage."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import TYPE_CHECKING

from assistant.record.chain import read_seal
from assistant.review.columns import DAMAGE, LOST
from assistant.review.wording import Row

if TYPE_CHECKING:
    from assistant.review import Review

_SEAL = re.compile(r"\b[0-9A-Za-z]{4} ?[-–—] ?[0-9A-Za-z]{4}\b", re.ASCII)


@dataclass(frozen=True, slots=True)
class Audit:
    """What an audit of the jobs that ended from `since` to `until` (days, UTC, both with) found.

    `jobs` are their rows, oldest first; `on_paper` the seals of the list, None where there is none;
    `without` the jobs whose seal is not on it, `lost` seals of it that no record of any time bears;
    `acts` of leads in that time; `damaged` files, of any time.
    """

    since: date
    until: date
    jobs: list[Row]
    on_paper: set[str] | None
    without: list[Row]
    lost: list[str]
    acts: list[Row]
    damaged: list[Row]

    @property
    def fits(self) -> bool:
        """Whether nothing is missing on either side, and nothing is damaged."""
        return not (self.without or self.lost or self.damaged)


def seals_in(text: str) -> set[str]:
    """The seals of a list copied from paper, wherever they stand in its lines: as `record.seal_of`
    spells them."""
    read = (read_seal(found[0]) for found in _SEAL.finditer(text))
    return {seal for seal in read if seal is not None}


def audited(desk: Review, since: date, until: date, on_paper: set[str] | None) -> Audit:
    """Hold the jobs that ended in that time against the seals on paper."""
    import ibis

    t = desk.tables
    start, end = datetime.combine(since, time()), datetime.combine(until, time.max)
    j = t.jobs.filter((t.jobs.ended_utc >= start) & (t.jobs.ended_utc <= end))
    jobs = desk.rows(j.order_by(["ended_utc", "job"]))
    every = {row["seal"] for row in desk.rows(t.jobs.select("seal").distinct())}
    a = t.lead_acts.filter((t.lead_acts.at_utc >= start) & (t.lead_acts.at_utc <= end))
    a = a.inner_join(t.jobs.select("job", "unit", "folder", "path"), "job")
    acts = desk.rows(a.order_by([ibis._.at_utc, "job", "n"]))
    listed = on_paper or set()
    return Audit(
        since,
        until,
        jobs,
        on_paper,
        [] if on_paper is None else [row for row in jobs if row["seal"] not in listed],
        sorted(listed - every),
        acts,
        [row for row in desk.ask("damaged") if row["status"] in (*DAMAGE, "missing", LOST)],
    )


def last_month(today: date | None = None) -> tuple[date, date]:
    """The first and the last day of the month before."""
    end = (today or datetime.now(UTC).date()).replace(day=1) - timedelta(days=1)
    return end.replace(day=1), end
