"""The language as it is written: the words of each piece are of the kinds that it is matched by."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest

from assistant.readings.language import AMOUNT, LEXICON, RELATIONS, Alt, Part, Seq, tokenize
from assistant.readings.read import MEANS_THE_SAME, SAYS_NOTHING

LOOKING = re.compile(r"\(\?<?[=!][^()]*\)")
"""What must stand before or after a piece is not a part of it."""


def pieces(part: Part) -> Iterator[tuple[str, str]]:
    """Pattern and phrase of every piece without parts that has words."""
    for inner in part.parts:
        yield from pieces(inner)
    if not part.parts and part.words is not None and part.words != Seq(()):
        rules = part.words.items if isinstance(part.words, Alt) else (part.words,)
        for rule in rules:
            words = rule.items if isinstance(rule, Seq) else (rule,)
            if all(isinstance(word, str) for word in words):
                yield LOOKING.sub("", part.pattern), " ".join(map(str, words))


def test_numbers_fractions_and_units() -> None:
    found = list(pieces(AMOUNT))
    assert len(found) > 60
    for pattern, phrase in found:
        kinds = tokenize(phrase)[0]
        # A unit's pattern is wider: it is matched where it stands, after a number.
        assert re.fullmatch(pattern, kinds) or re.search(pattern, kinds), (pattern, phrase)


@pytest.mark.parametrize(("operation", "part"), RELATIONS)
def test_words_of_relations(operation: str, part: Part) -> None:
    for pattern, phrase in pieces(part):
        kinds = tokenize(phrase)[0]
        for seen, said in MEANS_THE_SAME:
            kinds = kinds.replace(seen, said)
        left = "".join(kind for kind in kinds if kind not in SAYS_NOTHING)
        assert re.fullmatch(pattern, left), (operation, pattern, phrase, kinds)


def test_every_word_that_is_listened_for_is_known() -> None:
    for part in (AMOUNT, *(part for _, part in RELATIONS)):
        for _, phrase in pieces(part):
            assert all(word in LEXICON for word in phrase.split()), phrase
