"""Whisper, narrowed to what may be said: CTranslate2 hears, our own search reads.

CTranslate2 runs the encoder on just as much sound as there is: a Whisper model is trained on 30 s
windows, but its encoder takes fewer frames, and most of the time goes there.
"""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

import numpy as np

from .audio import RATE, Samples
from .engine import EngineError
from .grammar import Grammar
from .heard import Hearing, Hypothesis
from .token_net import TokenNet
from .whisper_decoder import Array, Decoder
from .whisper_search import Ends, Search

COMMON = 8_000
"""Tokens always kept: byte-pair merges are numbered by how common they are."""
PAD_S = (0.25, 0.75)
"""Silence put before and after; the model was trained on windows that end in silence."""
STEP_S = 1.0
"""The window is a whole number of these, so that few shapes are ever run."""
MAX_S = 12.0
PROMPT = "nine sixteenths shy, four eighty five, half inch, check, three lugs tighter, done"


class WhisperEngine:
    """A Whisper model behind the engine interface.

    Args:
        folder: a CTranslate2 model: config.json, model.bin, tokenizer.json, vocabulary.txt.
        threads: processor threads for the encoder.

    Raises:
        EngineError: the model cannot be used; the message says what to do.
    """

    name = "whisper"

    def __init__(self, folder: Path, threads: int = 2) -> None:
        import ctranslate2
        import tokenizers
        from faster_whisper.feature_extractor import FeatureExtractor
        from threadpoolctl import threadpool_limits

        # The matrices here are small: a second BLAS thread costs more than it brings.
        self._limit = threadpool_limits
        try:
            self.model = ctranslate2.models.Whisper(
                str(folder), compute_type="int8", intra_threads=threads
            )
            self.tokenizer: Any = tokenizers.Tokenizer.from_file(str(folder / "tokenizer.json"))
        except Exception as error:  # the two libraries raise bare RuntimeError and Exception
            raise EngineError(
                f"the Whisper model in {folder} cannot be loaded; copy it again, all four files"
            ) from error
        self.features = FeatureExtractor()
        special = self.tokenizer.token_to_id
        self.sot, self.eot = special("<|startoftranscript|>"), special("<|endoftext|>")
        self._special = [
            special("<|startofprev|>"), self.sot, special("<|notimestamps|>")
        ]  # fmt: skip
        kept = np.unique([*range(COMMON), self.eot, *self._trade_tokens()])
        decoder = Decoder(folder / "model.bin", kept)
        at = {int(token): n for n, token in enumerate(kept)}
        soft = tuple(at[self._ids(sign)[0]] for sign in (".", ",", "!", "?"))
        self.search = Search(decoder, Ends(at[self.eot], soft))
        self.decoder = decoder
        self._spelled: dict[str, tuple[int, ...]] = {}
        self._frames: list[Samples] = []
        self._net: TokenNet | None = None

    def expect(self, grammar: Grammar) -> None:
        """Narrow the search to `grammar`."""
        self._net = TokenNet(grammar.start, self._spell)
        self._prompt = [
            self._special[0], *self._ids(" " + PROMPT + "."), self._special[1], self._special[2]
        ]  # fmt: skip

    def feed(self, frame: Samples) -> str:
        """Keep the frame."""
        self._frames.append(frame)
        return ""

    def reset(self) -> None:
        """Forget the frames."""
        self._frames.clear()

    def finish(self) -> Hearing:
        """Recognize what was fed."""
        samples = np.concatenate(self._frames) if self._frames else np.zeros(0, np.float32)
        self.reset()
        return self.hear(samples)

    def hear(self, samples: Samples) -> Hearing:
        """Recognize one utterance."""
        begun = time.perf_counter()
        if self._net is None:
            raise RuntimeError("expect() comes before the first utterance")
        with self._limit(limits=1, user_api="blas"):
            encoded = self.encode(samples)
            found = self.search.run(self.decoder.listen(encoded), self._prompt, self._net.start)
        return Hearing(
            self.name,
            tuple(Hypothesis(self._text(tokens), score) for tokens, score in found.inside),
            self._text(found.free),
            found.free_score,
            {},
            time.perf_counter() - begun,
        )

    def encode(self, samples: Samples) -> Array:
        """The encoder's output, shape (frames, width)."""
        import ctranslate2

        before, after = (int(s * RATE) for s in PAD_S)
        samples = samples[: int(MAX_S * RATE)]
        step = int(STEP_S * RATE)
        whole = -(-(before + len(samples) + after) // step) * step
        padded = np.zeros(whole, np.float32)
        padded[before : before + len(samples)] = samples
        features = self.features(padded, padding=0)[None, :, : whole // 160]
        view = ctranslate2.StorageView.from_array(np.ascontiguousarray(features, dtype=np.float32))
        return np.array(self.model.encode(view), dtype=np.float32)[0]

    def _ids(self, text: str) -> list[int]:
        return list(self.tokenizer.encode(text, add_special_tokens=False).ids)

    def _spell(self, word: str) -> tuple[int, ...]:
        if word not in self._spelled:
            self._spelled[word] = tuple(self._ids(" " + word))
        return self._spelled[word]

    def _text(self, tokens: list[int]) -> str:
        return str(self.tokenizer.decode(tokens)).strip()

    def _trade_tokens(self) -> list[int]:
        from assistant.readings.lexicon import LEXICON

        words = [word for word in LEXICON if word.isascii()]
        return [token for word in words for token in self._ids(" " + word)]
