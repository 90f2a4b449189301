"""A disk that really refuses under a live job, in the middle of a hold: bench and cab are told in
one line, hands are out, and what was answered is kept. The server is a process of its own."""

import json
import resource
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from assistant.record import verify_file
from tests.demo import ROOT
from tests.record.test_disk import mounted
from tests.screens.conftest import free_port, until
from tests.screens.test_server import ask, link, shown


@contextmanager
def serving(folder: Path, *before: str) -> Iterator[tuple[str, subprocess.Popen[bytes]]]:
    """`lugcall serve` on the records of a folder, run behind a command. Whatever happens there,
    its log has no traceback."""
    port = free_port()
    command = [*before, sys.executable, "-m", "assistant", "serve", "--quiet"]
    command += ["--records", str(folder), "--port", str(port)]
    at = f"http://127.0.0.1:{port}"
    log = folder.parent / f"{folder.name}.log"
    with (
        log.open("w") as told,
        subprocess.Popen(command, cwd=ROOT, stdout=subprocess.DEVNULL, stderr=told) as server,
    ):
        try:
            ends = time.monotonic() + 30
            while time.monotonic() < ends:
                try:
                    ask(at, "/static/link.js")
                    break
                except OSError:
                    time.sleep(0.05)
            yield at, server
        finally:
            server.terminate()
            server.wait(20)
    assert "Traceback" not in log.read_text() and "fault of lugcall" not in log.read_text()


def say(page, words: str, n: int) -> dict:
    """Words, and the message that answers them or says what is broken: not of a link lost."""
    page.send(json.dumps({"words": words, "id": 1}))
    while True:
        told = shown(page, n)
        n = told["n"]
        heard = told["view"].get("heard", {})
        if heard.get("words", words) == words and not any(
            one["key"].startswith("reply:link") for one in told["said"]
        ):
            return told


def hold_breaks(
    at: str, job: str, record: Path, breaks: Callable[[], None], mends: Callable[[], None]
) -> str:
    """From a hold into the fault and out again; the line that the bench was shown."""
    with link(at, "tech", job) as bench, link(at, "helper", job) as cab:
        n = shown(bench)["n"]
        for page, words in (
            (bench, "clear"), (bench, "carry on"), (bench, "clear"), (cab, "holding"),
        ):  # fmt: skip
            n = say(page, words, n)["n"]
        breaks()
        for _ in range(20):  # the last block of a file on a full disk may still take a line
            kept = record.read_bytes()
            told = say(bench, "where are we", n)
            view, n = told["view"], told["n"]
            if view["word"] == "stop":
                break
        alarms = [one["text"] for one in told["said"] if one.get("signal") == "DANGER"]
        assert len(alarms) == 1 and alarms[0].startswith("HANDS OUT")
        assert "Stop work; " in view["now"] and view["now"].endswith("TRY AGAIN")
        assert "\n" not in view["now"] and [a["means"] for a in view["answers"]] == ["again"]
        (touch,) = view["answers"]
        stands = shown(cab, n - 1)["view"]
        assert stands["word"] == "stop" and stands["safe"] == "hold" and not stands["answers"]
        assert record.read_bytes() == kept and verify_file(record).ok
        n = say(cab, "released", n)["n"]  # nothing counts meanwhile, and it is still refused
        assert shown(bench, n - 1)["view"]["word"] == "stop" and record.read_bytes() == kept
        mends()
        again = say(bench, touch["words"], n)
        assert any("HANDS OUT" in one["text"] for one in again["said"])
        assert shown(cab, again["n"] - 1)["view"]["word"] == "stop"
        n = say(bench, "hands are clear", again["n"])["n"]
        assert say(bench, "carry on", n)["view"]["heard"]["words"] == "carry on"
    assert record.read_bytes().startswith(kept) and verify_file(record).ok
    return view["now"]


def test_a_record_that_may_not_grow(tmp_path: Path) -> None:
    """By the process's file size limit: a short write for real."""
    job = until("ring_turn", tmp_path)
    record = tmp_path / f"{job}.jsonl"
    with serving(tmp_path) as (at, server):

        def limit(most: int) -> None:
            hard = resource.prlimit(server.pid, resource.RLIMIT_FSIZE)[1]
            resource.prlimit(server.pid, resource.RLIMIT_FSIZE, (most, hard))

        told = hold_breaks(
            at,
            job,
            record,
            lambda: limit(record.stat().st_size + 100),
            lambda: limit(resource.RLIM_INFINITY),
        )
        assert "the file may not grow any more" in told
    logged = (tmp_path.parent / f"{tmp_path.name}.log").read_text()
    assert logged.count("could not be written") == len(logged.splitlines()) == 2, logged


def test_a_disk_that_is_full(tmp_path: Path) -> None:
    """A small disk of its own; no job can be begun on it either, and that is one line too."""
    disk = tmp_path / "disk"
    disk.mkdir()
    job = until("ring_turn", tmp_path)
    copy = f'cp "{tmp_path / job}.jsonl" "$0"'
    with serving(disk, *mounted(disk, "size=256k", copy)) as (at, server):
        inside = Path(f"/proc/{server.pid}/root{disk}")
        rest = inside / "rest"

        def fill() -> None:
            with rest.open("wb", buffering=0) as file, pytest.raises(OSError):
                while file.write(b"x" * 64):
                    pass

        def refused() -> None:
            fill()
            status, _, page = ask(at, "/begin", "POST", {"card": ""})
            assert status == 503 and "Do not start work; free space" in page

        told = hold_breaks(at, job, inside / f"{job}.jsonl", refused, rest.unlink)
        assert "no space left on the disk" in told


def test_records_that_cannot_be_read_are_one_line(tmp_path: Path) -> None:
    """The folder is no folder (any more): every page says so, and none is a fault of ours."""
    folder = tmp_path / "records"
    folder.mkdir()
    with serving(folder) as (at, _):
        folder.rmdir()
        folder.write_text("no folder")
        for path in ("/", "/desk", "/begin", "/bench/x", "/desk/fleet.html"):
            form = {"card": ""} if path == "/begin" else None
            status, _, page = ask(at, path, "GET" if form is None else "POST", form)
            assert status in (200, 404, 503) and "fault of lugcall" not in page, (
                path,
                status,
                page,
            )
