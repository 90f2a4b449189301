"""Sounds of a shop that are no speech, each once, from a random source: shape (n,), any level."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy import signal

from assistant.voice.devices.audio import RATE

from .noises import band, hiss, hit, idle, impacts, modes, scaled

Maker = Callable[[np.random.Generator], np.ndarray]


def _n(seconds: float) -> int:
    return int(seconds * RATE)


def throat(source: np.ndarray, formants: tuple[float, ...]) -> np.ndarray:
    """A source through resonances 120 Hz wide, as a mouth and throat shape it."""
    out = 0.15 * source
    for k, hertz in enumerate(formants):
        b, a = signal.iirpeak(hertz, hertz / 120, fs=RATE)
        out = out + signal.lfilter(b, a, source) / (1 + 0.5 * k)
    return np.asarray(out)


def cough(rng: np.random.Generator) -> np.ndarray:
    """One to four coughs: a burst, breath through the throat, and often a voiced end."""
    size = rng.uniform(0.85, 1.2)
    formants = (550 * size, 1450 * size, 2500 * size, 3600 * size)
    parts = []
    for _ in range(rng.integers(1, 5)):
        n = _n(rng.uniform(0.22, 0.4))
        t = np.arange(n) / RATE
        attack = np.minimum(1, t / 0.008)
        air = rng.normal(size=n) * attack * (np.exp(-t / 0.03) + 0.35 * np.exp(-t / 0.15))
        if rng.random() < 0.6:
            pitch = np.cumsum(rng.uniform(110, 220) * (1 - 0.5 * t)) / RATE
            buzz = signal.sawtooth(2 * np.pi * pitch) * np.exp(-(((t - 0.2) / 0.06) ** 2))
            air += 0.5 * buzz
        parts += [throat(air, formants), np.zeros(_n(rng.uniform(0.05, 0.3)))]
    return np.concatenate(parts)


def wrench(rng: np.random.Generator) -> np.ndarray:
    """An impact wrench at work for a few seconds."""
    return impacts(_n(rng.uniform(1.5, 6)), rng)


def hammer(rng: np.random.Generator) -> np.ndarray:
    """Two to seven hammer blows on one piece."""
    gap = rng.uniform(0.35, 0.7)
    count = int(rng.integers(2, 8))
    out = np.zeros(_n(count * gap + 0.6))
    steel = modes(rng)
    for i in range(count):
        hit(out, _n(i * gap + rng.uniform(0, 0.05)), steel, rng, 0.1, rng.uniform(0.7, 1))
    return out


def dropped(rng: np.random.Generator) -> np.ndarray:
    """A tool falls on concrete: bounces that come quicker and softer."""
    out = np.zeros(_n(1.6))
    steel = modes(rng)
    at, gap, loud = 0.02, rng.uniform(0.2, 0.35), 1.0
    while gap > 0.03 and at < 1.4:
        hit(out, _n(at), steel, rng, rng.uniform(0.03, 0.09), loud)
        at, gap, loud = at + gap, gap * rng.uniform(0.5, 0.7), loud * 0.6
    return out


def door(rng: np.random.Generator) -> np.ndarray:
    """A cab door slams: a thud below 200 Hz, a clap, and what rattles after it."""
    t = np.arange(_n(0.7)) / RATE
    thud = np.sin(2 * np.pi * rng.uniform(60, 130) * t) * np.exp(-t / 0.07)
    clap = band(rng.normal(size=len(t)), 150, 2500) * np.exp(-t / 0.03)
    rattle = band(rng.normal(size=len(t)), 900, 4000) * np.exp(-t / 0.15) * 0.15
    return np.asarray(2 * thud + clap + rattle * (1 + np.sin(2 * np.pi * 23 * t)))


def compressor(rng: np.random.Generator) -> np.ndarray:
    """The compressor runs, with its leak."""
    return _faded(hiss(_n(rng.uniform(3, 8)), rng), 0.2)


def engine(rng: np.random.Generator) -> np.ndarray:
    """The truck in the next bay idles, and is revved once or twice."""
    n = _n(rng.uniform(4, 9))
    turns = np.full(n, rng.uniform(10, 13))
    for _ in range(rng.integers(0, 3)):
        t = np.arange(n) / RATE - rng.uniform(0, n / RATE)
        turns += rng.uniform(8, 18) * np.where(t < 0, np.exp(t / 0.25), np.exp(-t / 0.8))
    return _faded(idle(n, rng, turns) * (turns / 11), 0.3)


def air_brake(rng: np.random.Generator) -> np.ndarray:
    """A brake valve blows off."""
    t = np.arange(_n(rng.uniform(0.6, 1.4))) / RATE
    burst = band(rng.normal(size=len(t)), rng.uniform(500, 1200), 0)
    return np.asarray(burst * np.minimum(1, t / 0.004) * np.exp(-t / rng.uniform(0.15, 0.5)))


def whistle(rng: np.random.Generator) -> np.ndarray:
    """Somebody whistles a tune of his own, with breath in it."""
    notes = rng.integers(3, 11)
    tune = 1000 * 2 ** (rng.choice((0, 2, 4, 5, 7, 9, 12), notes) / 12)
    hertz = np.concatenate([np.full(_n(rng.uniform(0.12, 0.5)), x) for x in tune])
    glide = signal.sosfiltfilt(signal.butter(1, 12, fs=RATE, output="sos"), hertz)
    t = np.arange(len(glide)) / RATE
    phase = 2 * np.pi * np.cumsum(glide + 12 * np.sin(2 * np.pi * 5.5 * t)) / RATE
    breath = 0.06 * band(rng.normal(size=len(t)), 800, 5000)
    return _faded(np.sin(phase) * (1 + 0.2 * np.sin(2 * np.pi * 3 * t)) + breath, 0.03)


def phone(rng: np.random.Generator) -> np.ndarray:
    """A telephone rings: two tones together, or a warble, a few times."""
    low, high = (440, 480) if rng.random() < 0.5 else (1000, 1300)
    on = _n(rng.uniform(0.8, 1.8))
    t = np.arange(on) / RATE
    if low == 440:
        ring = np.sin(2 * np.pi * low * t) + np.sin(2 * np.pi * high * t)
    else:
        which = signal.square(2 * np.pi * 20 * t) > 0
        ring = np.sin(2 * np.pi * np.cumsum(np.where(which, low, high)) / RATE)
    pause = np.zeros(_n(rng.uniform(0.8, 1.6)))
    return np.concatenate([_faded(ring, 0.01), pause] * int(rng.integers(1, 4)))


def music(n: int, rng: np.random.Generator) -> np.ndarray:
    """Chords, a bass and a beat, invented note by note; `n` samples."""
    out = np.zeros(n + RATE)
    beat = _n(rng.uniform(0.38, 0.6))
    root = 110 * 2 ** (rng.integers(0, 12) / 12)
    for i, at in enumerate(range(0, n, beat)):
        if i % 4 == 0:
            chord = root * 2 ** (np.array((0, 4, 7, 12)) / 12 + rng.choice((0, 5, 7, 9)) / 12)
        for hertz in (chord[0] / 2, *rng.choice(chord, 2) * 2):
            t = np.arange(min(beat, n - at)) / RATE
            tone = sum(np.sin(2 * np.pi * k * hertz * t) / k**1.5 for k in (1, 2, 3, 4))
            out[at : at + len(t)] += 0.3 * tone * np.exp(-t / 0.3)
        drum = rng.normal(size=_n(0.08)) * np.exp(-np.arange(_n(0.08)) / _n(0.02))
        out[at : at + len(drum)] += (0.5 if i % 2 else 0.2) * drum
    return scaled(out[:n])


def _faded(x: np.ndarray, seconds: float) -> np.ndarray:
    n = min(_n(seconds), len(x) // 2)
    ramp = np.ones(len(x))
    ramp[:n] = np.linspace(0, 1, n)
    ramp[len(x) - n :] = np.linspace(1, 0, n)
    return np.asarray(x * ramp)


EVENTS: dict[str, Maker] = {
    "cough": cough,
    "wrench": wrench,
    "hammer": hammer,
    "dropped tool": dropped,
    "door": door,
    "compressor": compressor,
    "engine": engine,
    "air brake": air_brake,
    "whistle": whistle,
    "phone": phone,
}
