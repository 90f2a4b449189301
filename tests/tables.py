"""Tables of what is said and what must come of it, from the files in `tests/corpus`."""

from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

import pytest

CORPUS = Path(__file__).parent / "corpus"


def rows_of(name: str, *columns: str) -> Callable[[str], pytest.MarkDecorator]:
    """What marks a test to be run with each row of one table of a file.

    A file holds tables of tab-separated rows; the line before a table's first row is its name in
    brackets. Lines that begin with "# " are remarks; "\\n" in a cell is the end of a line.
    """
    found: dict[str, list[tuple[str, ...]]] = {}
    for line in (CORPUS / name).read_text(encoding="utf-8").splitlines():
        if line.startswith("[") and "\t" not in line:
            rows = found.setdefault(line.strip("[]"), [])
        elif line and not line.startswith("# "):
            rows.append(tuple(cell.replace("\\n", "\n") for cell in line.split("\t")))
    return lambda table: pytest.mark.parametrize(columns, found[table])


def length_in(cell: str) -> float:
    """`9/16`, `0.485`, or `12.7 mm` in inches; apart from the reader, which is under test."""
    value = Fraction(cell.removesuffix(" mm"))
    return float(value) / 25.4 if cell.endswith("mm") else float(value)
