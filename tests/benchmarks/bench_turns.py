"""How long a text turn takes, stage by stage, and how long until the first prompt.

    python tests/benchmarks/bench_turns.py [--jobs N]

Plays every demo script on real records (each turn synced to the disk). "other" is what is left of a
turn beside understanding, procedure and record: building and returning the replies. "busy" is what
the turn's own thread computed, without waiting for the disk or for other programs.
"""

from __future__ import annotations

import argparse
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from assistant.card import load_card
from assistant.conversation import Session, split_speaker
from assistant.texts.dialogs import load_dialogs

DEMO = Path(__file__).parent.parent.parent / "demo_sessions"
SCRIPTS = {
    "first_job": "t104",
    "hard_day": "t104",
    "cable_job": "c15",
    "hydraulic_job": "h9",
    "metric_job": "m31",
    "self_adjusting_job": "a7",
    "synchronized_job": "s22",
    "all_new_job": "k40",
}
"""Script -> the card it is played with."""


def quantile(values: list[float], share: float) -> float:
    return sorted(values)[min(len(values) - 1, int(len(values) * share))]


def first_prompt(folder: Path, card: Path) -> float:
    """Seconds from starting the program to its first whole line of output."""
    start = time.perf_counter()
    child = subprocess.Popen(
        [sys.executable, "-m", "assistant", "chat", "--card", str(card), "--records", str(folder)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert child.stdout is not None and child.stdin is not None
    for line in child.stdout:
        if "Chock" in line:
            break
    taken = time.perf_counter() - start
    child.stdin.close()
    child.wait()
    return taken


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--jobs", type=int, default=20, help="whole jobs played per script")
    jobs = parser.parse_args().jobs
    dialogs = load_dialogs()
    total: list[float] = []
    busy: list[float] = []
    stages: dict[str, list[float]] = {"meaning": [], "procedure": [], "record": [], "other": []}
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for script, truck in SCRIPTS.items():
            card = load_card(DEMO / f"truck_{truck}.toml")
            lines = [
                x
                for x in (DEMO / f"{script}.txt").read_text(encoding="utf-8").splitlines()
                if x.strip() and not x.startswith("#")
            ]
            for job in range(jobs):
                session, _ = Session.begin(card, dialogs, folder / script / str(job))
                for line in lines:
                    start, began = time.perf_counter(), time.thread_time()
                    session.hear(*split_speaker(line))
                    busy.append(time.thread_time() - began)
                    taken = time.perf_counter() - start
                    total.append(taken)
                    for key, value in session.stages.items():
                        stages[key].append(value)
                    stages["other"].append(taken - sum(session.stages.values()))
                assert session.job.finished
                session.close()
        starts = [first_prompt(folder, DEMO / "truck_t104.toml") for _ in range(9)]
    print(f"{len(total)} turns in {len(SCRIPTS) * jobs} jobs, each synced to the disk")
    print(f"{'':<12}{'median ms':>10}{'95% ms':>10}{'worst ms':>10}{'share':>8}")
    for key, values in (("whole turn", total), ("busy", busy), *stages.items()):
        row = (statistics.median(values), quantile(values, 0.95), max(values))
        share = sum(values) / sum(total)
        print(f"{key:<12}" + "".join(f"{1000 * v:>10.3f}" for v in row) + f"{share:>8.0%}")
    print(f"start to first prompt: median {statistics.median(starts):.3f} s of {len(starts)}")


if __name__ == "__main__":
    main()
