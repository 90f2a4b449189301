"""Simulated fleets whose wear is known: trucks differ, intervals differ, readings are rounded."""

import math
import random
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from assistant.clutch.conformity import Measured
from assistant.wear.visits import Visit

KIND = ("non-synchronized", "rod", "manual")
LIMIT_IN = 1.125
START = datetime(2020, 1, 6, tzinfo=UTC)


@dataclass(frozen=True)
class Fleet:
    """How a fleet wears.

    Attributes:
        trucks: how many; visits: the most finished visits of each (at least one).
        rate: mean free travel lost, inches per 10,000 miles.
        between: coefficient of variation from truck to truck (log-normal).
        within: the same from one interval to the next of one truck (normal, cut off at a tenth).
        grid_in: what readings are rounded to; feel_in: how much the foot varies besides.
    """

    trucks: int = 12
    visits: int = 4
    rate: float = 0.08
    between: float = 0.35
    within: float = 0.15
    grid_in: float = 1 / 32
    feel_in: float = 0.0


@dataclass(frozen=True)
class Truth:
    """Where the truck's free travel really crosses the limit, if nobody touches it."""

    unit: str
    odometer: float
    day: datetime


def simulate(fleet: Fleet, rng: random.Random) -> tuple[list[Visit], list[Truth]]:
    """The visits of a fleet, and the truth for each of its trucks."""
    visits: list[Visit] = []
    truths: list[Truth] = []
    sigma = math.sqrt(math.log1p(fleet.between**2))

    def read(true_in: float) -> Measured:
        seen = true_in + rng.gauss(0.0, fleet.feel_in)
        value = max(0.0, round(seen / fleet.grid_in) * fleet.grid_in)
        half = fleet.grid_in / 2
        return Measured.from_interval(value, max(0.0, value - half), value + half)

    for number in range(fleet.trucks):
        unit = f"T-{number}"
        own = fleet.rate * math.exp(rng.gauss(-sigma * sigma / 2, sigma))
        a_day = rng.uniform(150.0, 450.0)
        miles, at, gap = rng.uniform(50_000, 400_000), START, 0.52
        left = found = rng.uniform(1.4, 1.9)
        for i in range(rng.randint(1, fleet.visits)):
            if i:
                wears = own * max(0.1, rng.gauss(1.0, fleet.within))
                way = min(rng.uniform(1.0, 6.0), (left - 0.1) / wears)
                found, gap = left - wears * way, gap + wears * way / 12.0
                miles += way * 10_000
                at += timedelta(days=way * 10_000 / (a_day * math.exp(rng.gauss(0, 0.15))))
            left = rng.uniform(1.4, 1.9)
            gap_found, lugs = gap, round((gap - 0.52) / 0.027)
            gap -= lugs * 0.027
            visits.append(
                Visit(unit, at, miles, read(found), read(left), Measured(gap_found, 0.005),
                      Measured(gap, 0.005), lugs, LIMIT_IN, KIND, 0.027, "miles", f"{unit}-{i}")
            )  # fmt: skip
        wears = own * max(0.1, rng.gauss(1.0, fleet.within))
        way = (left - LIMIT_IN) / wears * 10_000
        day = at + timedelta(days=way / (a_day * math.exp(rng.gauss(0, 0.15))))
        truths.append(Truth(unit, miles + way, day))
    return visits, truths


@dataclass
class Score:
    """How often ranges held the truth, and on which side it was otherwise."""

    all: int = 0
    held: int = 0
    before: int = 0
    after: int = 0

    def count(self, low: float, high: float | None, truth: float) -> None:
        self.all += 1
        self.before += truth < low
        self.after += high is not None and truth > high
        self.held += low <= truth and (high is None or truth <= high)

    @property
    def share(self) -> float:
        return self.held / self.all if self.all else math.nan
