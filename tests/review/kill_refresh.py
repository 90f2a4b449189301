"""Builds an index of a folder and is killed, with no warning, once so many files are kept.

python tests/review/kill_refresh.py FOLDER HOME FILES

Where FILES is no whole number of batches, it is killed while the next batch is being written.
"""

from __future__ import annotations

import os
import signal
import sys
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from assistant.review import open_review, refresh
from assistant.review.index import Index

BATCH = 20


def kill() -> None:
    """No handler, no flush, no farewell."""
    os.kill(os.getpid(), signal.SIGKILL)


def main() -> None:
    """Small batches, so that a small folder has many of them."""
    folder, home, files = Path(sys.argv[1]), Path(sys.argv[2]), int(sys.argv[3])
    refresh.BATCH = BATCH
    insert, inserted = Index.insert, 0

    def progress(done: int, total: int) -> None:
        if done >= files:
            kill()

    def counted(self: Index, table: str, rows: list[dict[str, Any]]) -> None:
        nonlocal inserted
        insert(self, table, rows)
        inserted += table == "hearing"
        if inserted > files // BATCH and files % BATCH:
            kill()

    Index.insert = counted  # type: ignore[method-assign]
    open_review([folder], home=home, progress=progress)


if __name__ == "__main__":
    main()
