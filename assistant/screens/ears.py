"""A page's microphone and loudspeaker: its sound to the ears, and replies as sound to it.

The frames of a page come over its link; what they hold is understood, taken and answered on the
bay's own thread, as a typed word is. All bays share one set of recognizers and one synthesizer.
"""

from __future__ import annotations

import asyncio
import io
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress

import numpy as np
import soundfile

from assistant.act import Said
from assistant.screens.bay import Bay, Screen
from assistant.screens.view import reading_of
from assistant.voice.devices.audio import FRAME, FRAME_S, RATE, Samples
from assistant.voice.output.synthesizer import SpeechError, Synthesizer, spoken
from assistant.voice.recognition.recognizers import Recognizers, open_recognizers
from assistant.voice.session.attendant import Attendant, SpokenTurn
from assistant.voice.session.channel import Channel

FRAME_BYTES = 2 * FRAME
"""A frame as a page sends it: 512 samples of 16 bits, little-endian, 16 kHz."""
_BEHIND = 300
"""Frames that may wait for a busy bay, some ten seconds; more are dropped."""


class Ears:
    """What hears and speaks for all bays of a server; close it at the end.

    Raises:
        recognizer.RecognizerError: there is no model to hear with.
    """

    def __init__(self) -> None:
        opened, self.problems = open_recognizers()
        self.recognizers = Recognizers(opened)
        self.decoder = ThreadPoolExecutor(1, "ears")
        self.mouth = Mouth()

    def close(self) -> None:
        """Let go of threads and processes."""
        self.decoder.shutdown(wait=True, cancel_futures=True)
        self.mouth.close()


class Mouth:
    """Sentences to sound, for pages that play it."""

    def __init__(self) -> None:
        self._synthesizer = Synthesizer()
        self._thread = ThreadPoolExecutor(1, "mouth")

    def close(self) -> None:
        """End the synthesizer."""
        self._thread.shutdown(wait=True, cancel_futures=True)
        self._synthesizer.close()

    async def sound(self, said: Sequence[Said], role: str) -> list[bytes]:
        """Each sentence as a WAV file, in the voice for "tech" or "helper"; none if it fails."""
        loop = asyncio.get_running_loop()
        words = [spoken(one) for one in said]
        with suppress(SpeechError):
            return [await loop.run_in_executor(self._thread, self._wav, w, role) for w in words]
        return []

    def _wav(self, words: str, role: str) -> bytes:
        file = io.BytesIO()
        soundfile.write(file, self._synthesizer.samples(words, role), RATE, "PCM_16", format="WAV")
        return file.getvalue()


class BayEars:
    """The microphones of one bay's pages."""

    def __init__(self, bay: Bay, ears: Ears) -> None:
        self.bay, self.ears = bay, ears
        self._frames: dict[str, int] = {}
        self._begin()
        self._busy: asyncio.Task[None] | None = None

    def _begin(self) -> None:
        """Attend to the bay's conversation, which is another one after it was broken."""
        self._said: list[Said] = []
        self._heard: dict[str, str] = {}
        self._reading: dict[str, str] = {}
        self._waiting: list[tuple[Screen, Samples]] = []
        self._channels: dict[str, tuple[Screen, Channel]] = {}
        conversation, ears = self.bay.conversation, self.ears
        self.attendant = Attendant(conversation, ears.recognizers, ears.decoder, self._answered)

    def _answered(self, turn: SpokenTurn) -> None:
        self._said += turn.said
        if turn.said:
            self._heard = {"who": turn.role, "words": turn.heard}
            taken = turn.decision.meaning if turn.kind == "accept" else None
            self._reading = reading_of(taken, turn.heard) or self._reading

    def frame(self, screen: Screen, data: bytes) -> None:
        """One frame of a page's microphone."""
        if len(data) != FRAME_BYTES or len(self._waiting) > _BEHIND or self.bay.broken:
            return
        samples = np.frombuffer(data, "<i2").astype(np.float32) / np.float32(32768)
        self._waiting.append((screen, samples))
        if self._busy is None or self._busy.done():
            self._busy = asyncio.create_task(self._work())

    async def _work(self) -> None:
        while self._waiting and not self.bay.broken:
            await self.bay.turn(self._pumped)

    def _pumped(self) -> tuple[list[Said], dict[str, str], dict[str, str]]:
        """All frames that wait, and what has been decoded meanwhile; on the bay's thread."""
        if self.attendant.conversation is not self.bay.conversation:
            self._begin()
        waiting, self._waiting = self._waiting, []
        for screen, samples in waiting:
            channel = self._channel(screen)
            count = self._frames[screen.role] = self._frames.get(screen.role, 0) + 1
            channel.feed(samples, count * FRAME_S)
            self.attendant.pump()
        said, self._said = self._said, []
        reading, self._reading = self._reading, {}
        return said, self._heard, reading

    def _channel(self, screen: Screen) -> Channel:
        """The channel of the page's role; a new page's begins anew."""
        held = self._channels.get(screen.role)
        if held is None:
            channel = self.attendant.add(screen.role, f"{screen.role}'s page")
            self.attendant.practise()
        else:
            channel = held[1]
            if held[0] is not screen:
                channel.reset()
        self._channels[screen.role] = (screen, channel)
        return channel
