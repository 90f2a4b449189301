"""Words said again: what several unsure hearings make together, and what they must not."""

from __future__ import annotations

import pytest

from assistant.voice.interpretation.context import Repeats
from assistant.voice.interpretation.decide import Candidate, Decision


def heard(words: str, probability: float, kind: str = "again") -> Decision:
    first = Candidate(words, words, 0.9, ("whisper",), probability)
    return Decision(kind, (first,), probability, 1.0, words)


def test_a_second_hearing_adds_to_the_first() -> None:
    repeats = Repeats()
    assert repeats.joined("hold", heard("holding", 0.45)).kind == "again"
    repeats.missed(heard("holding", 0.45))
    both = repeats.joined("hold", heard("holding", 0.4))
    assert both.probability == pytest.approx(1 - 0.55 * 0.6)
    assert both.kind == "accept"
    assert both.ranked[0].probability == both.probability


def test_other_words_add_nothing() -> None:
    repeats = Repeats()
    repeats.missed(heard("no", 0.45))
    alone = heard("check", 0.45)
    assert repeats.joined("gap", alone) is not None
    repeats.missed(heard("no", 0.45))
    assert repeats.joined("gap", alone) == alone


def test_a_move_of_the_job_forgets() -> None:
    repeats = Repeats()
    repeats.joined("ring_clear", heard("clear", 0.5))
    repeats.missed(heard("clear", 0.5))
    assert repeats.joined("ring_hold", heard("clear", 0.5)).probability == 0.5


def test_what_was_not_for_us_adds_nothing() -> None:
    repeats = Repeats()
    repeats.joined("gap", heard("done", 0.5, "nothing"))
    repeats.missed(heard("done", 0.5, "nothing"))
    assert repeats.joined("gap", heard("done", 0.4)).probability == 0.4
    repeats.missed(heard("done", 0.5))
    assert repeats.joined("gap", heard("done", 0.4, "nothing")).kind == "nothing"


def test_a_crowd_of_faint_hearings_never_adds_up() -> None:
    repeats = Repeats()
    for _ in range(20):
        faint = heard("released", 0.19)
        assert repeats.joined("release", faint).kind == "again"
        repeats.missed(faint)


def test_only_the_last_two_count() -> None:
    repeats = Repeats()
    repeats.joined("gap", heard("sound", 0.2))
    for _ in range(20):
        repeats.missed(heard("sound", 0.2))
    assert repeats.joined("gap", heard("sound", 0.2)).probability == pytest.approx(1 - 0.8**3)
