"""Sound as numbers: one rate, one shape, and files read."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import numpy.typing as npt
import soundfile
import soxr

from assistant import named_file

RATE = 16_000
"""Samples a second, everywhere inside. All engines want it."""
FRAME = 512
"""Samples a frame, 32 ms: what the voice-activity detector takes at once."""
FRAME_S = FRAME / RATE

Samples = npt.NDArray[np.float32]
"""Mono, `RATE` samples a second, full scale -1 to 1, shape (n,)."""
SoundRead = tuple[Samples, int]
"""Mono samples as they are in a file, and how many make a second there."""
FAINT: Samples = (np.random.default_rng(0).standard_normal(2 * RATE) * 1e-4).astype(np.float32)
"""Two seconds of what a microphone gives when nobody speaks."""


class AudioError(Exception):
    """One clear line on what is wrong with a sound file or device, and what to do."""


LONGEST_S = 2 * 3600.0
"""A recording of a whole job is shorter."""
SLOWEST, FASTEST = 4_000, 192_000
"""Samples a second that a recorder makes: below, no speech is left; a file that tells 1 would grow
by 16,000 times."""
MOST_CHANNELS = 32
_BLOCK = 1 << 20


def read_file(path: Path, channel: int | None = None, longest_s: float = LONGEST_S) -> SoundRead:
    """Any file that libsndfile reads: one channel of it, or the mean of all.

    Raises:
        AudioError: there is no such file, it is no sound or holds none, or it is longer, or has
            other rates than a recorder makes.
    """
    try:
        with (
            named_file.opened(path) as file,
            soundfile.SoundFile(file.fileno(), closefd=False) as sound,
        ):
            rate, frames = sound.samplerate, sound.frames
            if (problem := _unfit(rate, frames, sound.channels, longest_s)) is None:
                mono = np.empty(frames, np.float32)
                count = 0
                for block in sound.blocks(_BLOCK, dtype="float32", always_2d=True):
                    one = block.mean(axis=1) if channel is None else block[:, channel]
                    mono[count : count + len(one)] = one
                    count += len(one)
    except FileNotFoundError:
        problem = "there is no such file; give a WAV or FLAC file"
    except soundfile.SoundFileError:
        problem = "it is not a sound file; give a WAV or FLAC file"
    except OSError as error:
        problem = f"{error.strerror}; give a WAV or FLAC file"
    if problem is not None:
        raise AudioError(f"cannot read {path}: {problem}")
    return np.nan_to_num(mono[:count], copy=False), rate


def _unfit(rate: int, frames: int, channels: int, longest_s: float) -> str | None:
    """Why a sound of such a shape is not read, with what to do; None when it is."""
    if not SLOWEST <= rate <= FASTEST:
        return f"it tells {rate} samples a second; record it at 16,000 or more"
    if frames > longest_s * rate:
        return f"it is longer than {longest_s / 60:g} minutes; cut out what matters"
    return None if channels <= MOST_CHANNELS else f"it has {channels} channels; record one or two"


def load(path: Path, longest_s: float = LONGEST_S) -> Samples:
    """A sound file as mono at `RATE`; `AudioError` if it cannot be read or holds no sound."""
    mono, rate = read_file(path, longest_s=longest_s)
    if not len(mono):
        raise AudioError(f"{path} holds no sound; record it again")
    return resampled(mono, rate)


def resampled(mono: Samples, rate: int) -> Samples:
    """`mono` at `rate` brought to `RATE` (libsoxr, high quality)."""
    if rate == RATE:
        return np.ascontiguousarray(mono, dtype=np.float32)
    return np.asarray(soxr.resample(mono, rate, RATE), dtype=np.float32)
