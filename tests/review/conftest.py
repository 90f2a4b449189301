"""What the tests of the lead's desk share: folders of records, and where their index lives."""

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from assistant.card import Card
from assistant.cli.main import main
from assistant.texts.dialogs import Dialogs
from tests.records import DEMOS
from tests.review.jobs import Job, day, play, tell


@pytest.fixture(scope="session")
def records(card: Card, dialogs: Dialogs, tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """The demo jobs; jobs played by keyboard and voice, with what goes wrong in them; jobs told
    anew with much not heard, and with no end."""
    folder = tmp_path_factory.mktemp("records")
    ways = (("", 0, 25), ("", 8, 150), ("bay mic", 1, 40), ("headset", 8, 150))
    played = [play(folder / "played", card, dialogs, *way) for way in ways]
    told = [Job("A-1", day(2025, 3, 1), again=n) for n in (0, 2, 3, 7)]
    told += [Job("A-2", day(2025, 3, 2), left=1.0, upto=n) for n in (0, 1, 30)]
    return [*DEMOS, *played, *tell(folder / "told", told)]


@pytest.fixture
def home(tmp_path: Path) -> Path:
    return tmp_path / "index"


@pytest.fixture
def lugcall(home: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., Result]:
    monkeypatch.setenv("LUGCALL_INDEX", str(home))
    return lambda *words: CliRunner().invoke(main, [str(word) for word in words])


CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
WAIT_MS = 20_000
"""So long a test waits for what a page should show."""


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """Debian's chromium, without a head."""
    if CHROMIUM is None:
        pytest.skip("no chromium on this machine")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        started = driver.chromium.launch(
            executable_path=CHROMIUM, args=["--no-sandbox"], timeout=60_000
        )
        yield started
        started.close()
