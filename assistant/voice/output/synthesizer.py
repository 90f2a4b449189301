"""Words to sound: for the ear, in two voices, with a memory of what was said before."""

from __future__ import annotations

import contextlib
import pickle
import re
import subprocess
import sys
import threading
from collections.abc import Callable
from functools import lru_cache
from itertools import zip_longest
from pathlib import Path
from typing import Any

import numpy as np

from assistant.act import Said
from assistant.readings import speak
from assistant.readings.units import MM_PER_IN
from assistant.sentences import aloud
from assistant.voice.devices.audio import RATE, AudioError, Samples, resampled

# --- Words for the ear.
#
# What lugcall says knows how it is spoken. People's own words do not: a card's name, a note, a
# question for the lead. Figures and signs in those are put into words here.

_FIGURE = r"(?:\d+-)?\d+/\d+|(?:\d{1,3}(?:,\d{3})+|\d+)(?:\.\d+)?"


def spoken(said: Said | str) -> str:
    """The words for the ear: no figure, unit sign or bracket is left in them."""
    text = said.aloud if isinstance(said, Said) else aloud(said)
    for pattern, told in _RULES:
        text = re.sub(pattern, told, text)
    parts = split_sentences(" ".join(text.split()))
    # A reading's figures and its words are one for the ear: `9/16 in. Nine sixteenths.`
    pairs = zip_longest(parts, parts[1:], fillvalue="")
    text = " ".join(part for part, after in pairs if part.lower() != after.lower())
    text = re.sub(r"\s+([,.;:?!])", r"\1", text)
    text = re.sub(r",(?=[.,;:?!])", "", text).strip(" ,")
    text = re.sub(r"(?<=[.?!])[.,;:]+", "", text)
    return re.sub(r"(?:^|(?<=[.?!] ))[a-z]", lambda m: m[0].upper(), text)


def split_sentences(text: str) -> list[str]:
    """`text` cut where a speaker may breathe: each part is one call to the synthesizer."""
    return [part for part in re.split(r"(?<=[.?!;])\s+", text.strip()) if part]


def _length(match: re.Match[str]) -> str:
    figure, unit = match["figure"].replace(",", ""), match["unit"]
    _, _, after = figure.partition(".")
    whole, _, part = figure.rpartition("-") if "/" in figure else (figure, "", "")
    top, _, bottom = part.partition("/")
    if unit == "mm" and not part:
        words = speak.length_words(float(figure) / MM_PER_IN, ("m", len(after.rstrip("0"))))
    elif after:
        words = speak.length_words(float(figure), ("d", len(after)))
    elif not part or int(bottom) in (2, 4, 8, 16, 32, 64):
        size = int(whole or 0) + (int(top) / int(bottom) if part else 0)
        words = speak.fraction_words(size, int(bottom or 1)) if size else "zero inches"
    else:
        words = f"{_number(whole)} {_number(top)} over {_number(bottom)}"
    return f"minus {words}" if match["sign"] else words


def _number(figure: str) -> str:
    whole, _, after = figure.replace(",", "").partition(".")
    # What is too long for a number is a code: digit by digit.
    words = speak.number_words(int(whole)) if 0 < len(whole) < 10 else _digits(whole)
    return f"{words} point {_digits(after)}" if after.strip("0") else words


def _digits(figure: str) -> str:
    return " ".join(speak.number_words(int(digit)) for digit in figure)


_RULES: tuple[tuple[str, str | Callable[[re.Match[str]], str]], ...] = (
    (r"\b([A-Z]{1,4})-?(\d{1,6})\b", lambda m: f"{' '.join(m[1])}, {_digits(m[2])}"),  # T-104
    (r"(?<=[^\W\d])(?=\d)|(?<=\d)(?=[^\W\d])", " "),  # 12mm
    (rf"(?P<sign>(?<![\w)])-)?(?P<figure>{_FIGURE}) (?P<unit>in|mm)\b", _length),
    (r"(?P<sign>(?<![\w)])-)?(?P<figure>(?:\d+-)?\d+/\d+)(?P<unit>)", _length),
    (_FIGURE, lambda m: _number(m[0])),
    (r"%", " percent"),
    (r"\b[A-Z]{2,}\b", lambda m: m[0].lower()),  # the synthesizer may spell capitals
    (r"[()\[\]\"“”]|\s[-–—]+\s", ", "),
    (r"&", " and "),
    (r"(?<=\w)/(?=\w)", " or "),
    (r"[_*=~|\\/]", " "),
)


# --- Words to samples, in a process: started, asked, and started again when it fails.

REMEMBERED = 200
"""Sentences: some 500 seconds, of which one takes 64 kB."""
_QUIET = 0.004
"""Below this share of full scale a sample is taken for silence."""
_LEAD_S, _TAIL_S = 0.004, 0.16
"""Silence left before and after a sentence: none to wait for, a breath between two."""


class SpeechError(AudioError):
    """One clear line on why nothing can be spoken."""


VOICES: dict[str, dict[str, Any]] = {
    "tech": {"voice": "en-us", "rate": 160, "pitch": 40},
    "helper": {"voice": "en-us+f4", "rate": 150, "pitch": 60},
    "man": {"voice": "en+m7", "rate": 160, "pitch": 45},
    "woman": {"voice": "en-us+f2", "rate": 155, "pitch": 55},
}
"""A low man's voice for the technician, a higher woman's, slower, for the helper; and two that play
people where nobody is there. See `speech_worker.EspeakNg.samples`."""
_GAIN = {"tech": 1.25, "helper": 1.0, "man": 1.0, "woman": 1.0}
"""Factors on the samples; so the two voices come out equally loud."""
PATIENCE_S = 10.0
"""A sentence takes some milliseconds; a synthesizer silent for this long hangs: it is started
again."""
WORKER = Path(__file__).with_name("speech_worker.py")
SYNTHESIZERS = ("espeak-ng", "pyttsx3")
"""The first that works speaks."""


class Synthesizer:
    """A `speech_worker`, started again when it fails; what it said is remembered. Shared by
    threads; close it when done."""

    def __init__(self) -> None:
        """Start it in the background; `SpeechError` when no process can be started."""
        self._lock = threading.Lock()
        self._never: SpeechError | None = None
        self._remembered = lru_cache(REMEMBERED)(self._synthesized)
        self._start()

    def _start(self) -> None:
        self._ready = False
        try:
            self._worker = subprocess.Popen(
                # -P: its neighbours here are no libraries of its own
                [sys.executable, "-P", str(WORKER), *SYNTHESIZERS],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
            )
        except OSError as error:
            raise SpeechError(
                f"the speech synthesizer cannot be started ({error.strerror}); "
                "close other programs, or use lugcall chat"
            ) from None
        assert self._worker.stdin is not None and self._worker.stdout is not None
        self._in, self._out = self._worker.stdin, self._worker.stdout

    def samples(self, text: str, voice: str = "tech") -> Samples:
        """One sentence or more, words without figures; without waiting when it was said before.
        `SpeechError` when it cannot speak at all, or failed twice over this text."""
        return self._remembered(text, voice)

    def close(self) -> None:
        """End its process."""
        with self._lock:
            self._end()

    def _synthesized(self, text: str, voice: str) -> Samples:
        ask = {"text": text, **VOICES[voice]}
        with self._lock:
            for _ in range(2):
                if self._never is not None:
                    raise self._never
                try:
                    return _trimmed(**self._exchange(ask), gain=_GAIN[voice])
                except (OSError, EOFError, ValueError, pickle.UnpicklingError):
                    self._end()
                    self._start()
        raise SpeechError(
            "the speech synthesizer failed twice over one sentence; "
            "read the screen, or use lugcall chat"
        )

    def _exchange(self, ask: dict[str, Any]) -> dict[str, Any]:
        """What the worker answers: `rate` and `data`."""
        watchdog = threading.Timer(PATIENCE_S, self._worker.kill)
        watchdog.daemon = True
        watchdog.start()
        try:
            first = {} if self._ready else pickle.load(self._out)
            if "error" in first:  # nor will it be otherwise the next time
                do = "install espeakng-loader, or use lugcall chat"
                self._never = SpeechError(f"nothing can be spoken ({first['error']}); {do}")
                raise self._never
            self._ready = True
            pickle.dump(ask, self._in)
            self._in.flush()
            said: dict[str, Any] = pickle.load(self._out)
        finally:
            watchdog.cancel()
        if "error" in said:
            raise ValueError(said["error"])
        return said

    def _end(self) -> None:
        with contextlib.suppress(OSError):  # what was still to be written goes nowhere
            self._in.close()
        try:
            self._worker.wait(timeout=1.0)
        except subprocess.TimeoutExpired:
            self._worker.kill()
            self._worker.wait()
        self._out.close()


def _trimmed(rate: int, data: bytes, gain: float) -> Samples:
    raw = np.frombuffer(data, dtype="<i2").astype(np.float32) * (gain / 32768.0)
    sound = np.clip(resampled(raw, rate), -1.0, 1.0)
    loud = np.flatnonzero(np.abs(sound) > _QUIET)
    if not len(loud):
        return sound[:0]
    start = max(0, int(loud[0]) - int(_LEAD_S * RATE))
    sound = sound[start : int(loud[-1]) + 1]
    return np.concatenate([sound, np.zeros(int(_TAIL_S * RATE), dtype=np.float32)])
