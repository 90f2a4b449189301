"""Records as rows: what a plain reading gives, where they are damaged, what the schema says."""

import hashlib
import json
import os
import tracemalloc
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from click.testing import Result

import assistant.record
from assistant.record import Journal, verify_file
from assistant.record.chain import ChainReader
from assistant.record.events import FORMAT, parse_quickly
from assistant.review.columns import COLUMNS
from assistant.review.rows import read_file
from tests.records import DEMOS, events_of, sealed
from tests.review import plainly

NOW_US = 1_900_000_000_000_000
GB = 1 << 30


def close(row: dict[str, Any]) -> dict[str, Any]:
    """With floats as near as sums in another order come."""
    return {k: pytest.approx(v, rel=1e-12) if isinstance(v, float) else v for k, v in row.items()}


def test_every_row_is_that_of_a_plain_reading(records: list[Path]) -> None:
    """All columns of utterances, cautions, steps and readings; the job's own row; moves, holds."""
    seen = 0
    for path in records:
        found, events = read_file(path, NOW_US), plainly.timed(path)
        assert found.status == "record"
        for table in ("hearing", "cautions", "steps", "readings"):
            names = [name for name in COLUMNS[table] if name != "job"]
            rows = [{name: row.get(name) for name in names} for row in found.rows[table]]
            assert rows == [close(r) for r in getattr(plainly, table)(events)], (path, table)
            seen += len(rows)
        job = plainly.job(events)
        assert {k: found.rows["jobs"][0].get(k) for k in job} == close(job), path
        columns = ("told_lugs", "moved_lugs", "predicted_gap_in", "measured_gap_in")
        ring = [m for m in found.rows["moves"] if m["kind"] == "ring"]
        moves = plainly.ring_moves(events)
        assert [tuple(m.get(c) for c in columns) for m in ring] == moves, path
        holds = [h["hold_s"] for h in found.rows["holds"] if h["hold_s"] is not None]
        assert holds == pytest.approx(plainly.hold_times(events)), path
        doubts = found.rows["doubts"]
        long = sum(s > plainly.LONG for s in plainly.hold_times(events))
        assert sum(d["kind"] == "hold" for d in doubts) == long
    assert seen > 2000


@pytest.mark.parametrize("member", [None, True, 7, "x", [], [1], {}, 1e301, {"mic": 3}])
@pytest.mark.parametrize("name", ["ear", "taken", "clip", "hold", "ring", "act"])
def test_an_odd_member_is_left_out(name: str, member: Any, tmp_path: Path) -> None:
    turn = {"step": "a", "after": "b", "who": "tech", "words": "done", "said": [], name: member}
    with Journal.create(tmp_path, "T-1", {"unit": "T-1", "card": {}, "said": []}) as journal:
        journal.append("turn", turn)
    found = read_file(journal.path, NOW_US)
    assert found.status == "record"
    assert [row["step"] for row in found.rows["steps"]] == ["a", "b"]


def test_text_that_is_no_text_is_not_passed_over(tmp_path: Path) -> None:
    """In a member that the index does not read, with a hash that fits: strictly refused."""
    lines = DEMOS[0].read_bytes().splitlines(keepends=True)[:2]
    at = lines[1].rfind(b',"hash":"')
    spoilt = lines[1][:at].replace(b'"data":{', b'"data":{"aaa":"\xff",', 1)
    tail = lines[1][at + 74 : -1]
    digest = hashlib.sha256(spoilt + tail).hexdigest().encode()
    path = tmp_path / "job.jsonl"
    path.write_bytes(lines[0] + spoilt + b',"hash":"' + digest + b'"' + tail + b"\n")
    with path.open("rb") as stream:
        reader = ChainReader(stream, parse_quickly)
        assert len(list(reader)) == 1
    assert reader.fault is not None and "UTF-8" in reader.fault.text


def test_a_record_read_while_a_line_is_half_written(tmp_path: Path) -> None:
    lines = DEMOS[0].read_bytes().splitlines(keepends=True)
    path = tmp_path / "job.jsonl"
    path.write_bytes(b"".join(lines[:20]) + lines[20][:100])
    found = read_file(path, NOW_US)
    assert (found.status, found.events) == ("torn", 20)
    assert "being written now, or cut off (line 21)" in found.line


def test_the_quick_check_refuses_what_the_strict_one_refuses(tmp_path: Path) -> None:
    """A byte changed anywhere in a line, for places all over a record."""
    whole = DEMOS[0].read_bytes()
    path = tmp_path / "job.jsonl"
    for place in range(3, len(whole), 1031):
        spoilt = whole[:place] + bytes([whole[place] ^ 1]) + whole[place + 1 :]
        path.write_bytes(spoilt)
        verdict, found = verify_file(path), read_file(path, NOW_US)
        assert not verdict.ok and found.status != "record"
        assert found.events == verdict.events
        assert (verdict.problem or "") in found.line or found.status == "torn"


@pytest.mark.parametrize("after_a_record", [False, True])
def test_a_gigabyte_of_junk_takes_no_memory(tmp_path: Path, after_a_record: bool) -> None:
    """Zeros, which take no place on the disk either; alone, or behind a good record."""
    path = tmp_path / "junk.jsonl"
    good = DEMOS[0].read_bytes() if after_a_record else b""
    path.write_bytes(good)
    os.truncate(path, len(good) + GB)
    tracemalloc.start()
    try:
        found = read_file(path, NOW_US)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert found.status == ("BROKEN CHAIN" if after_a_record else "foreign")
    assert found.events == good.count(b"\n")
    assert peak < 12_000_000


def told_as(form: Any, path: Path) -> Path:
    """The demo record with another format in its first line, its chain sound."""
    opened, *events = events_of(DEMOS[0])
    opened["data"]["format"] = form
    path.write_bytes(sealed((e["at"], e["kind"], e["data"]) for e in (opened, *events)))
    return path


def test_a_later_version_is_skipped_with_what_to_do(tmp_path: Path) -> None:
    """Its chain is good, or spelled otherwise than we know it: no stranger, and not broken."""
    path = tmp_path / "a.jsonl"
    for number in (2, 17):
        found = read_file(told_as(f"lugcall-record/{number}", path), NOW_US)
        assert (found.status, found.rows, found.events) == ("later", {}, 0)
        assert found.line.startswith("made by a later lugcall; update lugcall to read it; skipped")
        assert f"its format is {number}" in found.line
    path.write_text('{"v": 2, "data": {"format": "lugcall-record/2"}, "sum": "x"}\nmore\n')
    assert read_file(path, NOW_US).status == "later"


@pytest.mark.parametrize("form", ["lugcall-record/0", "lugcall-record/01", "lugcall-record/x",
                                  "lugcall-record/", "other/2", "", 2, None, {"a": 1}])  # fmt: skip
def test_what_is_no_version_is_foreign(form: Any, tmp_path: Path) -> None:
    assert read_file(told_as(form, tmp_path / "a.jsonl"), NOW_US).status == "foreign"


def test_the_review_lists_it_in_one_line(tmp_path: Path, lugcall: Callable[..., Result]) -> None:
    shop = tmp_path / "shop"
    shop.mkdir()
    told_as("lugcall-record/1", shop / "now.jsonl")
    later = told_as("lugcall-record/2", shop / "later.jsonl")
    for _ in range(2):
        result = lugcall("review", shop)
        assert result.exit_code == 0, result.output
        lines = result.output.splitlines()
        assert lines[0].startswith(f"{later}: made by a later lugcall; update lugcall")
        assert any(line.startswith("1 job on ") for line in lines), lines


jsonschema = pytest.importorskip("jsonschema", reason="jsonschema is not installed")
SCHEMA = json.loads(
    Path(assistant.record.__file__).with_name("record.schema.json").read_text("utf-8")
)


@pytest.fixture(scope="module")
def checker() -> Any:
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    return jsonschema.Draft202012Validator(SCHEMA)


def test_every_record_fits(checker: Any, records: list[Path]) -> None:
    for path in records:
        for event in events_of(path):
            assert not [error.message for error in checker.iter_errors(event)], (path, event["n"])
    assert SCHEMA["$defs"]["opened"]["properties"]["format"]["const"] == FORMAT


@pytest.mark.parametrize(
    "spoil",
    [
        lambda e: e.pop("hash"),
        lambda e: e["data"]["as_found"].update(gap={"figures": "1/2 in"}),
        lambda e: e["data"]["as_left"]["gap"]["judged"].update(decision="fine"),
        lambda e: e["data"].update(code=12),
        lambda e: e.update(kind="opened"),
    ],
)
def test_what_is_no_record_is_refused(checker: Any, spoil: Callable[[Any], object]) -> None:
    closed = events_of(DEMOS[0])[-1]
    assert checker.is_valid(closed)
    spoil(closed)
    assert not checker.is_valid(closed)
