"""How long pages take: one job's, and the fleet's for a growing number of jobs. Asserts nothing.

    python tests/benchmarks/bench_pages.py [jobs ...]

Wall time, the best of three, and the process's own time in brackets (the machine may be busy). The
index is built before and not counted; what is imported at the first page is told apart.
"""

from __future__ import annotations

import random
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent.parent))

from assistant.review.desk import open_review
from tests.review_fleet import Job, day, tell

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


def best(what: Callable[[], object]) -> str:
    """The best wall time of three, and the least own time."""
    walls, owns = [], []
    for _ in range(3):
        wall, own = time.perf_counter(), time.process_time()
        what()
        walls.append(time.perf_counter() - wall)
        owns.append(time.process_time() - own)
    return f"{min(walls):6.3f} s ({min(owns):.3f})"


def main(sizes: list[int]) -> None:
    """Print a table."""
    start = time.perf_counter()
    import matplotlib.figure  # noqa: F401

    from assistant.review.pages.fleet import fleet_page
    from assistant.review.pages.job import job_page

    print(f"imports {time.perf_counter() - start:.3f} s")
    for size in sizes:
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name, "records")
            paths = tell(folder, fleet(size))
            with open_review([folder], Path(name, "index"), patience_s=600) as desk:
                page = best(lambda desk=desk, name=name: fleet_page(desk, Path(name), _nowhere))
            some = paths[:: max(1, len(paths) // 20)][:20]
            each = []
            for path in some:
                start = time.perf_counter()
                job_page(path, folder)
                each.append(time.perf_counter() - start)
            print(
                f"{size:7,} jobs: fleet page {page}; a job's page median "
                f"{statistics.median(each) * 1000:.0f} ms, longest {max(each) * 1000:.0f} ms"
            )


def _nowhere(row: dict[str, object]) -> Path:
    return Path("jobs", f"{row['job']}.html")


if __name__ == "__main__":
    main([int(size) for size in sys.argv[1:]] or [100, 1000, 3000])
