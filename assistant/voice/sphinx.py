"""PocketSphinx, narrowed by a JSGF grammar: small, streaming, ready right after install.

In grammar mode it always finds some path, and is as sure of a cough as of a reading. So the grammar
gets a way out: a loop over single phones, which any sound can take at a price.
"""

from __future__ import annotations

import time
from typing import Any

import numpy as np

from .audio import Samples
from .automaton import minimal
from .engine import EngineError
from .grammar import Grammar
from .heard import Hearing, Hypothesis

PHONES = (
    "AA AE AH AO AW AY B CH D DH EH ER EY F G HH IH IY JH K L M N NG OW OY P R S SH T TH UH UW V "
    "W Y Z ZH"
).split()
"""The phone set of the CMU Pronouncing Dictionary, which the packaged model uses."""
SPOKEN = {
    # The dictionary has only the pronoun; a thousandth is said with the th of "thousand".
    "thou": "TH AW",
    "chocks": "CH AA K S",
    "chocked": "CH AA K T",
    "lubed": "L UW B D",
    "torqued": "T AO R K T",
    "remeasure": "R IY M EH ZH ER",
    "doesnt": "D AH Z AH N T",
}
"""Pronunciations that the packaged dictionary lacks. Ours, no source."""
OUT_WEIGHT = 1e-3
OUT_STEP = 1e-1
"""Probability of going the way out, and of each phone more; set on the tuning voices."""
_DITHER = 1.0 / 32768  # digital silence upsets the feature extraction


class SphinxEngine:
    """PocketSphinx with its packaged English model.

    Raises:
        EngineError: the library or its model is missing.
    """

    name = "sphinx"

    def __init__(self) -> None:
        try:
            from pocketsphinx import Decoder
        except ImportError as error:
            raise EngineError("pocketsphinx is not installed; pip install pocketsphinx") from error
        self.decoder: Any = Decoder(loglevel="FATAL", lm=None, samprate=16000)
        self._known: set[str] = set()
        self._random = np.random.default_rng(1)
        self._made: dict[str, Grammar] = {}
        self._begun = False
        self._spent = 0.0
        for phone in PHONES:
            self.decoder.add_word(_out(phone), phone, False)

    def expect(self, grammar: Grammar) -> None:
        """Narrow recognition to `grammar`."""
        self.reset()
        self._learn(grammar)
        if grammar.name not in self._made:
            self.decoder.add_fsg(grammar.name, self._fsg(grammar))
            self._made[grammar.name] = grammar
        self.decoder.activate_search(grammar.name)

    def _fsg(self, grammar: Grammar) -> Any:
        net = minimal(grammar)
        end = net.states
        loop = end + 1
        arcs: list[tuple[Any, ...]] = [(arc.start, arc.end, 1.0, arc.word) for arc in net.arcs]
        arcs += [(final, end, 1.0) for final in net.finals]
        arcs += [(0, loop, OUT_WEIGHT, _out(phone)) for phone in PHONES]
        arcs += [(loop, loop, OUT_STEP, _out(phone)) for phone in PHONES]
        arcs.append((loop, end, 1.0))
        return self.decoder.create_fsg(grammar.name, 0, end, arcs)

    def feed(self, frame: Samples) -> str:
        """Decode the next frame; the words so far."""
        begun = time.perf_counter()
        if not self._begun:
            self.decoder.start_utt()
            self._begun = True
            self._spent = 0.0
        noise = self._random.uniform(-_DITHER, _DITHER, len(frame))
        pcm = (np.clip(frame + noise, -1, 1) * 32767).astype(np.int16)
        self.decoder.process_raw(pcm.tobytes(), False, False)
        self._spent += time.perf_counter() - begun
        return ""

    def finish(self) -> Hearing:
        """End the utterance: one hypothesis, or none."""
        begun = time.perf_counter()
        if not self._begun:
            return Hearing(self.name)
        self.decoder.end_utt()
        self._begun = False
        hyp = self.decoder.hyp()
        words = hyp.hypstr.split() if hyp is not None else []
        seconds = self._spent + time.perf_counter() - begun
        inside = [word for word in words if not word.startswith("out_")]
        if not inside or len(inside) < len(words):
            return Hearing(self.name, seconds=seconds)
        return Hearing(
            self.name, (Hypothesis(" ".join(inside), float(hyp.score)),), seconds=seconds
        )

    def reset(self) -> None:
        """Forget the utterance begun."""
        if self._begun:
            self.decoder.end_utt()
            self._begun = False

    def _learn(self, grammar: Grammar) -> None:
        """Give the decoder the words it lacks."""
        for word in grammar.words():
            if word in self._known:
                continue
            self._known.add(word)
            if word in SPOKEN:
                spelled = f"{word}(2)" if self.decoder.lookup_word(word) else word
                self.decoder.add_word(spelled, SPOKEN[word], True)
            elif self.decoder.lookup_word(word) is None:
                self.decoder.add_word(word, self._guess(word), True)

    def _guess(self, word: str) -> str:
        """A pronunciation by parts: "brake's" as "brake" and an s."""
        stem, mark, ending = word.partition("'")
        known = self.decoder.lookup_word(stem)
        if known and mark and ending == "s":
            last = known.split()[-1]
            return f"{known} {'S' if last in ('P', 'T', 'K', 'F', 'TH') else 'Z'}"
        raise EngineError(
            f"nobody knows how {word!r} sounds; add it to SPOKEN in assistant/voice/sphinx.py, "
            "or take it out of the dialogs"
        )


def _out(phone: str) -> str:
    return f"out_{phone.lower()}"
