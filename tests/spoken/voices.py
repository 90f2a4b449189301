"""What the voices of the test say, as samples: synthesized once, kept in a cache folder."""

from __future__ import annotations

import hashlib
import os
import tempfile
from collections.abc import Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import soundfile
import soxr

from assistant.voice.devices.audio import RATE, Samples

from .roster import VOICES, Voice, available, missing, voice_named
from .talkers import talk

__all__ = [
    "VOICES",
    "Voice",
    "available",
    "missing",
    "prepare",
    "say",
    "seed_of",
    "vary",
    "voice_named",
]

KEPT_S = 0.1, 0.15
"""Silence left before and after the words: seconds."""
PEAK = 0.5
_FLOOR_DB = -46.0
"""A 10 ms frame this far below the loudest one is silence."""
_BATCH = 40
"""Texts for one run of a program."""
_RECIPE = "2"
"""Change it when the same text no longer gives the same sound."""


def say(voice: Voice | str, text: str) -> Samples:
    """`text` in this voice, 16 kHz, peak 0.5, about a tenth of a second of silence at each end.

    Raises:
        RuntimeError: the voice's program is missing or made no sound.
    """
    voice = voice_named(voice) if isinstance(voice, str) else voice
    path = _path(voice, text)
    if not path.exists():
        _make(voice, [text])
    return np.asarray(soundfile.read(path, dtype="float32")[0])


def prepare(pairs: Iterable[tuple[Voice, str]], workers: int = 2) -> int:
    """Synthesize what is not in the cache yet, `workers` programs at a time; returns how many."""
    todo: dict[Voice, dict[str, None]] = {}
    for voice, text in pairs:
        if not _path(voice, text).exists():
            todo.setdefault(voice, {})[text] = None
    batches = [
        (voice, list(texts)[i : i + _BATCH])
        for voice, texts in todo.items()
        for i in range(0, len(texts), _BATCH)
    ]
    with ThreadPoolExecutor(workers) as pool:
        list(pool.map(lambda batch: _make(*batch), batches))
    return sum(len(texts) for _, texts in batches)


def vary(samples: Samples, seed: int) -> Samples:
    """The same words a little faster or slower (within 8 %, pitch with it) and 0 to 6 dB softer."""
    rng = np.random.default_rng(seed)
    rate = rng.uniform(0.92, 1.08)
    gain = 10 ** (-rng.uniform(0, 6) / 20)
    return np.asarray(soxr.resample(samples, RATE * rate, RATE) * gain, dtype=np.float32)


def seed_of(*parts: object) -> int:
    """A seed from names, the same in every process."""
    return int.from_bytes(hashlib.sha256(repr(parts).encode()).digest()[:6], "big")


def trimmed(samples: Samples) -> Samples:
    """With exactly `KEPT_S` of silence at the ends."""
    frame = RATE // 100
    count = len(samples) // frame
    if not count:
        return samples
    power = np.square(samples[: count * frame]).reshape(count, frame).mean(axis=1)
    loud = np.flatnonzero(power > power.max() * 10 ** (_FLOOR_DB / 10))
    before, after = int(KEPT_S[0] * RATE), int(KEPT_S[1] * RATE)
    start = before + int(loud[0]) * frame
    end = before + (int(loud[-1]) + 1) * frame
    return np.pad(samples, (before, after))[start - before : end + after]


def cache_folder() -> Path:
    """Where spoken texts are kept: `$LUGCALL_SPOKEN_CACHE`, or in the system's temporary folder."""
    named = os.environ.get("LUGCALL_SPOKEN_CACHE")
    return Path(named) if named else Path(tempfile.gettempdir()) / "lugcall-spoken"


def _path(voice: Voice, text: str) -> Path:
    key = repr((_RECIPE, voice.make, voice.settings, text)).encode()
    return cache_folder() / voice.name / f"{hashlib.sha256(key).hexdigest()[:24]}.flac"


def _make(voice: Voice, texts: Sequence[str]) -> None:
    """Speak into the cache. Each file appears whole or not at all, whoever else is at it."""
    for text, samples in zip(texts, talk(voice.make, voice.settings, texts), strict=True):
        path = _path(voice, text)
        path.parent.mkdir(parents=True, exist_ok=True)
        words = trimmed(samples)
        words = words * (PEAK / float(np.abs(words).max()))
        handle, temp = tempfile.mkstemp(suffix=".flac", dir=path.parent)
        os.close(handle)
        soundfile.write(temp, words, RATE, subtype="PCM_16")
        os.replace(temp, path)
