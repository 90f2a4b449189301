"""One microphone's turns: frames in, events out, the assistant's own voice taken out before."""

from __future__ import annotations

import numpy as np

from assistant.voice.detection.echo import Echo
from assistant.voice.detection.endpoint import Event, Turns, Waits
from assistant.voice.detection.vad import Vad
from assistant.voice.devices.audio import FRAME, Samples


class Listener:
    """Listens to one microphone while a loudspeaker may be sounding.

    Attributes:
        turns: for `set_wait` and `patience`.
    """

    def __init__(self, wait: Waits | None = None) -> None:
        self._echo = Echo()
        self.turns = Turns(Vad(), wait, self._echo)

    @property
    def talking(self) -> bool:
        """Whether the assistant speaks; while it does, more is needed to count as a person."""
        return self.turns.presence.talking

    @talking.setter
    def talking(self, talking: bool) -> None:
        self.turns.presence.talking = talking

    @property
    def floor_db(self) -> float:
        """The noise floor, dB re full scale, in the band of speech: for a meter."""
        return self.turns.presence.floor.db

    def feed(self, heard: Samples, at_s: float, played: Samples | None = None) -> list[Event]:
        """Take the next frame of the microphone, which begins at `at_s`.

        `played` is what the loudspeaker was given for the same time, None or zeros for nothing.
        Both have shape (`FRAME`,).
        """
        silence = np.zeros(FRAME, np.float32)
        return self.turns.feed(self._echo.feed(heard, silence if played is None else played), at_s)
