"""The fleet page's drawings: bins for bars, and curves of free travel as small SVG.

Bars are lists in HTML that a sheet of styles draws: they wrap on a phone, follow light and dark,
and each is a link with its name and figure in it. Nothing is told by colour alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from assistant.review.planned import both_decimals
from assistant.review.wording import Row
from assistant.wear.outlook import since_new
from assistant.wear.visits import Visit

_WIDTHS_MIN = (1, 2, 5, 10, 20, 30, 60, 120)
"""Of the bins that times of jobs are counted in, minutes."""
MOST_BINS = 12


class Bin(NamedTuple):
    """Jobs that took from `low` to under `high` minutes; `low` is 0 in the first, and `high` in the
    last where some took longer."""

    low: int
    high: int
    jobs: int


def bins(minutes: Sequence[Row]) -> list[Bin]:
    """Jobs by time at work, from how many took each whole `minute` (rows, the shortest first).

    The few quickest and slowest, a twentieth each, are counted in the first and the last bin: they
    would make all others one bar. No more than `MOST_BINS`, no less than three where times differ.
    """
    if not minutes:
        return []
    low, high = _share(minutes, 0.05), _share(minutes, 0.95)
    width = next((w for w in _WIDTHS_MIN if high // w - low // w < MOST_BINS - 2), _WIDTHS_MIN[-1])
    first, last = low // width, min(high // width, low // width + MOST_BINS - 3)
    counts = [0] * (last - first + 3)
    for row in minutes:
        counts[min(max(row["minute"] // width - first + 1, 0), last - first + 2)] += row["jobs"]
    edges = [(first + i) * width for i in range(last - first + 2)]
    found = [Bin(*one) for one in zip([0, *edges], [*edges, 0], counts, strict=True)]
    return [one for one in found if one.jobs or (one.low and one.high)]


def _share(minutes: Sequence[Row], share: float) -> int:
    """The minute up to which so large a share of the jobs took."""
    passed, wanted = 0, share * sum(row["jobs"] for row in minutes)
    for row in minutes:
        passed += row["jobs"]
        if passed >= wanted:
            return int(row["minute"])
    return int(minutes[-1]["minute"])


def bin_of(minute: int, found: Sequence[Bin]) -> int:
    """Where the bin begins that a job of so many minutes is counted in."""
    return next((one.low for one in found if minute < one.high or not one.high), 0)


# --- Free travel over the odometer, a curve a truck.


class Cell(NamedTuple):
    """One truck's curve: its lower limit as last in force, and (miles, as found, as left), inches;
    None where it was not read. `now_in` is how it was left last, or else found, and `units` in what
    its lengths are shown. `anew`: the points at which the clutch was new: no line leads to them."""

    unit: str
    low_in: float | None
    points: list[tuple[float, float | None, float | None]]
    now_in: float | None
    units: str
    anew: frozenset[int] = frozenset()

    @property
    def told(self) -> str:
        """How it was left last, and the limit, as far as known: `1.500 / 1.125 in`."""
        return both_decimals(self.now_in, self.low_in, self.units)


def cell_of(unit: str, visits: Sequence[Visit]) -> Cell | None:
    """What is to be drawn of a truck; None without any."""
    shown = [
        (i, v, v.miles) for i, v in enumerate(visits) if v.miles is not None and (v.found or v.left)
    ]
    points = [
        (at, v.found.value_in if v.found else None, v.left.value_in if v.left else None)
        for _, v, at in shown
    ]
    # At which visit the clutch of each point was new; another one than that of the point before.
    new_at = [i + 1 - len(since_new(visits[: i + 1])) for i, *_ in shown]
    anew = frozenset(i for i in range(1, len(shown)) if new_at[i] != new_at[i - 1])
    now = next((read for v in reversed(visits) if (read := v.left or v.found)), None)
    last = visits[-1]
    return (
        Cell(unit, last.low_in, points, now.value_in if now else None, last.units, anew)
        if points
        else None
    )


def scale_of(cells: Sequence[Cell]) -> tuple[float, float]:
    """From and to what free travel, inches, all of them are drawn."""
    values = [x for cell in cells for _, *both in cell.points for x in (*both, cell.low_in)]
    known = [value for value in values if value is not None]
    return (min(known), max(known)) if known else (0.0, 1.0)


def curve(cell: Cell, scale: tuple[float, float], wide: int = 140, high: int = 46) -> str:
    """The curve as SVG without any words: what it shows is told beside it."""
    low, top = scale
    inches = (high - 12) / max(top - low, 1 / 64)
    first = min(way for way, *_ in cell.points)
    miles = (wide - 12) / (max(way for way, *_ in cell.points) - first or 1.0)

    def at(way: float, value: float) -> tuple[float, float]:
        return 6 + (way - first) * miles, high - 6 - (value - low) * inches

    marks, path = [], ""
    for i, (way, *both) in enumerate(cell.points):
        begins = "M" if i == 0 or i in cell.anew else " L"
        for value, kind in zip(both, ("found", "left"), strict=True):
            if value is not None:
                marks.append((at(way, value), kind))
                x, y = marks[-1][0]
                path += f"{begins}{x:.1f} {y:.1f}"
                begins = " L"
    limit = ""
    if cell.low_in is not None:
        y = at(first, cell.low_in)[1]
        limit = f'<line x1="2" x2="{wide - 2}" y1="{y:.1f}" y2="{y:.1f}"/>'
    dots = "".join(
        f'<circle class="{kind}" cx="{x:.1f}" cy="{y:.1f}" r="2.6"/>' for (x, y), kind in marks
    )
    return (
        f'<svg class="curve" viewBox="0 0 {wide} {high}" aria-hidden="true">'
        f'{limit}<path d="{path}"/>{dots}</svg>'
    )
