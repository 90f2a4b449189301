"""Who talks in the test: synthetic voices of three makes, in splits that share no speaker."""

import hashlib
import os
import re
import tempfile
from collections.abc import Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np
import soundfile
import soxr

from assistant.readings.language import alt, opt, seq
from assistant.voice.devices.audio import RATE, Samples
from assistant.voice.recognition.grammar import Grammar

from .talkers import can_talk, talk


@dataclass(frozen=True, slots=True)
class Voice:
    """One synthetic talker.

    Attributes:
        name: short, unique; also the name of its cache folder.
        make: "espeak-ng", "flite", "festival", "piper" or "kokoro".
        split: "tuning", "training", "test", "background" or "calibration".
        settings: the make's own, see `talkers.talk`.
    """

    name: str
    make: str
    split: str
    settings: tuple[str, ...]


def _espeak(name: str, split: str, voice: str, speed: int, pitch: int) -> Voice:
    return Voice(name, "espeak-ng", split, (voice, str(speed), str(pitch)))


ACCENTS = ("en-us", "en-gb", "en-gb-scotland", "en-029", "en-gb-x-rp", "en-us-nyc",
            "en-gb-x-gbcwmd")  # fmt: skip
VARIANTS = (
    "m1 m3 m5 m6 m7 f1 f2 f3 f4 klatt klatt3 klatt4 klatt5 klatt6 Alex Alicia Andrea Lee Marco "
    "Mario Mike Nguyen Storm Tweaky anika antonio aunty belinda benjamin boris caleb david ed "
    "edward grandma grandpa iven john marcelo michel miguel norbert pablo paul pedro quincy rob "
    "robert sandro shelby travis victor zac"
).split()


def _training() -> tuple[Voice, ...]:
    """Each variant in two accents, slow and quick, low and high in turn."""
    pairs = [(v, ACCENTS[(n + k) % 7], n, k) for n, v in enumerate(VARIANTS) for k in (0, 3)]
    return tuple(
        _espeak(
            f"train-{v}-{k}".lower(), "training", f"{a}+{v}", 130 + 13 * (n % 5), 35 + n % 4 * 9
        )
        for v, a, n, k in pairs
    )


def _listed() -> tuple[Voice, ...]:
    lines = Path(__file__).with_suffix(".tsv").read_text("utf-8").splitlines()
    cells = [line.split("\t") for line in lines if not line.startswith("#")]
    return tuple(Voice(name, make, split, tuple(own.split())) for name, make, split, own in cells)


VOICES: tuple[Voice, ...] = (*_listed(), *_training())
"""Test and background share no speaker with any other split: flite's and festival's kal are one
person, so are their two slt; an espeak-ng variant stands for a person. The background talks only in
babble and on the radio, and with the calibration's voice when it is measured how sure to be. With
the training voices and the tuning ones Whisper is adapted; these share some variants; the accent
of Lancashire, and the only voice of its make, piper's, are left to the test.
"""


def voice_named(name: str) -> Voice:
    """The voice called `name`; raises KeyError with the names there are."""
    for voice in VOICES:
        if voice.name == name:
            return voice
    raise KeyError(f"no voice {name!r}; there are {', '.join(v.name for v in VOICES)}")


@lru_cache(maxsize=8)
def _talks(make: str) -> bool:
    return can_talk(make)


def available(split: str = "") -> tuple[Voice, ...]:
    """The voices whose program is installed, of one split or of both."""
    return tuple(v for v in VOICES if split in ("", v.split) and _talks(v.make))


def missing() -> str:
    """One line on what is not installed, fit for a skip; "" when all is there."""
    makes = sorted({v.make for v in VOICES if not _talks(v.make)})
    return f"not installed: {', '.join(makes)} (apt-get install {' '.join(makes)})" if makes else ""


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


CARDS = Path("/usr/share/pocketsphinx/test/data/cards")
CARDS_MISSING = "not installed: pocketsphinx-testdata (apt-get install pocketsphinx-testdata)"

_RANK = alt(
    "ace", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "jack",
    "queen", "king", "lady",
)  # fmt: skip
_CARD = seq(_RANK, opt("of"), alt("clubs", "hearts", "diamonds", "spades"))
CARDS_GRAMMAR = Grammar(
    "cards", alt(seq(_CARD, opt(_CARD, opt(_CARD))), seq(_RANK, alt(_CARD, _RANK)))
)
"""What may be said in them: the rules of cards.gram, which stands beside the recordings."""


def card_recordings() -> list[tuple[Path, str]]:
    """Each recording and its words; none where the package is not installed."""
    listed = CARDS / "cards.transcription"
    if not listed.is_file():
        return []
    found = re.findall(r"<s>(.*?)</s>\s*\((\d+)\)", listed.read_text())
    return [(CARDS / f"{name}.wav", " ".join(words.split())) for words, name in found]
