"""The verifier: on a small record, every change of every byte and line is found."""

import json
import os
import re
from pathlib import Path
from typing import Any

import pytest

from assistant.record import Journal, seal_of, verify_file
from assistant.record.chain import Verdict, read_seal
from assistant.record.events import seal_event

AT = "2026-11-25T09:12:33.120-06:00"


@pytest.fixture
def record(tmp_path: Path) -> Path:
    with Journal.create(tmp_path, "x", {"truck": "ü"}) as journal:
        journal.append("reading", {"value": 0.5, "unit": "in"})
        journal.append_all([("step", {"i": i}) for i in range(2)])
        journal.append("closed", {})
    return journal.path


def check(path: Path, content: bytes, seal: str | None = None) -> Verdict:
    # Overwritten in place: thousands of these must be quick.
    with path.open("r+b") as file:
        file.write(content)
        file.truncate()
    verdict = verify_file(path, seal)
    assert verdict.ok == (verdict.problem is None)
    assert "\n" not in (verdict.problem or "")
    return verdict


def test_a_good_record(record: Path) -> None:
    head = json.loads(record.read_bytes().splitlines()[-1])["hash"]
    verdict = verify_file(record)
    assert verdict == Verdict(record, True, 5, True, None, head, verdict.seal)
    assert re.fullmatch(r"[0-9A-F]{4}-[0-9A-F]{4}", verdict.seal)
    assert verdict.seal.replace("-", "").lower() == head[:8]


def test_every_byte_flip_is_found(record: Path) -> None:
    raw = record.read_bytes()
    for at, byte in enumerate(raw):
        # Every single bit, and every byte set to what is special in such a file.
        for new in {byte ^ (1 << bit) for bit in range(8)} | set(b'\0\n\r "\\}') - {byte}:
            verdict = check(record, raw[:at] + bytes([new]) + raw[at + 1 :])
            assert not verdict.ok, (at, byte, new)
            line = raw.count(b"\n", 0, at) + 1
            assert f"line {line} " in str(verdict.problem) or line == 1, (at, verdict.problem)
            # A flip must never pass for a torn write that may be cut off.
            assert not verdict.torn, (at, new)


def test_every_byte_lost_or_doubled_is_found(record: Path) -> None:
    raw = record.read_bytes()
    for at in range(len(raw)):
        assert not check(record, raw[:at] + raw[at + 1 :]).ok, at
        assert not check(record, raw[:at] + raw[at : at + 1] + raw[at:]).ok, at
        assert not check(record, raw[:at] + b" " + raw[at:]).ok, at


def test_every_end_cut_off_is_found_with_the_seal(record: Path) -> None:
    raw = record.read_bytes()
    seal = verify_file(record).seal
    assert check(record, raw, seal).ok
    for at in range(len(raw)):
        assert not check(record, raw[:at], seal).ok, at
        # Without it, only a cut between lines passes: a hash chain cannot show that.
        assert check(record, raw[:at]).ok == (at > 0 and raw[at - 1] == 10), at


def test_every_line_lost_doubled_or_swapped_is_found(record: Path) -> None:
    lines = record.read_bytes().splitlines(keepends=True)
    size = len(lines)
    for i in range(size):
        lost = check(record, b"".join(lines[:i] + lines[i + 1 :]))
        if i < size - 1:  # the last one is for the seal to find
            assert not lost.ok and f"line {i + 1} is missing" in str(lost.problem)
        for j in range(size + 1):
            assert not check(record, b"".join([*lines[:j], lines[i], *lines[j:]])).ok, (i, j)
        for j in range(i + 1, size):
            swapped = list(lines)
            swapped[i], swapped[j] = swapped[j], swapped[i]
            verdict = check(record, b"".join(swapped))
            assert not verdict.ok and f"line {i + 1} is reordered" in str(verdict.problem)


def forged(n: int, kind: str, data: dict[str, Any], prev: str) -> tuple[str, bytes]:
    event, line = seal_event(n, AT, kind, data, prev)
    return event.hash, line


def test_one_line_rewritten_with_a_fitting_hash_is_found(record: Path) -> None:
    lines = record.read_bytes().splitlines(keepends=True)
    old = json.loads(lines[1])
    _, lines[1] = forged(1, "reading", {"value": 0.75, "unit": "in"}, old["prev"])
    verdict = check(record, b"".join(lines))
    assert not verdict.ok and "line 3 does not follow" in str(verdict.problem)


def test_all_written_anew_is_found_only_by_the_paper(record: Path) -> None:
    seal, prev, content = verify_file(record).seal, "0" * 64, b""
    for line in record.read_bytes().splitlines():
        old = json.loads(line)
        data = old["data"] | ({"value": 0.75} if old["kind"] == "reading" else {})
        prev, new = forged(old["n"], old["kind"], data, prev)
        content += new
    assert check(record, content).ok
    verdict = check(record, content, seal)
    assert not verdict.ok and seal in str(verdict.problem)


def test_what_may_follow_closed(record: Path) -> None:
    raw = record.read_bytes()
    head, closed_seal = verify_file(record).head, verify_file(record).seal
    note, line = forged(5, "lead-signed", {}, head)
    verdict = check(record, raw + line)
    assert verdict.ok and verdict.closed and verdict.seal == seal_of(note)
    assert check(record, raw + line, closed_seal).ok and check(record, raw + line, verdict.seal).ok
    assert not check(record, raw, verdict.seal).ok  # the lead's line was cut off
    for kind in ("reading", "closed", "opened"):
        bad = check(record, raw + forged(5, kind, {}, head)[1])
        assert not bad.ok and "line 6 was added after" in str(bad.problem) and bad.closed


def test_the_seal(record: Path) -> None:
    raw = record.read_bytes()
    seal = verify_file(record).seal
    for spelled in (seal, seal.lower(), seal.replace("-", ""), f" {seal[:4]} {seal[5:]} "):
        assert check(record, raw, spelled).ok
    for junk in ("", "123", "3F2A-91BCD", "XXXX-XXXX", "٣F2A-91BC"):
        verdict = check(record, raw, junk)
        assert not verdict.ok and "8 digits" in str(verdict.problem)
    lines = raw.splitlines(keepends=True)
    early = check(record, b"".join(lines[:3])).seal
    verdict = check(record, b"".join(lines[:4]), early)
    assert verdict.problem == f"line 3 was sealed {early}, but 4 lines are here"
    assert read_seal("oil2-91bc") == "0112-91BC"


def test_another_format_is_named(tmp_path: Path) -> None:
    path = tmp_path / "x.jsonl"
    for kind, data in (("opened", {"format": "lugcall-record/2"}), ("opened", {}), ("reading", {})):
        path.write_bytes(forged(0, kind, data, "0" * 64)[1])
        verdict = verify_file(path)
        assert not verdict.ok and "lugcall-record/1" in str(verdict.problem)
        assert (verdict.events, verdict.head, verdict.seal) == (0, "", "")


def test_nothing_makes_it_raise(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "loop").symlink_to(tmp_path / "loop")
    for path in (
        *(tmp_path / name for name in ("missing", ".", "pipe", "pipe/x", "loop", "y" * 300)),
        Path("/dev/zero"),
        Path("a\0b"),
    ):
        verdict = verify_file(path)
        assert not verdict.ok and verdict.problem and "\n" not in verdict.problem
    junk = (b"", b"\n", b"\0" * 9999, b"\xff\xfe\n" * 9, b"{}\n", b"[" * 99_999, os.urandom(9999))
    for content in junk:
        (tmp_path / "junk").write_bytes(content)
        verdict = verify_file(tmp_path / "junk", "3F2A-91BC")
        assert not verdict.ok and "not a record" in str(verdict.problem)


def test_a_line_of_a_gigabyte_is_not_read_into_memory(record: Path) -> None:
    import resource

    size = record.stat().st_size
    os.truncate(record, size + (1 << 30))  # sparse: takes no place on the disk
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    verdict = verify_file(record)
    grown = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before
    assert not verdict.ok and "line 6 was changed or damaged" in str(verdict.problem)
    assert grown < 64 * 1024  # kilobytes
    os.truncate(record, size)
    assert verify_file(record).ok


def test_it_does_not_write(record: Path) -> None:
    raw = record.read_bytes()[:-9]
    record.write_bytes(raw)
    assert verify_file(record).torn and record.read_bytes() == raw
