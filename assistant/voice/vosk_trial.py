"""Loading a vosk model once in a process of its own, to see whether it can be loaded at all.

vosk answers some damage with an exception and some with a crash that would take the whole job along
(found by trying: a cut `HCLr.fst`, an empty `model.conf`). The answer is kept in the user's cache
folder for as long as the model's files stay as they are, since a trial takes as long as a start.
"""

from __future__ import annotations

import hashlib
import json
import subprocess
import sys
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

import platformdirs

from .engine import EngineError

LONGEST_S = 120
_CODE = """
import json, sys, vosk
vosk.SetLogLevel(-1)
model = vosk.Model(sys.argv[1])
words = json.loads(sys.argv[2])
recognizer = vosk.KaldiRecognizer(model, 16000, json.dumps(words))
recognizer.AcceptWaveform(bytes(32000))
recognizer.FinalResult()
print(json.dumps([word for word in words if model.vosk_model_find_word(word) >= 0]))
"""


def known(folder: Path, words: tuple[str, ...]) -> frozenset[str]:
    """Which of `words` the model in `folder` has in its vocabulary.

    Raises:
        EngineError: vosk is not installed, or cannot load the model.
    """
    try:
        mark = _mark(folder, (version("vosk"), *words))
    except PackageNotFoundError:
        raise EngineError("vosk is not installed; pip install vosk") from None
    kept = Path(platformdirs.user_cache_dir("lugcall", appauthor=False)) / f"vosk-{mark}.json"
    try:
        return frozenset(json.loads(kept.read_text(encoding="utf-8")))
    except (OSError, ValueError, TypeError):
        pass  # not tried yet
    found = _tried(folder, words)
    try:
        kept.parent.mkdir(parents=True, exist_ok=True)
        kept.write_text(json.dumps(found), encoding="utf-8")
    except OSError:
        pass  # then it is tried again next time
    return frozenset(found)


def _tried(folder: Path, words: tuple[str, ...]) -> list[str]:
    command = [sys.executable, "-c", _CODE, str(folder), json.dumps(words)]
    try:
        done = subprocess.run(command, capture_output=True, text=True, timeout=LONGEST_S)
    except subprocess.TimeoutExpired:
        raise EngineError(
            f"the vosk model in {folder} took over {LONGEST_S} s to load; use a smaller one"
        ) from None
    if done.returncode:
        raise EngineError(
            f"the vosk model in {folder} is damaged, vosk cannot load it; "
            "unpack its archive again and compare checksums (models_readme says how)"
        )
    return list(json.loads(done.stdout.splitlines()[-1]))


def _mark(folder: Path, more: tuple[str, ...]) -> str:
    """Changes whenever a file of the model, its name, size or time, does."""
    seen = [str(folder.resolve()), *more]
    for path in sorted(folder.rglob("*")):
        if path.is_file():
            state = path.stat()
            seen.append(f"{path.relative_to(folder)} {state.st_size} {state.st_mtime_ns}")
    return hashlib.sha256("\n".join(seen).encode()).hexdigest()[:16]
