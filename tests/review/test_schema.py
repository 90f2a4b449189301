"""The schema says what records are: it takes every true one, and refuses what is none."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from assistant.record import FORMAT
from tests.fleet.stamped import Stamp, write

jsonschema = pytest.importorskip("jsonschema", reason="jsonschema is not installed")
ROOT = Path(__file__).parents[2]
SCHEMA = json.loads((ROOT / "assistant/record/record.schema.json").read_text("utf-8"))
RECORDS = sorted((ROOT / "demo_sessions" / "records").glob("*.jsonl"))
Event = dict[str, Any]


def check() -> Any:
    """A validator of one line."""
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    return jsonschema.Draft202012Validator(SCHEMA)


def lines(path: Path) -> list[Event]:
    """The events of a record."""
    return [json.loads(line) for line in path.read_text("utf-8").splitlines()]


def faults(path: Path) -> list[str]:
    """What the schema says against a record."""
    checker = check()
    return [
        f"line {n}: {error.json_path}: {error.message[:80]}"
        for n, event in enumerate(lines(path), 1)
        for error in checker.iter_errors(event)
    ]


@pytest.mark.parametrize("path", RECORDS, ids=lambda p: p.stem)
def test_every_demo_record_fits(path: Path) -> None:
    """All that are shipped."""
    assert faults(path) == []


def test_simulated_records_fit(made: list[Stamp], tmp_path: Path) -> None:
    """Stamped ones are of the same bytes' form as those played."""
    write(made, 2, 12, tmp_path)
    paths = list(tmp_path.rglob("*.jsonl"))
    assert len(paths) == 12
    assert [fault for path in paths for fault in faults(path)] == []


def _no_hash(e: Event) -> None:
    del e["hash"]


def _bare_reading(e: Event) -> None:
    e["data"]["as_found"]["gap"] = {"figures": "1/2 in"}


def _other_decision(e: Event) -> None:
    e["data"]["as_left"]["gap"]["judged"]["decision"] = "fine"


def _code_is_a_number(e: Event) -> None:
    e["data"]["code"] = 12


def _opens_late(e: Event) -> None:
    e["kind"] = "opened"


@pytest.mark.parametrize(
    "spoil", [_no_hash, _bare_reading, _other_decision, _code_is_a_number, _opens_late]
)
def test_what_is_no_record_is_refused(spoil: Callable[[Event], None]) -> None:
    """A closing line with one thing wrong."""
    closed = copy.deepcopy(lines(RECORDS[0])[-1])
    assert check().is_valid(closed)
    spoil(closed)
    assert not check().is_valid(closed)


def test_the_schema_names_the_format_that_is_written() -> None:
    """A new format needs a new schema, and readers for both."""
    assert SCHEMA["$defs"]["opened"]["properties"]["format"]["const"] == FORMAT
