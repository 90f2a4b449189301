"""What lies between mouth and program: the room, the microphone, the line; and noise on top."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import soxr
from scipy import signal

from assistant.voice.devices.audio import RATE, Samples

from .noises import band, noise

BEFORE_S, AFTER_S = 0.6, 0.8
"""How long the noise runs before and after the words."""
_FRAME = RATE // 50
_ACTIVE_DB = 20.0


@dataclass(frozen=True, slots=True)
class Mixed:
    """Words in noise.

    Attributes:
        samples: shape (n,), peak below 0.9.
        start_s, end_s: where the words begin and end in them.
    """

    samples: Samples
    start_s: float
    end_s: float


def level_dbfs(samples: Samples) -> float:
    """Root mean square level in dB re full scale; -120 for silence."""
    power = float(np.mean(np.square(samples, dtype=np.float64))) if len(samples) else 0.0
    return max(-120.0, 10.0 * float(np.log10(power + 1e-12)))


def active_level(speech: Samples) -> tuple[float, int, int]:
    """Mean power of the frames that hold speech, and the stretch they span (samples).

    A frame of 20 ms holds speech when its power is within 20 dB of the loudest one's. A
    simplification of ITU-T P.56, which follows an envelope and finds its threshold 15.9 dB below
    the level it arrives at (from memory).
    """
    count = max(1, len(speech) // _FRAME)
    frames = np.resize(speech, count * _FRAME) if len(speech) < _FRAME else speech
    power = np.square(frames[: count * _FRAME], dtype=np.float64).reshape(count, -1).mean(axis=1)
    active = np.flatnonzero(power >= power.max() * 10 ** (-_ACTIVE_DB / 10))
    return float(power[active].mean()), int(active[0]) * _FRAME, int(active[-1] + 1) * _FRAME


def mix(speech: Samples, background: Samples | None, snr_db: float, seed: int = 0) -> Mixed:
    """Words with `background` from 0.6 s before to 0.8 s after them.

    `snr_db` is the speech's active level over the noise's RMS in the stretch from its first to its
    last active frame. Which part of a longer background is taken, and how loud the whole is
    (speech at -32 to -20 dBFS, peak at most 0.9), come from the seed. None: silence around.

    Raises:
        ValueError: the background is shorter than the words with their margins.
    """
    rng = np.random.default_rng(seed)
    before, after = int(BEFORE_S * RATE), int(AFTER_S * RATE)
    out = np.pad(speech.astype(np.float64), (before, after))
    power, first, last = active_level(speech)
    if background is not None:
        spare = len(background) - len(out)
        if spare < 0:
            raise ValueError(f"the noise is {-spare / RATE:.1f} s too short; make it longer")
        at = int(rng.integers(spare + 1))
        under = background[at : at + len(out)].astype(np.float64)
        heard = float(np.mean(np.square(under[before + first : before + last])))
        out += under * np.sqrt(power / heard / 10 ** (snr_db / 10))
    level = 10 ** (rng.uniform(-32, -20) / 20)
    gain = min(level / np.sqrt(power), 0.899 / float(np.abs(out).max()))
    return Mixed(np.asarray(out * gain, np.float32), BEFORE_S, BEFORE_S + len(speech) / RATE)


def scene(speech: Samples, kind: str, snr_db: float, channel: str, seed: int) -> Mixed:
    """Words in `kind` of noise ("" for none) at `snr_db`, through `channel`.

    The room acts on the words alone, before the noise; microphone and line on both, after it. So
    the signal-to-noise ratio is the one at the microphone, in the full band.
    """
    if channel == "far":
        speech = far(speech)
    seconds = len(speech) / RATE + BEFORE_S + AFTER_S
    mixed = mix(speech, noise(kind, seconds + 0.1, seed) if kind else None, snr_db, seed)
    if channel == "far":
        return mixed
    out = CHANNELS[channel](mixed.samples)
    peak = float(np.abs(out).max())
    out = out * np.float32(0.899 / peak) if peak >= 0.9 else out
    return Mixed(out, mixed.start_s, mixed.end_s)


def wideband(samples: Samples) -> Samples:
    """A good microphone: nothing changed."""
    return samples


def narrowband(samples: Samples) -> Samples:
    """A telephone line or two-way radio: 300 to 3400 Hz, 8000 a second, G.711 mu-law, and back."""
    line = soxr.resample(band(samples, 300, 3400, 4).astype(np.float32), RATE, 8000)
    back = soxr.resample(mu_law(np.asarray(line, np.float64)).astype(np.float32), 8000, RATE)
    return np.asarray(np.resize(back, len(samples)), dtype=np.float32)


def mu_law(x: np.ndarray) -> np.ndarray:
    """To 8 bits a sample and back as ITU-T G.711 has it: mu = 255 in 8 segments of 16 steps,
    14-bit magnitudes to 8158 with a bias of 33, each step decoded to its middle. Full scale 1."""
    magnitude = np.minimum(np.rint(np.abs(x) * 8192), 8158).astype(np.int64) + 33
    segment = np.floor(np.log2(magnitude)).astype(np.int64) - 5
    step = (magnitude >> (segment + 1)) & 15
    value = ((2 * step + 33) << segment) - 33
    return np.asarray(np.sign(x) * value / 8192)


def headset(samples: Samples) -> Samples:
    """A cheap headset: 150 to 6000 Hz, driven into soft clipping by its own level."""
    x = band(samples, 150, 6000)
    knee = 4 * np.sqrt(np.mean(x**2)) + 1e-9
    return np.asarray(knee * np.tanh(x / knee), dtype=np.float32)


def far(samples: Samples) -> Samples:
    """A microphone across the bay: a synthetic room that dies away 60 dB in 0.3 s.

    Direct sound 4 dB over the reverberation (exponentially fading noise from 5 ms on).
    """
    rng = np.random.default_rng(30)
    t = np.arange(int(0.3 * RATE)) / RATE
    tail = rng.normal(size=len(t)) * 10 ** (-3 * t / 0.3) * (t > 0.005)
    tail *= 10 ** (-4 / 20) / np.sqrt(np.sum(tail**2))
    tail[0] = 1.0
    wet = signal.fftconvolve(samples, tail)[: len(samples) + int(0.15 * RATE)]
    return np.asarray(wet * (np.abs(samples).max() / np.abs(wet).max()), dtype=np.float32)


CHANNELS: dict[str, Callable[[Samples], Samples]]
CHANNELS = {make.__name__: make for make in (wideband, narrowband, headset, far)}


def echo_of(
    played: Samples,
    gain_db: float,
    delay_s: float,
    fades_s: float = 0.3,
    distorts: bool = False,
    seed: int = 7,
) -> Samples:
    """`played` after the loudspeaker, the way to the microphone and the room; same length.

    Args:
        gain_db: power of the echo against what is played (a flat spectrum's).
        delay_s: of the direct sound.
        fades_s: how long the room takes to die away 60 dB.
        distorts: the loudspeaker is driven into soft clipping.
        seed: of six early reflections and the tail.
    """
    rng = np.random.default_rng(seed)
    t = np.arange(round(1.3 * fades_s * RATE)) / RATE
    room = rng.standard_normal(len(t)) * 10 ** (-3 * t / fades_s) * (t > 0.004) * 0.12
    room[0] = 1.0
    room[rng.integers(20, 500, 6)] += rng.uniform(-0.5, 0.5, 6)
    room *= 10 ** (gain_db / 20) / np.sqrt(np.sum(room**2))
    driven = np.tanh(3 * played) / 3 if distorts else played
    delayed = np.concatenate([np.zeros(round(delay_s * RATE)), driven])
    return np.asarray(signal.fftconvolve(delayed, room)[: len(played)], np.float32)
