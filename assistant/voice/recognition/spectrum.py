"""What a Whisper model hears of a sound: its log mel spectrogram.

As the model was trained: Radford et al., "Robust Speech Recognition via Large-Scale Weak
Supervision" (2022), section 2.2: 80 bands over windows of 25 ms, 10 ms apart. The bands are on
Slaney's mel scale, straight up to 1 kHz and logarithmic above (its constants from memory;
`tests/voice/test_whisper.py` holds the result against another implementation).
"""

from __future__ import annotations

from functools import cache

import numpy as np
import numpy.typing as npt

from assistant.voice.devices.audio import RATE, Samples

Spectrum = npt.NDArray[np.float32]

BANDS, WINDOW, HOP = 80, 400, 160
FRAMES = 3000
"""Frames of the 30 s that the model was trained on."""
_RANGE = 8.0
"""Powers of ten below the loudest at which a spectrum is cut off."""


@cache
def _bands() -> Spectrum:
    """The weight of each frequency in each band, shape (80, 201); each band of area 1."""
    straight_to, a_mel, octave = 1000.0, 200.0 / 3, np.log(6.4) / 27.0
    corner = straight_to / a_mel
    top = corner + np.log(RATE / 2 / straight_to) / octave
    mels = np.linspace(0.0, top, BANDS + 2)
    above = straight_to * np.exp(octave * (mels - corner))
    edges = np.where(mels < corner, a_mel * mels, above)
    away = edges[:, None] - np.fft.rfftfreq(WINDOW, 1.0 / RATE)
    width = np.diff(edges)[:, None]
    weights = np.maximum(0.0, np.minimum(-away[:-2] / width[:-1], away[2:] / width[1:]))
    return np.asarray(weights * (2.0 / (edges[2:] - edges[:-2]))[:, None], np.float32)


def spectrum(samples: Samples) -> Spectrum:
    """The log mel spectrogram, shape (80, n // 160), of a sound at 16 kHz, from -1 to 1, of shape
    (n,) with n over 200."""
    sound = np.pad(samples.astype(np.float32), WINDOW // 2, mode="reflect")
    frames = np.lib.stride_tricks.sliding_window_view(sound, WINDOW)[::HOP][: samples.size // HOP]
    power = np.abs(np.fft.rfft(frames * np.hanning(WINDOW + 1)[:-1].astype(np.float32))) ** 2
    heard = np.log10(np.maximum(_bands() @ power.T.astype(np.float32), 1e-10))
    heard = (np.maximum(heard, heard.max() - _RANGE) + 4.0) / 4.0
    return np.asarray(heard, np.float32)


def full_spectrum(samples: Samples) -> Spectrum:
    """The same in the window of training, shape (80, 3000): zeros stand behind the sound."""
    heard = spectrum(np.pad(samples, (0, HOP)))[:, :FRAMES]
    return np.pad(heard, ((0, 0), (0, FRAMES - heard.shape[1])))
