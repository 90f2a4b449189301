"""The network that reads words in their order: its pieces, its figures, what it adds."""

from __future__ import annotations

import numpy as np
import pytest

from assistant.conversation import meaning
from assistant.conversation.network import MOST_PIECES, network

WHO = ("tech", "helper")


def test_words_are_cut_into_the_longest_known_pieces() -> None:
    net = network()
    assert net.pieces("it's unbolted ?") == ["it", "'", "s", "un", "##bolt", "##ed", "?"]
    assert net.pieces("frâna") == ["fran", "##a"]
    assert len(net.pieces("done " * 500)) == MOST_PIECES
    assert net.pieces("x" * 60) == ["[UNK]"]


@pytest.mark.parametrize("words", ["", "?", "9/16", "…", "done"])
def test_any_words_get_figures(words: str) -> None:
    scores = network().scores(words, "tech", "a place that nobody knows")
    assert np.isfinite(scores).all()
    assert np.exp(scores[:-2]).sum() == pytest.approx(1, abs=1e-4)


def test_the_same_words_give_the_same_figures() -> None:
    one, other = (network().scores("tool's out", "tech", "ring_clear") for _ in range(2))
    assert (one == other).all()


def test_both_know_the_same_meanings() -> None:
    assert network().labels == meaning.weights().labels[:-2]


def test_every_place_and_speaker_begins_in_its_own_way() -> None:
    begun = [network().scores("done", who, at) for who in WHO for at in ("gap", "ring_turn", "x")]
    assert len({scores.tobytes() for scores in begun}) == len(begun)
