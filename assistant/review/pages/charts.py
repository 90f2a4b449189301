"""The fleet page's charts, by matplotlib, as SVG whose parts are links into the list of jobs.

Readable without colour: one ink, marks, hatching and dashes, figures beside every bar. matplotlib
is imported when the first chart is drawn; it takes longer than all the rest of the page.
"""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Sequence
from typing import Any

from assistant.review.pages.questions import BIN_MIN, Row
from assistant.review.pages.tokens import hash_of

INK, SOFT, FILL = "#16202a", "#56646f", "#c9d6e2"
MOST_BARS = 12


def figure_svg(wide: float, high: float, draw: Callable[[Any], None], name: str) -> str:
    """An SVG for inside a page, `wide` by `high` inches."""
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
        figure = Figure(figsize=(wide, high))
        FigureCanvasSVG(figure)
        draw(figure)
        file = io.StringIO()
        figure.savefig(file, format="svg", transparent=True, metadata={"Date": None})
    svg = file.getvalue()
    svg = svg[svg.index("<svg") :]
    svg = re.sub(r'<svg ([^>]*?)width="[^"]*"', r"<svg \1", svg, count=1)
    svg = re.sub(r'<svg ([^>]*?)height="[^"]*"', r"<svg \1", svg, count=1)
    svg = re.sub(r"<metadata>.*?</metadata>", "", svg, flags=re.S)
    svg = re.sub(r'(id="|href="#|url\(#)(?!jobs=)', rf"\g<1>{name}-", svg)
    return svg.replace("xlink:href", "href")


def months(rows: Sequence[Row]) -> str:
    """First-time-right share a month, and below it the number of jobs."""
    rows = rows[-24:]

    def draw(figure: Any) -> None:
        axes = figure.subplots()
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
        figure.subplots_adjust(0.1, 0.12, 0.99, 0.97)

    return figure_svg(5.6, 2.6, draw, "months") if rows else ""


def misheard(rows: Sequence[Row], by: str, token: str) -> str:
    """How often words had to be said again, a bar each, with the share of all said there."""
    rows = list(reversed(rows[:MOST_BARS]))

    def draw(figure: Any) -> None:
        axes = figure.subplots()
        again = [row["again"] for row in rows]
        bars = axes.barh(range(len(rows)), again, color=FILL, edgecolor=INK, hatch="///")
        for bar, row in zip(bars, rows, strict=True):
            bar.set_url(f"#{hash_of(f'{token}:{row[by]}')}")
        names = [shortened(str(row[by]).replace("_", " ")) for row in rows]
        axes.set_yticks(range(len(rows)), names)
        for label, row in zip(axes.get_yticklabels(), rows, strict=True):
            label.set_url(f"#{hash_of(f'{token}:{row[by]}')}")
        for i, row in enumerate(rows):
            text = f"{row['again']:,} ({row['again'] / row['said']:.1%} of {row['said']:,})"
            axes.annotate(text, (row["again"], i), (4, 0), textcoords="offset points",
                          va="center", fontsize=8)  # fmt: skip
        axes.set_xlim(0, 1.55 * max(again))
        axes.set_xticks([])
        axes.spines["bottom"].set_visible(False)
        figure.subplots_adjust(0.3, 0.06, 0.99, 0.98)

    return figure_svg(5.6, 0.6 + 0.24 * len(rows), draw, f"by{token}") if rows else ""


def minutes(rows: Sequence[Row]) -> str:
    """Time at work a job: jobs by tens of minutes."""

    def draw(figure: Any) -> None:
        axes = figure.subplots()
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
        figure.subplots_adjust(0.02, 0.19, 0.97, 0.98)

    return figure_svg(5.6, 2.6, draw, "minutes") if rows else ""


def shortened(words: str, most: int = 28) -> str:
    """Words cut to so many signs."""
    return words if len(words) <= most else words[: most - 1] + "…"
