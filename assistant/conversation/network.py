"""What words most likely mean, by a small network that reads them in their order.

It stands beside the linear classifier of `meaning.py`, which sees pieces of words and no order: of
the lines of writers left out the two together understand more than either. It is a BERT encoder of
six layers (Devlin et al. 2019, arXiv:1810.04805), begun with the weights of all-MiniLM-L6-v2
(Apache 2.0; Wang et al. 2020, arXiv:2002.10957), cut to the words that are needed, fitted by
`tests/benchmarks/fit_network.py`, and run by CTranslate2 in a byte a figure. Its weights are data
beside this file; on one machine the same words give the same figures.
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any
from unicodedata import category, normalize

from assistant import named_file

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    Array = npt.NDArray[np.float32]

FOLDER = Path(__file__).parent / "encoder"
MOST_PIECES = 40
"""Pieces of words that are read; what comes after them is not."""
LONGEST = 24
"""Letters of a word beyond which it is taken as unknown."""
_WORD = re.compile(r"[^\W_]+|[^\w\s]|_")


@dataclass(frozen=True, slots=True)
class Network:
    """The fitted figures.

    Attributes:
        encoder: CTranslate2's; it gives 384 figures a piece.
        vocabulary: pieces of words ("##" before those that go on a word), and the pieces that begin
            what somebody says somewhere: "[tech gap]", or "[tech]" at a place not known.
        head: 768, for the first piece and the mean of all, by labels.
        bias: one for each label.
        labels: what its figures mean; two more are harm and waits, both logistic.
    """

    encoder: Any
    vocabulary: frozenset[str]
    head: Array
    bias: Array
    labels: tuple[str, ...]

    def pieces(self, text: str) -> list[str]:
        """The pieces of normal words, the longest first."""
        found: list[str] = []
        bare = "".join(c for c in normalize("NFD", text) if category(c) != "Mn")
        for word in _WORD.findall(bare):
            found += self._split(word)
        return found[:MOST_PIECES]

    def _split(self, word: str) -> list[str]:
        if word in self.vocabulary:
            return [word]
        if len(word) > LONGEST:
            return ["[UNK]"]
        found: list[str] = []
        start = 0
        while start < len(word):
            lead = "##" if start else ""
            ends = range(len(word), start, -1)
            end = next((e for e in ends if lead + word[start:e] in self.vocabulary), 0)
            if not end:
                return ["[UNK]"]
            found.append(lead + word[start:end])
            start = end
        return found

    def scores(self, text: str, who: str, at: str) -> Array:
        """Logarithms of how likely each label is, then of the odds of harm and of waiting.

        Args:
            text: normal words, with "?" at the end where they ask.
            who: "tech" or "helper".
            at: see `meaning.place`.
        """
        import numpy as np

        begin = f"[{who} {at}]"
        begin = begin if begin in self.vocabulary else f"[{who}]"
        read = self.encoder.forward_batch([[begin, *self.pieces(text), "[SEP]"]])
        x = np.array(read.last_hidden_state)[0]
        out: Array = np.concatenate([x[0], x.mean(0)]) @ self.head + self.bias
        most = len(self.labels)
        top = out[:most].max()
        out[:most] -= top + np.log(np.exp(out[:most] - top).sum())
        return out


@cache
def network() -> Network:
    """The fitted figures, read once."""
    import ctranslate2  # when words are first understood, not when a command starts
    import numpy as np

    # So little work waits for no other core.
    encoder = ctranslate2.Encoder(str(FOLDER), compute_type="int8", intra_threads=1)
    names = json.loads(named_file.whole(FOLDER / "vocabulary.json"))
    with np.load(FOLDER / "head.npz") as data:
        return Network(
            encoder,
            frozenset(names),
            np.ascontiguousarray(data["head"].astype(np.float32).T),
            data["bias"].astype(np.float32),
            tuple(bytes(data["labels"]).decode().split("\n")),
        )
