"""The solver against brute force: every setting of a random truck tried by other arithmetic."""

import itertools
import random
from dataclasses import dataclass
from math import hypot
from statistics import NormalDist

import pytest

from assistant.clutch.conformity import Limits, Measured
from assistant.clutch.equations import Adjusters, Ratio, Readings, Truck
from assistant.clutch.solver import FREE, Locked, Settings, SettingSearch, solve, widest

TRUCKS = 150
Z95 = NormalDist().inv_cdf(0.95)


@dataclass
class PlainTruck:
    """A truck in plain numbers: values, uncertainties, limits; None where not read."""

    values: dict[str, float | None]
    u: dict[str, float]
    limits: dict[str, tuple[float | None, float | None, float | None]]
    ratio: float
    ratio_u: float
    lash: float
    lug: float
    flat: float
    height_step: float
    total_step: float
    rigid: bool
    follows: bool
    stops_move: bool
    most: tuple[int, int]
    clutch_brake: bool = True

    @property
    def locked(self) -> Locked:
        return FREE if self.stops_move else Locked(height_steps=0, total_steps=0)

    def as_read(self) -> Truck:
        def read(name: str) -> Measured | None:
            value = self.values[name]
            return None if value is None else Measured(value, self.u[name])

        gap, clearance = read("gap"), read("clearance")
        figures: dict[str, Limits | None] = {
            name: Limits(low, high, "test", target)
            for name, (low, high, target) in self.limits.items()
        }
        ratio = Ratio(self.ratio, self.ratio_u, "both")
        pedal = [read(name) for name in ("free-travel", "pedal-height", "brake-contact")]
        readings = Readings(gap, clearance, *pedal, read("total-travel"), self.lash)
        steps = (self.lug, self.flat, self.height_step, self.total_step)
        most_lugs, most_flats = self.most
        move = Adjusters(*steps, rigid=self.rigid, max_lugs=most_lugs, max_flats=most_flats)
        return Truck(readings, figures, move, ratio, ratio, self.follows, self.clutch_brake)

    def after(self, n: int, m: int, a: int, b: int) -> dict[str, tuple[float, float]]:
        """Values and uncertainties after n lugs, m flats, a and b stop steps: by geometry.

        The chain is walked as the parts are: where the bearing, the fork at rest and the pedal
        stand on their axes, and then distances between them. No formula of the solver is used.
        """
        v, u, r = self.values, self.u, self.ratio
        ring_u = abs(n) * 0.001
        bearing = -v["gap"] - n * -self.lug  # the brake's face is at 0, the bearing below it
        fork = -v["gap"] - v["clearance"] - m * self.flat  # the fork's rest, with the pedal's old
        rise, drop = a * self.height_step, b * self.total_step
        if self.follows:
            return self.after_following(-bearing, ring_u, rise, drop)
        rest = fork - rise / r if self.rigid else fork
        out = {
            "gap": (-bearing, hypot(u["gap"], ring_u)),
            "clearance": (bearing - rest, hypot(u["clearance"], ring_u)),
        }
        moved = (bearing - fork) - v["clearance"]
        if v["free-travel"] is not None:
            worked = v["free-travel"] + r * moved + rise
            free_u = hypot(u["free-travel"], r * ring_u, self.ratio_u * moved)
        else:
            worked = self.lash + rise + r * (bearing - fork)
            free_u = hypot(r * out["clearance"][1], self.ratio_u * (bearing - fork))
        out["free-travel"] = (worked, free_u)
        if v["pedal-height"] is not None:
            out["pedal-height"] = (v["pedal-height"] + rise, u["pedal-height"])
        if v["brake-contact"] is not None:
            y = m * self.flat
            contact_u = hypot(u["brake-contact"], self.ratio_u * y)
            out["brake-contact"] = (v["brake-contact"] - r * y, contact_u)
            self.past_the_brake(out, rise, drop)
        if v["total-travel"] is not None:
            out["total-travel"] = (v["total-travel"] + rise + drop, u["total-travel"])
            end = fork + (v["total-travel"] + drop - self.lash) / r  # the fork, pedal down, in air
            if self.clutch_brake and end >= 0.0 - 1e-12:  # it is against the brake's face
                out["bearing-travel"] = out["gap"]
            else:
                reach = end - fork
                reach_u = hypot(u["total-travel"] / r, reach * self.ratio_u / r)
                out["bearing-travel"] = (end - bearing, hypot(reach_u, out["clearance"][1]))
        return out

    def after_following(
        self, gap: float, ring_u: float, rise: float, drop: float
    ) -> dict[str, tuple[float, float]]:
        """The fork rides on the bearing: only the way from there to the brake is the pedal's."""
        v, u, r = self.values, self.u, self.ratio
        out = {"gap": (gap, hypot(u["gap"], ring_u))}
        if v["free-travel"] is not None:
            out["free-travel"] = (v["free-travel"] + rise, u["free-travel"])
        if v["pedal-height"] is not None:
            out["pedal-height"] = (v["pedal-height"] + rise, u["pedal-height"])
        if v["brake-contact"] is not None:
            shorter = v["gap"] - gap
            out["brake-contact"] = (
                v["brake-contact"] + r * shorter,
                hypot(u["brake-contact"], r * ring_u, self.ratio_u * shorter),
            )
            self.past_the_brake(out, rise, drop)
        if v["total-travel"] is not None:
            out["total-travel"] = (v["total-travel"] + rise + drop, u["total-travel"])
            reach = (v["total-travel"] + drop - self.lash) / r
            reach_u = hypot(u["total-travel"] / r, reach * self.ratio_u / r)
            stopped = self.clutch_brake and gap <= reach + 1e-12
            out["bearing-travel"] = out["gap"] if stopped else (reach, reach_u)
        return out

    def past_the_brake(self, out: dict[str, tuple[float, float]], rise: float, drop: float) -> None:
        """How far the pedal still goes from where it touches the brake to its end."""
        v, u = self.values, self.u
        if v["pedal-height"] is None or v["total-travel"] is None or not self.clutch_brake:
            return
        end = (v["pedal-height"] + rise) - (v["total-travel"] + rise + drop)  # above the floor
        touched, touched_u = out["brake-contact"]
        end_u = hypot(u["pedal-height"], u["total-travel"])
        out["pedal-left"] = (touched - end, hypot(touched_u, end_u))

    def judged(self) -> list[str]:
        """What has both a value and limits."""
        there = self.after(0, 0, 0, 0)
        return [name for name in self.limits if name in there]


def placed(value: float, low: float | None, high: float | None, target: float | None) -> float:
    """1 on the target (or the middle), 0 on a limit; one-sided: 1 at half the limit inside."""
    if low is not None and high is not None:
        top = target if target is not None and low < target < high else (low + high) / 2
        return (value - low) / (top - low) if value <= top else (high - value) / (high - top)
    limit = low if low is not None else high
    inside = value - limit if low is not None else limit - value
    return min(1.0, inside / (limit / 2 if target is None else abs(target - limit)))


def rank(truck: PlainTruck, wanted: list[str], setting: tuple[int, int, int, int]) -> tuple | None:
    """The rank as the docs tell it: grade, fewest touched, margin, placing, fewest steps."""
    after = truck.after(*setting)
    worst, placing = float("inf"), 0.0
    for name in wanted:
        low, high, target = truck.limits[name]
        value, u = after[name]
        depth = min(
            value - low if low is not None else float("inf"),
            high - value if high is not None else float("inf"),
        )
        if depth < -1e-9 * u:
            return None
        worst = min(worst, depth / u)
        placing += placed(value, low, high, target)
    return (
        int(10 * min(1.0, worst / Z95) + 1e-9),
        -sum(1 for s in setting if s),
        -sum(1 for s in setting[2:] if s),
        round(min(worst, 3.0), 6),
        round(placing, 6),
        -sum(abs(s) for s in setting),
    )


def every_setting(truck: PlainTruck, wanted: list[str]) -> itertools.product:
    """All settings: a stop whose own quantity cannot be judged in stays."""
    lugs, flats = truck.most
    heights = int(2.0 / truck.height_step) if truck.stops_move else 0
    totals = int(2.0 / truck.total_step) if truck.stops_move else 0
    stop = range(-heights, heights + 1) if "pedal-height" in wanted else range(1)
    lower = range(1)
    follows = "total-travel" not in truck.limits and bool(
        {"bearing-travel", "pedal-left"} & {*wanted}
    )
    if "total-travel" in wanted or follows:
        lower = range(-totals, totals + 1)
    return itertools.product(range(-lugs, lugs + 1), range(-flats, flats + 1), stop, lower)


def best_by_force(truck: PlainTruck, wanted: list[str]) -> tuple | None:
    """The best rank of all settings, or None when none puts everything inside."""
    ranks = (rank(truck, wanted, setting) for setting in every_setting(truck, wanted))
    return max((r for r in ranks if r is not None), default=None)


def random_truck(rng: random.Random, lugs: int = 3, flats: int = 5) -> PlainTruck:
    """A truck near enough to right that most settings of this few steps are worth a look."""
    r, lash = rng.uniform(9, 15), rng.choice([0.0, 1 / 16])
    c, g = rng.uniform(0.05, 0.2), rng.uniform(0.44, 0.62)
    h = rng.uniform(0.2, 1.3)
    height = h + r * (c + g) + lash
    limits: dict[str, tuple[float | None, float | None, float | None]] = {
        "gap": (0.5, 0.5625, 0.5),
        "clearance": (3 / 32, 5 / 32, 0.125),
        "free-travel": (1.125, rng.choice([2.0, 2.75]), 1.5),
        "brake-contact": (0.5, 1.0, None),
        "bearing-travel": (0.5, None, None),
        "pedal-left": (0.0, None, 0.25),
    }
    low = height + rng.uniform(-0.7, 0.3)
    if rng.random() < 0.6:
        limits["pedal-height"] = (low, low + rng.uniform(0.2, 1.0), None)
    total = height - rng.uniform(0.0, 0.8)
    low = total + rng.uniform(-0.7, 0.3)
    if rng.random() < 0.6:
        limits["total-travel"] = (low, low + rng.uniform(0.2, 1.0), None)
    for name in ("free-travel", "brake-contact", "bearing-travel"):
        if rng.random() < 0.25:
            del limits[name]
    if "brake-contact" not in limits:
        del limits["pedal-left"]
    fine, coarse = rng.choice([0.0005, 0.003, 0.009]), rng.choice([0.009, 0.02])
    names = ("gap", "clearance")
    values: dict[str, float | None] = {
        "gap": g,
        "clearance": c,
        "free-travel": r * c + lash,
        "pedal-height": height,
        "brake-contact": h,
        "total-travel": total,
    }
    for name in ("free-travel", "pedal-height", "brake-contact", "total-travel"):
        noisy = values[name]
        values[name] = None if rng.random() < 0.15 else noisy + rng.gauss(0, coarse)
    clutch_brake = rng.random() < 0.8
    if not clutch_brake:  # nothing to touch, and the bearing goes as far as the stroke takes it
        values["brake-contact"] = None
        if "bearing-travel" in limits and rng.random() < 0.5:
            limits["bearing-travel"] = (0.5, rng.uniform(0.6, 0.7), None)
    return PlainTruck(
        values,
        {name: fine if name in names else coarse for name in values},
        limits,
        r * rng.uniform(0.97, 1.03),
        rng.uniform(0.05, 0.4),
        lash,
        rng.choice([0.027, 0.014, -0.027]),
        rng.choice([1 / 78, 1 / 96, 1.5 / 25.4]),
        0.25,
        0.4,
        rng.random() < 0.7,
        rng.random() < 0.2,
        rng.random() < 0.8,
        (lugs, flats),
        clutch_brake,
    )


def settled(truck: PlainTruck) -> tuple[Settings, list[str]]:
    found = solve(truck.as_read(), truck.locked, with_candidates=False)
    given_up = {out.quantity for out in found.given_up}
    return found, [name for name in found.judged if name not in given_up]


def test_the_solver_is_the_best_of_all_settings() -> None:
    """Thousands of settings of each random truck; the benchmark does many more trucks."""
    rng = random.Random(20)
    could = 0
    for _ in range(TRUCKS):
        truck = random_truck(rng)
        found, _ = settled(truck)
        assert set(found.judged) == set(truck.judged())
        best = best_by_force(truck, list(found.judged))
        assert found.possible == (best is not None)
        could += found.possible
        if best is not None:
            mine = rank(truck, list(found.judged), tuple(found.chosen.setting))
            assert mine == pytest.approx(best, abs=3e-6)
    assert TRUCKS / 4 < could < TRUCKS * 3 / 4  # both answers were really tried


def test_the_widest_margin_is_the_widest() -> None:
    """Of every setting that puts all inside, whatever it moves, none has a larger margin."""
    rng, seen, wider = random.Random(21), 0, 0
    for _ in range(70):
        truck = random_truck(rng)
        judged, known = truck.judged(), truck.as_read()
        wide = widest(known, judged, truck.locked)
        usual = SettingSearch(known, judged, truck.locked).run()
        ranks = [r for s in every_setting(truck, judged) if (r := rank(truck, judged, s))]
        assert (wide is None) == (not ranks)
        if wide is None or usual is None:
            continue
        seen += 1
        wider += wide.rank.margin > usual.rank.margin + 1e-3
        assert wide.rank.margin == pytest.approx(max(r[3] for r in ranks), abs=3e-6)
    assert seen > 10 and wider > 0  # and it is not what the fewest moves give anyway
