"""A truck with a hidden geometry that answers to ring, rod and stops: the other end of the job.

The equations are those of a pull-type clutch on one axis (fork, bearing, clutch brake); lengths in
inches. Nothing here imports the program's own arithmetic.
"""

from __future__ import annotations

import random
from dataclasses import dataclass

LEAD_IN = 1 / 20
"""Rod travel a turn: a 1/2-20 thread."""


@dataclass
class Truck:
    """One truck as it stands now.

    Attributes:
        ratio: pedal travel per fork travel.
        lash: lost motion in the chain, counted at the pedal.
        gap, clearance: bearing to brake, fork to bearing.
        height: pedal at rest above the floor. total: pedal travel to the floor.
        pitch: bearing travel a lug.
        card: its truck card, TOML.
        miles: on the odometer.
        lugs_turned: in all, positive tightens.
    """

    ratio: float
    lash: float
    gap: float
    clearance: float
    height: float
    total: float
    pitch: float
    card: str
    miles: int
    lugs_turned: int = 0

    def true(self, quantity: str) -> float:
        """What a perfect gauge would show."""
        stroke = self.ratio * (self.clearance + self.gap) + self.lash
        return {
            "gap": self.gap,
            "clearance": self.clearance,
            "pedal-height": self.height,
            "total-travel": self.total,
            "free-travel": self.ratio * self.clearance + self.lash,
            "brake-contact": self.height - stroke,
        }[quantity]

    def turn_ring(self, lugs: int) -> None:
        """Turn the ring; positive tightens, the bearing goes toward the transmission."""
        self.lugs_turned += lugs
        self.gap -= lugs * self.pitch
        self.clearance += lugs * self.pitch

    def turn_rod(self, turns: float) -> None:
        """Turn the rod; positive is longer, which moves the fork away from the bearing."""
        self.clearance += turns * LEAD_IN

    def move_stop(self, what: str, by_in: float) -> None:
        """Move a stop: "height" or "total"."""
        setattr(self, what, getattr(self, what) + by_in)


def made(rng: random.Random) -> Truck:
    """A truck whose pedal reaches the brake, as found, see `_drawn`."""
    while True:
        truck = _drawn(rng)
        if 0.2 < truck.true("brake-contact") < 2.0:
            return truck


def _drawn(rng: random.Random) -> Truck:
    """A truck that can be set right: worn by 0 to 7 lugs, the rod off, a stop now and then.

    Ranges are common practice, no source; the card's limits are laid around what it can reach.
    """
    ratio, lash = rng.uniform(10.8, 12.8), 1 / 16 + rng.uniform(-0.01, 0.01)
    pitch = rng.choice((0.027, 0.027, 0.027, 0.014))
    right_gap = rng.uniform(0.524, 0.538)
    lugs = 0 if rng.random() < 0.1 else rng.randint(2, 7)
    stroke = ratio * (0.125 + right_gap) + lash
    height = round((stroke + rng.uniform(0.68, 0.82)) * 8) / 8
    total = round((stroke + rng.uniform(0.3, 0.5)) * 8) / 8
    off = rng.uniform(0.45, 0.6) * rng.choice((-1, 1)) if rng.random() < 0.2 else 0
    short = -rng.uniform(0.45, 0.6) if rng.random() < 0.15 else 0
    return Truck(
        ratio,
        lash,
        right_gap + lugs * pitch,
        rng.uniform(0.03, 0.06) if lugs else rng.uniform(0.06, 0.16),
        height + off + rng.uniform(-0.06, 0.06),
        total + short + rng.uniform(-0.06, 0.06),
        pitch,
        _card(pitch, height, total, rng.randint(100, 999)),
        rng.randint(60_000, 900_000),
    )


def _card(pitch: float, height: float, total: float, unit: int) -> str:
    return f"""unit = "S-{unit}"
[ring]
lug = "{pitch} in"
[rod]
thread = "1/2-20"
longer = "more clearance"
[pedal]
lash = "1/16 in"
[figures]
source = "invented"
gap = {{ low = "1/2 in", high = "9/16 in" }}
clearance = {{ low = "3/32 in", high = "5/32 in", target = "1/8 in" }}
free-travel = {{ low = "1-1/8 in", high = "2 in", target = "1-1/2 in" }}
pedal-height = {{ low = "{height - 0.375} in", high = "{height + 0.375} in" }}
total-travel = {{ low = "{total - 0.375} in", high = "{total + 0.375} in" }}
brake-contact = {{ low = "1/2 in", high = "1 in" }}
"""
