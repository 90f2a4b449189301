"""What several test files share: the shipped dialogs, the demo card, a session on a real file."""

import gc
import os
import pickle
import sys
import tomllib
from collections.abc import Callable
from functools import lru_cache
from pathlib import Path

import pytest

from assistant.act import Said
from assistant.card import Card, card_from_text
from assistant.conversation import Session, split_speaker
from assistant.record import disk
from assistant.texts.dialogs import Dialogs
from tests import examples
from tests.demo import shipped

ROOT = Path(__file__).parent.parent
CARD = """
unit = "T-1"
[ring]
lug = "0.027 in"
[rod]
thread = "1/2-20"
longer = "more clearance"
[pedal]
lash = "1/16 in"
[figures]
source = "test card"
gap = { low = "1/2 in", high = "9/16 in" }
clearance = { low = "3/32 in", high = "5/32 in", target = "1/8 in" }
free-travel = { low = "1-1/8 in", high = "2 in", target = "1-1/2 in" }
pedal-height = { low = "8 in", high = "9 in" }
total-travel = { low = "7 in", high = "9 in" }
brake-contact = { low = "1/2 in", high = "1 in" }
"""


FOLDERS = {"voice": "sound", "review": "fleet"}
"""Folder of tests -> the marker that all of them bear."""
LONG = frozenset({
    "test_anything_by_anybody", "test_long_walks", "test_any_text_gets_an_answer",
    "test_any_known_words_get_an_answer", "test_num2words_reads_as_an_odometer",
    "test_held_out_writers_are_understood", "test_pedal_down_is_said_only_when_the_helper_said_so",
    "test_no_twisted_word_completes_an_act", "test_long_walks_of_other_kinds",
    "test_messages_of_any_kind_in_any_order", "test_the_solver_is_the_best_of_all_settings",
    "test_every_byte_flip_is_found",
})  # fmt: skip
"""Walks at random, all that writers said, all settings: each takes as long as fifty quick ones."""
NOT_OF_THE_DISK = frozenset(
    "job conversation whole_jobs interview causes wear screens simulator".split()
)
"""Folders of tests that would do nothing but wait for it: each turn is synced."""
OWN = frozenset({"sound", "fleet", "browser", "long"})

if sys.dont_write_bytecode:
    # Where nothing may be written beside the modules, what they compile to is kept here: half of
    # the time of the tests is else spent on compiling them anew, in each process that they start.
    sys.dont_write_bytecode, sys.pycache_prefix = False, f"{ROOT}/.pytest_cache/bytecode"
    os.environ.update(PYTHONDONTWRITEBYTECODE="", PYTHONPYCACHEPREFIX=sys.pycache_prefix)


_loads = tomllib.loads


@lru_cache(maxsize=64)
def _read_once(text: str) -> bytes:
    return pickle.dumps(_loads(text))


# The dialogs are loaded hundreds of times, mostly with one file changed.
tomllib.loads = lambda text, **more: (
    _loads(text, **more) if more else pickle.loads(_read_once(text))
)


def pytest_configure(config: pytest.Config) -> None:
    examples.quick = config.getoption("markexpr") == "quick"


def pytest_collection_finish() -> None:
    """What is loaded for all tests stays: to look through it for rubbish takes a tenth of them."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(10_000, 20, 20)


def pytest_ignore_collect(collection_path: Path, config: pytest.Config) -> bool | None:
    """The quick tests alone need not load what the others import."""
    return (config.getoption("markexpr") == "quick" and collection_path.name in FOLDERS) or None


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark by folder; what bears none of the markers is quick."""
    for item in items:
        marker = FOLDERS.get(item.path.parent.name)
        if marker:
            item.add_marker(marker)
        if getattr(item, "originalname", "") in LONG:
            item.add_marker("long")
        if not OWN & {mark.name for mark in item.iter_markers()}:
            item.add_marker("quick")


@pytest.fixture(autouse=True)
def quick_disk(request: pytest.FixtureRequest) -> None:
    if request.path.parent.name in NOT_OF_THE_DISK:
        request.getfixturevalue("unsynced")


@pytest.fixture
def unsynced(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(disk, "sync_data", lambda fd: None)
    monkeypatch.setattr(os, "fsync", lambda fd: None)


@pytest.fixture(scope="session")
def dialogs() -> Dialogs:
    """The shipped English dialogs, whatever the environment says."""
    return shipped()


@pytest.fixture(scope="session")
def card() -> Card:
    """A card with every figure on it."""
    return card_from_text(CARD, "test_card.toml")


@pytest.fixture
def session(card: Card, dialogs: Dialogs, tmp_path: Path) -> Session:
    return Session.begin(card, dialogs, tmp_path / "records")[0]


@pytest.fixture
def play() -> Callable[[Session, str], list[Said]]:
    """Says a script, lines or parts split by " / ", and gives back the last turn's replies."""

    def say(session: Session, script: str) -> list[Said]:
        said: list[Said] = []
        for part in script.replace("\n", " / ").split(" / "):
            if part.strip():
                said = session.hear(*split_speaker(part))
        return said

    return say
