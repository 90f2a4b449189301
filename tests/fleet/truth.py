"""Trucks, how they wear, and what happens at each visit. All invented; the draws are seeded."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

RATIO, LASH_IN = 12.5, 0.0625
"""Pedal travel a fork-tip travel, and lash: F = R*c + l."""
GAP_IN, CLEARANCE_IN, LUG_IN = 0.531, 0.125, 0.027
START = datetime(2024, 1, 8, 7, 30, tzinfo=UTC)
MICS = ("", "bay mic", "headset one", "headset two")
"""The first is the keyboard."""


@dataclass
class Truck:
    """One truck: `rate_in` inches of free travel lost per 10,000 miles, and how it stands."""

    unit: str
    rate_in: float
    miles_a_day: float
    miles: float
    at: datetime
    gap_in: float = GAP_IN
    clearance_in: float = CLEARANCE_IN

    @property
    def free_in(self) -> float:
        """Free travel as it is."""
        return RATIO * self.clearance_in + LASH_IN

    def drive(self, miles: float) -> None:
        """Wear: the bearing creeps; the gap grows and the clearance shrinks by the same."""
        worn = self.rate_in * miles / 10_000 / RATIO
        self.gap_in += worn
        self.clearance_in -= worn
        self.miles += miles


@dataclass(frozen=True)
class Visit:
    """What a visit will find, and what will go wrong in it.

    Attributes:
        misheard: how many utterances are not understood at first.
        wrong: whether a gap is called out wrong, and corrected after it was kept.
        long_hold_s: seconds the pedal is held, over two minutes for a long one.
        skips: whether the odometer is skipped.
    """

    number: int
    unit: str
    at: datetime
    miles: int
    rate_in: float
    free_in: float
    gap_in: float
    clearance_in: float
    code: str
    mic: str
    misheard: int
    wrong: bool
    long_hold_s: float
    skips: bool


def visits(trucks: int, jobs: int, seed: int = 5) -> Iterator[Visit]:
    """`jobs` visits of `trucks` trucks, each truck's in order of time, dealt out in turn."""
    rng = random.Random(seed)
    fleet = [
        Truck(
            f"F-{i:05d}",
            rng.lognormvariate(-2.3, 0.25),
            rng.uniform(150, 400),
            rng.randrange(20_000, 400_000),
            START + timedelta(minutes=rng.randrange(60 * 24 * 60)),
        )
        for i in range(trucks)
    ]
    for number in range(jobs):
        truck = fleet[number % trucks]
        days = rng.uniform(60, 150)
        truck.at += timedelta(days=days)
        truck.drive(truck.miles_a_day * days)
        yield Visit(
            number, truck.unit, truck.at, round(truck.miles), truck.rate_in, truck.free_in,
            truck.gap_in, truck.clearance_in, str(rng.randrange(10, 40)),
            MICS[rng.choices(range(4), (4, 3, 2, 1))[0]],
            rng.choices((0, 1, 2, 8), (60, 25, 10, 5))[0],
            rng.random() < 0.06, rng.choice((25.0, 40.0, 60.0, 60.0, 150.0)),
            rng.random() < 0.05,
        )  # fmt: skip
        truck.gap_in, truck.clearance_in = GAP_IN, CLEARANCE_IN


def free_text(free_in: float) -> str:
    """Free travel in thousandths as it is called out; never ending in 0, which JSON would drop."""
    thou = max(21, round(free_in * 1000))
    return f"{(thou + (thou % 10 == 0)) / 1000:.3f}"
