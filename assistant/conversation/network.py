"""What words most likely mean, by a small network that reads them in their order.

It stands beside the linear classifier of `meaning.py`, which sees pieces of words and no order: of
the lines of writers left out the two together understand more than either. It is three layers of a
BERT encoder (Devlin et al. 2019, arXiv:1810.04805), begun with the weights of all-MiniLM-L6-v2
(Apache 2.0; Wang et al. 2020, arXiv:2002.10957), cut to the words and neurons that are needed, and
fitted by `tests/benchmarks/fit_network.py`. Its weights are data beside this file; reading them
needs NumPy alone, and the same words give the same figures.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any
from unicodedata import category, normalize

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt
    from threadpoolctl import ThreadpoolController

    Array = npt.NDArray[np.float32]

FILE = Path(__file__).parent / "network.npz"
HEADS = 12
MOST_PIECES = 40
"""Pieces of words that are read; what comes after them is not."""
LONGEST = 24
"""Letters of a word beyond which it is taken as unknown."""
_WORD = re.compile(r"[^\W_]+|[^\w\s]|_")
_TINY = 1e-12
_AS_THEY_ARE = ("small", "up", "place", "who", "position", "in", "norm")
"""Tables that are looked up, and matrices with rows of a power of two, which are quicker so; what
else multiplies is kept turned round."""


def quantized(matrix: Array) -> tuple[npt.NDArray[np.int8], npt.NDArray[np.float16]]:
    """A matrix in steps of a 127th of each row's largest figure, and those steps."""
    import numpy as np

    step = (np.abs(matrix).max(1) / 127 + _TINY).astype(np.float16).astype(np.float32)
    step = np.maximum(step, 6e-8)
    return np.clip(np.round(matrix / step[:, None]), -127, 127).astype(np.int8), step.astype("f2")


@dataclass(frozen=True, slots=True)
class Network:
    """The fitted figures, as float32.

    Attributes:
        rows: piece of a word -> its row in `words`.
        words: pieces by 384.
        places: `meaning.place` -> a row of 384, added to the first.
        nowhere: that of a place not known: the mean of all.
        who: "tech" and "helper" -> a row of 384, likewise.
        parts: the other matrices and vectors, by name.
        layers: how many there are.
        labels: what the columns of its figures mean; two more are harm and waits, both logistic.
    """

    rows: dict[str, int]
    words: Array
    places: dict[str, Array]
    nowhere: Array
    who: dict[str, Array]
    parts: dict[str, Array]
    layers: int
    labels: tuple[str, ...]

    @classmethod
    def of(cls, data: Mapping[str, Any]) -> Network:
        """From the arrays of the file."""
        import numpy as np

        parts: dict[str, Array] = {}
        for name in data:
            if name.startswith(("vocab", "labels", "places")) or name.endswith("_step"):
                continue
            part = data[name].astype(np.float32)
            if f"{name}_step" in data:
                part *= data[f"{name}_step"].astype(np.float32)[:, None]
            plain = part.ndim < 2 or name.split("_")[0].rstrip("0123456789") in _AS_THEY_ARE
            parts[name] = part if plain else np.ascontiguousarray(part.T)
        words = parts.pop("small") @ parts.pop("up")
        names = bytes(data["places"]).decode().split("\n")
        place, who = parts.pop("place"), parts.pop("who")
        return cls(
            {piece: n for n, piece in enumerate(bytes(data["vocab"]).decode().split("\n"))},
            words,
            {name: place[n] for n, name in enumerate(names)},
            place.mean(0),
            {"tech": who[0], "helper": who[1]},
            parts,
            sum(name.startswith("qkv_bias") for name in parts),
            tuple(bytes(data["labels"]).decode().split("\n")),
        )

    def pieces(self, text: str) -> list[int]:
        """Rows of the pieces of normal words, the longest first."""
        found: list[int] = []
        bare = "".join(c for c in normalize("NFD", text) if category(c) != "Mn")
        for word in _WORD.findall(bare):
            found += self._split(word)
        return found[:MOST_PIECES]

    def _split(self, word: str) -> list[int]:
        unknown = [self.rows["[UNK]"]]
        whole = self.rows.get(word)
        if whole is not None:
            return [whole]
        if len(word) > LONGEST:
            return unknown
        found: list[int] = []
        start = 0
        while start < len(word):
            lead = "##" if start else ""
            ends = range(len(word), start, -1)
            end = next((e for e in ends if lead + word[start:e] in self.rows), 0)
            if not end:
                return unknown
            found.append(self.rows[lead + word[start:end]])
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

        rows = [self.rows["[CLS]"], *self.pieces(text), self.rows["[SEP]"]]
        p = self.parts
        x = self.words[rows]
        x[0] += self.who[who] + self.places.get(at, self.nowhere)
        x = _level(x + p["position"][: len(rows)], p["norm"])
        with _threads().limit(limits=1, user_api="blas"):  # so little work waits for no other core
            for n in range(self.layers):
                x = self._layer(x, n)
        out = np.concatenate([x[0], x.mean(0)]) @ p["head"] + p["head_bias"]
        most = len(self.labels)
        top = out[:most].max()
        out[:most] -= top + np.log(np.exp(out[:most] - top).sum())
        return out

    def _layer(self, x: Array, n: int) -> Array:
        import numpy as np

        p, (count, width) = self.parts, x.shape
        each = width // HEADS
        qkv = (x @ p[f"qkv{n}"] + p[f"qkv_bias{n}"]).reshape(count, 3, HEADS, each)
        q, k, v = qkv.transpose(1, 2, 0, 3)
        looks = q @ k.transpose(0, 2, 1) / each**0.5
        looks = np.exp(looks - looks.max(-1, keepdims=True))
        looks /= looks.sum(-1, keepdims=True)
        seen: Array = (looks @ v).transpose(1, 0, 2).reshape(count, width)
        x = _level(x + seen @ p[f"out{n}"] + p[f"out_bias{n}"], p[f"norm_a{n}"])
        y = (p[f"in{n}"] @ x.T).T + p[f"in_bias{n}"]
        y *= 0.5 * (1 + np.tanh(0.7978846 * y * (1 + 0.044715 * y * y)))
        moved: Array = x + (y @ p[f"down{n}"]).astype(np.float32, copy=False) + p[f"down_bias{n}"]
        return _level(moved, p[f"norm_b{n}"])


def _level(x: Array, norm: Array) -> Array:
    """Each row with mean 0 and spread 1, then stretched and moved as it was fitted."""
    import numpy as np

    flat: Array = x - x.mean(-1, keepdims=True)
    flat /= np.sqrt((flat * flat).mean(-1, keepdims=True) + _TINY)
    flat *= norm[0]
    flat += norm[1]
    return flat


@cache
def _threads() -> ThreadpoolController:
    import numpy as np  # noqa: F401  what is to be limited must be there
    from threadpoolctl import ThreadpoolController

    return ThreadpoolController()


@cache
def network() -> Network:
    """The fitted figures, read once."""
    import numpy as np

    with np.load(FILE) as data:
        return Network.of(data)
