"""The quick way gives the rows that a slow, plain reading of the same records gives."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from assistant.record import Journal
from assistant.record.quick_lines import CheckedLines
from assistant.review.columns import COLUMNS
from assistant.review.rows import read_file
from assistant.texts.dialogs import Dialogs
from tests.fleet import plainly
from tests.fleet.stamped import stamps
from tests.review.jobs import Job, day, tell

DEMOS = sorted((Path(__file__).parents[2] / "demo_sessions" / "records").glob("*.jsonl"))
NOW_US = 1_900_000_000_000_000


@pytest.fixture(scope="module")
def records(dialogs: Dialogs, tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """The demo jobs, eight visits by keyboard and voice with what goes wrong in them, and four
    told anew, one of them not signed off."""
    folder = tmp_path_factory.mktemp("records")
    for number, stamp in enumerate(stamps(tmp_path_factory.mktemp("played"), dialogs, 8)):
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
    import hashlib

    lines = DEMOS[0].read_bytes().splitlines(keepends=True)[:2]
    at = lines[1].rfind(b',"hash":"')
    spoilt = lines[1][:at].replace(b'"data":{', b'"data":{"aaa":"\xff",', 1)
    tail = lines[1][at + 74 : -1]
    digest = hashlib.sha256(spoilt + tail).hexdigest().encode()
    path = tmp_path / "job.jsonl"
    path.write_bytes(lines[0] + spoilt + b',"hash":"' + digest + b'"' + tail + b"\n")
    with path.open("rb") as stream:
        lines = CheckedLines(stream)
        assert len(list(lines)) == 1
    assert lines.fault is not None and "UTF-8" in lines.fault.text
