"""The folder: where records go, and which one to go on with."""

import os
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from assistant.record import Journal, RecordError, default_folder, open_jobs, records_in

NOON = datetime(2026, 11, 25, 12, 0)


def record(folder: Path, hint: str, hours: int, closed: bool = False, begun: bool = True) -> Path:
    with Journal.create(folder, hint, {}, now=lambda: NOON + timedelta(hours=hours)) as journal:
        if begun:
            journal.append("turn", {"words": "done", "act": {"meaning": "done"}})
        if closed:
            journal.append("closed", {})
    return journal.path


def test_default_folder(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("LUGCALL_RECORDS", str(tmp_path / "here"))
    assert default_folder() == tmp_path / "here"
    monkeypatch.setenv("LUGCALL_RECORDS", "~/there")
    assert default_folder() == Path.home() / "there"
    monkeypatch.setenv("LUGCALL_RECORDS", "")
    assert default_folder().name == "records" and "lugcall" in default_folder().parts


def test_newest_first_by_what_they_say(tmp_path: Path) -> None:
    old, new, mid = record(tmp_path, "a", 0), record(tmp_path, "b", 9), record(tmp_path, "c", 5)
    os.utime(old)  # touched last, as by a backup
    renamed = new.rename(tmp_path / "20000101-000000-renamed.jsonl")
    assert records_in(tmp_path) == [renamed, mid, old]
    assert open_jobs(tmp_path) == [renamed, mid, old]


def test_foreign_and_damaged_files_are_passed_over(tmp_path: Path) -> None:
    good = record(tmp_path, "good", 0)
    damaged = record(tmp_path, "damaged", 1)
    damaged.write_bytes(damaged.read_bytes().replace(b'"n":0', b'"n":1'))
    record(tmp_path, "closed", 2, closed=True)
    (tmp_path / "20270101-000000-empty.jsonl").write_bytes(b"")
    (tmp_path / "99999999-999999-no-date.jsonl").write_bytes(os.urandom(999))
    (tmp_path / "20270101-000000-text.jsonl").write_text("hello\n")
    (tmp_path / "20270101-000000-folder.jsonl").mkdir()
    (tmp_path / "20270101-000000-dangling.jsonl").symlink_to("nowhere")
    os.mkfifo(tmp_path / "20270101-000000-pipe.jsonl")
    (tmp_path / "notes.txt").write_text("x")
    assert open_jobs(tmp_path) == [good]
    assert len(records_in(tmp_path)) == 6


def test_a_torn_record_is_one_to_go_on_with(tmp_path: Path) -> None:
    whole = record(tmp_path, "whole", 0)
    torn = record(tmp_path, "torn", 1)
    with torn.open("ab") as file:
        file.write(b'{"at":"20')
    assert open_jobs(tmp_path) == [torn, whole]
    with torn.open("r+b") as file:
        file.truncate(20)  # now not even its first line is whole
    assert open_jobs(tmp_path) == [whole]


def test_what_nobody_began_is_no_open_job(tmp_path: Path) -> None:
    """A start that failed, also one that was opened again, heard noise, and has a lead's line."""
    job = record(tmp_path, "job", 0)
    empty = record(tmp_path, "empty", 1, begun=False)
    assert open_jobs(tmp_path) == [job]
    with Journal.open(empty) as journal:
        journal.append("turn", {"words": "", "act": {"meaning": "resumed"}})
        for kind in ("notice", "unheard", "lead-question"):
            journal.append(kind, {})
    assert open_jobs(tmp_path) == [job]
    with Journal.open(empty) as journal:
        journal.append("turn", {"words": "what now"})
    assert open_jobs(tmp_path) == [empty, job]


def test_closed_records_are_passed_over_whatever_their_end(tmp_path: Path) -> None:
    open_one = record(tmp_path, "open", 0)
    for hours, after in enumerate((b"", b"junk\n", b'{"at":"20', b"\0" * 99_999), 1):
        with record(tmp_path, "closed", hours, closed=True).open("ab") as file:
            file.write(after)
    with Journal.open(record(tmp_path, "signed", 9, closed=True)) as journal:
        for _ in range(90):  # the "closed" line is now far from the end
            journal.append("lead-note", {"said": "x" * 200})
    with Journal.open(open_one) as journal:
        journal.append("reading", {"said": '"kind":"closed"'})
    assert open_jobs(tmp_path) == [open_one]


def test_no_folder_no_records(tmp_path: Path) -> None:
    assert records_in(tmp_path / "none") == [] and open_jobs(tmp_path / "none") == []


def test_a_folder_that_cannot_be_listed(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    for find in (records_in, open_jobs):
        with pytest.raises(RecordError, match="LUGCALL_RECORDS") as caught:
            find(tmp_path / "file")
        assert "\n" not in str(caught.value)
