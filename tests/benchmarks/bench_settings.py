"""How long the solver of all settings takes, and whether it agrees with trying everything.

    python -m tests.benchmarks.bench_settings [--trucks N] [--check N] [--seed N]

Times `solve` with all its candidates, and alone as the job asks for it, on random trucks with full
ranges (12 lugs, 30 turns of rod, 2 inches at each stop), each timed once and cold, in time of this
thread alone, so that other work on the machine does not count. Then tries every
setting of other random trucks with few steps, by the arithmetic of tests/clutch/test_settings.py,
and counts the answers that are not as good.
"""

import argparse
import random
import time
from dataclasses import replace

from assistant.clutch.solver import solve
from tests.benchmarks.figures import times
from tests.clutch.test_settings import PlainTruck, best_by_force, random_truck, rank, settled


def wide_truck(rng: random.Random) -> PlainTruck:
    """A truck as it may come in: worn, wrongly set, some of it not read, any kind of linkage."""
    truck = random_truck(rng, 12, 180)
    values = dict(truck.values)
    gap, clearance = rng.uniform(0.4, 0.8), rng.uniform(0.0, 0.25)
    values["gap"], values["clearance"] = gap, clearance
    if values["free-travel"] is not None:
        values["free-travel"] = truck.ratio * clearance + truck.lash + rng.gauss(0, 0.02)
    height = rng.uniform(7.0, 10.0)
    if values["pedal-height"] is not None:
        values["pedal-height"] = height
    if values["brake-contact"] is not None:
        values["brake-contact"] = height - truck.ratio * (gap + clearance) - truck.lash
    if values["total-travel"] is not None:
        values["total-travel"] = rng.uniform(6.5, 9.5)
    limits = dict(truck.limits)
    for name, low, high in (("pedal-height", 8.0, 9.0), ("total-travel", 7.0, 9.0)):
        if name in limits:
            limits[name] = (low, high, None)
    return replace(truck, values=values, limits=limits, height_step=1 / 16, total_step=1 / 16)


def timed(trucks: int, seed: int) -> None:
    rng, full, alone = random.Random(seed), [], []
    possible = sure = 0
    for _ in range(trucks):
        plain = wide_truck(rng)
        truck, locked = plain.as_read(), plain.locked
        start = time.thread_time()
        found = solve(truck, locked)
        middle = time.thread_time()
        solve(truck, locked, with_candidates=False)
        full.append(middle - start)
        alone.append(time.thread_time() - middle)
        possible += found.possible
        sure += found.sure
    print(f"{trucks} trucks: everything can be in for {possible}, surely for {sure}")
    times("with candidates", full)
    times("alone", alone)


def checked(trucks: int, seed: int) -> None:
    rng, worse, possible = random.Random(seed), 0, 0
    for _ in range(trucks):
        truck = random_truck(rng)
        found, _ = settled(truck)
        best = best_by_force(truck, list(found.judged))
        possible += best is not None
        if best is None or not found.possible:
            worse += (best is None) == found.possible
            continue
        mine = rank(truck, list(found.judged), tuple(found.chosen.setting))
        same = mine is not None and all(abs(x - y) < 3e-6 for x, y in zip(mine, best, strict=True))
        worse += not same
    print(f"against every setting: {trucks} trucks, {possible} possible, {worse} not the best")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--trucks", type=int, default=10_000, help="trucks timed")
    parser.add_argument("--check", type=int, default=10_000, help="trucks tried by brute force")
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    if args.trucks:
        timed(args.trucks, args.seed)
    if args.check:
        checked(args.check, args.seed)


if __name__ == "__main__":
    main()
