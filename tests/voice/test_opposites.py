"""What lets something pass is not taken while its opposite may have been said."""

import pytest

from assistant.texts.vocabulary import MEANINGS
from assistant.voice.interpretation.context import OPPOSITE, contradicted
from assistant.voice.interpretation.decide import Candidate, Decision


def heard(*meanings: tuple[str, float]) -> Decision:
    ranked = tuple(
        Candidate(name, (name, "tech"), p, ("whisper",), probability=p) for name, p in meanings
    )
    return Decision("accept", ranked, ranked[0].probability, 1.0, ranked[0].words)


@pytest.mark.parametrize(("yes", "no"), [("check", "no"), ("sound", "not_sound"),
                                         ("clear", "stop"), ("holding", "lost")])  # fmt: skip
def test_a_likely_opposite_contradicts(yes: str, no: str) -> None:
    assert contradicted(yes, heard((yes, 0.85), ("repeat", 0.08), (no, 0.07)))
    assert not contradicted(yes, heard((yes, 0.95), ("repeat", 0.03), (no, 0.02)))


def test_what_holds_up_is_never_contradicted() -> None:
    assert not contradicted("no", heard(("no", 0.6), ("check", 0.4)))
    assert not contradicted("stop", heard(("stop", 0.5), ("clear", 0.5)))


def test_other_words_beside_it_do_not_matter() -> None:
    assert not contradicted("check", heard(("check", 0.6), ("repeat", 0.4)))


def test_the_table_names_meanings() -> None:
    assert {*OPPOSITE, *(m for group in OPPOSITE.values() for m in group)} <= set(MEANINGS)
