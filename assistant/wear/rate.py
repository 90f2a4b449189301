"""The random-slope model of wear, in closed form.

Free travel lost by truck t over way x:  y = (beta + b_t + w) * x + e,  with b_t ~ N(0, tau^2) from
truck to truck, w ~ N(0, omega^2) from one interval to the next (driver, load, route), and e the
readings' own uncertainty u, which is known. So y_t ~ N(beta*x, D_t + tau^2 x x'), D_t diagonal with
u^2 + omega^2 x^2, and by Sherman and Morrison everything is a sum over intervals:

    A = sum x^2/d,  B = sum x*y/d,  C = sum y^2/d,  1 + tau^2 A =: k
    beta = sum(B/k) / sum(A/k)              variance 1 / sum(A/k)
    beta + b_t = s*B/A + (1-s)*beta         s = tau^2 A / k,  variance tau^2/k + (1-s)^2 var(beta)

tau and omega are not known either: they are summed over on a grid, weighted by the restricted
likelihood (beta integrated out) and a prior, so that a short history gives a wide range and not a
wrong one.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from assistant.wear.visits import Interval

Fleet = Mapping[str, Sequence[Interval]]
TAUS = (0.03, 0.08, 0.14, 0.2, 0.27, 0.35, 0.45, 0.6, 0.8, 1.1)
OMEGAS = (0.0, 0.04, 0.08, 0.12, 0.17, 0.23, 0.3, 0.4, 0.55, 0.75)
"""Grids, as shares of the fleet's mean rate."""
NEGLIGIBLE = 5.0
"""Points of the grid less likely than the best by a factor of e to this are left out."""
TAU_SCALE, OMEGA_SCALE = 0.45, 0.25
"""Half-normal priors on the same shares: trucks of a fleet differ by some tenths. From memory, and
chosen among three by backtest (tests/benchmarks/bench_wear.py, other seeds than the one shown)."""


class RatePoint(NamedTuple):
    """One point of the grid: its weight, and the truck's rate there (inches per 10,000 miles).

    `mean` and `var` are of the truck's own rate; an interval to come varies by `omega` about it.
    """

    weight: float
    mean: float
    var: float
    omega: float


class Sums(NamedTuple):
    """Sums over the intervals of one truck, and the logarithm of the determinant of D."""

    a: float
    b: float
    c: float
    log_d: float


def sums(intervals: Sequence[Interval], omega: float) -> Sums:
    """A, B, C and log|D| of one truck."""
    a = b = c = log_d = 0.0
    for way, lost, u in ((i.way, i.lost_in, i.u_in) for i in intervals):
        d = u * u + (omega * way) ** 2
        a += way * way / d
        b += way * lost / d
        c += lost * lost / d
        log_d += math.log(d)
    return Sums(a, b, c, log_d)


def restricted(all_sums: Sequence[Sums], tau: float) -> tuple[float, float, float]:
    """(restricted log likelihood without its constant, beta, variance of beta)."""
    information = pull = quadratic = log_v = 0.0
    for a, b, c, log_d in all_sums:
        k = 1.0 + tau * tau * a
        information += a / k
        pull += b / k
        quadratic += c - tau * tau * b * b / k
        log_v += log_d + math.log(k)
    beta = pull / information
    quadratic -= information * beta * beta
    return -0.5 * (log_v + math.log(information) + quadratic), beta, 1.0 / information


def of_truck(own: Sums, tau: float, beta: float, var_beta: float) -> tuple[float, float]:
    """Mean and variance of one truck's rate: its own slope, shrunk toward the fleet's."""
    k = 1.0 + tau * tau * own.a
    share = tau * tau * own.a / k
    mean = tau * tau * own.b / k + (1.0 - share) * beta
    return mean, tau * tau / k + (1.0 - share) ** 2 * var_beta


class GridPoint(NamedTuple):
    """One point of the grid: its weight; how rates vary from truck to truck (`tau`) and from one
    interval to the next (`omega`); the fleet's mean rate, and its variance."""

    weight: float
    tau: float
    omega: float
    beta: float
    var_beta: float


@dataclass(frozen=True, slots=True)
class FleetRate:
    """What the intervals of similar trucks say of the rate of any of them.

    It is worked out once for all of them; only `of` is a truck's own, and needs no more than its
    own intervals. `trucks` counts those with intervals.
    """

    points: Sequence[GridPoint]
    trucks: int

    @classmethod
    def of_fleet(cls, fleet: Fleet) -> FleetRate:
        trucks = [list(items) for items in fleet.values() if items]
        scale = _mean_rate([i for items in trucks for i in items])
        if scale <= 0.0:
            return cls([], len(trucks))
        logs: list[tuple[float, float, float, float, float]] = []
        for share_w, step_w in _steps(OMEGAS):
            omega = share_w * scale
            each = [sums(items, omega) for items in trucks]
            for share_t, step_t in _steps(TAUS):
                tau = share_t * scale
                log, beta, var_beta = restricted(each, tau)
                log += math.log(step_w * step_t)
                log -= 0.5 * ((share_t / TAU_SCALE) ** 2 + (share_w / OMEGA_SCALE) ** 2)
                logs.append((log, tau, omega, beta, var_beta))
        top = max(log for log, *_ in logs)
        kept = [(math.exp(log - top), *rest) for log, *rest in logs if log > top - NEGLIGIBLE]
        total = sum(weight for weight, *_ in kept)
        return cls([GridPoint(weight / total, *rest) for weight, *rest in kept], len(trucks))

    def of(self, own: Sequence[Interval]) -> list[RatePoint]:
        """The rate of a truck with these intervals, as a mixture whose weights sum to 1; empty when
        nothing is known. A truck without any is one of its fleet."""
        by_omega: dict[float, Sums] = {}
        found = []
        for weight, tau, omega, beta, var_beta in self.points:
            if omega not in by_omega:
                by_omega[omega] = sums(own, omega)
            mean, var = of_truck(by_omega[omega], tau, beta, var_beta)
            found.append(RatePoint(weight, mean, var, omega))
        return found


def _mean_rate(intervals: Sequence[Interval]) -> float:
    """The fleet's, inches per 10,000 miles; 0.0 when nothing is known."""
    way = sum(i.way for i in intervals)
    lost = sum(i.lost_in for i in intervals)
    if lost <= 0.0:
        # No wear to be seen: what the readings could hide is all there is to go by.
        lost = math.sqrt(sum(i.u_in**2 for i in intervals))
    return lost / way if way > 0.0 else 0.0


def _steps(grid: Sequence[float]) -> list[tuple[float, float]]:
    """Each value with the width it stands for (trapezoid)."""
    last = len(grid) - 1
    return [
        (value, (grid[min(i + 1, last)] - grid[max(i - 1, 0)]) / 2) for i, value in enumerate(grid)
    ]
