"""Text to samples: espeak-ng through pyttsx3, two voices, and a memory of what was said before."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from .audio import RATE, Samples, resampled
from .synthesizer import SpeechError, Synthesizer

__all__ = ["VOICES", "Speech", "SpeechError", "Voice"]

_QUIET = 0.004
"""Below this share of full scale a sample is taken for silence."""
_LEAD_S, _TAIL_S = 0.004, 0.16
"""Silence left before and after a sentence: none to wait for, a breath between two."""


@dataclass(frozen=True, slots=True)
class Voice:
    """How somebody sounds.

    Attributes:
        name: espeak-ng's voice and variant.
        rate: words a minute.
        pitch: 0 to 99.
        gain: factor on the samples; the two voices come out equally loud.
    """

    name: str
    rate: int
    pitch: int
    gain: float = 1.0


VOICES = {"tech": Voice("en-us", 160, 40, 1.25), "helper": Voice("en-us+f4", 150, 60, 1.0)}
"""A low man's voice for the technician, a higher woman's, slower, for the helper."""


class Speech:
    """The synthesizer, shared by threads. Close it when done."""

    def __init__(self, voices: dict[str, Voice] | None = None, keep_s: float = 500.0) -> None:
        """Start the synthesizer in the background.

        Args:
            voices: by who listens; `VOICES` if not given.
            keep_s: seconds of speech that are remembered; one takes 64 kB.

        Raises:
            SpeechError: no process can be started.
        """
        self.voices = voices or VOICES
        self._keep = round(keep_s * RATE)
        self._size = 0
        self._kept: OrderedDict[tuple[str, str], Samples] = OrderedDict()
        self._lock = threading.Lock()
        self.synthesizer = Synthesizer()

    def samples(self, text: str, voice: str = "tech") -> Samples:
        """One sentence or more, as `Samples`; without waiting when it was said before.

        Raises:
            SpeechError: the synthesizer cannot be started, or fails twice.
        """
        key = (voice, text)
        with self._lock:
            if key in self._kept:
                self._kept.move_to_end(key)
                return self._kept[key]
        how = self.voices[voice]
        ask = {"text": text, "voice": how.name, "rate": how.rate, "pitch": how.pitch}
        sound = _trimmed(*self.synthesizer.ask(ask), how.gain)
        with self._lock:
            if key not in self._kept:
                self._kept[key] = sound
                self._size += len(sound)
            while self._size > self._keep and len(self._kept) > 1:
                self._size -= len(self._kept.popitem(last=False)[1])
        return sound

    def warm(self, texts: Iterable[str], voice: str = "tech") -> None:
        """Say `texts` to oneself, so that they come at once later."""
        for text in texts:
            self.samples(text, voice)

    def close(self) -> None:
        """End the synthesizer's process."""
        self.synthesizer.close()

    def __enter__(self) -> Speech:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def _trimmed(rate: int, data: bytes, gain: float) -> Samples:
    raw = np.frombuffer(data, dtype="<i2").astype(np.float32) * (gain / 32768.0)
    sound = np.clip(resampled(raw, rate), -1.0, 1.0)
    loud = np.flatnonzero(np.abs(sound) > _QUIET)
    if not len(loud):
        return sound[:0]
    start = max(0, int(loud[0]) - int(_LEAD_S * RATE))
    sound = sound[start : int(loud[-1]) + 1]
    return np.concatenate([sound, np.zeros(int(_TAIL_S * RATE), dtype=np.float32)])
