"""What turn-taking reports: plain data, times in seconds on the clock of the frames."""

from __future__ import annotations

from dataclasses import dataclass

from .audio import Samples


@dataclass(frozen=True, slots=True)
class Started:
    """Someone speaks, since `at_s`."""

    at_s: float


@dataclass(frozen=True, slots=True)
class BargedIn:
    """Someone speaks while the assistant does, since `at_s`: it should fall silent."""

    at_s: float


@dataclass(frozen=True, slots=True, eq=False)
class Paused:
    """The speech has paused; it may be over, so decoding may begin on a guess.

    Attributes:
        samples: all so far, from the pre-roll to now, shape (n,).
        speech_end_s: where the pause began.
        at_s: now.
    """

    samples: Samples
    speech_end_s: float
    at_s: float


@dataclass(frozen=True, slots=True)
class Resumed:
    """The pause was not the end: what was decoded on a guess is void."""

    at_s: float


@dataclass(frozen=True, slots=True, eq=False)
class Ended:
    """One utterance, complete.

    Attributes:
        samples: with pre-roll and the pause that ended it, shape (n,).
        start_s, speech_end_s: where the speech lies.
        at_s: now; `at_s - speech_end_s` is what waiting cost.
    """

    samples: Samples
    start_s: float
    speech_end_s: float
    at_s: float


@dataclass(frozen=True, slots=True)
class TooLong:
    """Nobody speaks that long: what began is dropped, and its level taken for noise."""

    at_s: float


@dataclass(frozen=True, slots=True)
class Dropped:
    """What began was too short for a word."""

    at_s: float


Event = Started | BargedIn | Paused | Resumed | Ended | TooLong | Dropped
