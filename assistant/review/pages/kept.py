"""What is slow to make and shows nothing new, kept in the user's cache: charts, and templates.

A chart is kept by what it shows: the same rows, drawn by the same code, are not drawn again, and
then matplotlib is not even imported. Nothing depends on the cache; it may be removed at any time.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import time
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from assistant.review.pages.render import write_page

if TYPE_CHECKING:
    from assistant.review import Review

LAST_S = 30 * 86_400.0
"""A chart that no page has shown for so long is removed."""
_HERE = Path(__file__).parent


class Charts:
    """Charts of one user's pages, each drawn once."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._swept = False

    def __call__(self, chart: Callable[..., str], *shows: Any) -> str:
        """The SVG of `chart(*shows)`, from the cache if it is there.

        Args:
            chart: draws; "" when there is nothing to draw.
            shows: all that the drawing depends on, as values whose `repr` says what they are.
        """
        told = repr((chart.__name__, _look(), shows))
        file = self.folder / f"{hashlib.sha256(told.encode()).hexdigest()[:32]}.svg"
        with contextlib.suppress(OSError, ValueError):
            kept = file.read_text(encoding="utf-8")
            if kept.startswith("<svg") and kept.rstrip().endswith("</svg>"):
                os.utime(file)
                return kept
        drawn = chart(*shows)
        if drawn:
            with contextlib.suppress(OSError):
                write_page(file, drawn)
                self._sweep()
        return drawn

    def _sweep(self) -> None:
        if self._swept:
            return
        self._swept = True
        for path in self.folder.glob("*.svg"):
            if path.stat().st_mtime < time.time() - LAST_S:
                path.unlink()


def charts_of(desk: Review) -> Charts:
    """The charts beside the indexes of a review."""
    return Charts(desk.home / "charts")


@cache
def _look() -> str:
    """How charts are drawn, in a short hash."""
    files = [_HERE / "charts.py", _HERE / "curves.py", _HERE / "tokens.py"]
    return hashlib.sha256(b"".join(f.read_bytes() for f in files)).hexdigest()[:12]
