"""The journal: what is acknowledged stays, what is torn is cut off and noted, one at a time."""

import base64
import hashlib
import itertools
import os
import re
import subprocess
import sys
import threading
from collections.abc import Callable, Iterable
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import pytest

import assistant
from assistant.record import (
    BrokenChain,
    Event,
    Journal,
    NotARecord,
    RecordBusy,
    RecordError,
    WriteFailed,
    seal_of,
    verify_file,
)
from assistant.record.events import Unrecordable

ROOT = Path(assistant.__file__).parent.parent
MOMENT = datetime(2026, 11, 25, 9, 12, 33, 120_000, timezone(timedelta(hours=-6)))


def small(folder: Path, lines: int = 2) -> Journal:
    journal = Journal.create(folder, "unit 12", {}, now=lambda: MOMENT)
    for i in range(lines):
        journal.append("reading", {"i": i, "said": "fünf"})
    return journal


def one_line(error: BaseException) -> str:
    text = str(error)
    assert text and "\n" not in text
    return text


def test_create_names_the_file_and_makes_the_folder(tmp_path: Path) -> None:
    folder = tmp_path / "a" / "b"
    names = []
    for hint in ("Unit 12 / Müller", "unit-12--muller", "../../x", "", "日本", "a" * 300):
        with Journal.create(folder, hint, {"job": 1}, now=lambda: MOMENT) as journal:
            assert journal.path.parent == folder
            names.append(journal.path.name)
            assert journal.events[0].at == "2026-11-25T09:12:33.120-06:00"
    assert names[:5] == [
        "20261125-091233-unit-12-muller.jsonl",
        "20261125-091233-unit-12-muller-2.jsonl",
        "20261125-091233-x.jsonl",
        "20261125-091233-session.jsonl",
        "20261125-091233-session-2.jsonl",
    ]
    assert all(re.fullmatch(r"\d{8}-\d{6}-[a-z0-9-]+\.jsonl", name) for name in names)


def test_local_time_has_an_offset(tmp_path: Path) -> None:
    with Journal.create(tmp_path, "x", {}) as journal:
        at = journal.events[0].at
    assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}[+-]\d\d:\d\d", at)
    assert abs(datetime.fromisoformat(at) - datetime.now().astimezone()) < timedelta(seconds=60)


def test_go_on_where_it_stopped(tmp_path: Path) -> None:
    with small(tmp_path) as journal:
        before, head = journal.events, journal.head
    raw = journal.path.read_bytes()
    with Journal.open(journal.path) as again:
        assert again.events == before and again.head == head and again.seal == seal_of(head)
        assert journal.path.read_bytes() == raw  # nothing to repair, nothing written
        assert again.append("reading", {}).prev == head
        assert again.append_all([]) == []
    assert verify_file(journal.path).events == 4


def test_clock_set_backwards(tmp_path: Path) -> None:
    clock = itertools.chain([MOMENT], (MOMENT - timedelta(days=400 * i) for i in range(1, 9)))
    with Journal.create(tmp_path, "x", {}, now=lambda: next(clock)) as journal:
        journal.append("reading", {})
    with Journal.open(journal.path, now=lambda: next(clock)) as journal:
        journal.append("reading", {})
        assert [e.n for e in journal.events] == [0, 1, 2]
        assert journal.events[2].time < journal.events[0].time
    assert verify_file(journal.path).ok


@pytest.mark.usefixtures("unsynced")
def test_torn_at_every_byte_of_the_last_line(tmp_path: Path) -> None:
    with small(tmp_path) as journal:
        kept = journal.events[:-1]
    raw = journal.path.read_bytes()
    good = raw.rindex(b"\n", 0, -1) + 1
    for cut in range(good + 1, len(raw)):
        journal.path.write_bytes(raw[:cut])
        verdict = verify_file(journal.path)
        assert (verdict.ok, verdict.torn, verdict.events) == (False, True, 2), cut
        assert verdict.problem is not None and verdict.problem.startswith("line 3 is torn")
        with Journal.open(journal.path) as again:
            assert again.events[:-1] == kept
            note = again.events[-1]
        tail = raw[good:cut]
        assert note.kind == "repaired" and note.data["cut_bytes"] == len(tail)
        assert note.data["cut_sha256"] == hashlib.sha256(tail).hexdigest()
        text: str = note.data["cut_text"]
        plain = note.data["encoding"] == "utf-8"
        assert (text.encode() if plain else base64.b64decode(text)) == tail
        assert verify_file(journal.path).ok
        with Journal.open(journal.path) as again:  # repaired once, for good
            assert again.events[-1] == note
    journal.path.write_bytes(raw[:good])
    assert verify_file(journal.path).ok


@pytest.mark.usefixtures("unsynced")
def test_torn_group_keeps_its_whole_lines(tmp_path: Path) -> None:
    with small(tmp_path, 1) as journal:
        acknowledged = len(journal.path.read_bytes())
        journal.append_all([("step", {"i": i}) for i in range(3)])
        events = journal.events
    raw = journal.path.read_bytes()
    for cut in range(acknowledged, len(raw) + 1):
        journal.path.write_bytes(raw[:cut])
        whole = raw[:cut].count(b"\n")
        with Journal.open(journal.path) as again:
            assert again.events[:whole] == events[:whole] and whole >= 2
            assert [e.kind for e in again.events[whole:]] == ["repaired"] * (raw[cut - 1] != 10)
        assert verify_file(journal.path).ok


@pytest.mark.parametrize("tail", [b"\0" * 4000, b"\xff\xfe" * 9, b"x" * 200_000, b'{"at":"\n\0'])
def test_a_tail_of_anything_is_kept_in_the_note(tmp_path: Path, tail: bytes) -> None:
    with small(tmp_path) as journal:
        pass
    with journal.path.open("ab") as file:
        file.write(tail)
    if tail.count(b"\n"):  # a complete line that is damaged, and more: not for repair
        with pytest.raises(BrokenChain):
            Journal.open(journal.path)
        return
    with Journal.open(journal.path) as again:
        assert again.events[-1].data["cut_bytes"] == len(tail)
        assert again.events[-1].data["kept_bytes"] == min(len(tail), 65536)
    assert verify_file(journal.path).ok


def test_sectors_never_written_are_torn(tmp_path: Path) -> None:
    """The last line's end reached the disk, a sector before it did not: zeros in a whole line."""
    with small(tmp_path) as journal:
        good = journal.path.stat().st_size
        journal.append("reading", {"said": "x" * 2000})
    raw = bytearray(journal.path.read_bytes())
    raw[good:1024] = bytes(1024 - good)
    assert good < 1024 and raw.endswith(b"\n")
    journal.path.write_bytes(raw)
    verdict = verify_file(journal.path)
    assert verdict.torn and "nothing acknowledged is lost" not in str(verdict.problem)
    with Journal.open(journal.path) as again:
        assert [e.kind for e in again.events[1:]] == ["reading", "reading", "repaired"]


def test_damage_in_the_middle_is_refused_and_left_alone(tmp_path: Path) -> None:
    with small(tmp_path, 4) as journal:
        pass
    lines = journal.path.read_bytes().splitlines(keepends=True)
    changed = lines[2].replace(b'"i":1', b'"i":7')
    for bad, number in (
        ([*lines[:2], changed, *lines[3:]], 3),
        ([*lines[:2], *lines[3:]], 3),
        ([*lines[:1], lines[2], lines[1], *lines[3:]], 2),
        ([*lines[:4], b"\n", lines[4]], 5),
        ([*lines[:4], lines[4].replace(b'"i":3', b'"i":4')], 5),  # the last, but whole
        ([*lines[:4], lines[4][:-1] + b" "], 5),  # the last, but for its newline
        ([lines[0].replace(b'"n":0', b'"n":1'), *lines[1:]], 1),
    ):
        raw = b"".join(bad)
        journal.path.write_bytes(raw)
        with pytest.raises(BrokenChain) as caught:
            Journal.open(journal.path)
        assert caught.value.line == number and f"line {number} " in one_line(caught.value)
        assert journal.path.read_bytes() == raw
    journal.path.write_bytes(b"".join(lines))
    Journal.open(journal.path).close()  # the lock was let go each time


@pytest.mark.parametrize(
    "content", [b"", b'{"at', b"\0" * 600, b"hello\n", b"{}\n", os.urandom(5000), b"x" * 3_000_000]
)
def test_not_a_record(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "x.jsonl"
    path.write_bytes(content)
    with pytest.raises(NotARecord) as caught:
        Journal.open(path)
    one_line(caught.value)
    assert path.read_bytes() == content


def test_not_even_a_file(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    for name in ("missing", ".", "pipe", "pipe/x", "y" * 300):
        with pytest.raises(RecordError) as caught:
            Journal.open(tmp_path / name)
        one_line(caught.value)


def test_only_a_lead_adds_to_a_closed_record(tmp_path: Path) -> None:
    with small(tmp_path) as journal:
        assert not journal.finished
        journal.append("lead-note", {})
        assert not journal.finished
        journal.append("closed", {})
        assert journal.finished
        for kind in ("reading", "closed", "lead"):
            with pytest.raises(RecordError, match="closed for good"):
                journal.append(kind, {})
        journal.append("lead-signed", {})
        assert journal.finished and not journal.failed
    with journal.path.open("ab") as file:
        file.write(b'{"at"')
    with Journal.open(journal.path) as again:
        assert again.finished and again.events[-1].kind == "repaired"
    assert verify_file(journal.path).ok and verify_file(journal.path).closed


def test_two_writers(tmp_path: Path) -> None:
    with small(tmp_path) as journal:
        with pytest.raises(RecordBusy, match="another session"):
            Journal.open(journal.path)
        code = "import sys, pathlib as p; from assistant.record import Journal\n"
        code += "Journal.open(p.Path(sys.argv[1]))"
        run = subprocess.run(
            [sys.executable, "-c", code, str(journal.path)],
            capture_output=True,
            text=True,
            env={**os.environ, "PYTHONPATH": str(ROOT)},
        )
        assert run.returncode == 1 and "RecordBusy" in run.stderr.splitlines()[-1]
        journal.append("reading", {})
    assert verify_file(journal.path).events == 4


def test_many_threads(tmp_path: Path) -> None:
    with Journal.create(tmp_path, "x", {}) as journal:
        crew = [
            threading.Thread(target=lambda: [journal.append("x", {}) for _ in range(25)])
            for _ in range(8)
        ]
        for thread in crew:
            thread.start()
        for thread in crew:
            thread.join()
    verdict = verify_file(journal.path)
    assert verdict.ok and verdict.events == 201


def test_a_closed_journal_writes_nothing(tmp_path: Path) -> None:
    journal = small(tmp_path)
    journal.close()
    journal.close()
    with pytest.raises(RecordError, match="lugcall resume"):
        journal.append("reading", {})


def test_a_group_is_limited(tmp_path: Path) -> None:
    with small(tmp_path) as journal:
        with pytest.raises(Unrecordable):
            journal.append_all([("x", {"y": "z" * 200_000})] * 6)
        journal.append("x", {"y": "z" * 1_000_000})
    assert verify_file(journal.path).events == 4


@pytest.fixture
def calls(monkeypatch: pytest.MonkeyPatch) -> list[tuple[str, str, int]]:
    """Watch the real calls in order: name, what it was called on, bytes."""
    seen: list[tuple[str, str, int]] = []

    def watch(name: str) -> None:
        real: Callable[..., Any] = getattr(os, name)

        def spy(fd: int, *rest: Any) -> Any:
            kind = "folder" if Path(f"/proc/self/fd/{fd}").is_dir() else "file"
            result = real(fd, *rest)
            seen.append((name, kind, len(rest[0]) if name == "write" else 0))
            return result

        monkeypatch.setattr(os, name, spy)

    for name in ("write", "fdatasync", "fsync", "ftruncate"):
        watch(name)
    return seen


@pytest.mark.skipif(not hasattr(os, "fdatasync"), reason="this system has no fdatasync")
def test_each_append_is_one_write_and_one_sync_before_it_returns(
    tmp_path: Path, calls: list[tuple[str, str, int]]
) -> None:
    with Journal.create(tmp_path, "x", {}) as journal:
        size = journal.path.stat().st_size
        assert calls == [("write", "file", size), ("fsync", "file", 0), ("fsync", "folder", 0)]
        for group in (1, 5):
            calls.clear()
            journal.append_all([("reading", {"i": i}) for i in range(group)])
            grown = journal.path.stat().st_size - size
            size += grown
            assert calls == [("write", "file", grown), ("fdatasync", "file", 0)]
    calls.clear()
    Journal.open(journal.path).close()
    # Whole lines that a killed session never synced are about to be built upon.
    assert calls == [("fsync", "file", 0), ("fsync", "folder", 0)]
    with journal.path.open("ab") as file:
        file.write(b"{")
    calls.clear()
    Journal.open(journal.path).close()
    assert [name for name, _, _ in calls] == ["ftruncate", "fsync", "fsync", "write", "fdatasync"]


def test_new_folders_are_synced_into_their_parents(
    tmp_path: Path, calls: list[tuple[str, str, int]]
) -> None:
    Journal.create(tmp_path / "a" / "b", "x", {}).close()
    synced = [kind for name, kind, _ in calls if name == "fsync"]
    assert synced == ["folder", "folder", "file", "folder"]


@pytest.mark.parametrize("when", ["before", "after"])
def test_an_interrupt_in_the_sync_is_taken_back_and_can_be_recorded(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, when: str
) -> None:
    real = os.fdatasync
    fire = [True]

    def sync(fd: int) -> None:
        if when == "after":
            real(fd)
        if fire and fire.pop():
            raise KeyboardInterrupt
        real(fd)

    with small(tmp_path) as journal:
        raw, events = journal.path.read_bytes(), journal.events
        monkeypatch.setattr(os, "fdatasync", sync)
        with pytest.raises(KeyboardInterrupt):
            journal.append("reading", {})
        assert journal.path.read_bytes() == raw and journal.events == events
        journal.append("stopped", {})
    assert verify_file(journal.path).events == 4


def test_an_interrupt_after_the_sync_is_taken_back_whole(tmp_path: Path) -> None:
    """Ctrl-C between two steps of the bookkeeping must not leave it and the file at odds."""

    class Interrupted(list[Event]):
        def extend(self, more: Iterable[Event]) -> None:
            super().extend(more)
            raise KeyboardInterrupt

    with small(tmp_path) as journal:
        events = journal.events
        journal._events = Interrupted(events)
        with pytest.raises(KeyboardInterrupt):
            journal.append("reading", {})
        assert journal.events == events and not journal.failed
        journal._events = list(journal.events)
        journal.append("stopped", {})
    assert verify_file(journal.path).events == 4


def test_deleted_during_the_sync_is_not_acknowledged(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with small(tmp_path) as journal:
        real = os.fdatasync

        def sync(fd: int) -> None:
            journal.path.unlink()
            real(fd)

        monkeypatch.setattr(os, "fdatasync", sync)
        with pytest.raises(WriteFailed, match="deleted, moved or replaced"):
            journal.append("reading", {})
        assert len(journal.events) == 3 and journal.failed


@pytest.mark.parametrize("how", ["delete", "move", "replace", "grow", "cut"])
def test_the_file_is_changed_under_it(tmp_path: Path, how: str) -> None:
    with small(tmp_path) as journal:
        path = journal.path
        raw = path.read_bytes()
        if how == "delete":
            path.unlink()
        elif how == "move":
            path.rename(tmp_path / "elsewhere")
        elif how == "replace":
            (tmp_path / "copy").write_bytes(raw)
            (tmp_path / "copy").rename(path)
        else:
            path.write_bytes(raw + b"note to self\n" if how == "grow" else raw[:-40])
        events = journal.events
        for _ in range(2):
            with pytest.raises(WriteFailed, match="Stop work") as caught:
                journal.append("reading", {})
            one_line(caught.value)
        assert journal.failed and journal.events == events
        if how == "move":
            assert (tmp_path / "elsewhere").read_bytes() == raw
        if how == "grow":
            assert path.read_bytes() == raw + b"note to self\n"


def test_a_failed_create_leaves_nothing(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    for folder in (tmp_path / "file", tmp_path / "file" / "deeper"):
        with pytest.raises(RecordError, match="Do not start work") as caught:
            Journal.create(folder, "x", {})
        one_line(caught.value)
    with pytest.raises(Unrecordable):
        Journal.create(tmp_path / "new", "x", {"x": float("nan")})
    assert [p.name for p in tmp_path.iterdir()] == ["file"]
