"""The JSON Schema (draft 2020-12) of a record's lines, for programs that read records."""

from __future__ import annotations

import json
from importlib.resources import files
from typing import Any


def record_schema() -> dict[str, Any]:
    """The schema of one line of a record in the format of `events.FORMAT`."""
    text = files("assistant.record").joinpath("record.schema.json").read_text(encoding="utf-8")
    schema: dict[str, Any] = json.loads(text)
    return schema
