"""Words brought to a session as sound: voices in one shop's noise, through microphones, by frames.

The noise runs on between the words; each person's words are brought to the signal-to-noise ratio
over the stretch of noise they fall on, as `channels.mix` does it.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from assistant.conversation import Session
from assistant.voice.devices.audio import FRAME, FRAME_S, RATE, Samples
from assistant.voice.recognition.recognizers import Recognizers
from assistant.voice.session.attendant import Attendant, Turn
from assistant.voice.session.channel import Channel
from assistant.voice.session.recorded import AtOnce

from .callouts import Line
from .channels import CHANNELS, active_level
from .closed_loop import Deliver
from .noises import noise
from .voices import Voice, say, seed_of, vary

SETTLE_S = 2.0
"""Noise before the first words: the floor is learnt meanwhile."""
BEFORE_S, AFTER_S = 1.5, 1.6
"""Noise before the words, as long as a short reply takes, and after them at most."""
REST_S = 0.2
"""Noise after a turn was taken, before the next words."""
LOOP_S = 40.0
LEVEL = 10 ** (-26 / 20)
"""Active level of the words at the microphone, re full scale."""


@dataclass(frozen=True, slots=True)
class Shop:
    """What a session sounds like.

    Attributes:
        tech, helper: their voices.
        noise: a key of `noises.KINDS`.
        snr_db: of the words over the noise.
        channel: a key of `channels.CHANNELS`.
        shared: one microphone for both, instead of one each.
        seed: for noise and delivery.
    """

    tech: Voice
    helper: Voice
    noise: str
    snr_db: float
    channel: str
    shared: bool
    seed: int


class BySound:
    """Says words into a session's microphones; see `by_sound`.

    While one microphone is spoken into, another one is not fed: it hears no noise meanwhile.
    """

    def __init__(self, shop: Shop, session: Session, ears: Recognizers) -> None:
        self._shop = shop
        self._turns: list[Turn] = []
        self._attendant = Attendant(session, ears, AtOnce(), self._turns.append)
        roles = ("",) if shop.shared else ("tech", "helper")
        self._channels = {role: self._attendant.add(role, role or "shared") for role in roles}
        self._noise = noise(shop.noise, LOOP_S, shop.seed)
        self._at = 0
        self._now_s = 0.0
        self._said = 0
        for role in roles:
            self._feed(role, self._sound(np.zeros(round(SETTLE_S * RATE), np.float32)))
        self._attendant.warm()

    def deliver(self, who: str, line: Line) -> list[dict[str, Any]]:
        """Say it, and wait until it was dealt with, or plainly was not."""
        voice = self._shop.tech if who == "tech" else self._shop.helper
        self._said += 1
        words = vary(say(voice, line.text), seed_of(self._shop.seed, self._said))
        before, after = round(BEFORE_S * RATE), round(AFTER_S * RATE)
        self._turns.clear()
        self._feed("" if self._shop.shared else who, self._sound(np.pad(words, (before, after))))
        return [_told(turn) for turn in self._turns]

    def _sound(self, words: Samples) -> Samples:
        """Words on the shop's noise, through the channel."""
        under = np.resize(np.roll(self._noise, -self._at), len(words)).astype(np.float64)
        self._at = (self._at + len(words)) % len(self._noise)
        gain = 10 ** (-self._shop.snr_db / 20) * LEVEL
        if np.any(words):
            power, first, last = active_level(words)
            heard = math.sqrt(float(np.mean(np.square(under[first:last]))))
            out = words * (LEVEL / math.sqrt(power)) + under * (gain / heard)
        else:
            out = under * (gain / math.sqrt(float(np.mean(np.square(under)))))
        return CHANNELS[self._shop.channel](np.clip(out, -0.99, 0.99).astype(np.float32))

    def _feed(self, role: str, sound: Samples) -> None:
        channel: Channel = self._channels[role]
        answered = 0
        for start in range(0, len(sound) - FRAME + 1, FRAME):
            channel.feed(sound[start : start + FRAME], self._now_s)
            self._now_s += FRAME_S
            self._attendant.pump()
            busy = channel.endpointer.speaking or channel.ended
            answered = answered + 1 if self._turns and not busy else 0
            if answered * FRAME_S > REST_S and start > len(sound) - AFTER_S * RATE:
                break


def by_sound(shop: Shop, ears: Recognizers) -> Callable[[Session], Deliver]:
    """What `Loop` takes: says every line in `shop` to `ears`, frame by frame."""
    return lambda session: BySound(shop, session, ears).deliver


def _told(turn: Turn) -> dict[str, Any]:
    return {
        "said": list(turn.said),
        "decision": turn.kind,
        "probability": round(turn.decision.probability, 3),
        "heard": turn.heard,
        "decode_s": round(turn.decode_s, 3),
        "wait_s": round(turn.wait_s, 3),
    }
