"""Published screw threads, and how far a turn of a threaded rod goes.

Unified threads (UNC, UNF) per ASME B1.1, from memory; every number of threads agrees with the
open table aeakett/tappy_tap_tap, js/src/bolt.js. Metric pitches are those of ISO 262 (a choice
out of ISO 261) for M5 to M24, as reprinted at liquisearch.com/iso_metric_screw_thread/
preferred_sizes; the fine pitches of M5 and M6, not in it, are from memory.

All are single-start threads: one turn moves the nut by one pitch, and one flat of a hex nut is 1/6
turn.
"""

from __future__ import annotations

import math
import re
from fractions import Fraction
from functools import lru_cache

MM_PER_IN = 25.4
FLATS_PER_TURN = 6
# A rod asked for more turns than this is a wrong reading or figure: from memory.
MAX_TURNS = 30

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


@lru_cache(maxsize=64)  # a card asks again and again for its own
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
