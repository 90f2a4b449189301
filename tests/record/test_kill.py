"""Killed at random moments (SIGKILL), again and again: what was acknowledged is there.

A killed process loses nothing that it gave to the system, so this does not stand for a power
cut; that what is acknowledged was synced is shown in test_record_journal and by the torn
tails there. What a kill does show is every state the file can be left in by this code.
"""

import os
import random
import select
import signal
import subprocess
import sys
import time
from collections import Counter
from pathlib import Path

import pytest

import assistant
from assistant.record import Journal, verify_file
from assistant.record.events import GENESIS, parse_line

pytestmark = pytest.mark.long

ROOT = Path(assistant.__file__).parent.parent
KILLS = 240
GROUP = 4
# One warm process forks a new one for each kill: starting Python anew takes 0.1 s each time.
# The forked one says "ack <events> <head>" only after the call that wrote them returned.
CHILD = f"""
import os, random, sys
from pathlib import Path
from assistant.record import Journal

def work(path):
    journal = Journal.open(Path(path))
    said = lambda: os.write(1, f"ack {{len(journal.events)}} {{journal.head}}\\n".encode())
    said()
    while True:
        size = random.choice((10, 1000, 200_000))
        if random.random() < 0.5:
            journal.append("reading", {{"said": "x" * size}})
        else:
            journal.append_all([("step", {{"said": "y" * size}})] * {GROUP})
        said()

for line in sys.stdin:
    pid = os.fork()
    if not pid:
        random.seed()
        work(line.rstrip("\\n"))
    os.write(1, f"pid {{pid}}\\n".encode())
    os.waitpid(pid, 0)
    os.write(1, b"dead\\n")
"""


class Lines:
    """Reads a pipe line by line with a limit of time, so that no failure can hang the tests."""

    def __init__(self, fd: int) -> None:
        self._fd = fd
        self._rest = b""

    def next(self, seconds: float = 20.0) -> str:
        end = time.monotonic() + seconds
        while b"\n" not in self._rest:
            ready = select.select([self._fd], [], [], max(0.0, end - time.monotonic()))[0]
            piece = os.read(self._fd, 65536) if ready else b""
            assert piece, "the writer said nothing more"
            self._rest += piece
        line, self._rest = self._rest.split(b"\n", 1)
        return line.decode()


def heads(path: Path) -> list[str]:
    """Hashes of the whole lines, read without the journal; index 0 stands for none."""
    whole = path.read_bytes().split(b"\n")[:-1]
    return [GENESIS, *(parse_line(line + b"\n").hash for line in whole)]


def test_killed_at_random_moments(tmp_path: Path) -> None:
    chance = random.Random(20261125)
    seen: Counter[str] = Counter()
    path = Path()
    acked = (0, GENESIS)
    child = subprocess.Popen(
        [sys.executable, "-c", CHILD],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )
    lines = Lines(child.stdout.fileno())
    try:
        for turn in range(KILLS):
            if turn % 8 == 0:  # a new record now and then, to keep the checks quick
                with Journal.create(tmp_path, f"turn {turn}", {}) as journal:
                    path, acked = journal.path, (1, journal.head)
            before = len(heads(path)) - 1
            torn_before = turn % 4 == 2
            if torn_before:  # a kill seldom tears a line by itself; the repair must be hit too
                with path.open("ab") as file:
                    file.write(b'{"at":"2026-11-25T09:1')
            child.stdin.write(f"{path}\n".encode())
            child.stdin.flush()
            words = lines.next().split()
            told = [words] if words[0] == "ack" else []
            pid = int(words[1]) if words[0] == "pid" else 0
            # Every third may be killed while it opens, the others only once they write.
            while not pid or (turn % 3 and not told):
                words = lines.next().split()
                if words[0] == "pid":
                    pid = int(words[1])
                else:
                    told.append(words)
            time.sleep(chance.choice((0.003, 0.03)) * chance.random())
            os.kill(pid, signal.SIGKILL)
            while (words := lines.next().split()) != ["dead"]:
                told.append(words)
            for _, count, head in told:
                acked = (int(count), head)

            verdict, found = verify_file(path), heads(path)
            assert verdict.ok or verdict.torn, verdict
            assert verdict.events == len(found) - 1 >= before
            # The hash at an acknowledged place stands for all that was acknowledged up to it.
            assert found[acked[0]] == acked[1], (turn, verdict)
            # Beyond that: the one group in flight, or the note of the repair.
            extra = verdict.events - max(acked[0], before)
            assert 0 <= extra <= GROUP, (turn, extra)
            seen["in work" if told else "while opening"] += 1
            seen["acknowledged"] += len(told)
            seen["torn by the kill"] += verdict.torn and not torn_before
            seen["killed before or in the repair"] += torn_before and not told
            seen["whole but not acknowledged"] += extra > 0
            if turn % 2:  # else the next child does the repair, and may be killed in it
                with Journal.open(path) as journal:
                    repaired = journal.events[-1].kind == "repaired"
                    assert repaired or not verdict.torn
                    assert len(journal.events) == verdict.events + verdict.torn
                    assert heads(path)[acked[0]] == acked[1]
                assert verify_file(path).ok
    finally:
        child.stdin.close()
        child.wait(timeout=20)
        child.stdout.close()
    assert seen["in work"] + seen["while opening"] == KILLS >= 200
    assert seen["in work"] >= 20 and seen["acknowledged"] >= 100, seen
    print(dict(seen))
