"""Five short signals, each told by its rhythm alone: how many pulses, and how long.

After ISO 7731's advice on danger signals, from memory: components between 500 and 2500 Hz, enough
of them below 1500 Hz for whoever hears badly above, pulses rather than a steady tone, and 15 dB
over the ambient noise (or 13 dB in one third-octave band of it). Pitch differs as well, but nobody
has to hear that.
"""

from __future__ import annotations

from functools import cache

import numpy as np

from assistant.voice.devices.audio import RATE, Samples

ABOVE_AMBIENT_DB = 15.0
LOUDEST_DBFS = -9.0
"""Root mean square of a pulse; a harmonic sound has its peaks some 7 dB above."""
QUIETEST_DBFS = -26.0
_RAMP_S = 0.006

_PULSES: dict[str, tuple[tuple[float, ...], float]] = {
    # name: seconds on, off, on...; lowest component in Hz
    "heard": ((0.09,), 700.0),
    "not heard": ((0.11, 0.09, 0.11), 520.0),
    "hold": ((0.50,), 600.0),
    "release": ((0.16, 0.11, 0.16, 0.11, 0.16), 780.0),
    "danger": ((0.06, 0.05, 0.06, 0.05, 0.06, 0.05, 0.06, 0.05, 0.06), 830.0),
}
NAMES = tuple(_PULSES)


def earcon(name: str, ambient_dbfs: float | None = None) -> Samples:
    """The signal `name`, one of `NAMES`, loud enough to stand out of the noise that the microphone
    meters; with None as loud as it may be."""
    wanted = LOUDEST_DBFS if ambient_dbfs is None else ambient_dbfs + ABOVE_AMBIENT_DB
    level = min(max(wanted, QUIETEST_DBFS), LOUDEST_DBFS)
    return _shape(name) * np.float32(10 ** (level / 20))


@cache
def _shape(name: str) -> Samples:
    """The signal with pulses of root mean square 1."""
    times, lowest = _PULSES[name]
    parts = []
    for i, length in enumerate(times):
        count = round(length * RATE)
        if i % 2:
            parts.append(np.zeros(count))
            continue
        t = np.arange(count) / RATE
        # The lower half is the stronger one: 3 dB down at each further component.
        n = np.arange(1, int(2500 / lowest) + 1)[:, None]
        tone = (2 ** ((1 - n) / 2) * np.sin(2 * np.pi * lowest * n * t + n)).sum(axis=0)
        tone *= np.minimum(1.0, np.minimum(t, t[::-1]) / _RAMP_S)
        parts.append(tone / np.sqrt(np.mean(np.square(tone))))
    sound = np.concatenate(parts).astype(np.float32)
    sound.setflags(write=False)
    return sound
