"""The decoder half of a Whisper model, read from the weights file that CTranslate2 loads.

CTranslate2 runs the encoder and free decoding, but has no way to narrow decoding to a grammar. So
the decoder's weights are read once more, from the same file, for `whisper_decoder`. The layout of
the file (binary version 6) is what `ctranslate2.specs.model_spec.ModelSpec._serialize` writes.
"""

from __future__ import annotations

import struct
from pathlib import Path
from typing import BinaryIO

import numpy as np
import numpy.typing as npt

from .engine import EngineError

Array = npt.NDArray[np.float32]

_VERSION = 6
# ctranslate2.specs.model_spec: 0 float32, 1 int8, 2 int16, 3 int32, 4 float16
_DTYPES = {0: np.float32, 1: np.int8, 2: np.int16, 3: np.int32, 4: np.float16}


def decoder_weights(path: Path) -> dict[str, Array]:
    """All variables under `decoder/`, as float32, by name without that prefix.

    Raises:
        EngineError: the file is not such a model, is cut short, or is quantized.
    """
    try:
        with path.open("rb") as file:
            return _variables(file)
    except (OSError, struct.error, UnicodeDecodeError, KeyError, ValueError) as error:
        raise EngineError(
            f"the Whisper weights {path} cannot be read; copy them again and compare the checksum"
        ) from error


def _variables(file: BinaryIO) -> dict[str, Array]:
    def number(kind: str) -> int:
        (value,) = struct.unpack(kind, file.read(struct.calcsize(kind)))
        return int(value)

    def text() -> str:
        return file.read(number("H")).rstrip(b"\0").decode()

    if number("I") != _VERSION:
        raise ValueError("another version of the file format")
    text()  # the name of the model's kind
    number("I")  # its revision
    found: dict[str, Array] = {}
    for _ in range(number("I")):
        name = text()
        shape = tuple(number("I") for _ in range(number("B")))
        dtype = np.dtype(_DTYPES[number("B")])
        size = number("I")
        if not name.startswith("decoder/"):
            file.seek(size, 1)
            continue
        data = file.read(size)
        if len(data) != size:
            raise ValueError("cut short")
        if name.endswith("weight_scale"):
            raise ValueError("quantized")
        found[name.removeprefix("decoder/")] = (
            np.frombuffer(data, dtype).reshape(shape).astype(np.float32)
        )
    return found
