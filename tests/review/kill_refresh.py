"""Builds an index of a folder and is killed, with no warning, after so many files were read.

python tests/kill_review.py FOLDER HOME FILES
"""

from __future__ import annotations

import os
import signal
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from assistant.review import many, parts
from assistant.review.refresh import refresh
from assistant.review.store import Store


def main() -> None:
    """Small pieces and parts, so that a small folder has many of them."""
    folder, home, files = Path(sys.argv[1]), Path(sys.argv[2]), int(sys.argv[3])
    many.CHUNK, parts.LEAST = 5, 20

    def progress(done: int, total: int) -> None:
        if done >= files:
            os.kill(os.getpid(), signal.SIGKILL)

    refresh(Store(folder, home), progress=progress)


if __name__ == "__main__":
    main()
