"""The lead's desk as a fleet grows: building, refreshing and asking the index; and the plain way.

    python tests/benchmarks/bench_review.py 1000 10000 [--folder DIR] [--plain 2000]

The plain way reads every file in Python, strictly (`read_events`), each time something is asked; it
is timed on at most `--plain` records and said for so many. Records are the simulated fleet's, about
50 kB each. Times are of the wall clock, and of the processor, as other work may share the machine;
memory is the peak of this process and of its helpers. The files have just been written, so they
come from memory, not from the disk.
"""

from __future__ import annotations

import argparse
import shutil
import sys
import tempfile
import time
from collections.abc import Callable
from math import log
from pathlib import Path
from resource import RUSAGE_CHILDREN, RUSAGE_SELF, getrusage
from statistics import median
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from assistant.record import read_events
from assistant.review import fleet, open_review
from assistant.review.refresh import refresh
from assistant.review.store import Store
from assistant.texts.dialogs import load_dialogs
from tests.fleet.stamped import Stamp, stamps, write

Row = dict[str, float]


def cpu_s() -> float:
    """Seconds of processor time so far, of this process and of helpers that have ended."""
    used = [getrusage(who) for who in (RUSAGE_SELF, RUSAGE_CHILDREN)]
    return sum(u.ru_utime + u.ru_stime for u in used)


def timed(work: Callable[[], Any]) -> tuple[float, Any]:
    """Seconds, and what came of it."""
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


def ask(records: Path, home: Path) -> dict[str, float]:
    """Seconds of each question on an index that is up to date, and of all of them together."""
    seconds: dict[str, float] = {}
    with open_review([records], home=home) as review:
        t = review.tables
        whole = time.perf_counter()
        for name in ("totals", "needs_eyes", "units", "first_time_right", "misheard",
                     "time_a_step", "by_finding", "damaged"):  # fmt: skip
            question = fleet.QUESTIONS[name](t).limit(200)
            seconds[name], _ = timed(lambda q=question: review.rows(q))
        seconds["all of them"] = time.perf_counter() - whole
        job = review.rows(t.jobs.select("job").limit(1))[0]["job"]
        one = t.readings.filter(t.readings.job == job)
        seconds["readings of one job"], _ = timed(lambda: review.rows(one))
    return seconds


def one_size(made: list[Stamp], jobs: int, folder: Path, most_plain: int) -> Row:
    """Everything for one size; gives the figures of its row in the table of growth."""
    records, home = folder / f"records-{jobs}", folder / f"index-{jobs}"
    seconds, truth = timed(lambda: write(made, max(1, jobs // 6), jobs, records))
    size = sum(p.stat().st_size for p in records.rglob("*.jsonl"))
    print(f"\n{jobs:,} jobs, {size / 1e6:,.0f} MB, written at {jobs / seconds:,.0f} jobs/s")
    store = Store(records, home)
    before = cpu_s()
    build, done = timed(lambda: refresh(store, patience_s=120))
    used = cpu_s() - before
    assert done.read == jobs and not done.told, done.told
    indexed = sum(p.stat().st_size for p in store.place.iterdir())
    print(
        f"  index built        {build:8.2f} s  {jobs / build:,.0f} jobs/s, {indexed / 1e6:,.0f} MB"
    )
    print(f"  its processor time {used:8.2f} s  {used / jobs * 1000:.2f} ms a job")
    row: Row = {"jobs": jobs, "build s": build, "jobs/s": jobs / build}
    row["ms of processor a job"] = used / jobs * 1000
    same = median(timed(lambda: refresh(store))[0] for _ in range(3))
    print(f"  nothing new        {same:8.2f} s")
    ten = []
    for turn in range(3):
        for number in range(10):
            visit = truth[number]
            name = f"new-{turn}-{number}.jsonl"
            began = visit.at.replace(microsecond=1000 * (turn + 1))
            (records / "bay-0" / name).write_bytes(made[0].bytes_for(visit, began))
        seconds, done = timed(lambda: refresh(store))
        assert done.read == 10, done
        ten.append(seconds)
    print(f"  10 new jobs        {median(ten):8.2f} s")
    asked = ask(records, home)
    for name, seconds in asked.items():
        print(f"  {name:<19}{seconds:8.3f} s")
    row |= {"nothing new s": same, "10 new s": median(ten), "questions s": asked["all of them"]}
    paths = sorted(records.rglob("*.jsonl"))[:most_plain]
    before = cpu_s()
    slow, _ = timed(lambda: plain(paths))
    used, rate = cpu_s() - before, len(paths) / slow
    print(
        f"  plain way, {len(paths):,}: {slow:.2f} s, {rate:,.0f} jobs/s; all: {jobs / rate:,.1f} s"
    )
    print(f"  its processor time {used:8.2f} s  {used / len(paths) * 1000:.2f} ms a job")
    row |= {"plain way s": jobs / rate, "plain ms a job": used / len(paths) * 1000}
    peaks = [getrusage(who).ru_maxrss / 1024 for who in (RUSAGE_SELF, RUSAGE_CHILDREN)]
    print(f"  peak memory        {peaks[0]:8.0f} MB, each helper at most {peaks[1]:.0f} MB")
    shutil.rmtree(records)
    shutil.rmtree(home)
    return row | {"peak MB": peaks[0], "a helper MB": peaks[1]}


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


def main() -> None:
    """The sizes asked for, smallest first."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("sizes", nargs="*", type=int, default=[1000, 10_000])
    parser.add_argument("--folder", type=Path, help="where the fleet is written, for a while")
    parser.add_argument("--plain", type=int, default=2000, help="records read the plain way")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory(dir=given.folder) as name:
        folder = Path(name)
        made = stamps(folder / "played", load_dialogs())
        growth([one_size(made, size, folder, given.plain) for size in sorted(set(given.sizes))])


if __name__ == "__main__":
    main()
