"""A record of a later version is listed, with what to do, and skipped; nothing is guessed of it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from assistant.cli.main import main
from assistant.record.events import FORMAT, GENESIS, seal_event
from assistant.record.quick_lines import FORMATS, version_of
from assistant.review.rows import read_file

DEMO = Path(__file__).parents[2] / "demo_sessions" / "records" / "first_job.jsonl"
NOW_US = 1_900_000_000_000_000


def told_as(form: Any, path: Path) -> Path:
    """The demo record with another format in its first line, its chain sound."""
    prev, content = GENESIS, b""
    for line in DEMO.read_text("utf-8").splitlines():
        event = json.loads(line)
        if event["n"] == 0:
            event["data"]["format"] = form
        sealed, spelled = seal_event(event["n"], event["at"], event["kind"], event["data"], prev)
        prev, content = sealed.hash, content + spelled
    path.write_bytes(content)
    return path


def test_what_is_written_now_is_read() -> None:
    """The newest of the formats is the one that the journal writes."""
    assert version_of(FORMAT) == FORMATS[-1]


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
