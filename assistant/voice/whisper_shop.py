"""Whisper's decoder adapted to the shop: low-rank changes of its matrices, kept beside this file.

`tests/benchmarks/fit_decoder.py` makes them from synthetic voices in noise, for one set of weights;
they fit no other. The changed decoder writes a reading or a command as the grammar spells it, and
gives the token for no speech at once when a sound was not meant for it. The encoder stays as it is.
"""

from __future__ import annotations

from pathlib import Path
from zipfile import BadZipFile

import numpy as np

from .engine import EngineError
from .whisper_weights import Array

CHANGES = Path(__file__).with_name("whisper_shop.npz")
_PLACES = {
    "inward": "self_attention/linear_0",
    "outward": "self_attention/linear_1",
    "query": "attention/linear_0",
    "keys": "attention/linear_1",
    "seen": "attention/linear_2",
    "first": "ffn/linear_0",
    "second": "ffn/linear_1",
}
_NORMS = {"own": "self_attention", "cross": "attention", "mlp": "ffn"}


def adapted(weights: dict[str, Array], path: Path = CHANGES) -> dict[str, Array]:
    """The decoder's variables, changed; names and shapes stay.

    A change W + A B is kept as A, shape (in, rank), and B, shape (rank, out); the weights stand the
    other way round, (out, in).

    Raises:
        EngineError: the file of changes is missing or damaged.
    """
    try:
        with np.load(path) as file:
            changes = {name: file[name].astype(np.float32) for name in file.files if "." in name}
    except (OSError, ValueError, KeyError, EOFError, BadZipFile) as error:
        raise EngineError(f"{path.name} cannot be read; install lugcall again") from error
    out = dict(weights)
    for name in changes:
        layer, what, *rest = name.split(".")
        if rest == ["w", "a"]:
            place = f"layer_{layer}/{_PLACES[what]}/weight"
            out[place] = out[place] + (changes[name] @ changes[f"{layer}.{what}.w.b"]).T
        elif layer == "last" or rest in (["g"], ["n"]):
            sign = what if layer == "last" else rest[0]
            where = "" if layer == "last" else f"layer_{layer}/{_NORMS[what]}/"
            place = f"{where}layer_norm/{'gamma' if sign == 'g' else 'beta'}"
            out[place] = out[place] + changes[name]
    return out
