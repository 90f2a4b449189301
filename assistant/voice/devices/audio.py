"""Sound as numbers: one rate, one shape, and files in and out."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import numpy.typing as npt
import soundfile
import soxr

RATE = 16_000
"""Samples a second, everywhere inside. All engines want it."""
FRAME = 512
"""Samples a frame, 32 ms: what the voice-activity detector takes at once."""
FRAME_S = FRAME / RATE

Samples = npt.NDArray[np.float32]
"""Mono, `RATE` samples a second, full scale -1 to 1, shape (n,)."""


class AudioError(Exception):
    """One clear line on what is wrong with a sound file or device, and what to do."""


def load(path: Path) -> Samples:
    """Read any file that libsndfile reads, as mono at `RATE`.

    Raises:
        AudioError: there is no such file, or it holds no sound.
    """
    try:
        data, rate = soundfile.read(path, dtype="float32", always_2d=True)
    except (OSError, soundfile.SoundFileError) as error:
        what = "there is no such file" if not path.exists() else "it is not a sound file"
        raise AudioError(f"cannot read {path}: {what}; give a WAV or FLAC file") from error
    if not len(data):
        raise AudioError(f"{path} holds no sound; record it again")
    mono = np.nan_to_num(data.mean(axis=1))
    return resampled(mono, rate)


def resampled(mono: Samples, rate: int) -> Samples:
    """`mono` at `rate` brought to `RATE` (libsoxr, high quality)."""
    if rate == RATE:
        return np.ascontiguousarray(mono, dtype=np.float32)
    return np.asarray(soxr.resample(mono, rate, RATE), dtype=np.float32)


def save(path: Path, samples: Samples, rate: int = RATE) -> None:
    """Write 16-bit WAV, or FLAC when the name ends so."""
    soundfile.write(path, np.clip(samples, -1.0, 1.0), rate, subtype="PCM_16")


def level_dbfs(samples: Samples) -> float:
    """Root mean square level in dB re full scale; -120 for silence."""
    if not len(samples):
        return -120.0
    power = float(np.mean(np.square(samples, dtype=np.float64)))
    return max(-120.0, 10.0 * math.log10(power + 1e-12))
