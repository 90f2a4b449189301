"""The synthesizers, in a process of their own that `synthesizer` starts and feeds.

A process, because a fault or a hang in a C library then costs a word and not the job; and pyttsx3
runs a loop that must own its thread and prints to standard output.

It reads pickled dictionaries from standard input, each with the arguments of `EspeakNg.samples`,
and answers with pickled dictionaries: `rate` (samples a second) and `data` (16-bit mono samples),
or `error`; an empty one says first that it is ready. It ends when its input ends. Its arguments
are names of `SYNTHESIZERS`; the first that works speaks.
"""

from __future__ import annotations

import ctypes
import os
import pickle
import signal
import sys
import tempfile
from pathlib import Path
from typing import Any


class EspeakNg:
    """espeak-ng through its library: the loader package's own, else the system's."""

    # Of speak_lib.h: retrieval in the calling thread, exceptions instead of an exit, and UTF-8
    # with a pause at the end.
    _SYNCHRONOUS, _DONT_EXIT, _FLAGS = 2, 0x8000, 0x1001
    _RATE, _PITCH = 1, 3

    def __init__(self) -> None:
        try:
            import espeakng_loader

            data = espeakng_loader.get_data_path().encode()
            self._library = ctypes.CDLL(espeakng_loader.get_library_path())
        except (ImportError, OSError, RuntimeError):
            data = None
            self._library = ctypes.CDLL("libespeak-ng.so.1")
        self._hertz = self._library.espeak_Initialize(self._SYNCHRONOUS, 0, data, self._DONT_EXIT)
        if self._hertz < 0:
            raise OSError("espeak-ng does not start")
        self._said: list[bytes] = []
        kind = ctypes.CFUNCTYPE(ctypes.c_int, ctypes.c_void_p, ctypes.c_int, ctypes.c_void_p)
        self._callback = kind(self._take)
        self._library.espeak_SetSynthCallback(self._callback)

    def _take(self, samples: int | None, count: int, events: int | None) -> int:
        if samples and count > 0:
            self._said.append(ctypes.string_at(samples, 2 * count))
        return 0

    def samples(self, text: str, voice: str, rate: int, pitch: int) -> tuple[int, bytes]:
        """Samples a second, and 16-bit mono samples of a sentence or more; `voice` is espeak-ng's
        name of a voice and variant, `rate` words a minute, `pitch` 0 to 99."""
        library = self._library
        if library.espeak_SetVoiceByName(voice.encode()):
            raise ValueError(f"espeak-ng has no voice {voice}")
        library.espeak_SetParameter(self._RATE, rate, 0)
        library.espeak_SetParameter(self._PITCH, pitch, 0)
        self._said.clear()
        words = text.encode()
        if library.espeak_Synth(words, len(words) + 1, 0, 1, 0, self._FLAGS, None, None):
            raise OSError("espeak-ng did not speak")
        return self._hertz, b"".join(self._said)


class Pyttsx3:
    """The speech that the system brings along, where espeak-ng is not: SAPI, NSSpeechSynthesizer.
    A voice that it has not, leaves it with its own."""

    def __init__(self) -> None:
        import pyttsx3

        self._engine: Any = pyttsx3.init()
        # Its first loop ends after 10 ms whether or not the text is spoken; so it has no text.
        self._engine.runAndWait()
        self._folder = tempfile.TemporaryDirectory(prefix="lugcall-", ignore_cleanup_errors=True)

    def samples(self, text: str, voice: str, rate: int, pitch: int) -> tuple[int, bytes]:
        """See `EspeakNg.samples`."""
        import soundfile

        file = Path(self._folder.name) / "said.wav"
        for name, value in (("voice", voice), ("rate", rate), ("pitch", pitch)):
            self._engine.setProperty(name, value)
        for _ in range(3):  # it may take a text before for one that is to be stopped
            file.unlink(missing_ok=True)
            self._engine.save_to_file(text, str(file))
            self._engine.runAndWait()
            if file.exists() and soundfile.info(file).frames:
                break
        sound, hertz = soundfile.read(file, dtype="int16", always_2d=True)
        return hertz, sound[:, 0].tobytes()


SYNTHESIZERS: dict[str, type[EspeakNg | Pyttsx3]] = {"espeak-ng": EspeakNg, "pyttsx3": Pyttsx3}
"""Making one raises whatever is wrong when it cannot speak."""


def _first(names: list[str]) -> EspeakNg | Pyttsx3:
    problems = []
    for name in names:
        try:
            return SYNTHESIZERS[name]()
        except Exception as error:  # whatever a library raises: the next one may do
            problems.append(f"{name}: {_line(error)}")
    raise OSError("; ".join(problems))


def _line(error: Exception) -> str:
    return str(error).splitlines()[0] if str(error) else repr(error)


def main() -> None:
    """Answer until the input ends."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the parent's to handle
    asked, out = os.fdopen(0, "rb"), os.fdopen(os.dup(1), "wb")
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)  # pyttsx3 prints there

    def answer(**said: Any) -> None:
        pickle.dump(said, out)
        out.flush()

    try:
        speaks = _first(sys.argv[1:])
    except OSError as error:
        answer(error=_line(error))
        return
    answer()
    while asked.peek(1):
        try:
            rate, data = speaks.samples(**pickle.load(asked))
        except Exception as error:  # told, and the next text may do
            answer(error=_line(error))
        else:
            answer(rate=rate, data=data)


if __name__ == "__main__":
    main()
