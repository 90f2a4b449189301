"""Readings called out in the test, with their truth, in two splits.

A phrase is kept only when the reader, given the plain words, agrees with the figures that the
phrase was made of: so the truth does not rest on the reader alone, and what is left to measure is
the hearing.
"""

import random
import re
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from functools import cache

from assistant.readings import Reading, read

from . import forms
from .forms import RANGES, WEIGHTS, Said
from .voices import seed_of

QUOTA = {
    "gap": 100,
    "clearance": 60,
    "bearing-travel": 25,
    "free-travel": 75,
    "pedal-height": 65,
    "total-travel": 65,
    "brake-contact": 35,
    "lugs": 16,
    "turns": 15,
    "flats": 8,
    "odometer": 20,
}
"""Phrases a split, by how often a job asks for each."""
_COUNTS: dict[str, Callable[[str, random.Random], Said]]
_COUNTS = {f.__name__: f for f in (forms.lugs, forms.turns, forms.flats, forms.odometer)}
_EXACT = 1e-9


@dataclass(frozen=True, slots=True)
class Phrase:
    """One reading called out.

    Attributes:
        quantity: as `lugcall reading --for` takes it.
        words: plain, lower case, as a grammar spells them.
        text: the same for a talker, with commas and hyphens.
        kind: fraction, mixed, thou, decimal, metric, shade, between, gauge, offset, or the count.
    """

    quantity: str
    words: str
    text: str
    kind: str


def plain(text: str) -> str:
    """ "Goes on the half, no go..." as a grammar spells it: lower case, no commas or hyphens."""
    return " ".join(re.sub(r"[,.?!;]", " ", text.lower().replace("-", " ")).split())


def split_of(quantity: str, said: Said) -> str:
    """Which split figures belong to: lengths and miles by value, small counts by their words."""
    if len(said.key) == 2:
        num, den = said.key
        odd = ((num - 1) // 2 + den.bit_length()) % 2 if den > 1 else num % 2
    elif said.key:
        odd = (said.key[0] // 10 + said.key[0]) % 2
    else:
        odd = seed_of(quantity, said.text) % 2
    return "tuning" if odd else "test"


def true(said: Said, reading: Reading) -> bool:
    """Whether a reading agrees with the figures its words were made of."""
    if reading.status != "read":
        return False
    if reading.count is not None:
        return said.value is not None and abs(reading.count - said.value) < 1e-6
    value, low, high = reading.value_in, reading.low_in, reading.high_in
    if value is None or low is None or high is None or not low <= value <= high:
        return False
    if said.value is not None:
        return abs(value - said.value) < _EXACT
    ends = [(said.low, low), (said.high, high)]
    return low < high and all(_met(want, got) for want, got in ends)


def _met(want: Fraction | None, got: float) -> bool:
    return want is None or abs(got - want) < _EXACT


@cache
def readings(split: str) -> tuple[Phrase, ...]:
    """The readings of "tuning" or "test", in an order that mixes quantities."""
    rng = random.Random(seed_of("phrases", split))
    out: list[Phrase] = []
    for quantity, quota in QUOTA.items():
        found: dict[str, Phrase] = {}
        for _ in range(100 * quota):
            phrase = _drawn(quantity, split, rng) if len(found) < quota else None
            if phrase is not None:
                found.setdefault(phrase.words, phrase)
        if len(found) < quota:
            raise ValueError(f"only {len(found)} ways to say {quantity}; add patterns")
        out += found.values()
    rng.shuffle(out)
    return tuple(out)


def drawn(quantity: str, split: str, rng: random.Random) -> Said:
    """Figures and words for `quantity`, not yet checked or dealt to a split."""
    if quantity in _COUNTS:
        return _COUNTS[quantity](split, rng)
    q = RANGES[quantity]
    form = rng.choices([f for f, *_ in WEIGHTS], [w[1 if q.small else 2] for w in WEIGHTS])[0]
    return form(q, split, rng)


def _drawn(quantity: str, split: str, rng: random.Random) -> Phrase | None:
    said = drawn(quantity, split, rng)
    if split_of(quantity, said) != split:
        return None
    text = said.text
    if quantity in RANGES and said.kind != "gauge" and rng.random() < 0.15:
        text = rng.choice(forms.LEADS[split]).format(text)
    words = plain(text)
    if not true(said, read(words, quantity)):
        return None
    return Phrase(quantity, words, text, said.kind)
