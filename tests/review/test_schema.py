"""The schema says what records are: it takes every true one, and refuses what is none."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

import assistant.record
from assistant.record.events import FORMAT
from tests.records import DEMOS, events_of

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
