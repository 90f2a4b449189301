"""vosk, narrowed to what may be said, with rival hypotheses of one utterance.

What the runtime (0.3.45) does with a grammar, read in its source and tried: it takes a list of
sentences and makes of them a graph of word pairs, so it hears any chain of known words, the
listed pairs more readily. A word that is not in the model's vocabulary is dropped from its
sentence with a line on standard error. So sentences are drawn from our grammar to teach it the
pairs, and what it hears must then be a sentence of the grammar, or it is no hypothesis.
"""

from __future__ import annotations

import json
import math
import random
import time
from collections.abc import Callable, Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from assistant.voice.devices.audio import RATE, Samples
from assistant.voice.recognition.grammar import Grammar
from assistant.voice.recognition.recognizer import Hearing, Hypothesis, RecognizerError

OUT = ("[unk]", "<unk>", "<UNK>", "<SPOKEN_NOISE>")
"""How models spell the word that stands for every other; a model has one or two of these."""
SENTENCES = 2000
"""Drawn from a grammar to teach word pairs; a graph of so many is built in 0.02 s."""
OUT_SHARE = 0.05
"""Share of `OUT` among the sentences. A guess: there was no English model to set it on."""
ALTERNATIVES = 10
GRAPHS = 16
"""Graphs kept ready: a step comes back, and the second use of a graph is quicker."""


class VoskRecognizer:
    """A vosk model behind the interface, from a folder as `models.vosk_folder` found it whole;
    `RecognizerError` when it cannot be used."""

    name = "vosk"

    def __init__(self, folder: Path) -> None:
        import vosk

        vosk.SetLogLevel(-1)
        try:
            self._model: Any = vosk.Model(str(folder))
        except Exception as error:  # the library raises bare Exception
            raise RecognizerError(f"vosk cannot load {folder}; unpack its archive again") from error
        self._out = tuple(word for word in OUT if self._knows(word))
        self._narrowed = lru_cache(GRAPHS)(self._made)

    def expect(self, grammar: Grammar) -> None:
        """Narrow recognition to `grammar`; what holds words unknown to the model is not heard, and
        it is a `RecognizerError` when nothing is left."""
        self._grammar, self._recognizer = grammar, self._narrowed(grammar)

    def hear(self, samples: Samples) -> Hearing:
        """One utterance: its hypotheses, best first, and its marks by `ranked`; `free` is the best
        chain of words, whether or not it is a sentence of the grammar."""
        begun = time.perf_counter()
        pcm = (np.clip(samples, -1, 1) * 32767).astype("<i2").tobytes()
        self._recognizer.AcceptWaveform(pcm)
        rivals = json.loads(self._recognizer.FinalResult())["alternatives"]
        found = ranked(rivals, self._grammar.accepts, self._out)
        return Hearing(self.name, *found, time.perf_counter() - begun)

    def _made(self, grammar: Grammar) -> Any:
        from vosk import KaldiRecognizer

        unknown = {word for word in grammar.vocabulary if not self._knows(word)}
        drawn = grammar.sentences(SENTENCES, random.Random(1))
        sentences = [text for text in drawn if not unknown.intersection(text.split())]
        if not sentences:
            raise RecognizerError(
                f"the vosk model knows too few words for {grammar.name}, "
                f"not even {sorted(unknown)[0]!r}; use a bigger one"
            )
        said = {word for text in sentences for word in text.split()}
        sentences += [w for w in grammar.vocabulary if w not in said and w not in unknown]
        sentences += self._out * math.ceil(OUT_SHARE * len(sentences))
        # vosk does not undo JSON's escapes, so that letters beyond ASCII must stand as they are.
        text = json.dumps(sentences, ensure_ascii=False)
        recognizer = KaldiRecognizer(self._model, RATE, text)
        recognizer.SetMaxAlternatives(ALTERNATIVES)
        return recognizer

    def _knows(self, word: str) -> bool:
        return int(self._model.vosk_model_find_word(word)) >= 0


def ranked(
    alternatives: Sequence[dict[str, Any]], accepts: Callable[[str], bool], out: Sequence[str]
) -> tuple[tuple[Hypothesis, ...], str, float | None, dict[str, float]]:
    """Rank vosk's alternatives, each with `text` and `confidence` (log likelihood), that are
    sentences; none, when the best holds a word of `out`. Gives the hypotheses of a `Hearing`, its
    free words, their score, and the marks.

    Marks, all 0 to 1: `inside`, the share of sentences among the rivals, by likelihood;
    `posterior`, that of the first hypothesis; `out`, that `out` was best.
    """
    rivals = sorted(alternatives, key=lambda a: -float(a["confidence"]))
    if not rivals or not rivals[0]["text"]:
        return (), "", None, {}
    best, top = rivals[0], float(rivals[0]["confidence"])
    if not {*out}.isdisjoint(best["text"].split()):
        return (), "", None, {"out": 1.0}
    total = sum(math.exp(float(a["confidence"]) - top) for a in rivals)
    scores: dict[str, float] = {}
    shares: dict[str, float] = {}
    for a in rivals:  # one text may come by several paths
        text, score = a["text"], float(a["confidence"])
        scores.setdefault(text, score)
        shares[text] = shares.get(text, 0.0) + math.exp(score - top) / total
    said = [t for t in scores if accepts(t) and {*out}.isdisjoint(t.split())]
    marks = {"inside": sum((shares[text] for text in said), 0.0)}
    if said:
        marks["posterior"] = shares[said[0]]
    hypotheses = tuple(Hypothesis(text, scores[text]) for text in said)
    return hypotheses, best["text"], top, marks
