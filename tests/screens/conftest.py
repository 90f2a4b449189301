"""A server with real sockets in a thread of this process, on records of the test's own."""

import asyncio
import shutil
import socket
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from itertools import count
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest

pytest.importorskip("starlette")
import uvicorn

from assistant.conversation import Session, split_speaker
from assistant.screens.access import Access
from assistant.screens.bays import Bays
from assistant.screens.server import application
from tests.demo import DEMO, card, script, shipped

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")


def free_port() -> int:
    """A port that nobody listens on."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return int(free.getsockname()[1])


def until(at: str, folder: Path) -> str:
    """A record of the demo job, left at a step; its name in addresses."""
    stem, record = _left(at)
    folder.mkdir(parents=True, exist_ok=True)
    names = (folder / f"{stem}-{n}.jsonl" for n in count(1))
    path = next(name for name in names if not name.exists())
    path.write_bytes(record)
    return path.stem


@cache
def _left(at: str) -> tuple[str, bytes]:
    with TemporaryDirectory() as folder:
        # By the rules of before a new start asked who goes on: these tests are not about that.
        session, _ = Session.begin(card(), shipped(), Path(folder), rules=0)
        for line in script("first_job"):
            if session.job.at == at:
                break
            session.hear(*split_speaker(line))
        assert session.job.at == at
        session.close()
        return session.journal.path.stem, session.journal.path.read_bytes()


@dataclass
class Served:
    """A running server."""

    at: str
    bays: Bays
    access: Access
    server: uvicorn.Server
    thread: threading.Thread

    def stop(self) -> None:
        self.server.should_exit = True
        self.thread.join(20)
        assert not self.thread.is_alive()


def serve(
    folder: Path,
    port: int = 0,
    paired: bool = False,
    ears: Callable[[], Any] = lambda: None,
    full: bool = False,
) -> Served:
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    listener.bind(("127.0.0.1", port))
    at = f"http://127.0.0.1:{listener.getsockname()[1]}"
    bays, access = Bays(folder, shipped(), DEMO, ears, full), Access(paired)
    app = application(bays, access, ["127.0.0.1"], at)
    config = uvicorn.Config(app, log_level="error", ws="websockets-sansio", lifespan="on")
    config.timeout_graceful_shutdown = 1
    server = uvicorn.Server(config)

    def run() -> None:
        asyncio.run(server.serve(sockets=[listener]))

    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    ends = time.monotonic() + 20
    while not server.started and time.monotonic() < ends:
        time.sleep(0.01)
    assert server.started
    return Served(at, bays, access, server, thread)


@pytest.fixture
def served(tmp_path: Path) -> Iterator[Served]:
    running = serve(tmp_path)
    yield running
    running.stop()
