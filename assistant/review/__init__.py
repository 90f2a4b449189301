"""The lead's desk: many records read at once, into tables to ask and pages to look at.

- ``columns``, ``tables``: what there is to ask, as Ibis expressions; ``fleet``: often asked;
- ``fold``, ``quick``: one record as rows, its chain checked;
- ``scan``, ``store``, ``refresh``: folders, their indexes, and keeping those fresh;
- ``desk``: an open review; ``export``: CSV and Parquet.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from assistant.review.desk import Review

__all__ = ["open_review"]


def open_review(folders: Iterable[Path], **how: Any) -> Review:
    """Bring the indexes of the folders up to date and open them; `how` as in `desk.open_review`."""
    from assistant.review.desk import open_review as opened

    return opened(folders, **how)
