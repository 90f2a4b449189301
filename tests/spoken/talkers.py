"""Speech programs: texts in, sound out. One function a make, each a batch of texts."""

from __future__ import annotations

import importlib.util
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterable, Sequence
from functools import partial
from pathlib import Path

import numpy as np
import soundfile

from assistant.voice.devices.audio import Samples, resampled

from . import neural

PROGRAMS = {"espeak-ng": "espeak-ng", "flite": "flite", "festival": "festival"}
"""Program that each make needs on the path."""

_THOU = re.compile(r"\bthou\b", re.IGNORECASE)
"""Shops say it with the th of "thousandth", every program with the th of "thee" (common practice,
no source): each is told how."""


def can_talk(make: str) -> bool:
    """Whether the program is installed, or for espeak-ng its library as a Python package."""
    if make in neural.PACKAGES:
        return neural.installed(make) and bool(shutil.which(PROGRAMS["espeak-ng"]))
    if shutil.which(PROGRAMS[make]):
        return True
    return make == "espeak-ng" and importlib.util.find_spec("espeakng_loader") is not None


def talk(make: str, settings: Sequence[str], texts: Sequence[str]) -> list[Samples]:
    """Each text as sound at `RATE`, as the program makes it, untrimmed.

    `settings` is the make's own: espeak-ng (voice, words a minute, pitch 0-99), flite (voice,
    stretch), festival (voice).

    Raises:
        RuntimeError: the program is missing, or made no sound.
    """
    if not can_talk(make):
        raise RuntimeError(f"{make} is not installed; on Debian: apt-get install {make}")
    with tempfile.TemporaryDirectory(prefix="lugcall-talk-") as folder:
        files = [Path(folder) / f"{i}.wav" for i in range(len(texts))]
        _TALKERS[make](settings, list(zip(texts, files, strict=True)))
        return [_sound(path, make, text) for path, text in zip(files, texts, strict=True)]


def _sound(path: Path, make: str, text: str) -> Samples:
    try:
        data, rate = soundfile.read(path, dtype="float32", always_2d=True)
    except (OSError, soundfile.SoundFileError) as error:
        raise RuntimeError(f"{make} made no sound of {text!r}: {error}") from error
    sound = resampled(np.ascontiguousarray(data.mean(axis=1)), rate)
    if not len(sound) or float(np.abs(sound).max()) < 1e-3:
        raise RuntimeError(f"{make} made only silence of {text!r}")
    return sound


Jobs = Iterable[tuple[str, Path]]


def _espeak(settings: Sequence[str], jobs: Jobs) -> None:
    voice, speed, pitch = settings
    told = [(_THOU.sub("[[T'aU]]", text), path) for text, path in jobs]
    if not shutil.which(PROGRAMS["espeak-ng"]):
        worker = [sys.executable, str(Path(__file__).with_name("espeak_library.py"))]
        _run([*worker, voice, speed, pitch], "".join(f"{path}\t{text}\n" for text, path in told))
        return
    command = ["espeak-ng", "-v", voice, "-s", speed, "-p", pitch, "--stdin", "-w"]
    for text, path in told:
        _run([*command, str(path)], text)


def _flite(settings: Sequence[str], jobs: Jobs) -> None:
    voice, stretch = settings
    jobs = list(jobs)
    words = jobs[0][1].with_name("words")
    words.write_text("thou n : th aw1\n")
    command = ["flite", "-voice", voice, "-add_lex", str(words)]
    command += ["--setf", f"duration_stretch={stretch}"]
    for text, path in jobs:
        _run([*command, "-t", f" {text}", "-o", str(path)])


def _festival(settings: Sequence[str], jobs: Jobs) -> None:
    """All texts in one process: it takes most of a second to start."""
    lines = [f"({settings[0]})", """(lex.add.entry '("thou" n (((th aw) 1))))"""]
    for text, path in jobs:
        said = text.replace("\\", " ").replace('"', " ")
        lines.append(f'(utt.save.wave (utt.synth (Utterance Text "{said}")) "{path}")')
    _run(["festival", "--pipe"], "\n".join(lines))


def _neural(make: str, settings: Sequence[str], jobs: Jobs) -> None:
    jobs = list(jobs)
    texts = [_THOU.sub("[[T'aU]]", text) for text, _ in jobs]
    spoken = neural.spoken(make, tuple(settings), texts)
    for (samples, rate), (_, path) in zip(spoken, jobs, strict=True):
        soundfile.write(path, samples, rate, subtype="FLOAT")


def _run(command: list[str], text: str = "") -> None:
    done = subprocess.run(command, input=text, text=True, capture_output=True, timeout=300)
    if done.returncode:
        raise RuntimeError(f"{command[0]} failed: {done.stderr.strip()[-200:]}")


_TALKERS: dict[str, Callable[[Sequence[str], Jobs], None]] = {
    "espeak-ng": _espeak,
    "flite": _flite,
    "festival": _festival,
    "piper": partial(_neural, "piper"),
    "kokoro": partial(_neural, "kokoro"),
}
