"""The attacks by name, each with how much of it is a fair share, and how much is all."""

from collections.abc import Callable
from pathlib import Path
from time import monotonic

from tests.adversary import cards, damage, kills, lines, options, turns
from tests.adversary.commands import Run

ATTACKS: dict[str, tuple[Callable[[Run, int], None], int, int, float]] = {
    "turns": (turns.attack, 3_000, 1_000_000, 30.0),
    "kills": (kills.attack, 30, 2_000, 20.0),
    "damage": (damage.attack, 600, 20_000, 12.0),
    "lines": (lines.attack, 600, 20_000, 15.0),
    "cards": (cards.attack, 60, 2_000, 15.0),
    "options": (options.attack, 60, 2_000, 20.0),
}
"""Name -> attack, how many in the short form, how many in the long, and seconds in the short."""
LONG_S = 6 * 3600.0


def attack(name: str, seed: int, folder: Path, long: bool = False, most: int = 0) -> Run:
    """One attack from its seed, in `folder`; `most`: how many, if not as the form has it."""
    does, few, many, short_s = ATTACKS[name]
    hours = long or most
    run = Run(seed, folder, monotonic() + (LONG_S if hours else short_s), 120.0 if hours else 8.0)
    does(run, most or (many if long else few))
    return run
