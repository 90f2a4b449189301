"""A build that is killed goes on from what is committed, and ends as one that was not."""

from __future__ import annotations

import signal
import subprocess
import sys
from pathlib import Path

import duckdb
import pytest

from assistant.review import Review, open_review
from assistant.review.columns import COLUMNS
from assistant.review.index import Index
from assistant.texts.dialogs import Dialogs
from tests.fleet.stamped import stamps, write

JOBS, BATCH = 100, 20
KILLER = Path(__file__).with_name("kill_refresh.py")


@pytest.fixture(scope="module")
def shop(dialogs: Dialogs, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A hundred records."""
    folder = tmp_path_factory.mktemp("shop")
    write(stamps(tmp_path_factory.mktemp("played"), dialogs, 2), 9, JOBS, folder)
    return folder


def killed(shop: Path, home: Path, files: int) -> None:
    """A build by another process, which gets SIGKILL after so many files."""
    run = subprocess.run([sys.executable, str(KILLER), str(shop), str(home), str(files)])
    assert run.returncode == -signal.SIGKILL


def everything(review: Review) -> dict[str, list[str]]:
    """All rows of all tables, but for when a file was seen."""
    return {
        name: sorted(
            repr({k: v for k, v in row.items() if k != "seen_utc"})
            for row in review.rows(getattr(review.tables, name))
        )
        for name in COLUMNS
    }


def committed(shop: Path, home: Path) -> dict[str, int]:
    """Jobs in some tables of the index as the kill left it."""
    file = Index(duckdb.connect(), "any", shop, home).file
    with duckdb.connect(str(file), read_only=True) as connection:
        count = "SELECT count(DISTINCT job) FROM"
        return {
            table: connection.execute(f"{count} {table}").fetchall()[0][0]
            for table in ("jobs", "steps", "files")
        }


def test_a_killed_build_goes_on_from_what_is_done(shop: Path, tmp_path: Path) -> None:
    """Killed three times: whole jobs are there, and only those; none of them is read again."""
    home = tmp_path / "index"
    for batches in (1, 2, 3):
        killed(shop, home, BATCH)
        assert set(committed(shop, home).values()) == {batches * BATCH}
    with open_review([shop], home=home) as review:
        assert review.told == []
        assert review.refreshed[0].read == JOBS - 3 * BATCH
        resumed = everything(review)
    with open_review([shop], home=tmp_path / "at once") as review:
        assert review.refreshed[0].read == JOBS
        assert everything(review) == resumed
    assert len(resumed["jobs"]) == JOBS


def test_killed_while_it_is_written(shop: Path, tmp_path: Path) -> None:
    """Between two statements of a transaction: that batch is not there, the one before is."""
    home = tmp_path / "index"
    killed(shop, home, BATCH + 1)
    assert set(committed(shop, home).values()) == {BATCH}
