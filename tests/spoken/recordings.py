"""People's own voices from recordings that are not part of the project: digits and sentences.

The folder is named by `$LUGCALL_PEOPLE`. `digits/PERSON/DIGIT_TAKE.flac` are single digits of an
open set (the Free Spoken Digit Dataset, CC BY-SA 4.0: 8 kHz, each cut tight); `sentences/*.flac`
are whole requests in an unrelated trade, of many people (the speech of an intent benchmark, Apache
2.0). Neither is kept here, and no sound of theirs is passed on.
"""

from __future__ import annotations

import os
import random
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np

from assistant.readings.speak import number_words
from assistant.voice.devices.audio import RATE, Samples, load

from . import channels, noises, voices

GAP_S = 0.010, 0.080
"""Silence between two digits."""
LEVEL_DB = 3.0
"""Digits in a row differ in level by at most so much either way: nobody whispers one in three, but
the recordings of a person do so."""
SNRS = (None, 20, 10)
COUNTS = 0.1, 0.2, 0.45, 0.15, 0.1
"""Shares of one to five figures in a row, to adapt with."""
HALVES = {"first": range(25), "second": range(25, 50)}
"""Takes of each digit: the first ones to adapt with, where a person's own are used."""


def folder() -> Path | None:
    """Where the recordings are, or None."""
    named = os.environ.get("LUGCALL_PEOPLE", "")
    found = Path(named)
    return found if named and (found / "digits").is_dir() else None


def missing() -> str:
    """One line on what to do, fit for a skip; "" when they are there."""
    return "" if folder() else "no recordings of people: name their folder in LUGCALL_PEOPLE"


def people() -> list[str]:
    return sorted(p.name for p in (_there() / "digits").iterdir() if p.is_dir())


def sentences() -> list[Path]:
    return sorted((_there() / "sentences").glob("*.flac"))


def _there() -> Path:
    found = folder()
    if found is None:
        raise RuntimeError(missing())
    return found


@lru_cache(maxsize=4000)
def digit(person: str, figure: int, take: int) -> Samples:
    """One recorded digit, 16 kHz."""
    return load(_there() / "digits" / person / f"{figure}_{take}.flac")


def in_a_row(digits: list[Samples], rng: np.random.Generator) -> Samples:
    """Single digits as one sound, about as loud as one another."""
    parts = []
    for one in digits:
        level = 10 ** (rng.uniform(-LEVEL_DB, LEVEL_DB) / 20 - 1)
        even = one * (level / np.sqrt(channels.active_level(one)[0]))
        parts += [even, np.zeros(round(rng.uniform(*GAP_S) * RATE))]
    return np.concatenate(parts[:-1]).astype(np.float32)


@dataclass(frozen=True, slots=True)
class Said:
    """A reading of a person's: its words, and how it sounds; `snr` None is no noise."""

    words: str
    person: str
    takes: tuple[tuple[int, int], ...]
    kind: str
    snr: int | None
    seed: int

    def clean(self) -> Samples:
        """The digits in a row, about as loud as one another."""
        digits = [digit(self.person, figure, take) for figure, take in self.takes]
        return in_a_row(digits, np.random.default_rng(self.seed))

    def sound(self) -> Samples:
        """The digits in a row, in their noise."""
        kind = self.kind if self.snr is not None else ""
        return channels.scene(self.clean(), kind, self.snr or 0, "wideband", self.seed).samples


def readings(n: int, seed: int = 1, half: str = "", who: str = "") -> list[Said]:
    """`n` readings of three figures a person and level, all with the same figures at each level:
    the person's takes of one `half` or of both; of one person (`who`) or all."""
    out = []
    for person in [who] if who else people():
        rng = random.Random(f"{seed} {person} {half}")
        takes = list(HALVES[half]) if half else list(range(50))
        for i in range(n):
            figures = [rng.randint(1, 9), rng.randint(0, 9), rng.randint(0, 9)]
            chosen = tuple((f, rng.choice(takes)) for f in figures)
            words = " ".join(number_words(f) for f in figures)
            kind, noise = list(noises.KINDS)[i % len(noises.KINDS)], rng.randrange(1 << 30)
            out += [Said(words, person, chosen, kind, snr, noise) for snr in SNRS]
    return out


FIGURES = {number_words(n): n for n in range(10)}


def called(words: str, person: str, voice: voices.Voice, seed: int) -> Samples:
    """Words in which every figure is a take of the person's, by chance, and what is between them
    the synthetic voice's; all about as loud as one another."""
    rng, parts, others = np.random.default_rng(seed), [], ""

    def add(one: Samples) -> None:
        level = 10 ** (rng.uniform(-LEVEL_DB, LEVEL_DB) / 20 - 1)
        even = one * (level / np.sqrt(channels.active_level(one)[0]))
        parts.extend([even, np.zeros(round(rng.uniform(*GAP_S) * RATE))])

    for word in [*words.split(), ""]:
        if others and (word in FIGURES or not word):
            quiet = round((sum(voices.KEPT_S) - 0.1) * RATE) // 2
            add(voices.say(voice, others)[quiet:-quiet])
            others = ""
        if word in FIGURES:
            add(digit(person, FIGURES[word], int(rng.integers(50))))
        else:
            others = f"{others} {word}".strip()
    return np.pad(np.concatenate(parts), round(0.1 * RATE)).astype(np.float32)


def row(rng: np.random.Generator) -> Said:
    """One to five figures of somebody, mostly three: to adapt with."""
    person = str(rng.choice(people()))
    count = int(rng.choice((1, 2, 3, 4, 5), p=COUNTS))
    takes = tuple((int(rng.integers(10)), int(rng.integers(50))) for _ in range(count))
    words = " ".join(number_words(f) for f, _ in takes)
    return Said(words, person, takes, "", None, int(rng.integers(1 << 30)))
