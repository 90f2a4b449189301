"""The fleet page's charts, by matplotlib, as SVG whose parts are links into the list of jobs.

Readable without colour: one ink, marks, hatching and dashes, figures beside every bar. matplotlib
is imported when the first chart is drawn; it takes longer than all the rest of the page.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import logging
import os
import re
import time
import warnings
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from assistant.review.index import source_hash
from assistant.review.pages.questions import BIN_MIN, hash_of
from assistant.review.pages.render import write_page
from assistant.review.wording import Row
from assistant.sentences import printable
from assistant.wear.visits import Visit

if TYPE_CHECKING:
    from matplotlib.axes import Axes

INK, SOFT, FILL = "#16202a", "#56646f", "#c9d6e2"
MOST_BARS = 12
Point = tuple[float, float]
Edges = tuple[float, float, float, float]


def figure_svg(size: Point, edges: Edges, draw: Callable[[Axes], None], name: str) -> str:
    """An SVG for inside a page, `size` inches, with `name` before all ids in it.

    `edges`: left, bottom, right and top of the axes, as shares of it.
    """
    # What the user's other programs draw with; one that is not there would be an error.
    os.environ.pop("MPLBACKEND", None)
    # It would tell that it found no folder to keep its fonts in, which is no matter here.
    logging.getLogger("matplotlib").setLevel(logging.ERROR)
    from matplotlib import rc_context
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    style: Any = {
        "svg.fonttype": "none",
        "svg.hashsalt": name,
        "font.family": "DejaVu Sans",
        "font.size": 9,
        "text.parse_math": False,
        "axes.edgecolor": INK,
        "axes.spines.top": False,
        "axes.spines.right": False,
        "hatch.linewidth": 0.6,
    }
    with rc_context(style):
        figure = Figure(figsize=size)
        FigureCanvasSVG(figure)
        figure.subplots_adjust(*edges)
        draw(figure.subplots())
        file = io.StringIO()
        with warnings.catch_warnings():
            # Words stay words in the drawing: whoever shows it has the letters of any alphabet.
            warnings.filterwarnings("ignore", message="Glyph .* missing from")
            figure.savefig(file, format="svg", transparent=True, metadata={"Date": None})
    svg = file.getvalue()
    svg = svg[svg.index("<svg") :]
    for side in ("width", "height"):
        svg = re.sub(rf'<svg ([^>]*?){side}="[^"]*"', r"<svg \1", svg, count=1)
    svg = re.sub(r"<metadata>.*?</metadata>", "", svg, flags=re.S)
    svg = re.sub(r'(id="|href="#|url\(#)(?!jobs=)', rf"\g<1>{name}-", svg)
    return svg.replace("xlink:href", "href")


def months(rows: Sequence[Row]) -> str:
    """First-time-right share a month, and below it the number of jobs."""
    rows = rows[-24:]

    def draw(axes: Axes) -> None:
        share = [100 * (row["share"] or 0.0) for row in rows]
        axes.plot(range(len(rows)), share, color=INK, marker="o", markersize=5, linewidth=1.2)
        names = [f"month:{row['month_utc']:%Y-%m}" for row in rows]
        links = [f"#{hash_of('signed:yes', name)}" for name in names]
        axes.scatter(range(len(rows)), share, s=81, color=INK, alpha=0.01).set_urls(links)
        for i, row in enumerate(rows):
            axes.text(i, -13, str(row["jobs"]), ha="center", fontsize=7, url=links[i])
        axes.axhline(0, color=SOFT, linewidth=0.6)
        axes.set_ylim(-20, 106)
        axes.set_yticks([-11, 0, 50, 100], ["jobs", "0 %", "50 %", "100 %"])
        every = -(-len(rows) // 6)
        axes.set_xticks(
            range(0, len(rows), every),
            [f"{row['month_utc']:%Y-%m}" for row in rows[::every]],
            fontsize=8,
        )

    return figure_svg((5.6, 2.6), (0.1, 0.12, 0.99, 0.97), draw, "months") if rows else ""


def misheard(rows: Sequence[Row], by: str, token: str) -> str:
    """How often words had to be said again, a bar each, with the share of all said there. A row has
    the `name` that people call it by."""
    rows = list(reversed(rows[:MOST_BARS]))

    def draw(axes: Axes) -> None:
        again = [row["again"] for row in rows]
        bars = axes.barh(range(len(rows)), again, color=FILL, edgecolor=INK, hatch="///")
        names = [shortened(row["name"]) for row in rows]
        axes.set_yticks(range(len(rows)), names)
        for i, (row, *parts) in enumerate(zip(rows, bars, axes.get_yticklabels(), strict=True)):
            for part in parts:
                part.set_url(f"#{hash_of(f'{token}:{row[by]}')}")
            text = f"{row['again']:,} ({row['again'] / row['said']:.1%} of {row['said']:,})"
            axes.annotate(text, (row["again"], i), (4, 0), textcoords="offset points",
                          va="center", fontsize=8)  # fmt: skip
        axes.set_xlim(0, 1.55 * max(again))
        axes.set_xticks([])
        axes.spines["bottom"].set_visible(False)

    size = 5.6, 0.6 + 0.24 * len(rows)
    return figure_svg(size, (0.3, 0.06, 0.99, 0.98), draw, f"by{token}") if rows else ""


def minutes(rows: Sequence[Row]) -> str:
    """Time at work a job: jobs by tens of minutes."""

    def draw(axes: Axes) -> None:
        last = min(rows[-1]["bin"], 30)
        counts = [0] * (last + 1)
        for row in rows:
            counts[min(row["bin"], last)] += row["jobs"]
        bars = axes.bar(range(last + 1), counts, width=0.9, color=FILL, edgecolor=INK, hatch="...")
        for i, bar in enumerate(bars):
            bar.set_url(f"#{hash_of(f'time:{i}')}")
            if counts[i]:
                axes.text(i, counts[i], str(counts[i]), ha="center", va="bottom", fontsize=8)
        axes.set_xticks(
            [i - 0.5 for i in range(last + 2)], [str(i * BIN_MIN) for i in range(last + 2)]
        )
        axes.set_xlabel("minutes at work", fontsize=8)
        axes.set_yticks([])
        axes.spines["left"].set_visible(False)
        axes.set_ylim(0, 1.08 * max(counts))

    return figure_svg((5.6, 2.6), (0.02, 0.19, 0.97, 0.98), draw, "minutes") if rows else ""


def shortened(words: str, most: int = 28) -> str:
    words = printable(words)
    return words if len(words) <= most else words[: most - 1] + "…"


# --- The wall of free-travel curves: one cell a truck, all on one scale.

ACROSS = 8
"""Trucks in a row."""
MOST_CURVES = 96


class Cell(NamedTuple):
    """One truck's curve: its lower limit as last in force, and (miles, as found, as left), inches;
    None where it was not read."""

    unit: str
    low_in: float | None
    points: list[tuple[float, float | None, float | None]]

    @property
    def told(self) -> str:
        """How it was left last, and the limit, as far as known: `1.500 / 1.125`."""
        now = next((b for _, *both in reversed(self.points) for b in reversed(both) if b), None)
        return " / ".join(f"{value:.3f}" for value in (now, self.low_in) if value is not None)


def cells(trucks: Sequence[tuple[str, Sequence[Visit]]]) -> list[Cell]:
    """What is to be drawn: the first `MOST_CURVES` trucks of which there is something to draw."""
    out: list[Cell] = []
    for unit, visits in trucks:
        points = [
            (v.miles, v.found.value_in if v.found else None, v.left.value_in if v.left else None)
            for v in visits
            if v.miles is not None and (v.found or v.left)
        ]
        if points and len(out) < MOST_CURVES:
            out.append(Cell(unit, visits[-1].low_in, points))
    return out


def curves(trucks: Sequence[Cell]) -> str:
    """A wall of free-travel curves, one cell a truck: as found (open) and as left (full).

    All of it is a few artists on one pair of axes: a pair for each truck would take seconds.
    """
    size, draw = (11.5, 1.05 * -(-len(trucks) // ACROSS)), partial(_wall, trucks=trucks)
    return figure_svg(size, (0, 0, 1, 1), draw, "curves") if trucks else ""


def _lengths(trucks: Sequence[Cell]) -> list[float]:
    values = [x for cell in trucks for _, *both in cell.points for x in (*both, cell.low_in)]
    return [value for value in values if value is not None]


def _wall(axes: Axes, trucks: Sequence[Cell]) -> None:
    from matplotlib.collections import LineCollection

    axes.set_axis_off()
    axes.set_xlim(0, ACROSS)
    axes.set_ylim(-1 - (len(trucks) - 1) // ACROSS, 0)
    values = _lengths(trucks)
    base_in, scale = min(values), 0.66 / max(max(values) - min(values), 1 / 64)
    lines: list[list[Point]] = []
    limits: list[list[Point]] = []
    found: list[Point] = []
    left: list[Point] = []
    for i, cell in enumerate(trucks):
        x0, y0 = i % ACROSS + 0.06, -(i // ACROSS) - 0.92
        first = min(way for way, *_ in cell.points)
        span = max(way for way, *_ in cell.points) - first or 1.0
        lines.append([])
        for way, *both in cell.points:
            for value, marks in zip(both, (found, left), strict=True):
                if value is not None:
                    marks.append((x0 + (way - first) / span * 0.82, y0 + (value - base_in) * scale))
                    lines[-1].append(marks[-1])
        if cell.low_in is not None:
            y = y0 + (cell.low_in - base_in) * scale
            limits.append([(x0 - 0.03, y), (x0 + 0.87, y)])
        name: Any = {"va": "top", "url": f"#{hash_of(f'unit:{cell.unit}')}"}
        axes.text(x0, y0 + 0.87, shortened(cell.unit, 10), fontsize=8, fontweight="bold",
                  color=INK, **name)  # fmt: skip
        axes.text(x0 + 0.86, y0 + 0.87, cell.told, fontsize=7, ha="right", **name)
    axes.add_collection(LineCollection(lines, colors=INK, linewidths=0.9))
    axes.add_collection(LineCollection(limits, colors=SOFT, linewidths=0.8, linestyles="dashed"))
    for points, face in ((found, "white"), (left, INK)):
        if points:
            across, up = zip(*points, strict=True)
            axes.scatter(across, up, s=9, facecolors=face, edgecolors=INK, linewidths=0.8,
                         zorder=3)  # fmt: skip


# --- Charts are slow to make, and kept in the user's cache by what they show: the same rows, drawn
# by the same code, are not drawn again, and then matplotlib is not even imported. Nothing depends
# on the cache; it may be removed at any time.

LAST_S = 30 * 86_400.0
"""A chart that no page has shown for so long is removed."""


def kept_or_drawn(folder: Path, chart: Callable[..., str], *shows: Any) -> str:
    """The SVG of `chart(*shows)`, from the cache in `folder` if it is there; "" when there is
    nothing to draw. The `repr` of what it shows says all that the drawing depends on."""
    told = repr((chart.__name__, source_hash(Path(__file__)), shows))
    file = folder / f"{hashlib.sha256(told.encode()).hexdigest()[:32]}.svg"
    with contextlib.suppress(OSError, ValueError):
        kept = file.read_text(encoding="utf-8")
        if kept.startswith("<svg") and kept.rstrip().endswith("</svg>"):
            os.utime(file)
            return kept
    drawn = chart(*shows)
    if drawn:
        with contextlib.suppress(OSError):
            write_page(file, drawn)
            for path in folder.glob("*.svg"):
                if path.stat().st_mtime < time.time() - LAST_S:
                    path.unlink()
    return drawn
