"""Whether a microphone hears what a loudspeaker plays, how late, and how much weaker."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .audio import RATE, Samples

EARLY_S, LATE_S = 0.1, 0.7
"""Where the echo is looked for: the output's own times may be off by some tens of milliseconds."""
_STANDS_OUT = 8.0
"""Peak of the match over its scatter elsewhere. Noise alone reaches some 5."""


@dataclass(frozen=True, slots=True)
class Echo:
    """What came back.

    Attributes:
        heard: whether anything did.
        delay_s: how much later than played; 0 when not heard.
        path_db: its level as recorded, less its level as played; -120 when not heard.
    """

    heard: bool
    delay_s: float = 0.0
    path_db: float = -120.0


def heard_back(played: Samples, recorded: Samples) -> Echo:
    """Look for `played` in `recorded`; both begin at the same time and are equally long."""
    count = len(played)
    size = 1 << (2 * count - 1).bit_length()
    of_played = np.fft.rfft(played, size)
    of_recorded = np.fft.rfft(recorded, size)
    # Both are made equally strong at all frequencies: a steady tone, here or there, is no match.
    floor = 1e-3 * float(np.abs(of_played).max()) + 1e-12
    white = 1.0 / np.maximum(np.abs(of_played), floor)
    least = 1e-3 * float(np.abs(of_recorded).max()) + 1e-12
    even = of_recorded / np.maximum(np.abs(of_recorded), least)
    match = np.fft.irfft(even * np.conj(of_played * white), size)
    early, late = round(EARLY_S * RATE), round(LATE_S * RATE)
    lags = np.concatenate([match[-early:], match[:late]])
    k = int(np.argmax(lags))
    scatter = float(np.sqrt(np.mean(np.square(match)))) + 1e-12
    if lags[k] < _STANDS_OUT * scatter:
        return Echo(False)
    shift = k - early
    came = recorded[max(shift, 0) : count + min(shift, 0)].astype(np.float64)
    sent = played[max(-shift, 0) : count - max(shift, 0)].astype(np.float64)
    gain = float(came @ sent) / max(float(sent @ sent), 1e-12)
    return Echo(True, shift / RATE, 20 * float(np.log10(max(abs(gain), 1e-6))))
