"""People's voices from outside: the card recordings of Debian's package pocketsphinx-testdata."""

from __future__ import annotations

import re
from pathlib import Path

from assistant.readings.language import alt, opt, seq
from assistant.voice.recognition.grammar import Grammar

FOLDER = Path("/usr/share/pocketsphinx/test/data/cards")
MISSING = "not installed: pocketsphinx-testdata (apt-get install pocketsphinx-testdata)"

_RANK = alt(
    "ace", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "jack",
    "queen", "king", "lady",
)  # fmt: skip
_CARD = seq(_RANK, opt("of"), alt("clubs", "hearts", "diamonds", "spades"))
GRAMMAR = Grammar("cards", alt(seq(_CARD, opt(_CARD, opt(_CARD))), seq(_RANK, alt(_CARD, _RANK))))
"""What may be said in them: the rules of cards.gram, which stands beside the recordings."""


def recordings() -> list[tuple[Path, str]]:
    """Each recording and its words; none where the package is not installed."""
    listed = FOLDER / "cards.transcription"
    if not listed.is_file():
        return []
    found = re.findall(r"<s>(.*?)</s>\s*\((\d+)\)", listed.read_text())
    return [(FOLDER / f"{name}.wav", " ".join(words.split())) for words, name in found]
