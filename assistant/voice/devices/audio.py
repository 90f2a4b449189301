"""Sound as numbers: one rate, one shape, and files read."""

from __future__ import annotations

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
FAINT: Samples = (np.random.default_rng(0).standard_normal(2 * RATE) * 1e-4).astype(np.float32)
"""Two seconds of what a microphone gives when nobody speaks."""


class AudioError(Exception):
    """One clear line on what is wrong with a sound file or device, and what to do."""


def read_file(path: Path) -> tuple[Samples, int]:
    """Any file that libsndfile reads: samples of shape (n, channels), and their rate; `AudioError`
    if there is no such file, or it is no sound."""
    try:
        data, rate = soundfile.read(path, dtype="float32", always_2d=True)
    except (OSError, soundfile.SoundFileError) as error:
        what = "there is no such file" if not path.exists() else "it is not a sound file"
        raise AudioError(f"cannot read {path}: {what}; give a WAV or FLAC file") from error
    return np.nan_to_num(data), rate


def load(path: Path) -> Samples:
    """A sound file as mono at `RATE`; `AudioError` if it cannot be read or holds no sound."""
    data, rate = read_file(path)
    if not len(data):
        raise AudioError(f"{path} holds no sound; record it again")
    return resampled(data.mean(axis=1), rate)


def resampled(mono: Samples, rate: int) -> Samples:
    """`mono` at `rate` brought to `RATE` (libsoxr, high quality)."""
    if rate == RATE:
        return np.ascontiguousarray(mono, dtype=np.float32)
    return np.asarray(soxr.resample(mono, rate, RATE), dtype=np.float32)
