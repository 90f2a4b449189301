"""What the tests of the lead's desk share: visits that were played once, and their records."""

from __future__ import annotations

from pathlib import Path

import pytest

from assistant.texts.dialogs import Dialogs
from tests.fleet.stamped import Stamp, stamps


@pytest.fixture(scope="session")
def made(dialogs: Dialogs, tmp_path_factory: pytest.TempPathFactory) -> list[Stamp]:
    """Visits played through the session, by keyboard and voice, with what goes wrong in them."""
    return stamps(tmp_path_factory.mktemp("played"), dialogs, 8)


@pytest.fixture
def home(tmp_path: Path) -> Path:
    """Where the index lives."""
    return tmp_path / "index"
