"""The network that reads words in their order: its pieces, its figures, what it adds."""

from __future__ import annotations

import numpy as np
import pytest

from assistant.conversation import meaning
from assistant.conversation.network import MOST_PIECES, network, quantized


def test_words_are_cut_into_the_longest_known_pieces() -> None:
    net = network()
    name = {row: piece for piece, row in net.rows.items()}
    assert [name[row] for row in net.pieces("it's unbolted ?")] == [
        "it", "'", "s", "un", "##bolt", "##ed", "?",
    ]  # fmt: skip
    assert [name[row] for row in net.pieces("frâna")] == ["fran", "##a"]
    assert len(net.pieces("done " * 500)) == MOST_PIECES
    assert name[net.pieces("x" * 60)[0]] == "[UNK]"


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


def test_a_byte_a_figure_is_close() -> None:
    matrix = np.random.default_rng(1).normal(size=(8, 40)).astype(np.float32)
    steps, step = quantized(matrix)
    assert np.abs(steps * step.astype(np.float32)[:, None] - matrix).max() < 0.02
