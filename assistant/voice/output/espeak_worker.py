"""espeak-ng behind pyttsx3, in a process of its own; started and fed by `speech`.

A process, because pyttsx3 runs a loop that must own its thread, prints to standard output, and
cannot be started twice in one process; and because a fault in the C library then costs a word and
not the job. Asked by a line of JSON on standard input: `{"text", "voice", "rate", "pitch"}`. It
answers with a line of JSON, `{"rate", "bytes"}` and that many bytes of 16-bit mono samples, or
`{"error"}`. It ends when its input ends. Its argument is a folder for the file between pyttsx3
and itself.
"""

from __future__ import annotations

import ctypes
import json
import os
import signal
import sys
import time
import wave
from pathlib import Path
from typing import Any

_EMPTY = 44
"""Bytes of a WAV file that holds no samples."""


def engine() -> Any:
    """A pyttsx3 engine on espeak-ng, from the loader package's own library when it is there.

    pyttsx3 asks the system for `libespeak-ng.so.1`. A library of that name which is already loaded
    satisfies it, so loading the packaged one first is enough; its data is found by a variable.

    Raises:
        Exception: whatever pyttsx3 raises when it finds no library.
    """
    try:
        import espeakng_loader

        os.environ["ESPEAK_DATA_PATH"] = espeakng_loader.get_data_path()
        ctypes.CDLL(espeakng_loader.get_library_path())
    except (ImportError, OSError, RuntimeError):
        os.environ.pop("ESPEAK_DATA_PATH", None)  # the system's own library, if there is one
    import pyttsx3

    espeak = pyttsx3.init("espeak")
    # Its first loop ends after 10 ms whether or not the text is spoken; so that one has no text.
    espeak.runAndWait()
    return espeak


def synthesized(espeak: Any, ask: dict[str, Any], file: Path) -> tuple[int, bytes]:
    """The sample rate and the 16-bit samples of one text.

    Raises:
        Exception: whatever pyttsx3 raises, or OSError when it wrote nothing.
    """
    espeak.setProperty("voice", ask["voice"])
    espeak.setProperty("rate", int(ask["rate"]))
    espeak.setProperty("pitch", int(ask["pitch"]))
    file.unlink(missing_ok=True)
    for _ in range(3):
        _idle()
        espeak.save_to_file(ask["text"], str(file))
        espeak.runAndWait()
        if file.exists() and file.stat().st_size > _EMPTY:
            break
    with wave.open(str(file), "rb") as sound:
        return sound.getframerate(), sound.readframes(sound.getnframes())


def _idle() -> None:
    """Wait for the library's own thread to end the text before.

    It has delivered it by then; but pyttsx3 takes a library at work for one to be stopped, and
    would cancel the new text.
    """
    from pyttsx3.drivers import _espeak

    end = time.monotonic() + 1.0
    while _espeak.IsPlaying() and time.monotonic() < end:
        time.sleep(0.0005)


def main() -> None:
    """Answer until the input ends."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the parent's to handle
    out = os.fdopen(os.dup(1), "wb")
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)  # pyttsx3 prints there
    try:
        espeak = engine()
    except Exception as error:
        _answer(out, {"error": str(error).splitlines()[0] if str(error) else repr(error)})
        return
    _answer(out, {"ready": True})
    file = Path(sys.argv[1]) / "said.wav"
    for line in sys.stdin.buffer:
        try:
            rate, data = synthesized(espeak, json.loads(line), file)
        except Exception as error:
            _answer(out, {"error": str(error).splitlines()[0] if str(error) else repr(error)})
            continue
        _answer(out, {"rate": rate, "bytes": len(data)}, data)


def _answer(out: Any, head: dict[str, Any], data: bytes = b"") -> None:
    out.write(json.dumps(head).encode() + b"\n" + data)
    out.flush()


if __name__ == "__main__":
    main()
