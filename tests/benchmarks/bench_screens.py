"""Many bays at once: how long a turn takes to reach every screen, and what it costs.

    python -m tests.benchmarks.bench_screens [--jobs 50] [--seconds 30] [--every 2]

A server of its own process, without ears; each job has a bench, a cab and a desk, all real links.
Each bench says something every `--every` seconds; timed is from sending the words to the message on
each of the three pages, the record on the disk in between. Clients share the machine's cores with
the server, and are counted apart. Restart: from the start of the process until a page of a job that
was live before is shown the truth.
"""

import argparse
import asyncio
import json
import os
import random
import socket
import subprocess
import sys
import tempfile
import time
from contextlib import suppress
from http.client import HTTPConnection
from pathlib import Path

from websockets.asyncio.client import connect

from tests.demo import DEMO, script

_TICK = os.sysconf("SC_CLK_TCK")
PAGES = ("tech", "helper", "lead")


def spent(pid: int) -> tuple[float, float]:
    """Processor seconds and resident MB of a process."""
    fields = Path(f"/proc/{pid}/stat").read_text().rsplit(") ", 1)[1].split()
    seconds = (int(fields[11]) + int(fields[12])) / _TICK
    kib = next(s for s in Path(f"/proc/{pid}/status").read_text().splitlines() if "VmRSS" in s)
    return seconds, int(kib.split()[1]) / 1024


def started(folder: str, port: int) -> tuple[subprocess.Popen[bytes], float]:
    """A server, and the seconds until it answered."""
    begins = time.monotonic()
    command = [sys.executable, "-m", "assistant", "serve", "--quiet", "--port", str(port)]
    command += ["--records", folder, "--cards", str(DEMO)]
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL)
    while time.monotonic() - begins < 60:
        with suppress(OSError), socket.create_connection(("127.0.0.1", port), 1):
            return process, time.monotonic() - begins
        time.sleep(0.01)
    raise SystemExit("the server did not start")


def begun(port: int) -> str:
    link = HTTPConnection("127.0.0.1", port, timeout=30)
    link.request("POST", "/begin", "card=T-104", {"origin": f"http://127.0.0.1:{port}"})
    return link.getresponse().headers["location"].removeprefix("/bench/")


class Job:
    """One bay's three pages."""

    def __init__(self, name: str, waits: list[float]) -> None:
        self.name, self.waits = name, waits
        self.sent = dict.fromkeys(PAGES, 0.0)
        self.n = dict.fromkeys(PAGES, 0)

    async def page(self, port: int, role: str, ready: asyncio.Event) -> None:
        at = f"ws://127.0.0.1:{port}/live/{role}/{self.name}?me={role}"
        async with connect(at, origin=f"http://127.0.0.1:{port}") as link:
            if role == "tech":
                self.bench = link
            async for text in link:
                now, told = time.monotonic(), json.loads(text)
                if "n" in told:
                    self.n[role] = told["n"]
                    if self.sent[role]:
                        self.waits.append(now - self.sent[role])
                        self.sent[role] = 0.0
                if "beat" in told:
                    ready.set()
                    seen = {"seen": self.n[role], "of": told["t"], "at": int(now * 1000)}
                    await link.send(json.dumps(seen))

    async def talk(self, every_s: float, ends: float) -> None:
        lines = [line for line in script("first_job") if not line.startswith("helper")]
        await asyncio.sleep(random.random() * every_s)
        for turn in range(10**6):
            if time.monotonic() > ends:
                return
            self.sent = dict.fromkeys(PAGES, time.monotonic())
            await self.bench.send(json.dumps({"words": lines[turn % len(lines)], "id": turn}))
            await asyncio.sleep(every_s)


async def run(port: int, jobs: int, seconds: float, every_s: float, pid: int) -> list[str]:
    names = [await asyncio.to_thread(begun, port) for _ in range(jobs)]
    waits: list[float] = []
    live = [Job(name, waits) for name in names]
    pages = []
    for job in live:
        for role in PAGES:
            ready = asyncio.Event()
            pages.append(asyncio.create_task(job.page(port, role, ready)))
            await asyncio.wait_for(ready.wait(), 30)
    before, begins = spent(pid)[0], time.monotonic()
    await asyncio.gather(*(job.talk(every_s, begins + seconds) for job in live))
    took = time.monotonic() - begins
    used, memory = spent(pid)[0] - before, spent(pid)[1]
    for page in pages:
        page.cancel()
    waits.sort()
    print(
        f"{jobs} jobs, {len(pages)} pages, a turn of each every {every_s:g} s, "
        f"{len(waits):,} messages"
    )
    marks = ", ".join(f"{name} {waits[int(len(waits) * q)] * 1000:.1f}"
                      for name, q in (("median", 0.5), ("95 %", 0.95), ("99 %", 0.99)))  # fmt: skip
    print(f"  words sent to message shown, ms: {marks} (goal at 95 %: 50)")
    share = used / took
    print(f"  processor of the server: {share:.2f} of a core, {share / jobs * 1000:.1f} ms/s a job")
    print(f"  memory: {memory:.0f} MB, {memory / jobs:.1f} a job")
    return names


async def truth(port: int, name: str) -> None:
    at = f"ws://127.0.0.1:{port}/live/helper/{name}?me=cab"
    async with connect(at, origin=f"http://127.0.0.1:{port}") as link:
        while "view" not in json.loads(await asyncio.wait_for(link.recv(), 30)):
            pass


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--jobs", type=int, default=50)
    parser.add_argument("--seconds", type=float, default=30.0)
    parser.add_argument("--every", type=float, default=2.0)
    given = parser.parse_args()
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    with tempfile.TemporaryDirectory() as folder:
        server, start_s = started(folder, port)
        print(f"started in {start_s:.2f} s (goal 2)")
        names = asyncio.run(run(port, given.jobs, given.seconds, given.every, server.pid))
        server.kill()
        server.wait(10)
        begins = time.monotonic()
        server, start_s = started(folder, port)
        asyncio.run(truth(port, names[0]))
        print(
            f"killed, started again: a page sees the truth after {time.monotonic() - begins:.2f} s"
        )
        begins = time.monotonic()
        for name in names[1:11]:
            asyncio.run(truth(port, name))
        print(f"  each further job resumed in {(time.monotonic() - begins) / 10:.2f} s")
        server.terminate()
        server.wait(20)


if __name__ == "__main__":
    main()
