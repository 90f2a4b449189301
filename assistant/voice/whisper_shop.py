"""Whisper adapted to the shop: low-rank changes of its matrices, kept beside this file.

`tests/benchmarks/fit_whisper.py` makes them from synthetic voices in noise, for one set of weights;
they fit no other. The changed model writes a reading or a command as the grammar spells it, and
gives the token for no speech at once when a sound was not meant for it.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from zipfile import BadZipFile

import numpy as np

from .engine import EngineError
from .whisper_weights import Array, Stored

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


def places(names: Iterable[str]) -> dict[str, str]:
    """What is changed: its name here, and that of the variable in the model's file.

    `0.inward.w` is a matrix of the decoder's layer 0, `encoder.0.own.g` a norm's gain, `.n` its
    shift, `last` the norm at the end.
    """
    names = set(names)
    out = {}
    for half, mine in (("decoder", ""), ("encoder", "encoder.")):
        for sign, what in (("g", "gamma"), ("n", "beta")):
            out[f"{mine}last.{sign}"] = f"{half}/layer_norm/{what}"
        n = 0
        while f"{half}/layer_{n}/ffn/linear_0/weight" in names:
            layer = f"{half}/layer_{n}"
            for short, place in _PLACES.items():
                if f"{layer}/{place}/weight" in names:
                    out[f"{mine}{n}.{short}.w"] = f"{layer}/{place}/weight"
            for short, place in _NORMS.items():
                if f"{layer}/{place}/layer_norm/gamma" in names:
                    out[f"{mine}{n}.{short}.g"] = f"{layer}/{place}/layer_norm/gamma"
                    out[f"{mine}{n}.{short}.n"] = f"{layer}/{place}/layer_norm/beta"
            n += 1
    return out


def adapted(weights: dict[str, Stored], path: Path = CHANGES) -> dict[str, Array]:
    """The variables that change, changed; names and shapes as in the model's file.

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
    out = {}
    for name, place in places(weights).items():
        if name + ".a" in changes:
            change = (changes[name + ".a"] @ changes[name + ".b"]).T
        elif name in changes:
            change = changes[name]
        else:
            continue
        out[place] = weights[place].astype(np.float32) + change
    return out
