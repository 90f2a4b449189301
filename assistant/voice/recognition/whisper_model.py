"""A Whisper model's weights, adapted to the shop, and its text decoder over several hypotheses.

CTranslate2 runs the encoder and free decoding, but has no way to narrow decoding to a grammar. So
the decoder's weights are read from the file that CTranslate2 loads, and stepped here one token at a
time. The layout of the file (binary version 6) is what
`ctranslate2.specs.model_spec.ModelSpec._serialize` writes. The network is that of Radford et al.,
"Robust Speech Recognition via Large-Scale Weak Supervision" (2022), section 2.2: a Transformer
decoder with pre-activation layer norm, learned positions, and an output tied to the token
embeddings. `tests/voice/test_whisper.py` holds its log probabilities against CTranslate2's.
"""

from __future__ import annotations

import math
import re
import struct
from collections.abc import Iterable, Iterator, Mapping
from functools import cached_property
from pathlib import Path
from typing import Any, NamedTuple
from zipfile import BadZipFile

import numpy as np
import numpy.typing as npt

from assistant.voice.recognition.recognizer import RecognizerError

Array = npt.NDArray[np.float32]
Stored = npt.NDArray[Any]

_VERSION = 6
# ctranslate2.specs.model_spec: 0 float32, 1 int8, 2 int16, 3 int32, 4 float16
_DTYPES = {0: np.float32, 1: np.int8, 2: np.int16, 3: np.int32, 4: np.float16}


class WeightsFile:
    """A `model.bin`, or the files that hold it in pieces, read once; `RecognizerError` on first use
    if it is no such model, cut short, or quantized."""

    def __init__(self, *paths: Path) -> None:
        self.paths = paths
        self._data = bytearray()

    @cached_property
    def variables(self) -> dict[str, Stored]:
        """All variables by name, as they stand in the file (float16 in the packaged one)."""
        try:
            self._data = bytearray(sum(path.stat().st_size for path in self.paths))
            rest = memoryview(self._data)
            for path in self.paths:  # read in place: they are large
                with path.open("rb") as file:
                    rest = rest[file.readinto(rest) :]
            return dict(_variables(self._data))
        except (OSError, struct.error, UnicodeDecodeError, KeyError, ValueError) as error:
            raise RecognizerError(
                f"the Whisper weights {self.paths[0]} cannot be read; copy them again and compare "
                "the checksum"
            ) from error

    def decoder(self) -> dict[str, Stored]:
        """What is under `decoder/`, by name without that prefix, as it stands in the file."""
        return {
            name.removeprefix("decoder/"): value
            for name, value in self.variables.items()
            if name.startswith("decoder/")
        }

    def change(self, changed: Iterable[tuple[str, Array]]) -> None:
        """Change variables here, each in its own type: one at a time takes little memory."""
        for name, new in changed:
            self.variables[name][...] = new  # a ValueError if it has another shape

    def write(self, path: Path) -> None:
        """The file with what was changed."""
        path.write_bytes(self._data)


def _variables(data: bytearray) -> Iterator[tuple[str, Stored]]:
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
        if name.endswith("weight_scale"):
            raise ValueError("quantized")
        yield name, np.frombuffer(data, dtype, size // dtype.itemsize, at).reshape(shape)
        at += size


# --- Whisper adapted to the shop: low-rank changes of its matrices, kept beside this file.
#
# `tests/benchmarks/fit_whisper.py` makes them from synthetic voices and people's digits in noise,
# for one set of weights; they fit no other. The changed model writes a reading or a command as the
# grammar spells it, and gives the token for no speech at once when a sound was not meant for it.

CHANGES = Path(__file__).with_name("whisper_shop.npz")
BASE_CHANGES = Path(__file__).with_name("whisper_base_shop.npz")
"""The same for the larger weights."""
_PLACES = {
    "self_attention/linear_0": "inward",
    "self_attention/linear_1": "outward",
    "attention/linear_0": "query",
    "attention/linear_1": "keys",
    "attention/linear_2": "seen",
    "ffn/linear_0": "first",
    "ffn/linear_1": "second",
    "self_attention/layer_norm": "own",
    "attention/layer_norm": "cross",
    "ffn/layer_norm": "mlp",
    "layer_norm": "last",
}
_SIGNS = {"weight": "w", "gamma": "g", "beta": "n"}
_VARIABLE = re.compile(rf"(decoder|encoder)/(?:layer_(\d+)/)?({'|'.join(_PLACES)})/(\w+)")


def places(names: Iterable[str]) -> dict[str, str]:
    """What is changed: its name here, and that of the variable in the model's file. `0.inward.w` is
    a matrix of the decoder's layer 0, `encoder.0.own.g` a norm's gain, `.n` its shift, `last` the
    norm at the end."""
    out = {}
    for match in filter(None, map(_VARIABLE.fullmatch, names)):
        half, layer, place, kind = match.groups()
        if kind in _SIGNS:
            mine = ("encoder" if half == "encoder" else "", layer, _PLACES[place], _SIGNS[kind])
            out[".".join(filter(None, mine))] = match[0]
    return out


SHARE = 0.7
"""How much of each change is made: weights between the first ones and the adapted ones hear those
better whom the adaptation has not met (Wortsman et al., "Robust fine-tuning of zero-shot models",
2022, cited from memory). Chosen with one of three people left out at a time, see FIGURES.md."""


def adapted(
    weights: dict[str, Stored], path: Path = CHANGES, share: float = SHARE
) -> Iterator[tuple[str, Array]]:
    """The variables that change, one after the other, changed by `share` of what the file says;
    names and shapes as in the model's file. A change W + A B is kept as A, shape (in, rank), and B,
    shape (rank, out); the weights stand the other way round, (out, in). `RecognizerError` if the
    file of changes is missing or damaged."""
    try:
        with np.load(path) as file:
            changes = {name: file[name].astype(np.float32) for name in file.files if "." in name}
    except (OSError, ValueError, KeyError, EOFError, BadZipFile) as error:
        raise RecognizerError(f"{path.name} cannot be read; install lugcall again") from error
    for name, place in places(weights).items():
        if name + ".a" in changes:
            change = (changes[name + ".a"] @ changes[name + ".b"]).T
        elif name in changes:
            change = changes[name]
        else:
            continue
        yield place, weights[place].astype(np.float32) + share * change


# --- the decoder

_EPSILON = 1e-5  # of the layer norm, as in the reference implementation


class Sound(NamedTuple):
    """The encoder's output, projected once for the cross-attention: for every layer keys of shape
    (heads, size, frames), and values of shape (heads, frames, size)."""

    keys: list[Array]
    values: list[Array]


class Memory(NamedTuple):
    """Keys and values of the tokens so far: shape (layers, beams, heads, tokens, size) each."""

    keys: list[Array]
    values: list[Array]

    def taken(self, beams: list[int]) -> Memory:
        """The memory of these beams, in this order; a beam may be taken more than once."""
        at = np.asarray(beams)
        return Memory([k[at] for k in self.keys], [v[at] for v in self.values])


class Decoder:
    """A Whisper decoder of any size, float32, with the variables of `WeightsFile.decoder`."""

    def __init__(self, w: Mapping[str, Stored]) -> None:
        self.embeddings = w["embeddings/weight"].astype(np.float16)  # as they stand in the file
        self.kept: npt.NDArray[np.int64] = np.arange(0)
        self.output = np.zeros((self.embeddings.shape[1], 0), np.float32)
        self.positions = w["position_encodings/encodings"].astype(np.float32)
        self.heads = int(w["num_heads"])
        # Matrices are kept turned round, since x @ W is how they are used.
        self._w: dict[str, Array] = {
            name: np.array(value.T, np.float32, order="C")
            for name, value in w.items()
            if name.startswith("layer_")
        }
        self._layers = sum(name.endswith("/ffn/linear_0/weight") for name in self._w)

    def keep(self, tokens: npt.NDArray[np.int64]) -> None:
        """Let only `tokens` (ids, ascending) come out; the others get no probability.

        Half of a small decoder's work is the output layer, and most of its 51,864 tokens are
        parts of words that nobody says to a truck.
        """
        self.kept = tokens
        self.output = np.ascontiguousarray(self.embeddings[tokens].T.astype(np.float32))

    def listen(self, encoded: Array) -> Sound:
        """Take the encoder's output, shape (frames, width)."""
        keys, values = [], []
        for layer in range(self._layers):
            both = self._linear(encoded[None], f"layer_{layer}/attention/linear_1")
            k, v = (self._split(half)[0] for half in np.split(both, 2, axis=-1))
            keys.append(np.ascontiguousarray(k.transpose(0, 2, 1)))
            values.append(np.ascontiguousarray(v))
        return Sound(keys, values)

    def start(self, sound: Sound, tokens: list[int]) -> tuple[Array, Memory]:
        """Run the prompt through one beam: log probabilities (1, kept), and the memory."""
        width = self.embeddings.shape[1] // self.heads
        empty = np.zeros((1, self.heads, 0, width), np.float32)
        none = [empty] * self._layers
        return self._run(sound, np.asarray([tokens]), Memory(none, none))

    def step(self, sound: Sound, tokens: list[int], memory: Memory) -> tuple[Array, Memory]:
        """One more token on each beam: log probabilities (beams, kept), and the memory."""
        return self._run(sound, np.asarray(tokens)[:, None], memory)

    def scores(self, sound: Sound, tokens: list[list[int]], memory: Memory) -> list[Array]:
        """Log probabilities (length + 1, kept) after each token of each list, all in one pass.
        `memory` is that of one beam which has read the prompt but for its last token, with which
        each list begins."""
        longest = max(map(len, tokens))
        padded = np.asarray([t + [t[0]] * (longest - len(t)) for t in tokens])
        logs, _ = self._run(sound, padded, memory.taken([0] * len(tokens)), every=True)
        return [logs[n, : len(t)] for n, t in enumerate(tokens)]

    def _run(
        self, sound: Sound, tokens: npt.NDArray[np.int64], memory: Memory, every: bool = False
    ) -> tuple[Array, Memory]:
        length = tokens.shape[1]
        past = memory.keys[0].shape[2]
        x = self.embeddings[tokens].astype(np.float32) + self.positions[past : past + length]
        mask = None
        if length > 1:  # a token sees itself and those before it
            mask = np.triu(np.full((length, past + length), -1e9, np.float32), past + 1)
        keys, values = [], []
        for at in range(self._layers):
            parts = ("self_attention", "attention", "ffn")
            own, cross, ffn = (f"layer_{at}/{part}" for part in parts)
            q, k, v = np.split(self._linear(self._norm(x, own), f"{own}/linear_0"), 3, axis=-1)
            k = np.concatenate([memory.keys[at], self._split(k)], axis=2)
            v = np.concatenate([memory.values[at], self._split(v)], axis=2)
            keys.append(k)
            values.append(v)
            said = self._attend(q, k.transpose(0, 1, 3, 2), v, mask)
            x = x + self._linear(said, f"{own}/linear_1")
            q = self._linear(self._norm(x, cross), f"{cross}/linear_0")
            seen = self._attend(q, sound.keys[at], sound.values[at], None)
            x = x + self._linear(seen, f"{cross}/linear_2")
            hidden = self._linear(self._norm(x, ffn), f"{ffn}/linear_0")
            x = x + self._linear(_gelu(hidden), f"{ffn}/linear_1")
        last = self._norm(x if every else x[:, -1])
        return log_softmax(last @ self.output), Memory(keys, values)

    def _linear(self, x: Array, name: str) -> Array:
        return x @ self._w[f"{name}/weight"] + self._w[f"{name}/bias"]

    def _norm(self, x: Array, of: str = "") -> Array:
        """Layer norm before the part `of` a layer, or the one at the end."""
        name = f"{of}/layer_norm".lstrip("/")
        centred = x - x.mean(axis=-1, keepdims=True)
        spread = np.sqrt(np.mean(np.square(centred), axis=-1, keepdims=True) + _EPSILON)
        normed: Array = centred / spread * self._w[f"{name}/gamma"] + self._w[f"{name}/beta"]
        return normed

    def _split(self, x: Array) -> Array:
        beams, length, width = x.shape
        return x.reshape(beams, length, self.heads, width // self.heads).transpose(0, 2, 1, 3)

    def _attend(self, q: Array, keys: Array, values: Array, mask: Array | None) -> Array:
        beams, length, width = q.shape
        scores = self._split(q) @ keys * (1.0 / math.sqrt(width // self.heads))
        if mask is not None:
            scores = scores + mask
        scores = np.exp(scores - scores.max(axis=-1, keepdims=True))
        scores /= scores.sum(axis=-1, keepdims=True)
        seen: Array = (scores @ values).transpose(0, 2, 1, 3).reshape(beams, length, width)
        return seen


def _gelu(x: Array) -> Array:
    return (0.5 * x * (1.0 + _erf(x / math.sqrt(2.0)))).astype(np.float32)


def _erf(x: Array) -> Array:
    # Abramowitz and Stegun, Handbook of Mathematical Functions, 7.1.26: error below 1.5e-7
    # (coefficients from memory; the test against CTranslate2 would show a wrong one).
    t = 1.0 / (1.0 + 0.3275911 * np.abs(x))
    poly = t * (0.254829592 + t * (-0.284496736 + t * (1.421413741 + t * (-1.453152027
                + t * 1.061405429))))  # fmt: skip
    erf: Array = np.sign(x) * (1.0 - poly * np.exp(-x * x))
    return erf


def log_softmax(x: Array) -> Array:
    """Log probabilities along the last axis."""
    top = x.max(axis=-1, keepdims=True)
    logs: Array = x - top - np.log(np.exp(x - top).sum(axis=-1, keepdims=True))
    return logs
