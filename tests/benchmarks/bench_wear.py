"""Backtest of the wear ranges on simulated fleets with known truth.

    python -m tests.benchmarks.bench_wear [--rounds 40] [--seed 1]

Each row is one way a fleet may wear; for every truck with a range, it is counted whether the range
of miles (and of dates) holds the truth. The ranges are meant to hold it in 80 %: 75 to 85 % is the
goal. The fleets do not wear as the model supposes: rates are log-normal, variation goes with the
rate, readings are rounded.
"""

import argparse
import random
import statistics
import time

from assistant.wear.outlook import outlook
from tests.wear.fleet import Fleet, Score, simulate

FLEETS = {
    "one truck alone": Fleet(1, 4),
    "4 trucks, short history": Fleet(4, 3),
    "12 trucks": Fleet(),
    "30 trucks, long history": Fleet(30, 7),
    "trucks differ more": Fleet(between=0.5),
    "trucks alike, steady": Fleet(between=0.2, within=0.05),
    "intervals differ more": Fleet(within=0.3),
    "coarse rule, 1/16 in": Fleet(grid_in=1 / 16),
    "uncertain foot": Fleet(feel_in=1 / 64),
    "fast wear": Fleet(rate=0.16),
}


def score(fleet: Fleet, rounds: int, seed: int) -> tuple[Score, Score, list[float], list[float]]:
    """Scores of miles and of dates; high over low of the distance; milliseconds an outlook."""
    rng = random.Random(seed)
    miles, days, widths, took = Score(), Score(), [], []
    for _ in range(max(1, rounds * 12 // fleet.trucks)):
        visits, truths = simulate(fleet, rng)
        for truth in truths:
            start = time.perf_counter()
            look = outlook(visits, truth.unit)
            took.append(1000 * (time.perf_counter() - start))
            if look is None or look.miles is None:
                continue
            miles.count(look.miles.low, look.miles.high, truth.odometer)
            if look.miles.high is not None and look.last.miles is not None:
                ahead = max(1.0, look.miles.low - look.last.miles)
                widths.append((look.miles.high - look.last.miles) / ahead)
            if look.dates is not None:
                low, high = look.dates
                days.count(low.toordinal(), high and high.toordinal(), truth.day.toordinal())
    return miles, days, widths, took


def main() -> None:
    options = argparse.ArgumentParser()
    options.add_argument("--rounds", type=int, default=40, help="fleets of 12 trucks a row")
    options.add_argument("--seed", type=int, default=1)
    given = options.parse_args()
    print(f"{'fleet':<26}{'ranges':>7}{'held':>7}{'before':>8}{'after':>7}"
          f"{'dates':>8}{'high/low':>10}{'ms':>6}")  # fmt: skip
    whole, calendar = Score(), Score()
    for name, fleet in FLEETS.items():
        miles, days, widths, took = score(fleet, given.rounds, given.seed)
        print(
            f"{name:<26}{miles.all:>7}{miles.share:>7.1%}{miles.before / miles.all:>8.1%}"
            f"{miles.after / miles.all:>7.1%}{days.share:>8.1%}"
            f"{statistics.median(widths):>10.2f}{statistics.median(took):>6.1f}",
            flush=True,
        )
        for total, part in ((whole, miles), (calendar, days)):
            total.all += part.all
            total.held += part.held
    print(f"{'all':<26}{whole.all:>7}{whole.share:>7.1%}{'':>15}{calendar.share:>8.1%}")


if __name__ == "__main__":
    main()
