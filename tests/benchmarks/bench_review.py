"""The lead's desk as a fleet grows: its index built, refreshed and asked; pages; the plain way.

    python -m tests.benchmarks.bench_review 1000 10000 100000 [--folder DIR] [--plain 2000]

The plain way reads every file in Python, strictly (`read_events`), each time something is asked; it
is timed on at most `--plain` records, between two halves of the same run, and said for all. Records
are the simulated fleet's, about 50 kB each. Times are of the wall clock, and of the processor, as
other work may share the machine. The files have just been written, so they come from memory.
A page is "new" in a process of its own, with Python's start and all imports, "warm" one more in the
same; the fleet's is the index asked and the page made. The last lines say how the goals
are met.
"""

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from math import log
from pathlib import Path
from resource import RUSAGE_SELF, getrusage
from statistics import median
from typing import Any

from assistant.record import read_events
from assistant.review import Review, open_review
from assistant.review.pages.fleet_page import write_fleet
from assistant.review.pages.job_page import job_page
from assistant.review.questions import QUESTIONS
from tests.review.jobs import fleet, tell

Row = dict[str, float]
ROOT = Path(__file__).resolve().parents[2]
FLEET_PAGE = """
import sys; from pathlib import Path
from assistant.review import open_review
from assistant.review.pages.fleet_page import write_fleet
with open_review([Path(sys.argv[1])], Path(sys.argv[2]), patience_s=600) as desk:
    write_fleet(desk, Path(sys.argv[3]))
"""
JOB_PAGE = """
import sys; from pathlib import Path
from assistant.review.pages.job_page import job_page
job_page(Path(sys.argv[1]), Path(sys.argv[2]))
"""

GOALS = {
    "command, nothing new s": 1.0,
    "10 new s": 1.0,
    "questions s": 0.5,
    "build / plain": 2.0,
}
"""At most; the command at 1,000 jobs, the others at any size."""


def timed(work: Callable[[], Any]) -> tuple[float, Any]:
    start = time.perf_counter()
    got = work()
    return time.perf_counter() - start, got


def plain(paths: list[Path]) -> dict[str, Any]:
    """Jobs, doubts and free travel as found, from every file."""
    jobs, doubtful, curves = 0, 0, {}
    for path in paths:
        events, _ = read_events(path)
        jobs += 1
        closed = next((e.data for e in reversed(events) if e.kind == "closed"), None)
        if closed is not None:
            doubtful += bool(closed["doubts"])
            found = closed["as_found"].get("free-travel")
            curves.setdefault(events[0].data["unit"], []).append(found and found["value_in"])
    return {"jobs": jobs, "doubtful": doubtful, "trucks": len(curves)}


def ask(review: Review) -> dict[str, float]:
    """Seconds of each question on an index that is up to date, and of all of them together."""
    seconds: dict[str, float] = {}
    for name in QUESTIONS:
        seconds[name], _ = timed(lambda name=name: review.ask(name, 200))
    seconds["all of them"] = sum(seconds.values())
    job = review.ask("needs_eyes", 1)[0]["job"]
    seconds["readings of one job"], _ = timed(lambda: review.of_jobs("readings", [job]))
    return seconds


def best(work: Callable[[], Any]) -> float:
    """The least seconds of three."""
    return min(timed(work)[0] for _ in range(3))


def command(*words: str | Path, home: Path) -> None:
    env = {**os.environ, "LUGCALL_INDEX": str(home), "PYTHONPATH": str(ROOT)}
    subprocess.run([sys.executable, *words], env=env, check=True, stdout=subprocess.DEVNULL)


def pages(records: Path, home: Path, out: Path, job: Path) -> Row:
    """Seconds of the fleet's page and of one job's."""

    row = {
        "fleet page, new s": best(lambda: command("-c", FLEET_PAGE, records, home, out, home=home)),
        "job page, new s": best(lambda: command("-c", JOB_PAGE, job, out, home=home)),
        "job page, warm s": best(lambda: job_page(job, out)),
    }
    with open_review([records], home) as desk:
        row["fleet page, warm s"] = best(lambda: write_fleet(desk, out))
    return row


def used(work: Callable[[], Any]) -> tuple[float, float, Any]:
    """Seconds of the wall clock and of the processor, and what came of it."""
    before = time.process_time()
    seconds, got = timed(work)
    return seconds, time.process_time() - before, got


def one_size(jobs: int, folder: Path, most_plain: int) -> Row:
    """Everything for one size; gives the figures of its row in the table of growth."""
    records, home = folder / f"records-{jobs}", folder / f"index-{jobs}"
    seconds, paths = timed(lambda: tell(records, fleet(max(1, jobs // 6), jobs), bays=10))
    size = sum(p.stat().st_size for p in paths)
    print(f"\n{jobs:,} jobs, {size / 1e6:,.0f} MB, written at {jobs / seconds:,.0f} jobs/s")
    some = paths[:most_plain]
    slow, own_before, _ = used(lambda: plain(some[::2]))
    build, own, review = used(lambda: open_review([records], home, patience_s=120))
    again, own_after, _ = used(lambda: plain(some[1::2]))
    slow, own_plain = slow + again, (own_before + own_after) / len(some)
    assert review.refreshed[0].read == jobs and not review.told, review.told
    review.ask("totals")  # from here on the questions' SQL is kept
    review.close()
    indexed = sum(p.stat().st_size for p in home.iterdir())
    row: Row = {"jobs": jobs, "build s": build, "jobs/s": jobs / build}
    row |= {"ms of processor a job": own / jobs * 1000, "plain ms a job": own_plain * 1000}
    row["build / plain"] = own / jobs / own_plain
    row["plain way s"] = slow / len(some) * jobs
    row["index MB"] = indexed / 1e6
    line = ("-m", "assistant", "review", records)
    row["command, nothing new s"] = best(lambda: command(*line, home=home))
    row["nothing new s"] = median(
        timed(lambda: open_review([records], home).close())[0] for _ in range(3)
    )
    ten = []
    for turn in range(3):
        tell(records / f"new-{turn}", fleet(10, 10, seed=100 + turn))
        seconds, review = timed(lambda: open_review([records], home))
        assert review.refreshed[0].read == 10, review.told
        review.close()
        ten.append(seconds)
    row["10 new s"] = median(ten)
    with open_review([records], home) as review:
        row["due, after a change s"], _ = timed(lambda: review.due)
        for name, seconds in ask(review).items():
            print(f"  {name:<19}{seconds:8.3f} s")
            row["questions s"] = seconds if name == "all of them" else row.get("questions s", 0.0)
    row |= pages(records, home, folder / "pages", paths[len(paths) // 2])
    row["peak MB"] = getrusage(RUSAGE_SELF).ru_maxrss / 1024
    shutil.rmtree(records)
    shutil.rmtree(home)
    return row


def growth(rows: list[Row]) -> None:
    """One line a figure, one column a size, with how it grew: 1.0 is in step with the jobs."""
    print("\nGrowth; the last column is the power of the jobs by which it grew at the end")
    for name in rows[0]:
        values = [row[name] for row in rows]
        power = ""
        if len(rows) > 1 and min(values) > 0:
            times = rows[-1]["jobs"] / rows[-2]["jobs"]
            power = f"{log(values[-1] / values[-2]) / log(times):8.2f}"
        print(f"  {name:<22}" + "".join(f"{v:12,.2f}" for v in values) + power)


def judged(rows: list[Row]) -> None:
    print("\nGoals")
    for name, most in GOALS.items():
        for row in rows if name != "command, nothing new s" else rows[:1]:
            word = "met" if row[name] <= most else "MISSED"
            print(f"  {name:<24}{row['jobs']:9,.0f} jobs {row[name]:8.2f} of {most:.1f}  {word}")


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("sizes", nargs="*", type=int, default=[1000, 10_000])
    parser.add_argument("--folder", type=Path, help="where the fleet is written, for a while")
    parser.add_argument("--plain", type=int, default=2000, help="records read the plain way")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory(dir=given.folder) as name:
        rows = [one_size(size, Path(name), given.plain) for size in sorted(set(given.sizes))]
    growth(rows)
    judged(rows)


if __name__ == "__main__":
    main()
