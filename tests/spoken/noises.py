"""Shop noises from a seed: an idling diesel, an impact wrench, an air leak, people talking.

Invented from how such machines work, not fitted to recordings: rates and bands below are common
practice, no source. Every noise has RMS 0.1, so that a mix sets its level.
"""

from collections.abc import Callable

import numpy as np
from scipy import signal

from assistant.voice.devices.audio import RATE, Samples

from .chatter import BABBLE
from .voices import Voice, available, prepare, say

RMS = 0.1


def noise(kind: str, seconds: float, seed: int) -> Samples:
    """One stretch of `kind` (a key of `KINDS`), the same for the same seed."""
    rng = np.random.default_rng(seed)
    return scaled(KINDS[kind](round(seconds * RATE), rng))


def scaled(x: np.ndarray, rms: float = RMS) -> Samples:
    """`x` brought to this root mean square."""
    return np.asarray(x * (rms / (np.sqrt(np.mean(x**2)) + 1e-12)), dtype=np.float32)


def band(x: np.ndarray, low: float, high: float, order: int = 2) -> np.ndarray:
    """Butterworth band-pass, low-pass (`low` 0) or high-pass (`high` 0); Hz."""
    if not low:
        sos = signal.butter(order, high, "low", fs=RATE, output="sos")
    elif not high:
        sos = signal.butter(order, low, "high", fs=RATE, output="sos")
    else:
        sos = signal.butter(order, (low, high), "band", fs=RATE, output="sos")
    return np.asarray(signal.sosfilt(sos, x))


def slow(n: int, hertz: float, rng: np.random.Generator) -> np.ndarray:
    """A wandering curve of mean 0 and deviation 1 that changes about `hertz` times a second."""
    points = rng.normal(size=max(4, int(n / RATE * hertz) + 4))
    place = np.linspace(0, len(points) - 1.001, n)
    curve = np.interp(place, np.arange(len(points)), points)
    return np.asarray((curve - curve.mean()) / (curve.std() + 1e-9))


def idle(n: int, rng: np.random.Generator, turns: np.ndarray | None = None) -> np.ndarray:
    """A six-cylinder diesel: harmonics of the crank's 10 to 13 turns a second, the third strongest
    (three firings a turn), clatter that follows the firings, and a low broadband roar.

    About a third of its power lies above 300 Hz, as a microphone in the cab gives it. `turns` a
    second, shape (n,), makes it rev.
    """
    speed = np.full(n, rng.uniform(10, 13)) if turns is None else turns
    phase = 2 * np.pi * np.cumsum(speed * (1 + 0.01 * slow(n, 3, rng))) / RATE
    tone = np.zeros(n)
    for k in range(1, 41):
        strength = (2.0 if k % 3 == 0 else 0.6) / k**0.8 * rng.uniform(0.5, 1)
        tone += strength * np.cos(k * phase + rng.uniform(0, 2 * np.pi))
    tone = band(tone, 25, 0)
    firing = np.maximum(0, np.cos(3 * phase)) ** 4
    clatter = band(rng.normal(size=n), 500, 3500) * (0.25 + firing)
    roar = band(rng.normal(size=n), 0, 350, 1)
    parts = scaled(tone) + scaled(roar, 0.07) + scaled(clatter, 0.07)
    return np.asarray(parts * (1 + 0.12 * slow(n, 1.5, rng)))


def impacts(n: int, rng: np.random.Generator) -> np.ndarray:
    """Bursts of an impact wrench, 15 to 25 blows a second for 0.5 to 2 s, hammer hits between."""
    out = band(rng.normal(size=n), 200, 5000) * 0.004
    at = int(rng.uniform(0, 0.3) * RATE)
    while at < n:
        burst = int(rng.uniform(0.5, 2.0) * RATE)
        ringing = modes(rng)
        step = RATE / rng.uniform(15, 25)
        motor = band(rng.normal(size=min(burst, n - at)), 300, 4000) * 0.03
        out[at : at + len(motor)] += motor
        for blow in np.arange(at, at + burst, step):
            hit(out, int(blow + rng.normal() * 40), ringing, rng, 0.02, rng.uniform(0.6, 1))
        at += burst + int(rng.uniform(0.1, 0.4) * RATE)
        if rng.random() < 0.5:
            hit(out, at, modes(rng), rng, 0.12, rng.uniform(0.8, 1.4))
            at += int(rng.uniform(0.1, 0.3) * RATE)
    return out


def modes(rng: np.random.Generator) -> np.ndarray:
    """How a piece of steel rings: hertz and strength of six resonances, shape (6, 2)."""
    return np.stack([rng.uniform(700, 6800, 6), rng.uniform(0.2, 1, 6)], axis=1)


def hit(
    out: np.ndarray,
    at: int,
    ringing: np.ndarray,
    rng: np.random.Generator,
    decay_s: float,
    strength: float,
) -> None:
    """Add one blow to `out` at sample `at`: a broadband crack, then the ringing dying away."""
    n = min(int(6 * decay_s * RATE), len(out) - at)
    if n <= 0 or at < 0:
        return
    t = np.arange(n) / RATE
    blow = rng.normal(size=n) * np.exp(-t / 0.006)
    for hertz, loud in ringing:
        bell = np.sin(2 * np.pi * hertz * t + rng.uniform(0, 6.28))
        blow += 0.7 * loud * bell * np.exp(-t / (decay_s * rng.uniform(0.5, 1)))
    out[at : at + n] += strength * blow


def hiss(n: int, rng: np.random.Generator) -> np.ndarray:
    """An air leak (noise above 1.5 kHz, wandering in level) over a compressor's 60 Hz hum."""
    leak = band(rng.normal(size=n), rng.uniform(1200, 2000), 0) * (1 + 0.15 * slow(n, 2, rng))
    t = np.arange(n) / RATE
    hum = np.zeros(n)
    for k, loud in ((1, 0.5), (2, 1.0), (3, 0.4), (4, 0.5), (6, 0.3)):
        hum += loud * np.sin(2 * np.pi * 60 * k * t + rng.uniform(0, 6.28))
    pump = 1 + 0.3 * np.sin(2 * np.pi * rng.uniform(6, 9) * t)
    return np.asarray(scaled(leak) + scaled(hum * pump, 0.04))


def babble(n: int, rng: np.random.Generator) -> np.ndarray:
    """Five people talking at once of other things, in voices that say nothing else in the test.

    Raises:
        RuntimeError: no program for these voices is installed.
    """
    voices = available("background")
    if not voices:
        raise RuntimeError("babble needs espeak-ng; on Debian: apt-get install espeak-ng")
    prepare([(voice, text) for voice in voices for text in BABBLE])
    out = np.zeros(n)
    for i in rng.permutation(len(voices))[:5]:
        out += scaled(_monologue(voices[i], n, rng)) * rng.uniform(0.6, 1)
    return out


def _monologue(voice: Voice, n: int, rng: np.random.Generator) -> np.ndarray:
    parts: list[np.ndarray] = []
    ahead = int(rng.uniform(0, 2) * RATE)
    while sum(map(len, parts)) < n + ahead:
        parts.append(say(voice, BABBLE[rng.integers(len(BABBLE))]))
        parts.append(np.zeros(int(rng.uniform(0, 0.3) * RATE), dtype=np.float32))
    return np.concatenate(parts)[ahead : ahead + n]


KINDS: dict[str, Callable[[int, np.random.Generator], np.ndarray]]
KINDS = {make.__name__: make for make in (idle, impacts, hiss, babble)}
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


def dropped_tool(rng: np.random.Generator) -> np.ndarray:
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


_MAKERS: tuple[Maker, ...] = (
    cough, wrench, hammer, dropped_tool, door, compressor, engine, air_brake, whistle, phone,
)  # fmt: skip
EVENTS = {make.__name__.replace("_", " "): make for make in _MAKERS}
