"""One record as rows: what a slow, plain reading gives, what is true, and where it is damaged."""

from __future__ import annotations

import hashlib
import json
import os
import tracemalloc
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from assistant.cli.main import main
from assistant.record import Journal, verify_file
from assistant.record.chain import ChainReader
from assistant.record.events import GENESIS, line_of, parse_quickly, seal_event
from assistant.review.columns import COLUMNS
from assistant.review.rows import read_file
from tests.fleet import plainly
from tests.fleet.stamped import Stamp, write
from tests.review.jobs import Job, day, tell

DEMOS = sorted((Path(__file__).parents[2] / "demo_sessions" / "records").glob("*.jsonl"))
NOW_US = 1_900_000_000_000_000
GB = 1 << 30


@pytest.fixture(scope="module")
def records(made: list[Stamp], tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """The demo jobs, the visits played, and four told anew, one of them not signed off."""
    folder = tmp_path_factory.mktemp("records")
    for number, stamp in enumerate(made):
        (folder / f"{number}.jsonl").write_bytes(stamp.bytes_for(stamp.visit))
    told = [Job("A-1", day(2025, 3, 1)), Job("A-1", day(2025, 6, 1), again=3, left=1.0)]
    told += [Job("A-2", day(2025, 3, 2), upto=n) for n in (1, 30)]
    return [*DEMOS, *sorted(folder.glob("*.jsonl")), *tell(folder / "told", told)]


def close(row: dict[str, Any]) -> dict[str, Any]:
    """With floats as near as sums in another order come."""
    return {k: pytest.approx(v, rel=1e-12) if isinstance(v, float) else v for k, v in row.items()}


def test_every_row_is_that_of_a_plain_reading(records: list[Path]) -> None:
    """All columns of utterances, cautions, steps and readings; the job's own row; moves, holds."""
    seen = 0
    for path in records:
        found, events = read_file(path, NOW_US), plainly.events_of(path)
        assert found.status == "record"
        for table in ("hearing", "cautions", "steps", "readings"):
            names = [c.name for c in COLUMNS[table] if c.name != "job"]
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
        assert sum(d["kind"] == "long hold" for d in doubts) == long
    assert len(records) >= 18 and seen > 2000


@pytest.mark.parametrize("member", [None, True, 7, "x", [], [1], {}, 1e301, {"mic": 3}])
@pytest.mark.parametrize("name", ["ear", "taken", "clip", "hold", "ring", "act"])
def test_an_odd_member_is_left_out(name: str, member: Any, tmp_path: Path) -> None:
    """It costs no other row of the record, and never the index."""
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


def test_a_record_read_while_a_line_is_half_written(made: list[Stamp], tmp_path: Path) -> None:
    """What is whole counts; the rest is told, and read when it is there."""
    whole = made[0].bytes_for(made[0].visit)
    lines = whole.splitlines(keepends=True)
    path = tmp_path / "job.jsonl"
    path.write_bytes(b"".join(lines[:20]) + lines[20][:100])
    found = read_file(path, NOW_US)
    assert (found.status, found.events) == ("torn", 20)
    assert "being written now, or cut off (line 21)" in found.line


def test_the_quick_check_refuses_what_the_strict_one_refuses(
    made: list[Stamp], tmp_path: Path
) -> None:
    """A byte changed anywhere in a line, for places all over a record."""
    whole = bytearray(made[0].bytes_for(made[0].visit))
    path = tmp_path / "job.jsonl"
    for place in range(3, len(whole), 1031):
        spoilt = bytes(whole[:place]) + bytes([whole[place] ^ 1]) + bytes(whole[place + 1 :])
        path.write_bytes(spoilt)
        verdict, found = verify_file(path), read_file(path, NOW_US)
        assert not verdict.ok and found.status != "record"
        assert found.events == verdict.events
        assert (verdict.problem or "") in found.line or found.status == "torn"


@pytest.mark.parametrize("after_a_record", [False, True])
def test_a_gigabyte_of_junk_takes_no_memory(
    made: list[Stamp], tmp_path: Path, after_a_record: bool
) -> None:
    """Zeros, which take no place on the disk either; alone, or behind a good record."""
    path = tmp_path / "junk.jsonl"
    good = made[0].bytes_for(made[0].visit) if after_a_record else b""
    path.write_bytes(good)
    os.truncate(path, len(good) + GB)
    tracemalloc.start()
    try:
        found = read_file(path, NOW_US)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert found.status == ("BROKEN CHAIN" if after_a_record else "foreign")
    assert found.events == (len(made[0].events) if after_a_record else 0)
    assert peak < 12_000_000


# --- The simulated fleet is made of true records: its readers may be judged by it.


def test_a_stamp_put_on_its_own_visit_gives_the_record_back(made: list[Stamp]) -> None:
    """Byte for byte: so nothing but what is put in differs in the others."""
    for stamp in made:
        played = b"".join(line_of(event) for event in stamp.events)
        assert stamp.bytes_for(stamp.visit, stamp.events[0].time) == played


def test_the_truth_is_what_the_records_say(made: list[Stamp], tmp_path: Path) -> None:
    """Strictly checked; unit, odometer, next check, and free travel as found to a thousandth."""
    truth = {(v.unit, v.miles): v for v in write(made, 7, 40, tmp_path)}
    paths = sorted(tmp_path.rglob("*.jsonl"))
    assert len(paths) == len(truth) == 40
    for path in paths:
        verdict, rows = verify_file(path), read_file(path, NOW_US).rows
        assert verdict.ok and verdict.closed, verdict.problem
        job = rows["jobs"][0]
        visit = truth[job["unit"], round(job["odometer_miles"])]
        found = [r for r in rows["readings"] if r["as_found"] and r["quantity"] == "free-travel"]
        assert found[0]["value_in"] == pytest.approx(visit.free_in, abs=0.0016)
        assert job["next_due_miles"] == visit.miles + 30_000
        assert job["signed_off"] and job["chain"] == "good"


def test_what_went_wrong_in_a_played_visit_is_found(made: list[Stamp], tmp_path: Path) -> None:
    """Corrections, misheard utterances, long holds and the microphone, against the truth."""
    for number, stamp in enumerate(made):
        path = tmp_path / f"{number}.jsonl"
        path.write_bytes(stamp.bytes_for(stamp.visit))
        rows, visit = read_file(path, NOW_US).rows, stamp.visit
        job = rows["jobs"][0]
        assert job["corrections"] == visit.wrong
        assert job["say_agains"] == visit.misheard
        assert {h["microphone"] for h in rows["hearing"]} == {visit.mic or "typed"}
        assert job["code"] == visit.code
        for hold in rows["holds"]:
            assert hold["long"] == (visit.long_hold_s >= 120)


# --- A record of a later version is listed, with what to do, and skipped.


def told_as(form: Any, path: Path) -> Path:
    """The demo record with another format in its first line, its chain sound."""
    prev, content = GENESIS, b""
    for line in DEMOS[0].read_text("utf-8").splitlines():
        event = json.loads(line)
        if event["n"] == 0:
            event["data"]["format"] = form
        sealed, spelled = seal_event(event["n"], event["at"], event["kind"], event["data"], prev)
        prev, content = sealed.hash, content + spelled
    path.write_bytes(content)
    return path


@pytest.mark.parametrize("number", [2, 3, 17])
def test_a_later_version_is_skipped_with_what_to_do(number: int, tmp_path: Path) -> None:
    """Its chain is good; its rows are not taken."""
    found = read_file(told_as(f"lugcall-record/{number}", tmp_path / "a.jsonl"), NOW_US)
    assert (found.status, found.rows, found.events) == ("later", {}, 0)
    assert found.line.startswith("made by a later lugcall; update lugcall to read it; skipped")
    assert f"its format is {number}" in found.line


def test_a_later_version_may_be_spelled_otherwise(tmp_path: Path) -> None:
    """Other members, no chain as we know it: still no stranger, and not a broken chain."""
    path = tmp_path / "a.jsonl"
    path.write_text('{"v": 2, "data": {"format": "lugcall-record/2"}, "sum": "x"}\nmore\n')
    assert read_file(path, NOW_US).status == "later"


@pytest.mark.parametrize("form", ["lugcall-record/0", "lugcall-record/01", "lugcall-record/x",
                                  "lugcall-record/", "other/2", "", 2, None, {"a": 1}])  # fmt: skip
def test_what_is_no_version_is_foreign(form: Any, tmp_path: Path) -> None:
    """Not called a later one."""
    assert read_file(told_as(form, tmp_path / "a.jsonl"), NOW_US).status == "foreign"


def test_the_review_lists_it_in_one_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Beside a record of our version, whose job counts."""
    monkeypatch.setenv("LUGCALL_INDEX", str(tmp_path / "index"))
    shop = tmp_path / "shop"
    shop.mkdir()
    told_as("lugcall-record/1", shop / "now.jsonl")
    later = told_as("lugcall-record/2", shop / "later.jsonl")
    for _ in range(2):
        result = CliRunner().invoke(main, ["review", str(shop)])
        assert result.exit_code == 0, result.output
        lines = result.output.splitlines()
        assert lines[0].startswith(f"{later}: made by a later lugcall; update lugcall")
        assert any(line.startswith("1 job on ") for line in lines), lines
