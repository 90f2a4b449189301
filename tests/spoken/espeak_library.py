"""espeak-ng from its Python package, where the program is not installed.

Run as a program of its own, since the library keeps its state for the whole process:
`espeak_library.py VOICE SPEED PITCH`, lines `PATH<TAB>TEXT` on standard input, a WAV file each.
"""

from __future__ import annotations

import ctypes
import sys
import wave
from typing import Any

_RETRIEVE = 1
"""Give the samples to a callback, play nothing."""
_RATE, _PITCH = 1, 3
_BY_CHARACTER, _UTF8, _PHONEMES = 1, 1, 0x100
_FILES = {"en-gb": "en"}
"""Accents that the program finds by their language and the library only by their file's name."""
_CALLBACK = ctypes.CFUNCTYPE(
    ctypes.c_int, ctypes.POINTER(ctypes.c_short), ctypes.c_int, ctypes.c_void_p
)


class Library:
    """The loaded library with one voice; `wav` writes one text."""

    def __init__(self, voice: str, speed: int, pitch: int) -> None:
        import espeakng_loader

        self._lib: Any = ctypes.CDLL(espeakng_loader.get_library_path())
        data = espeakng_loader.get_data_path().encode()
        self._samples_a_second = self._lib.espeak_Initialize(_RETRIEVE, 0, data, 0)
        if self._samples_a_second <= 0:
            raise SystemExit("espeak-ng's data is missing; reinstall espeakng-loader")
        self._parts: list[bytes] = []
        self._callback = _CALLBACK(self._take)
        self._lib.espeak_SetSynthCallback(self._callback)
        accent, plus, variant = voice.partition("+")
        name = _FILES.get(accent, accent) + plus + variant
        if self._lib.espeak_SetVoiceByName(name.encode()):
            raise SystemExit(f"espeak-ng has no voice {voice}")
        self._lib.espeak_SetParameter(_RATE, speed, 0)
        self._lib.espeak_SetParameter(_PITCH, pitch, 0)

    def _take(self, samples: Any, count: int, _events: int | None) -> int:
        if samples and count > 0:
            self._parts.append(ctypes.string_at(samples, 2 * count))
        return 0

    def wav(self, path: str, text: str) -> None:
        """Write `text` spoken, 16-bit mono at the library's own rate."""
        self._parts.clear()
        data = text.encode()
        size = ctypes.c_size_t(len(data) + 1)
        self._lib.espeak_Synth(data, size, 0, _BY_CHARACTER, 0, _UTF8 | _PHONEMES, None, None)
        self._lib.espeak_Synchronize()
        with wave.open(path, "wb") as out:
            out.setnchannels(1)
            out.setsampwidth(2)
            out.setframerate(self._samples_a_second)
            out.writeframes(b"".join(self._parts))


def main() -> None:
    """Speak every line of standard input."""
    voice, speed, pitch = sys.argv[1:]
    library = Library(voice, int(speed), int(pitch))
    for line in sys.stdin:
        path, text = line.rstrip("\n").split("\t", 1)
        library.wav(path, text)


if __name__ == "__main__":
    main()
