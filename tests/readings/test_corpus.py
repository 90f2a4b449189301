"""Both corpora of utterances, row by row.

`tuning.tsv` was read while the grammar was being written. `heldout.tsv` was not looked at while
tuning: it says how the reader does on words it was not fitted to. The one rule that has no
percentage is the safety rule: a wrong value is never read without a question.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import pytest

from assistant.readings import Reading, read

CORPUS = Path(__file__).parents[1] / "corpus"
FILES = ("tuning", "heldout")
COLUMNS = "category quantity words status value_in count nominal_in note".split()


class Row(NamedTuple):
    """One line of a corpus file."""

    category: str
    quantity: str
    words: str
    status: str
    value_in: str
    count: str
    nominal_in: str
    note: str


def rows(name: str) -> Iterator[Row]:
    """The rows of one file; quotes are inch marks, so the csv module would misread them."""
    lines = (CORPUS / f"{name}.tsv").read_text(encoding="utf-8").split("\n")
    assert lines[0].split("\t") == COLUMNS
    for line in lines[1:]:
        if line:
            cells = line.split("\t")
            yield Row(*cells, *[""] * (len(COLUMNS) - len(cells)))


def value_is_right(row: Row, reading: Reading) -> bool:
    """Whether a reading has the value its row asks for."""
    if row.count:
        return reading.count is not None and abs(reading.count - float(row.count)) < 1e-6
    if reading.value_in is None:
        return False
    if row.nominal_in:
        low, high = (float(x) for x in row.nominal_in.split(".."))
        return low - 1e-9 <= reading.value_in <= high + 1e-9
    return abs(reading.value_in - float(row.value_in)) < 1e-9


def is_right(row: Row, reading: Reading) -> bool:
    """Whether a row came out as its file says."""
    if row.status != reading.status:
        return False
    return row.status != "read" or value_is_right(row, reading)


@pytest.mark.parametrize(("name", "share"), [("tuning", 0.99), ("heldout", 0.98)])
def test_most_rows_come_out_right_and_none_is_read_wrong(name: str, share: float) -> None:
    """Questions too many are a nuisance, a wrong value is a danger."""
    results = [(row, read(row.words, row.quantity)) for row in rows(name)]
    missed = [(row, got) for row, got in results if not is_right(row, got)]
    assert [(row, got.readback) for row, got in missed if got.status == "read"] == []
    assert len(results) >= 400
    assert len(missed) <= (1 - share) * len(results), missed


@pytest.mark.parametrize("name", FILES)
def test_every_row_keeps_what_a_reading_promises(name: str) -> None:
    """Lengths lie in their interval and say themselves again; what is no reading says why."""
    for row in rows(name):
        given = [row.value_in, row.count, row.nominal_in]
        assert sum(map(bool, given)) == (row.status == "read"), row
        first = read(row.words, row.quantity)
        assert "\n" not in first.why
        if first.status != "read":
            assert first.readback == first.figures == "", row
            assert first.why or first.status == "none", row
            assert first.status == "ask" or first.choices == (), row
            assert all(choice.status == "read" for choice in first.choices), row
            continue
        assert first.choices == (), row
        if first.kind == "length":
            assert first.low_in is not None and first.high_in is not None, row
            assert first.value_in is not None, row
            assert 0 <= first.low_in <= first.value_in <= first.high_in, row
            assert first.low_in < first.high_in, row
        else:
            assert first.count is not None and first.value_in is None, row
        again = read(first.readback, row.quantity)
        assert (again.status, again.kind) == ("read", first.kind), (row, first.readback)
        assert again.value_in == pytest.approx(first.value_in, abs=1e-9), (row, first.readback)
        assert again.count == pytest.approx(first.count, abs=1e-9), (row, first.readback)


def test_the_files_share_no_row() -> None:
    """A held-out row that was also tuned on would measure nothing."""
    tuned, held = ({(r.quantity, r.words.lower()) for r in rows(name)} for name in FILES)
    assert not tuned & held
