"""The memory that the ears take at most, in a process of its own which hears a whole job.

    python -m tests.benchmarks.bench_memory

Every step's grammar, a listening wherever a reading is asked for, and free words once, which other
weights write. Megabytes; what holds the sounds and the job is counted along.
"""

import subprocess
import sys
from pathlib import Path

import numpy as np

from assistant.texts.dialogs import load_dialogs
from assistant.voice.recognition.expected import expected
from assistant.voice.recognition.recognizers import Recognizers, open_recognizers
from tests.demo import card
from tests.spoken.commands import moments


def memory() -> float:
    """Peak resident megabytes of such a process."""
    command = [sys.executable, "-m", "tests.benchmarks.bench_memory"]
    done = subprocess.run(command, capture_output=True, text=True, check=True, timeout=300)
    return float(done.stdout)


def main() -> None:
    """The command."""
    ears, rng = Recognizers(open_recognizers()[0]), np.random.default_rng(1)
    sound = rng.normal(0, 0.05, 40_000).astype(np.float32)
    for job in moments(card(), load_dialogs()).values():
        ears.expect(expected(job))
        if job.expects():
            ears.listen(sound)
    ears.dictate(sound)
    print(_peak_mb())


def _peak_mb() -> int:
    """Linux alone: `getrusage` also counts what the process held that started this one."""
    status = Path("/proc/self/status").read_text(encoding="ascii")
    return round(int(status.partition("VmHWM:")[2].split()[0]) / 1024)


if __name__ == "__main__":
    main()
