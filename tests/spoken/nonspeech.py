"""A long stretch of shop where nobody talks to the program: for counting false accepts."""

from dataclasses import dataclass

import numpy as np

from assistant.voice.devices.audio import RATE, Samples, load

from . import recordings
from .channels import far, narrowband
from .chatter import RADIO, SHOP
from .noises import EVENTS, band, idle, music, scaled
from .voices import available, prepare, say, seed_of, vary

_TALK = {"chatter": 6.0, "radio": 3.0}
_WEIGHTS = {**dict.fromkeys(EVENTS, 1.0), "cough": 3.0, "wrench": 2.0, **_TALK}
"""How often each kind comes, relative to the others. No source."""
_FLOOR = 10 ** (-58 / 20)
_CONVERSATION = -32, -20
"""Level of people's sentences, dBFS: as loud as those who talk to the program (`channels.mix`)."""
_GAP_S = 0.8, 3.5
"""Pause between two events, uniform: long enough for any end of utterance."""


@dataclass(frozen=True, slots=True)
class Event:
    """What sounds from `start_s` to `end_s`; `words` only when somebody speaks."""

    start_s: float
    end_s: float
    kind: str
    words: str = ""


def stream(
    minutes: float, seed: int, split: str, people: float = 0.0
) -> tuple[Samples, list[Event]]:
    """`minutes` of shop sounds and talk that is not for the program, and what is where.

    With `people`, sentences of real people come as often as that weight says, as loud as one talks.

    Voices and sentences are those of `split` ("tuning" or "test"), on the radio the background's.
    A quiet broadband floor runs throughout; for a third of the minutes an engine idles under it.
    An event's RMS is -38 to -18 dBFS, its peak below 0.9. No word in it stops a job, and no
    sentence is a reading or a command.

    Raises:
        RuntimeError: no program for the voices is installed.
    """
    if not available(split) or not available("background"):
        raise RuntimeError("no voices; on Debian: apt-get install espeak-ng flite festival")
    rng = np.random.default_rng(seed_of("nonspeech", split, seed))
    total = round(minutes * 60 * RATE)
    out = _floor(total, rng)
    planned = _talks(int(minutes * 60), split, rng)
    events: list[Event] = []
    unheard = recordings.sentences()[1::2] if people else []  # nothing was fitted on these
    weighed = _WEIGHTS | ({"people": people} if people else {})
    kinds, weights = list(weighed), np.array(list(weighed.values()))
    at = int(rng.uniform(*_GAP_S) * RATE)
    while True:
        kind = str(rng.choice(kinds, p=weights / weights.sum()))
        if kind in _TALK:
            sound, words = _speech(kind, *planned[kind].pop(), rng)
        elif kind == "people":
            path = unheard[int(rng.integers(len(unheard)))]
            sound, words = load(path), path.name
        else:
            sound, words = EVENTS[kind](rng), ""
        if at + len(sound) > total:
            return np.asarray(out, np.float32), events
        level = 10 ** (rng.uniform(*(_CONVERSATION if kind == "people" else (-38, -18))) / 20)
        loud = scaled(sound, level)
        out[at : at + len(loud)] += loud * min(1.0, 0.85 / float(np.abs(loud).max()))
        events.append(Event(at / RATE, (at + len(loud)) / RATE, kind, words))
        at += len(loud) + int(rng.uniform(*_GAP_S) * RATE)


def _floor(total: int, rng: np.random.Generator) -> np.ndarray:
    """Quiet noise, and every third minute an idling engine far off."""
    out = np.zeros(total, np.float32)
    for at in range(0, total, 60 * RATE):
        n = min(60 * RATE, total - at)
        quiet = scaled(band(rng.normal(size=n), 0, 2000, 1), _FLOOR)
        if at // (60 * RATE) % 3 == 2:
            quiet = quiet + scaled(idle(n, rng), 10 ** (rng.uniform(-48, -38) / 20))
        out[at : at + n] = quiet
    return out


Talk = tuple[str, str]
"""A voice's name, and its sentence."""


def _talks(count: int, split: str, rng: np.random.Generator) -> dict[str, list[Talk]]:
    """More talk than can fit, spoken beforehand so that slow programs start once."""
    voices = {"chatter": available(split), "radio": available("background")}
    texts = {"chatter": SHOP[split], "radio": RADIO[split]}
    drawn = {
        kind: [
            (voices[kind][rng.integers(len(voices[kind]))], str(rng.choice(texts[kind])))
            for _ in range(max(8, count // 4))
        ]
        for kind in _TALK
    }
    prepare([pair for pairs in drawn.values() for pair in pairs])
    return {kind: [(v.name, text) for v, text in pairs] for kind, pairs in drawn.items()}


def _speech(kind: str, voice: str, words: str, rng: np.random.Generator) -> tuple[np.ndarray, str]:
    said = vary(say(voice, words), int(rng.integers(1 << 30)))
    if kind == "chatter":
        return (far(said) if rng.random() < 0.5 else said), words
    margin = int(rng.uniform(0.2, 1.5) * RATE)
    said = np.pad(said, margin)
    tune = music(len(said), rng) * (np.sqrt(np.mean(said**2)) / 0.1 * rng.uniform(0.2, 0.8))
    return narrowband(np.asarray(said + tune, np.float32)), words
