"""PocketSphinx, narrowed by a JSGF grammar: small, ready right after install.

In grammar mode it finds some path through anything, and is as sure of a cough as of a reading: it
can agree with another engine or not, and alone it must not be trusted with noise. (A way out over
single phones was tried: it took most readings in noise with it, and ten times the time.)
"""

from __future__ import annotations

import time
from typing import Any

import numpy as np

from assistant.voice.devices.audio import Samples
from assistant.voice.recognition.automaton import minimal
from assistant.voice.recognition.grammar import Grammar
from assistant.voice.recognition.recognizer import EngineError, Hearing, Hypothesis

SPOKEN = {
    # The dictionary has only the pronoun; a thousandth is said with the th of "thousand".
    "thou": "TH AW",
    "chocks": "CH AA K S",
    "chocked": "CH AA K T",
    "lubed": "L UW B D",
    "torqued": "T AO R K T",
    "remeasure": "R IY M EH ZH ER",
    "doesnt": "D AH Z AH N T",
    "woah": "W OW",
    "dont": "D OW N T",
    "chatters": "CH AE T ER Z",
    "frays": "F R EY Z",
    "pushrod": "P UH SH R AA D",
    "unsynchronized": "AH N S IH NG K R AH N AY Z D",
    "synchronised": "S IH NG K R AH N AY Z D",
}
"""Pronunciations that the packaged dictionary lacks. Ours, no source."""
HMMS = 1_000
"""Models kept a frame: in noise nothing stands out, and the search would go through all of them."""
MADE = 8
"""Automata that the decoder keeps."""
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
        self.decoder: Any = Decoder(loglevel="FATAL", lm=None, samprate=16000, maxhmmpf=HMMS)
        self._known: set[str] = set()
        self._random = np.random.default_rng(1)
        self._made: list[str] = []
        self._frames: list[Samples] = []

    def expect(self, grammar: Grammar) -> None:
        """Narrow recognition to `grammar`."""
        self.reset()
        grammar = grammar.core or grammar
        self._learn(grammar)
        if grammar.name not in self._made:
            self.decoder.add_fsg(grammar.name, self._fsg(grammar))
            self._made.append(grammar.name)
        self.decoder.activate_search(grammar.name)
        if len(self._made) > MADE:
            oldest = next(name for name in self._made if name != grammar.name)
            self._made.remove(oldest)
            self.decoder.remove_search(oldest)

    def _fsg(self, grammar: Grammar) -> Any:
        net = minimal(grammar)
        end = net.states
        arcs: list[tuple[Any, ...]] = [(arc.start, arc.end, 1.0, arc.word) for arc in net.arcs]
        arcs += [(final, end, 1.0) for final in net.finals]
        return self.decoder.create_fsg(grammar.name, 0, end, arcs)

    def feed(self, frame: Samples) -> str:
        """Keep the frame: noise is told from speech best over a whole utterance."""
        self._frames.append(frame)
        return ""

    def finish(self) -> Hearing:
        """Recognize what was fed: one hypothesis, or none."""
        begun = time.perf_counter()
        if not self._frames:
            return Hearing(self.name)
        samples = np.concatenate(self._frames)
        self._frames.clear()
        noise = self._random.uniform(-_DITHER, _DITHER, len(samples))
        pcm = (np.clip(samples + noise, -1, 1) * 32767).astype(np.int16)
        self.decoder.start_utt()
        self.decoder.process_raw(pcm.tobytes(), False, True)
        self.decoder.end_utt()
        hyp = self.decoder.hyp()
        words = hyp.hypstr if hyp is not None else ""
        found = (Hypothesis(words, float(hyp.score)),) if words else ()
        return Hearing(self.name, found, seconds=time.perf_counter() - begun)

    def reset(self) -> None:
        """Forget the frames."""
        self._frames.clear()

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
            f"nobody knows how {word!r} sounds; add it to SPOKEN in "
            "assistant/voice/recognition/sphinx.py, or take it out of the dialogs"
        )
