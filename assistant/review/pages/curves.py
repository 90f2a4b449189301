"""The fleet page's wall of free-travel curves: one cell a truck, all on one scale."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

from assistant.clutch.uncertainty import Measured
from assistant.review.pages.charts import INK, SOFT, figure_svg, shortened
from assistant.review.pages.tokens import hash_of
from assistant.wear.visits import Visit

if TYPE_CHECKING:
    from matplotlib.axes import Axes

ACROSS = 8
"""Trucks in a row."""
MOST_CURVES = 96


class Cell(NamedTuple):
    """One truck's curve: its lower limit as last in force, and (miles, as found, as left), inches;
    None where it was not read."""

    unit: str
    low_in: float | None
    points: list[tuple[float, float | None, float | None]]


def cells(trucks: Sequence[tuple[str, Sequence[Visit]]]) -> list[Cell]:
    """What is to be drawn: the first `MOST_CURVES` trucks of which there is something to draw."""
    out: list[Cell] = []
    for unit, visits in trucks:
        points = [
            (v.miles, _value(v.found), _value(v.left))
            for v in visits
            if v.miles is not None and (v.found or v.left)
        ]
        if points and len(out) < MOST_CURVES:
            out.append(Cell(unit, visits[-1].low_in, points))
    return out


def _value(reading: Measured | None) -> float | None:
    return None if reading is None else reading.value_in


def curves(trucks: Sequence[Cell]) -> str:
    """A wall of free-travel curves, one cell a truck: as found (open) and as left (full).

    All of it is a few artists on one pair of axes: a pair for each truck would take seconds.
    """
    rows = -(-len(trucks) // ACROSS)

    def draw(figure: Any) -> None:
        axes = figure.add_axes((0, 0, 1, 1))
        axes.set_axis_off()
        axes.set_xlim(0, ACROSS)
        axes.set_ylim(-rows, 0)
        _wall(axes, trucks)

    return figure_svg(11.5, 1.05 * rows, draw, "curves") if trucks else ""


def _wall(axes: Axes, trucks: Sequence[Cell]) -> None:
    from matplotlib.collections import LineCollection

    values = [x for cell in trucks for _, *both in cell.points for x in both if x is not None]
    values += [cell.low_in for cell in trucks if cell.low_in is not None]
    base_in, top_in = min(values), max(values)
    scale = 0.66 / max(top_in - base_in, 1 / 64)
    lines: list[list[tuple[float, float]]] = []
    limits: list[list[tuple[float, float]]] = []
    found: list[tuple[float, float]] = []
    left: list[tuple[float, float]] = []
    for i, cell in enumerate(trucks):
        x0, y0 = i % ACROSS + 0.06, -(i // ACROSS) - 0.92
        miles = [way for way, *_ in cell.points]
        span = max(miles) - min(miles) or 1.0
        line: list[tuple[float, float]] = []
        for way, *both in cell.points:
            x = x0 + (way - min(miles)) / span * 0.82
            for value, marks in zip(both, (found, left), strict=True):
                if value is not None:
                    point = (x, y0 + (value - base_in) * scale)
                    marks.append(point)
                    line.append(point)
        lines.append(line)
        if cell.low_in is not None:
            y = y0 + (cell.low_in - base_in) * scale
            limits.append([(x0 - 0.03, y), (x0 + 0.87, y)])
        now = next((b for _, *both in reversed(cell.points) for b in reversed(both) if b), None)
        told = [f"{value:.3f}" for value in (now, cell.low_in) if value is not None]
        link, top = f"#{hash_of(f'unit:{cell.unit}')}", y0 + 0.87
        axes.text(
            x0,
            top,
            shortened(cell.unit, 10),
            fontsize=8,
            fontweight="bold",
            color=INK,
            va="top",
            url=link,
        )
        axes.text(x0 + 0.86, top, " / ".join(told), fontsize=7, va="top", ha="right", url=link)
    axes.add_collection(LineCollection(lines, colors=INK, linewidths=0.9))
    axes.add_collection(LineCollection(limits, colors=SOFT, linewidths=0.8, linestyles="dashed"))
    for points, face in ((found, "white"), (left, INK)):
        if points:
            across, up = [x for x, _ in points], [y for _, y in points]
            axes.scatter(across, up, s=9, facecolors=face, edgecolors=INK, linewidths=0.8,
                         zorder=3)  # fmt: skip
