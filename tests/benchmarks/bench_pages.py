"""How long pages take: one job's, and the fleet's for a growing number of jobs. Asserts nothing.

    python tests/benchmarks/bench_pages.py [jobs ...]

Each figure is wall time and, in brackets, the process's own time (the machine may be busy): the
least of three. "cold" is a new process, with Python's start and all imports; "warm" a page more in
the same one. The index is ready before; "first" draws all charts, then they are kept.
"""

from __future__ import annotations

import os
import random
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent.parent))

from assistant.review import open_review
from tests.review.jobs import Job, day, tell

PER_TRUCK = 6


def fleet(number: int) -> list[Job]:
    """That many jobs, six a truck, some with words not heard."""
    rng = random.Random(number)
    jobs = []
    for i in range(number):
        truck, visit = divmod(i, PER_TRUCK)
        miles = 50_000 + 900 * (truck % 97) + 25_000 * visit
        at = day(2024, 1, 8) + timedelta(days=90 * visit + truck % 80, minutes=truck)
        found = 1.5625 - rng.uniform(0.1, 0.5)
        again = rng.choice((0, 0, 0, 1, 4))
        mic = rng.choice(("Headset A", "Headset B", "Cab microphone"))
        jobs.append(
            Job(f"T-{truck}", at, str(rng.randint(10, 20)), miles, 1.5625, found, again, mic)
        )
    return jobs


Took = tuple[float, float]
"""Wall time and the process's own, seconds."""
_ROOT = Path(__file__).parent.parent.parent
_FLEET = """
import sys; from pathlib import Path
from assistant.review import open_review
from assistant.review.pages.write import write_fleet
with open_review([Path(sys.argv[1])], Path(sys.argv[2]), patience_s=600) as desk:
    write_fleet(desk, Path(sys.argv[3]))
"""
_JOB = """
import sys; from pathlib import Path
from assistant.review.pages.job_page import job_page
job_page(Path(sys.argv[1]), Path(sys.argv[2]))
"""


def warm(what: Callable[[], object]) -> Took:
    """In this process."""
    wall, own = time.perf_counter(), time.process_time()
    what()
    return time.perf_counter() - wall, time.process_time() - own


def cold(code: str, *arguments: Path) -> Took:
    """In a new process, its start counted in."""
    command = [sys.executable, "-c", code, *map(str, arguments)]
    wall, before = time.perf_counter(), os.times()
    subprocess.run(command, cwd=_ROOT, check=True)
    after = os.times()
    own = after.children_user + after.children_system
    return time.perf_counter() - wall, own - before.children_user - before.children_system


def best(what: Callable[[], Took]) -> str:
    """The least of three."""
    walls, owns = zip(*(what() for _ in range(3)), strict=True)
    return f"{min(walls):6.3f} ({min(owns):.3f})"


def main(sizes: list[int]) -> None:
    """Print a table."""
    from assistant.review.pages.fleet_page import fleet_page
    from assistant.review.pages.job_page import job_page

    print("   jobs  fleet page, first    cold, charts kept    warm              "
          "job page, cold       warm, s (own)")  # fmt: skip
    for size in sizes:
        with tempfile.TemporaryDirectory() as name:
            folder, index, out = (Path(name, part) for part in ("records", "index", "out"))
            paths = tell(folder, fleet(size))
            open_review([folder], index, patience_s=600).close()

            def first(folder: Path = folder, index: Path = index, out: Path = out) -> Took:
                shutil.rmtree(index / "charts", ignore_errors=True)
                return cold(_FLEET, folder, index, out)

            told = [best(first), best(lambda f=folder, i=index, o=out: cold(_FLEET, f, i, o))]
            with open_review([folder], index, patience_s=600) as desk:
                told.append(best(lambda d=desk, o=out: warm(lambda: fleet_page(d, o, _nowhere))))
            path = paths[len(paths) // 2]
            told.append(best(lambda p=path, o=out: cold(_JOB, p, o)))
            job_page(path, out)
            told.append(best(lambda p=path, o=out: warm(lambda: job_page(p, o))))
            print(f"{size:7,}  {'      '.join(told)}", flush=True)


def _nowhere(row: dict[str, object]) -> Path:
    return Path("jobs", f"{row['job']}.html")


if __name__ == "__main__":
    main([int(size) for size in sys.argv[1:]] or [100, 1000, 3000])
