"""What people in a shop say that is none of the job's business, from `chatter.toml`."""

import tomllib
from pathlib import Path

_TEXTS = tomllib.loads(Path(__file__).with_suffix(".toml").read_text("utf-8"))
BABBLE: tuple[str, ...] = tuple(_TEXTS["babble"])
"""Under the words, as a noise."""
SHOP: dict[str, tuple[str, ...]] = {split: tuple(said) for split, said in _TEXTS["shop"].items()}
"""Called across the bay, not meant for the program; by split."""
RADIO: dict[str, tuple[str, ...]] = {split: tuple(said) for split, said in _TEXTS["radio"].items()}
"""From the loudspeaker over the bench; by split."""
