"""TOML for a card: scalars first, a section each, limits as one-line tables."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any


def toml_text(tables: Mapping[str, Any]) -> str:
    """The tables as TOML. Reading it with `tomllib` gives the same tables.

    Raises:
        TypeError: a value is none of text, number, truth, list or table.
    """
    lines = [f"{_key(k)} = {_value(v)}" for k, v in tables.items() if not isinstance(v, dict)]
    for name, table in tables.items():
        if isinstance(table, dict):
            lines += ["", f"[{_key(name)}]"]
            lines += [f"{_key(k)} = {_value(v)}" for k, v in table.items()]
    return "\n".join(lines) + "\n"


def _key(name: str) -> str:
    plain = name.replace("-", "").replace("_", "")
    return name if plain.isascii() and plain.isalnum() else _text(name)


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, list):
        return f"[{', '.join(_value(v) for v in value)}]"
    if isinstance(value, dict):
        inside = ", ".join(f"{_key(k)} = {_value(v)}" for k, v in value.items())
        return f"{{ {inside} }}" if inside else "{}"
    raise TypeError(f"{value!r} cannot stand on a card")


def _text(value: str) -> str:
    # JSON's escapes are TOML's, but TOML wants DEL escaped as well.
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
