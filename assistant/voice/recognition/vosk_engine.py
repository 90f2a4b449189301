"""Loading a vosk model once in a process of its own, to see whether it can be loaded at all.

vosk answers some damage with an exception and some with a crash that would take the whole job along
(found by trying: a cut `HCLr.fst`, an empty `model.conf`). The answer is kept in the user's cache
folder for as long as the model's files stay as they are, since a trial takes as long as a start.
"""

from __future__ import annotations

import hashlib
import importlib
import json
import math
import random
import subprocess
import sys
import time
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

import numpy as np
import platformdirs

from assistant.voice.devices.audio import RATE, Samples
from assistant.voice.recognition import ears as rivals
from assistant.voice.recognition import models
from assistant.voice.recognition.grammar import Grammar
from assistant.voice.recognition.recognizer import EngineError, Hearing

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


# --- vosk: streaming, narrowed to what may be said, with rival hypotheses.
#
# What the runtime (0.3.45) does with a grammar, read in its source and tried: it takes a list of
# sentences and makes of them a graph of word pairs, so it hears any chain of known words, the
# listed pairs more readily. A word that is not in the model's vocabulary is dropped from its
# sentence with a line on standard error. So sentences are drawn from our grammar to teach it the
# pairs, and what it hears must then be a sentence of the grammar, or it is no hypothesis. Rivals
# come with a log likelihood but without word confidences; those are worked out from the rivals.

OUT = ("[unk]", "<unk>", "<UNK>", "<SPOKEN_NOISE>")
"""How models spell the word that stands for every other; a model has one or two of these."""
SENTENCES = 2000
"""Drawn from a grammar to teach word pairs; a graph of so many is built in 0.02 s."""
OUT_SHARE = 0.05
"""Share of the way out among the sentences. A guess: there was no English model to set it on."""
ALTERNATIVES = 10
_KEPT = 16  # graphs kept ready: a step comes back, and the second use of a graph is quicker


class VoskEngine:
    """A vosk model behind the engine interface.

    Args:
        folder: the model's folder, as `models.vosk_folder` gives it. Its language is not asked.

    Attributes:
        unknown_words: words of the grammar in force that the model does not know; what holds
            them cannot be heard.
        ended: whether vosk's own rule says that the speaker has stopped (trailing silence).

    Raises:
        EngineError: the model cannot be used; the message says what to do.
    """

    name = "vosk"

    def __init__(self, folder: Path) -> None:
        models.vosk_words(folder)  # whole, and known to load without a crash
        vosk = importlib.import_module("vosk")
        vosk.SetLogLevel(-1)
        self._recognizer_of: Any = vosk.KaldiRecognizer
        try:
            self._model: Any = vosk.Model(str(folder))
        except Exception as error:  # the library raises bare Exception
            raise EngineError(f"vosk cannot load {folder}; unpack its archive again") from error
        self._out = tuple(word for word in OUT if self._knows(word))
        self._ready: dict[str, tuple[Grammar, Any, tuple[str, ...]]] = {}
        self._next: Grammar | None = None
        self._grammar: Grammar | None = None
        self._recognizer: Any = None
        self._begun = False
        self._spent = 0.0
        self.unknown_words: tuple[str, ...] = ()
        self.ended = False

    def expect(self, grammar: Grammar) -> None:
        """Narrow recognition to `grammar` from the next utterance on.

        Raises:
            EngineError: the model knows no sentence of it.
        """
        self._next = grammar
        if not self._begun:
            self._turn_to_next()

    def feed(self, frame: Samples) -> str:
        """Decode the next frame; the words so far."""
        begun = time.perf_counter()
        if self._recognizer is None:
            raise RuntimeError("expect() comes before the first utterance")
        if not self._begun:
            self._begun, self._spent = True, 0.0
        pcm = (np.clip(frame, -1, 1) * 32767).astype("<i2").tobytes()
        self.ended = bool(self._recognizer.AcceptWaveform(pcm))
        words = json.loads(self._recognizer.PartialResult())["partial"].split()
        self._spent += time.perf_counter() - begun
        return " ".join(word for word in words if word not in self._out)

    def finish(self) -> Hearing:
        """End the utterance: its hypotheses, best first; none when the way out was better.

        `free` is the best chain of words, whether or not it is a sentence of the grammar. Marks:
        see `rivals.weighed`.
        """
        begun = time.perf_counter()
        if not self._begun or self._grammar is None:
            return Hearing(self.name)
        answer = json.loads(self._recognizer.FinalResult())
        found = rivals.weighed(answer["alternatives"], self._grammar.accepts, self._out)
        self._settle()
        return Hearing(
            self.name,
            found.hypotheses,
            found.free,
            found.free_score,
            found.marks,
            self._spent + time.perf_counter() - begun,
        )

    def reset(self) -> None:
        """Forget the utterance begun."""
        if self._begun:
            self._recognizer.FinalResult()  # `Reset` would keep its sound for the next one
        self._settle()

    def _settle(self) -> None:
        self._begun = self.ended = False
        self._turn_to_next()

    def _turn_to_next(self) -> None:
        grammar, self._next = self._next, None
        if grammar is None:
            return
        kept = self._ready.pop(grammar.name, None)
        if kept is None or kept[0] is not grammar:
            kept = (grammar, *self._made(grammar))
        self._ready[grammar.name] = kept
        if len(self._ready) > _KEPT:
            del self._ready[next(iter(self._ready))]
        self._grammar, self._recognizer, self.unknown_words = kept

    def _made(self, grammar: Grammar) -> tuple[Any, tuple[str, ...]]:
        unknown = {word for word in grammar.words() if not self._knows(word)}
        drawn = grammar.sentences(SENTENCES, random.Random(1))
        sentences = [text for text in drawn if not unknown.intersection(text.split())]
        if not sentences:
            raise EngineError(
                f"the vosk model knows too few words for {grammar.name}, "
                f"not even {sorted(unknown)[0]!r}; use a bigger one"
            )
        said = {word for text in sentences for word in text.split()}
        sentences += [w for w in grammar.words() if w not in said and w not in unknown]
        sentences += self._out * math.ceil(OUT_SHARE * len(sentences))
        # vosk does not undo JSON's escapes, so that letters beyond ASCII must stand as they are.
        text = json.dumps(sentences, ensure_ascii=False)
        recognizer = self._recognizer_of(self._model, RATE, text)
        recognizer.SetMaxAlternatives(ALTERNATIVES)
        recognizer.SetWords(True)
        return recognizer, tuple(sorted(unknown))

    def _knows(self, word: str) -> bool:
        return int(self._model.vosk_model_find_word(word)) >= 0
