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

from assistant.readings import QUANTITIES, Reading, read

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


@pytest.mark.parametrize("name", FILES)
def test_the_file_is_well_formed(name: str) -> None:
    for row in rows(name):
        assert row.quantity in ("", *QUANTITIES), row
        assert row.status in ("read", "ask", "refused", "none"), row
        given = [row.value_in, row.count, row.nominal_in]
        assert sum(map(bool, given)) == (row.status == "read"), row


def test_the_files_share_no_row() -> None:
    """A held-out row that was also tuned on would measure nothing."""
    tuned = {(row.quantity, row.words.lower()) for row in rows("tuning")}
    held = {(row.quantity, row.words.lower()) for row in rows("heldout")}
    assert not tuned & held


@pytest.mark.parametrize("name", FILES)
def test_nothing_is_read_wrong_without_a_question(name: str) -> None:
    wrong = []
    for row in rows(name):
        reading = read(row.words, row.quantity)
        if reading.status == "read" and not is_right(row, reading):
            wrong.append((row.quantity, row.words, row.status, reading.readback))
    assert wrong == []


@pytest.mark.parametrize(("name", "share"), [("tuning", 0.99), ("heldout", 0.98)])
def test_most_rows_come_out_right(name: str, share: float) -> None:
    """Questions too many are a nuisance, so the share of exactly right rows has a floor."""
    results = [(row, read(row.words, row.quantity)) for row in rows(name)]
    missed = [
        (r.quantity, r.words, r.status, got.status) for r, got in results if not is_right(r, got)
    ]
    assert len(results) >= 400
    assert len(missed) <= (1 - share) * len(results), missed


@pytest.mark.parametrize("name", FILES)
def test_the_interval_holds_the_value(name: str) -> None:
    for row in rows(name):
        reading = read(row.words, row.quantity)
        if reading.status != "read":
            continue
        if reading.kind == "length":
            assert reading.low_in is not None and reading.high_in is not None, row
            assert reading.value_in is not None, row
            assert 0 <= reading.low_in <= reading.value_in <= reading.high_in, row
            assert reading.low_in < reading.high_in, row
        else:
            assert reading.count is not None and reading.value_in is None, row


@pytest.mark.parametrize("name", FILES)
def test_every_reading_says_itself_again(name: str) -> None:
    for row in rows(name):
        first = read(row.words, row.quantity)
        if first.status != "read":
            assert first.readback == first.figures == "", row
            continue
        again = read(first.readback, row.quantity)
        assert (again.status, again.kind) == ("read", first.kind), (row, first.readback)
        assert again.value_in == pytest.approx(first.value_in, abs=1e-9), (row, first.readback)
        assert again.count == pytest.approx(first.count, abs=1e-9), (row, first.readback)


@pytest.mark.parametrize("name", FILES)
def test_every_question_and_refusal_has_a_reason(name: str) -> None:
    """One line that a voice can say, and every choice offered is itself a reading."""
    for row in rows(name):
        reading = read(row.words, row.quantity)
        assert "\n" not in reading.why
        if reading.status in ("ask", "refused"):
            assert reading.why, row
        if reading.status in ("read", "none", "refused"):
            assert reading.choices == (), row
        assert all(choice.status == "read" for choice in reading.choices), row
