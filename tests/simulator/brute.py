"""Does any setting bring everything in, and how many adjusters must be touched for it at least?

Every whole lug, every flat, every sixteenth (or half turn) of both stops, on the truck itself. A
stop without a figure stays: nobody knows where it may stand.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from tests.simulator.kinds import TRAVEL, Job
from tests.simulator.truck import Setting, Truck

FURTHEST = 2.0
"""How far a stop is moved at most, inches."""


@dataclass(frozen=True)
class Best:
    """The fewest adjusters that must be touched, and a setting; None where none will do."""

    moves: int
    setting: Setting


Spare = Mapping[str, float]
"""How far inside its limits a quantity must be at least, inches; 0 for one that is not named."""


def inside(truck: Truck, job: Job, spare: Spare) -> bool:
    """Whether everything is within limits."""
    read = all(_within(job, q, truck.read(q), spare) for q in job.limits)
    return read and truck.read(TRAVEL[0]) >= TRAVEL[1][0]


def steps(width: float, furthest: float = FURTHEST) -> list[float]:
    """No move first, then both ways, the nearer the sooner."""
    n = int(furthest / width + 1e-9)
    return [0.0, *(s * i * width for i in range(1, n + 1) for s in (1, -1))]


def best(job: Job, spare: Spare) -> Best | None:
    """The setting with the fewest adjusters touched, from where the truck stands now."""
    found: Best | None = None
    for rest in _rests(job, spare):
        for lugs in _lugs(job, rest, spare):
            for flats in _flats(job, rest, lugs, spare):
                for low in _lows(job, rest, spare):
                    setting = Setting(lugs, flats, rest, low)
                    moves = _moves(job.truck.set, setting)
                    if found is not None and moves >= found.moves:
                        continue
                    if inside(job.truck.at(setting), job, spare):
                        found = Best(moves, setting)
                        if moves == 0:
                            return found
    return found


def _moves(now: Setting, then: Setting) -> int:
    pairs = ((now.lugs, then.lugs), (now.flats, then.flats), (now.rest, then.rest))
    return sum(a != b for a, b in (*pairs, (now.low, then.low)))


def _within(job: Job, quantity: str, value: float, spare: Spare) -> bool:
    low, high = job.limits.get(quantity, (-99.0, 99.0))
    room = spare.get(quantity, 0.0)
    return low + room - 1e-9 <= value <= high - room + 1e-9


def _rests(job: Job, spare: Spare) -> list[float]:
    now, truck = job.truck.set.rest, job.truck
    if "pedal-height" not in job.limits:
        return [now]
    width = job.rest_turn / 2 or 1 / 16
    rests = [now + by for by in steps(width)]
    if truck.fluid:  # a pedal that rests lower keeps the master's port shut, and the clutch drags
        rests = [rest for rest in rests if truck.lash + rest - truck.rest_found >= 0.0]
    return [rest for rest in rests if _within(job, "pedal-height", rest, spare)]


def _lows(job: Job, rest: float, spare: Spare) -> list[float]:
    now, width = job.truck.set.low, job.low_turn / 2 or 1 / 16
    if "total-travel" not in job.limits:
        return [now]
    lows = [now - by for by in steps(width) if now - by >= 0.0]
    fit = [low for low in lows if _within(job, "total-travel", rest - low, spare)]
    # Untouched, or as low as it may be: a pedal that goes lower can only touch and release more.
    return ([now] if now in fit else []) + ([min(fit)] if fit else [])


def _lugs(job: Job, rest: float, spare: Spare) -> list[int]:
    truck = job.truck
    if not job.manual:
        return [0]
    gap = truck.brake_face - truck.bearing
    turns = range(-truck.lugs_back, truck.lugs_left + 1)
    fit = [n for n in turns if _within(job, "gap", gap - n * truck.lug, spare)]
    return sorted(fit, key=lambda n: abs(n - truck.set.lugs))


def _flats(job: Job, rest: float, lugs: int, spare: Spare) -> Iterator[float]:
    """Those that bring clearance in; the one that stands first."""
    truck = job.truck
    now = truck.set.flats
    bare = truck.at(Setting(lugs, 0.0, rest, truck.set.low)).between
    low, high = job.limits["clearance"]
    first = max(-truck.flats_free, int((low - bare) / truck.flat) - 1)
    last = min(truck.flats_free, int((high - bare) / truck.flat) + 1)
    if first <= now <= last:
        yield now
    yield from (float(n) for n in range(first, last + 1) if n != now)
