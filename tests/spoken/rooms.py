"""The assistant's own voice as the microphone hears it again."""

from __future__ import annotations

import numpy as np
from scipy import signal

from assistant.voice.devices.audio import RATE, Samples


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
