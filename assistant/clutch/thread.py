"""Published screw threads, and turns and flats of a threaded rod.

Unified threads (UNC, UNF) per ASME B1.1, from memory; every number of threads agrees with the
open table aeakett/tappy_tap_tap, js/src/bolt.js. Metric pitches are those of ISO 262 (a choice
out of ISO 261) for M5 to M24, as reprinted at liquisearch.com/iso_metric_screw_thread/
preferred_sizes; the fine pitches of M5 and M6, not in it, are from memory.

All are single-start threads: one turn moves the nut by one pitch.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from fractions import Fraction
from typing import NamedTuple

from assistant.clutch.figures import Figure

MM_PER_IN = 25.4
FLATS_PER_TURN = 6

# Nominal size: its diameter in inches, then threads per inch, coarse (UNC) and fine (UNF).
UNIFIED: dict[str, tuple[float, int, int]] = {
    "#10": (0.190, 24, 32),
    "#12": (0.216, 24, 28),
    "1/4": (1 / 4, 20, 28),
    "5/16": (5 / 16, 18, 24),
    "3/8": (3 / 8, 16, 24),
    "7/16": (7 / 16, 14, 20),
    "1/2": (1 / 2, 13, 20),
    "9/16": (9 / 16, 12, 18),
    "5/8": (5 / 8, 11, 18),
    "3/4": (3 / 4, 10, 16),
    "7/8": (7 / 8, 9, 14),
    "1": (1.0, 8, 12),
}

# Nominal diameter in mm: pitches in mm, the coarse one first.
METRIC: dict[int, tuple[float, ...]] = {
    5: (0.8, 0.5),
    6: (1.0, 0.75),
    8: (1.25, 1.0),
    10: (1.5, 1.25, 1.0),
    12: (1.75, 1.5, 1.25),
    14: (2.0, 1.5),
    16: (2.0, 1.5),
    18: (2.5, 2.0, 1.5),
    20: (2.5, 2.0, 1.5),
    22: (2.5, 2.0, 1.5),
    24: (3.0, 2.0),
}

_ACCEPTED = (
    "Say one like 1/2-20, 10-32, 0.5-20 or 1/2-20 UNF (#10 to 1), M12x1.75 or M12 (M5 to M24)"
)
_UNIFIED_FORM = re.compile(
    r"(?P<size>(?:no\.?\s*|#)?\d*\.?\d+(?:/\d+)?)\s*(?:in|\")?\s*[-x×]\s*(?P<tpi>\d+)"
    r"(?:\s*[-\s]\s*(?P<series>unc|unf))?(?:\s*-?\s*[123][ab])?"
)
_METRIC_FORM = re.compile(r"m\s*(?P<size>\d+)(?:\s*[-x×]\s*(?P<pitch>\d*[.,]?\d+))?")


class RodMove(NamedTuple):
    """Whole turns and flats of the rod, of one sign; positive moves toward more clearance.

    ``total_flats`` is all of it in flats, ``travel_in`` the travel they give, and
    ``left_over_in`` what was asked but is less than half a flat away; both in inches.
    """

    turns: int
    flats: int
    total_flats: int
    travel_in: float
    left_over_in: float


def lead_in(designation: str) -> float:
    """Travel of one turn, in inches, of a published thread such as "1/2-20" or "M12x1.75".

    Raises:
        ValueError: the text is no thread, or the thread is in none of the series above; the
            nearest one is then named.
    """
    text = " ".join(designation.lower().split())
    if match := _METRIC_FORM.fullmatch(text):
        return _metric_lead_in(designation, int(match["size"]), match["pitch"])
    if match := _UNIFIED_FORM.fullmatch(text):
        return _unified_lead_in(designation, match["size"], int(match["tpi"]), match["series"])
    raise ValueError(f"{designation!r} is not a thread I know. {_ACCEPTED}.")


def _metric_lead_in(designation: str, size: int, pitch: str | None) -> float:
    pitches = METRIC.get(size)
    if pitches and pitch is None:
        return pitches[0] / MM_PER_IN
    wanted = math.nan if pitch is None else float(pitch.replace(",", "."))
    for known in pitches or ():
        if math.isclose(known, wanted, abs_tol=1e-9):
            return known / MM_PER_IN
    near = min(METRIC, key=lambda d: abs(d - size))
    step = min(METRIC[near], key=lambda p: 0.0 if pitch is None else abs(p - wanted))
    raise ValueError(f"{designation!r} is not in ISO 262: the nearest is M{near}x{step:g}.")


def _unified_lead_in(designation: str, size: str, tpi: int, series: str | None) -> float:
    diameter = _diameter_in(size)
    near = min(UNIFIED, key=lambda name: abs(UNIFIED[name][0] - diameter))
    # Half a thousandth tells #10 from 3/16 and still lets ".3125" stand for 5/16.
    if abs(UNIFIED[near][0] - diameter) < 0.0005:
        for name, known in zip(("unc", "unf"), UNIFIED[near][1:], strict=True):
            if known == tpi and series in (None, name):
                return 1.0 / tpi
    pick = {"unc": 1, "unf": 2}.get(series or "")
    threads = UNIFIED[near][pick] if pick else min(UNIFIED[near][1:], key=lambda t: abs(t - tpi))
    label = "UNC" if threads == UNIFIED[near][1] else "UNF"
    raise ValueError(
        f"{designation!r} is not in the UNC or UNF series: the nearest is {near}-{threads} {label}."
    )


def _diameter_in(size: str) -> float:
    number = re.sub(r"^(?:no\.?\s*|#)", "", size)
    # A bare whole number above 1 is a screw size, not a rod ten inches thick.
    if number != size or (number.isdigit() and int(number) > 1):
        return 0.060 + 0.013 * float(Fraction(number))
    try:
        return float(Fraction(number))
    except ZeroDivisionError:
        raise ValueError(f"{size!r} is not a size. {_ACCEPTED}.") from None


def rod_move(y_in: float, lead_in: float) -> RodMove:
    """Turns and flats for ``y_in`` inches of rod travel, rounded to the nearest flat.

    Source: derivation, travel = turns * lead, one flat of a hex nut being 1/6 turn. Halfway
    between two flats the smaller move is taken.

    Raises:
        ValueError: the lead is not above zero, or the travel is not a finite number.
    """
    if not (math.isfinite(lead_in) and lead_in > 0.0):
        raise ValueError("The thread's lead must be above zero: give the travel of one turn.")
    if not math.isfinite(y_in):
        raise ValueError("The rod travel is not a finite number: work it out again.")
    exact = y_in / lead_in * FLATS_PER_TURN
    size = max(0, math.ceil(abs(exact) - 0.5))
    sign = 1 if exact >= 0 else -1
    turns, flats = divmod(size, FLATS_PER_TURN)
    travel = sign * size * lead_in / FLATS_PER_TURN
    return RodMove(sign * turns, sign * flats, sign * size, travel, y_in - travel)


# --- How many flats of the linkage rod, weighing fork clearance against free travel.
#
# The rod moves the fork by y: ``c' = c + y`` and ``F' = F + R*y``, the gap stays (derivation:
# ``pedal``). Both have a band; the flats are chosen so that the worse placed of the two is
# placed as well as can be.

# A rod asked for more turns than this is a wrong reading or figure: from memory.
MAX_TURNS = 30
NO_MOVE = RodMove(0, 0, 0, 0.0, 0.0)


def margin(value_in: float, figure: Figure) -> float:
    """How well a value (inches) sits in its band: 1 on target, 0 on a limit, below 0 outside.

    A target inside the limits is the top; without one the middle is. With one limit only, the
    target, or half as much again as the limit, is where it becomes 1.
    """
    low, high, target = figure.limits.low_in, figure.limits.high_in, figure.target_in
    if low is not None and high is not None:
        top = target if target is not None and low < target < high else (low + high) / 2.0
        if low == high:
            return 1.0 if value_in == low else -abs(value_in - low)
        return (
            (value_in - low) / (top - low) if value_in <= top else (high - value_in) / (high - top)
        )
    limit = low if low is not None else high
    assert limit is not None  # Limits always hold one of the two.
    depth = value_in - limit if low is not None else limit - value_in
    aim = abs(target - limit) if target is not None else 0.0
    return min(1.0, depth / (aim or abs(limit) / 2.0 or 1.0))


def ideal_in(figure: Figure) -> float:
    """The value (inches) that sits best in the band of a figure."""
    low, high, target = figure.limits.low_in, figure.limits.high_in, figure.target_in
    if target is not None and figure.limits.miss_in(target) == 0.0:
        return target
    if low is not None and high is not None:
        return (low + high) / 2.0
    return low * 1.5 if low is not None else (high or 0.0) * 0.5


def choose_rod(
    wanted_in: Sequence[float],
    worst_margin: Callable[[float], float],
    lead_in: float,
    rod_per_fork: float = 1.0,
) -> RodMove:
    """The whole number of flats with the best worst margin; fewest flats of equal ones.

    ``wanted_in`` holds the fork movement (inches) each band would like by itself;
    ``worst_margin`` gives the smaller margin for a fork movement. Each margin rises to its top
    and falls after it, so the best of the smaller one lies between those wishes, and only the
    flats between them (and one more either side) need trying. ``rod_per_fork`` is rod travel
    per fork travel; the travel returned is the fork's.

    Raises:
        ValueError: the lead or ``rod_per_fork`` is not above zero, or the rod would need more
            than ``MAX_TURNS`` turns.
    """
    if not (math.isfinite(rod_per_fork) and rod_per_fork > 0.0):
        raise ValueError("Rod travel per fork travel must be above zero: give one such as 1.")
    fork_lead = lead_in / rod_per_fork
    ends = [rod_move(y, fork_lead).total_flats for y in wanted_in]
    if not ends:
        return NO_MOVE
    if max(abs(flats) for flats in ends) > MAX_TURNS * FLATS_PER_TURN:
        raise ValueError(f"The rod would need over {MAX_TURNS} turns: check readings and thread.")
    flat = fork_lead / FLATS_PER_TURN
    tries = sorted(range(min(ends) - 1, max(ends) + 2), key=lambda n: (abs(n), -n))
    best = max(tries, key=lambda n: round(worst_margin(n * flat), 9))
    chosen = rod_move(best * flat, fork_lead)
    # What is left over is counted from the first wish, the clearance's.
    return chosen._replace(left_over_in=wanted_in[0] - chosen.travel_in)
