"""The tables as CSV and Parquet, with a page that says what each column holds."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from assistant.record.disk import reason
from assistant.record.events import RecordError
from assistant.review.columns import COLUMNS, PER

if TYPE_CHECKING:
    from assistant.review.desk import Review

PAGE = "COLUMNS.md"


def export(review: Review, folder: Path, kind: str) -> list[Path]:
    """Write every table into `folder`, made if missing; gives the files.

    Numbers, not lugcall's rounding of them; times in UTC. In CSV an empty cell is a value that is
    not there or an empty text.

    Args:
        kind: "csv" or "parquet".

    Raises:
        RecordError: the folder cannot be written.
    """
    how = "HEADER, DELIMITER ','" if kind == "csv" else "FORMAT parquet, COMPRESSION zstd"
    written = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for table in COLUMNS:
            path = folder / f"{table}.{kind}"
            quoted = str(path).replace("'", "''")
            review.sql(f"COPY (SELECT * FROM {table}) TO '{quoted}' ({how})")
            written.append(path)
        page = folder / PAGE
        page.write_text(schema_page(), encoding="utf-8")
    except OSError as error:
        raise RecordError(f"{folder} cannot be written: {reason(error)[0]}.") from error
    return [*written, page]


def schema_page() -> str:
    """What every column of every table holds, in Markdown."""
    lines = [
        "# Columns",
        "",
        "Units stand in the names: `_in` inches, `_s` seconds, `_miles`, `_lugs`; `_utc` is",
        "a time in UTC. `job` joins the tables. Lugs are positive when they tighten.",
    ]
    for table, columns in COLUMNS.items():
        lines += ["", f"## {table}", "", f"One row a {PER[table]}.", ""]
        lines += ["| column | type | what it says |", "| --- | --- | --- |"]
        lines += [f"| `{c.name}` | {c.type} | {c.what.replace('|', '/')} |" for c in columns]
    return "\n".join(lines) + "\n"
