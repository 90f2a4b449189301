"""Whether a shop is getting better: two times held against each other, and what chance explains."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from assistant.review.wording import Row, say, span

LEAST_JOBS = 8
"""Fewer in either time tell nothing. From memory of no data, a first guess."""
SURE = 1.645
"""A difference of so many standard uncertainties is seldom chance: one time in ten, both ways, of a
normal distribution (JCGM 100, 6.3)."""


class TwoTimes(NamedTuple):
    """One measure of both times: its `name`, figures `now` and `before`, and the `verdict`:
    "better", "worse", "alike" (no more than chance) or "unknown"."""

    name: str
    now: str
    before: str
    verdict: str

    @property
    def words(self) -> str:
        return say(f"better.{self.verdict}")


class Share(NamedTuple):
    """`part` of `whole`, with its standard uncertainty; one is added on either side, so that none
    of few is not taken for never (Agresti and Coull, The American Statistician 52, 1998, from
    memory)."""

    part: int
    whole: int

    @property
    def value(self) -> float:
        return self.part / self.whole if self.whole else 0.0

    @property
    def u(self) -> float:
        p = (self.part + 1) / (self.whole + 2)
        return math.sqrt(p * (1 - p) / (self.whole + 2))


def measures(rows: Sequence[Row]) -> Iterator[TwoTimes]:
    """What `questions.better` gives, judged; nothing where there are no jobs."""
    by = {row["now"]: row for row in rows}
    if not by:
        return
    none: Row = dict.fromkeys(rows[0], 0)
    now, before = by.get(True, none), by.get(False, none)
    few = min(now["jobs"], before["jobs"]) < LEAST_JOBS
    shares = (("right", "right", "jobs", 1), ("safe", "safety", "jobs", -1),
              ("again", "again", "said", -1))  # fmt: skip
    for name, part, whole, sign in shares:
        both = [Share(row[part] or 0, row[whole] or 0) for row in (now, before)]
        apart = sign * (both[0].value - both[1].value)
        told = [f"{one.value:.0%}" if one.whole else "?" for one in both]
        if name == "safe":  # seldom, so told as a count
            told = [say("better.of", part=one.part, whole=one.whole) for one in both]
        if name == "again":
            told = [f"{one.value:.1%}" if one.whole else "?" for one in both]
        yield TwoTimes(
            say(f"better.{name}"), told[0], told[1], _verdict(apart, both[0].u, both[1].u, few)
        )
    times = [row["time_s"] or 0.0 for row in (now, before)]
    u = [row["time_u_s"] or 0.0 for row in (now, before)]
    told = [
        span(time) if row["jobs"] else "?" for time, row in zip(times, (now, before), strict=True)
    ]
    yield TwoTimes(
        say("better.time"), told[0], told[1], _verdict(times[1] - times[0], u[0], u[1], few)
    )


def _verdict(apart: float, u_now: float, u_before: float, few: bool) -> str:
    if few:
        return "unknown"
    if abs(apart) <= SURE * math.hypot(u_now, u_before):
        return "alike"
    return "better" if apart > 0 else "worse"
