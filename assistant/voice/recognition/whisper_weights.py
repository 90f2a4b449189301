"""A Whisper model's weights, read from the file that CTranslate2 loads, or changed in it.

CTranslate2 runs the encoder and free decoding, but has no way to narrow decoding to a grammar. So
the decoder's weights are read once more, from the same file, for `whisper_decoder`. The layout of
the file (binary version 6) is what `ctranslate2.specs.model_spec.ModelSpec._serialize` writes.
"""

from __future__ import annotations

import struct
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any
from zipfile import BadZipFile

import numpy as np
import numpy.typing as npt

from assistant.voice.recognition.recognizer import RecognizerError

Array = npt.NDArray[np.float32]
Stored = npt.NDArray[Any]

_VERSION = 6
# ctranslate2.specs.model_spec: 0 float32, 1 int8, 2 int16, 3 int32, 4 float16
_DTYPES = {0: np.float32, 1: np.int8, 2: np.int16, 3: np.int32, 4: np.float16}


def variables(path: Path) -> dict[str, Stored]:
    """All variables by name, as they stand in the file (float16 in the packaged one).

    Raises:
        RecognizerError: the file is not such a model, is cut short, or is quantized.
    """
    try:
        return dict(_variables(path.read_bytes()))
    except (OSError, struct.error, UnicodeDecodeError, KeyError, ValueError) as error:
        raise RecognizerError(
            f"the Whisper weights {path} cannot be read; copy them again and compare the checksum"
        ) from error


def decoder_weights(path: Path) -> dict[str, Array]:
    """All variables under `decoder/`, as float32, by name without that prefix; raises as above."""
    return {
        name.removeprefix("decoder/"): value.astype(np.float32)
        for name, value in variables(path).items()
        if name.startswith("decoder/")
    }


def rewritten(path: Path, changed: dict[str, Array]) -> bytes:
    """The file's bytes with these variables changed: the same shapes, the file's own type."""
    data = bytearray(path.read_bytes())
    for name, value in _variables(data):
        if name in changed:
            new = changed[name]
            if new.shape != value.shape:
                raise ValueError(f"{name} is {value.shape}, not {new.shape}")
            value[...] = new
    return bytes(data)


def _variables(data: bytes | bytearray) -> Iterator[tuple[str, Stored]]:
    """Each variable: its name, and its value as a view of the data."""
    at = 0

    def number(kind: str) -> int:
        nonlocal at
        (value,) = struct.unpack_from(kind, data, at)
        at += struct.calcsize(kind)
        return int(value)

    def text() -> str:
        nonlocal at
        size = number("H")
        at += size
        return data[at - size : at].rstrip(b"\0").decode()

    if number("I") != _VERSION:
        raise ValueError("another version of the file format")
    text()  # the name of the model's kind
    number("I")  # its revision
    for _ in range(number("I")):
        name = text()
        shape = tuple(number("I") for _ in range(number("B")))
        dtype = np.dtype(_DTYPES[number("B")])
        size = number("I")
        if at + size > len(data):
            raise ValueError("cut short")
        if name.endswith("weight_scale"):
            raise ValueError("quantized")
        yield name, np.frombuffer(data, dtype, size // dtype.itemsize, at).reshape(shape)
        at += size


# --- Whisper adapted to the shop: low-rank changes of its matrices, kept beside this file.
#
# `tests/benchmarks/fit_whisper.py` makes them from synthetic voices in noise, for one set of
# weights; they fit no other. The changed model writes a reading or a command as the grammar
# spells it, and gives the token for no speech at once when a sound was not meant for it.

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
        RecognizerError: the file of changes is missing or damaged.
    """
    try:
        with np.load(path) as file:
            changes = {name: file[name].astype(np.float32) for name in file.files if "." in name}
    except (OSError, ValueError, KeyError, EOFError, BadZipFile) as error:
        raise RecognizerError(f"{path.name} cannot be read; install lugcall again") from error
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
