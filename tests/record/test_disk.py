"""Disks that really refuse: full, limited, read-only, failing. No call is replaced by a fake.

Each case runs in a child process, since limits, mounts and user ids belong to a process. What
a system cannot provide (mounting, tracing) is skipped with its reason shown; a full disk is
still met everywhere, through the file size limit.
"""

import errno
import functools
import json
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

import assistant
from assistant.record import Journal, WriteFailed, verify_file

ROOT = Path(assistant.__file__).parent.parent
ENV = {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONDONTWRITEBYTECODE": "1"}
START = """
import json, os, sys
from pathlib import Path
from assistant.record import *
from assistant.record import folder as _
folder = Path(sys.argv[1])
told = {}
def attempt(name, call):
    try:
        told[name] = None
        return call()
    except RecordError as error:
        told[name] = f"{type(error).__name__}: {error}"
"""
END = "\nprint(json.dumps(told))\n"
FILL = """
journal = Journal.create(folder, "x", {})
sizes = [journal.path.stat().st_size]
limit(journal)
while "full" not in told:
    try:
        journal.append_all([("reading", {"said": "x" * 700, "i": i}) for i in range(3)])
        sizes.append(journal.path.stat().st_size)
    except WriteFailed as error:
        told["full"] = str(error)
told["acknowledged"] = len(journal.events)
told["size_kept"] = journal.path.stat().st_size == sizes[-1]
told["verdict"] = verify_file(journal.path).problem
told["seal_kept"] = verify_file(journal.path).head == journal.head
attempt("again", lambda: journal.append("reading", {}))
journal.close()
"""


def run(code: str, folder: Path, *before: str) -> dict[str, Any]:
    command = [*before, sys.executable, "-c", START + code + END, str(folder)]
    done = subprocess.run(command, capture_output=True, text=True, env=ENV, timeout=60)
    assert done.returncode == 0, done.stderr
    told: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
    assert not any("\n" in value for value in told.values() if isinstance(value, str))
    return told


@functools.cache
def in_own_mounts() -> tuple[str, ...]:
    """Give the command that runs a program where it may mount, or skip with the reason."""
    tried = []
    for options in (["-m"], ["-U", "-r", "-m"]):
        command = ["unshare", *options, "sh", "-c", "mount -t tmpfs tmpfs /mnt"]
        try:
            done = subprocess.run(command, capture_output=True, text=True)
        except FileNotFoundError:
            pytest.skip("no unshare on this system, so no disk of its own can be mounted")
        if done.returncode == 0:
            return ("unshare", *options)
        tried.append(done.stderr.strip())
    pytest.skip(f"this system lets nothing be mounted: {tried}")


def mounted(folder: Path, options: str, then: str = "") -> tuple[str, ...]:
    """Give the command that runs the rest of its line with a small disk on `folder`."""
    script = f'mount -t tmpfs -o {options} tmpfs "$0" && {then or ":"} && exec "$@"'
    return (*in_own_mounts(), "sh", "-c", script, str(folder))


@pytest.fixture
def open_folder() -> Iterator[Path]:
    """A folder that any user can reach, unlike pytest's own."""
    folder = Path(tempfile.mkdtemp(prefix="lugcall-test-"))
    folder.chmod(0o755)
    yield folder
    for inside in folder.rglob("*"):
        inside.chmod(0o755)  # what a test shut must be open again to be removed
    shutil.rmtree(folder)


def check_full(told: dict[str, Any], what: str) -> None:
    assert told["full"].startswith(f"The record could not be written: {what}. Stop work; ")
    assert told["full"].endswith(", then: lugcall resume")
    assert told["acknowledged"] > 3 and told["acknowledged"] % 3 == 1
    assert told["size_kept"] and told["seal_kept"] and told["verdict"] is None
    assert told["again"].startswith("WriteFailed: This record failed")


def test_full_disk(tmp_path: Path) -> None:
    code = FILL.replace("limit(journal)", "(folder / 'other').write_bytes(b'x' * 30_000)")
    # Once more while full, then with space again: both as a technician would.
    code += """
os.truncate(journal.path, journal.path.stat().st_size - 9)
with open(folder / "rest", "wb", buffering=0) as rest:
    try:
        while rest.write(b"x" * 512): pass
    except OSError:
        pass
os.truncate(journal.path, os.stat(journal.path).st_size)
attempt("create", lambda: Journal.create(folder, "second", {}))
told["left"] = sorted(p.name for p in folder.iterdir() if "second" in p.name)
os.unlink(folder / "other")
with Journal.open(journal.path) as resumed:
    resumed.append("reading", {})
    told["resumed"] = [e.kind for e in resumed.events[-2:]]
told["end"] = verify_file(journal.path).problem
"""
    told = run(code, tmp_path, *mounted(tmp_path, "size=64k"))
    check_full(told, "no space left on the disk")
    assert "no space left on the disk. Do not start work; free space" in told["create"]
    assert told["left"] == []
    assert told["resumed"] == ["repaired", "reading"] and told["end"] is None


def test_full_disk_on_repair(tmp_path: Path) -> None:
    """No room for the note of the repair: refused, nothing acknowledged lost, later resumed."""
    code = """
with Journal.create(folder, "x", {}) as journal:
    journal.append("reading", {"said": "x" * (8192 - 900)})
path, head = journal.path, journal.head
room = 8192 - path.stat().st_size
assert 0 < room < 700, room
with path.open("ab") as file:
    file.write(b"{" * (room - 1))
with open(folder / "rest", "wb", buffering=0) as rest:
    try:
        while rest.write(b"x" * 4096): pass
    except OSError:
        pass
attempt("full", lambda: Journal.open(path))
told["kept"] = verify_file(path).head == head and verify_file(path).ok
os.unlink(folder / "rest")
with Journal.open(path) as journal:
    journal.append("reading", {})
told["end"] = verify_file(path).problem
"""
    told = run(code, tmp_path, *mounted(tmp_path, "size=64k"))
    assert told["full"].startswith("WriteFailed: The record could not be written: no space")
    assert told["kept"] and told["end"] is None


def test_file_size_limit(tmp_path: Path) -> None:
    """A short write for real: the limit lies within a line, so a part of it gets written."""
    code = FILL.replace(
        "limit(journal)",
        "import resource; resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, 20_000))",
    )
    check_full(run(code, tmp_path), "the file may not grow any more")
    (path,) = tmp_path.iterdir()
    with Journal.open(path) as journal:
        journal.append("reading", {})
    assert verify_file(path).ok


def test_read_only_disk(tmp_path: Path) -> None:
    with Journal.create(tmp_path / "from", "x", {}) as journal:
        pass
    disk = tmp_path / "disk"
    disk.mkdir()
    then = f'cp "{journal.path}" "$0"/r.jsonl && mount -o remount,bind,ro "$0"'
    code = """
attempt("create", lambda: Journal.create(folder, "x", {}))
attempt("deeper", lambda: Journal.create(folder / "new", "x", {}))
attempt("open", lambda: Journal.open(folder / "r.jsonl"))
told["verify"] = verify_file(folder / "r.jsonl").problem
told["newest"] = records_in(folder)[0].name
"""
    told = run(code, disk, *mounted(disk, "size=64k", then))
    for name in ("create", "deeper", "open"):
        assert "the disk or folder is read-only" in told[name], told
    assert told["verify"] is None and told["newest"] == "r.jsonl"


def test_folder_without_permission(open_folder: Path) -> None:
    """As another user where this one may write anything (chmod does not stop root)."""
    with Journal.create(open_folder, "x", {}) as journal:
        pass
    journal.path.chmod(0o444)
    hidden = open_folder / "hidden"
    hidden.mkdir(0o000)
    open_folder.chmod(0o555)
    code = f"""
if os.getuid() == 0:
    os.setgroups([]); os.setgid(65534); os.setuid(65534)
attempt("create", lambda: Journal.create(folder, "x", {{}}))
attempt("deeper", lambda: Journal.create(folder / "new", "x", {{}}))
attempt("open", lambda: Journal.open(folder / {journal.path.name!r}))
attempt("list", lambda: records_in(folder / "hidden"))
told["verify"] = verify_file(folder / {journal.path.name!r}).problem
told["hidden"] = verify_file(folder / "hidden" / "x").problem
"""
    told = run(code, open_folder)
    for name in ("create", "deeper", "open", "list"):
        assert "no permission" in told[name], told
    assert told["verify"] is None and "no permission" in told["hidden"]
    open_folder.chmod(0o755)
    assert sorted(p.name for p in open_folder.iterdir()) == [journal.path.name, "hidden"]


@functools.cache
def tracer() -> str:
    """Give the tracer that can make a system call fail, or skip with the reason."""
    path = shutil.which("strace")
    if path is None:
        pytest.skip("no strace on this system, so no failing disk can be had")
    probe = [path, "-o", os.devnull, "-e", "inject=fdatasync:error=EIO", "true"]
    done = subprocess.run(probe, capture_output=True, text=True)
    if done.returncode:
        pytest.skip(f"strace may not trace here: {done.stderr.strip()}")
    return path


@pytest.mark.parametrize(("call", "error"), [("fdatasync", "EIO"), ("write", "EIO")])
def test_failing_disk(tmp_path: Path, call: str, error: str) -> None:
    """The kernel's answer to one call on the record's file is replaced: the rest is real."""
    with Journal.create(tmp_path, "x", {}) as journal:
        pass
    code = """
(path,) = folder.iterdir()
journal = Journal.open(path)
attempt("first", lambda: journal.append("reading", {"i": 1}))
attempt("second", lambda: journal.append("reading", {"i": 2}))
attempt("third", lambda: journal.append("reading", {"i": 3}))
told["events"] = len(journal.events)
told["on_disk"] = verify_file(path).events
"""
    options = ["-f", "-o", os.devnull, "-P", str(journal.path)]
    options += ["-e", f"trace={call}", "-e", f"inject={call}:error={error}:when=2"]
    told = run(code, tmp_path, tracer(), *options)
    assert told["first"] is None
    assert told["second"].startswith("WriteFailed: The record could not be written: the disk rep")
    assert told["third"].startswith("WriteFailed: This record failed to be written before")
    assert told["events"] == told["on_disk"] == 2
    assert verify_file(journal.path).ok


def test_a_sync_that_fails_is_never_acknowledged(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The same without a tracer, so that it is checked on every system."""

    def refuse(fd: int) -> None:
        raise OSError(errno.EIO, os.strerror(errno.EIO))

    with Journal.create(tmp_path, "x", {}) as journal:
        raw = journal.path.read_bytes()
        monkeypatch.setattr(os, "fdatasync", refuse, raising=False)
        monkeypatch.setattr(os, "fsync", refuse)
        with pytest.raises(WriteFailed, match="the disk reports an error"):
            journal.append("reading", {})
        monkeypatch.undo()
        with pytest.raises(WriteFailed, match="failed to be written before"):
            journal.append("reading", {})
        assert len(journal.events) == 1 and journal.path.read_bytes() == raw
