"""How long a text turn takes, and how long until the first prompt.

    python -m tests.benchmarks.bench_turns [--jobs N]

Plays every demo script on real records (each turn synced to the disk). "busy" is what the
turn's own thread computed, without waiting for the disk or for other programs.
"""

import argparse
import subprocess
import sys
import tempfile
import time
from itertools import product
from pathlib import Path

from tests.benchmarks.figures import times
from tests.demo import CARDS, DEMO, played


def first_prompt(folder: Path, card: Path) -> float:
    """Seconds from starting the program to its first whole line of output."""
    start = time.perf_counter()
    child = subprocess.Popen(
        [sys.executable, "-m", "assistant", "chat", "--card", str(card), "--records", str(folder)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    for line in child.stdout:
        if "Odometer?" in line:
            break
    taken = time.perf_counter() - start
    child.stdin.close()
    child.wait()
    return taken


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--jobs", type=int, default=20, help="whole jobs played per script")
    jobs = parser.parse_args().jobs
    total: list[float] = []
    busy: list[float] = []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for script, job in product(CARDS, range(jobs)):
            turns = played(script, folder / script / str(job))
            session, *_ = next(turns)
            start, began = time.perf_counter(), time.thread_time()
            for _ in turns:
                busy.append(time.thread_time() - began)
                total.append(time.perf_counter() - start)
                start, began = time.perf_counter(), time.thread_time()
            assert session.job.finished
        starts = [first_prompt(folder, DEMO / "truck_t104.toml") for _ in range(9)]
    print(f"{len(total)} turns in {len(CARDS) * jobs} jobs, each synced to the disk")
    times("whole turn", total)
    times("busy", busy)
    times("start to first prompt", starts)


if __name__ == "__main__":
    main()
