"""A build that is killed goes on from the parts that are done, and ends as one that was not."""

from __future__ import annotations

import signal
import subprocess
import sys
from pathlib import Path

import pytest

from assistant.review import open_review
from assistant.review.columns import COLUMNS
from assistant.review.desk import Review
from assistant.review.store import Store
from assistant.texts.dialogs import Dialogs
from tests.fleet.stamped import stamps, write

JOBS, PART = 100, 20
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


def test_a_killed_build_goes_on_from_what_is_done(shop: Path, tmp_path: Path) -> None:
    """Killed within the first part, then twice in later ones: no finished part is read again."""
    home = tmp_path / "index"
    killed(shop, home, PART // 2)
    assert Store(shop, home).manifest().parts == []
    killed(shop, home, PART + PART // 2)
    assert Store(shop, home).manifest().parts == [1]
    killed(shop, home, 2 * PART + PART // 2)
    manifest = Store(shop, home).manifest()
    assert (manifest.parts, manifest.jobs) == ([1, 2, 3], 3 * PART)
    with open_review([shop], home=home) as review:
        assert review.told == []
        assert review.refreshed[0].read == JOBS - 3 * PART
        resumed = everything(review)
    with open_review([shop], home=tmp_path / "at once") as review:
        assert review.refreshed[0].read == JOBS
        assert everything(review) == resumed
    assert len(resumed["jobs"]) == JOBS


def test_a_reader_of_a_part_built_index_sees_what_is_there(shop: Path, tmp_path: Path) -> None:
    """After the kill, before anything else was read: whole jobs, and only those."""
    from assistant.review.refresh import Refreshed

    home = tmp_path / "index"
    killed(shop, home, PART + 1)
    store = Store(shop, home)
    manifest = store.manifest()
    with Review([Refreshed(shop, manifest)], [(store, manifest)]) as review:
        rows = {name: review.rows(getattr(review.tables, name)) for name in ("jobs", "steps")}
    assert len(rows["jobs"]) == PART
    assert {r["job"] for r in rows["steps"]} == {r["job"] for r in rows["jobs"]}
