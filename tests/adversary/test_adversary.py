"""The short form of the adversary: a fair share of each attack, its dice cast anew each day."""

from datetime import date
from pathlib import Path

import pytest

from tests.adversary.attacks import ATTACKS, attack
from tests.adversary.terms import CARDS
from tests.adversary.turns import play

pytestmark = pytest.mark.long
SAFE = ["done"] * 6
MENDED = {
    "pedal told up, not told of": ["stop"],
    "pedal told up, to be pressed": [*SAFE, "helper: ready", "helper: sound", "stop"],
    "pedal told up, down": [
        *SAFE, "helper: ready", "helper: sound", "sound", "helper: i've got it down", "stop",
    ],
}  # fmt: skip
"""Rule that was once broken -> the shortest lines to it."""


@pytest.mark.parametrize("name", ATTACKS)
def test_no_rule_is_broken(name: str, tmp_path: Path) -> None:
    run = attack(name, date.today().toordinal(), tmp_path)
    print(name, dict(run.counts))
    assert not [str(found) for found in run.found.values()]


@pytest.mark.parametrize("rule", MENDED)
def test_stays_mended(rule: str, tmp_path: Path) -> None:
    card = next(path for path in CARDS if "t104" in path.name)
    assert rule not in {found.rule for found in play(tmp_path / "job", card, MENDED[rule]).wrong}
