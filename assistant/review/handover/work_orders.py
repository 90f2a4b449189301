"""One row a job for whatever work-order program a shop has; `dialogs/en/columns.toml` documents it.

The row is the question `work_orders`: its names and their order stay, new ones come at the end.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from datetime import datetime

from assistant.review.wording import Row


def as_json(rows: Iterable[Row]) -> Iterator[str]:
    """One JSON object a line; times in UTC as RFC 3339 has them."""
    for row in rows:
        yield json.dumps(row, ensure_ascii=False, default=_spelled)


def _spelled(value: object) -> str:
    if isinstance(value, datetime):
        return f"{value:%Y-%m-%dT%H:%M:%S}Z"
    return str(value)
