"""Whisper, narrowed to what may be said: CTranslate2 hears, our own search reads.

CTranslate2 runs the encoder on just as much sound as there is: a Whisper model is trained on 30 s
windows, but its encoder takes fewer frames, and most of the time goes there.
"""

from __future__ import annotations

import tempfile
import time
from collections.abc import Mapping, Sequence
from functools import cache, cached_property, lru_cache, partial
from pathlib import Path
from typing import Any

import ctranslate2
import numpy as np
import numpy.typing as npt
import soxr
from threadpoolctl import threadpool_limits
from tokenizers import Tokenizer

from assistant import named_file
from assistant.readings.language import LEXICON
from assistant.voice.devices.audio import FAINT, RATE, Samples
from assistant.voice.recognition import whisper_model
from assistant.voice.recognition.grammar import Grammar, over_tokens
from assistant.voice.recognition.recognizer import Hearing, Hypothesis, RecognizerError
from assistant.voice.recognition.whisper_model import Array, Decoder, Memory, Sound
from assistant.voice.recognition.whisper_search import Ends, Scored, Search

COMMON = 3_000
"""Tokens always kept: byte-pair merges are numbered by how common they are."""
LEAD_S = 0.1
"""Silence put before the words; the rest of the window comes after them."""
WINDOW_S = 10.0
"""The encoder's window for weights as they come. Measured on the tuning voices: as good as the 30 s
of training, at a third of the time; 5 s and less lose a third of the readings."""
WINDOWS_S = (5.0, 6.0, 7.0, 8.0, 10.0, 12.0)
"""Windows of the adapted decoder, which learnt in them; the shortest that holds the words."""
AFTER_S = 0.5
"""Silence that it wants after the words."""
MAX_S = 12.0
ENGLISH_TOKENS = 51_864
"""Of an English-only model; one of many languages has more."""
PROMPT = "nine sixteenths, four eighty five, check, done"
"""What was said before, as far as the model knows: it then spells numbers in small letters."""
NOTE_PROMPT = (
    "A note on the clutch: spring broken, linkage worn, bolts loose. "
    "Accept because the bushing is loose."
)
"""The same for free words. Of 32 notes in the tuning voices at 20 dB, 39 % of the words came out
wrong with it and 52 % without."""
PRIOR = 0.45
SHOP_PRIOR = 0.25
"""How much of the model's own liking for a phrase, whatever was heard, is taken off its score.
The adapted decoder has learnt how often the shop says what. Set on the tuning voices: as the
weights come, 0.3 to 0.6 are alike and 0 loses a quarter of the readings."""
DOUBT = 3.0
"""Natural-log units between the two best below which the sound is listened to again, slower."""
SLOWER = 0.9
"""Speed of the second listening. Of 162 readings in voices the decoder was not adapted with, at 20,
10 and 5 dB, 141 came out first with it, 133 without, 137 when it is quicker instead (1.1)."""
GRAMMARS = 8
"""Grammars whose automata over tokens are kept."""
KEPT = 8
"""Hypotheses of the search that are scored in full."""


def _opened(folder: Path, threads: int) -> Any:
    """The model in CTranslate2."""
    return ctranslate2.models.Whisper(str(folder), compute_type="int8", intra_threads=threads)


def _adapted(
    folder: Path, threads: int, halves: Sequence[Path], changes: Path, share: float
) -> tuple[Any, Decoder]:
    """The same with the changes made, and our decoder of it.

    CTranslate2 takes weights from a file one after the other, but holds those it is given in memory
    several times over: so the changed file lies in the temporary folder while it is loaded.
    """
    weights = whisper_model.WeightsFile(*(halves or [folder / "model.bin"]))
    weights.change(whisper_model.adapted(weights.variables, changes, share))
    decoder = Decoder(weights.decoder())
    with tempfile.TemporaryDirectory(prefix="lugcall-", ignore_cleanup_errors=True) as name:
        try:
            for path in folder.iterdir():
                if path.suffix in (".json", ".txt"):
                    (Path(name) / path.name).write_bytes(named_file.whole(path))
            weights.write(Path(name) / "model.bin")
        except OSError:
            raise RecognizerError(
                f"the ears need 160 MB of room for a moment in {Path(name).parent}; "
                "make room there, or name another folder in TMPDIR"
            ) from None
        del weights  # it takes more room than the model
        return _opened(Path(name), threads), decoder


class _Notes:
    """Free words, by weights as they come: adapted ones expect readings everywhere."""

    def __init__(self, model: Any, tokenizer: Any) -> None:
        self._model, self._tokenizer = model, tokenizer
        known = tokenizer.get_vocab()
        asked = tokenizer.encode(" " + NOTE_PROMPT, add_special_tokens=False).ids
        self._prompt = [known["<|startofprev|>"], *asked, *_begin(known)]

    def write(self, samples: Samples) -> str:
        view = _view(full_spectrum(samples[: int(MAX_S * RATE)]))
        found = self._model.generate(view, [self._prompt], beam_size=5, max_length=60)
        return str(self._tokenizer.decode(list(found[0].sequences_ids[0]))).strip()


def _begin(known: Mapping[str, int]) -> list[int]:
    """The tokens that begin what was said. A model of many languages is told which one it is, and
    that nothing is to be translated."""
    task = () if len(known) < ENGLISH_TOKENS else ("en", "transcribe")
    return [known[f"<|{name}|>"] for name in ("startoftranscript", *task, "notimestamps")]


def _view(spectrum: Array) -> Any:
    """A spectrum, shape (80, frames), as CTranslate2 takes a batch of one."""
    batch = np.ascontiguousarray(spectrum[None], dtype=np.float32)
    return ctranslate2.StorageView.from_array(batch)


class WhisperRecognizer:
    """A Whisper model behind the interface; `RecognizerError` when it cannot be used.

    Args:
        folder: a CTranslate2 model: config.json, model.bin, tokenizer.json, vocabulary.txt.
        threads: for the encoder.
        shop: the weights are those that the changes of `whisper_shop` fit, and these are made.
        changes: another file of changes than the one that comes with lugcall.
        share: how much of each change is made.
        halves: the files that hold the weights where there is no model.bin in the folder.
        notes: a folder of other weights, which write free words.
    """

    def __init__(
        self,
        folder: Path,
        threads: int = 2,
        shop: bool = False,
        changes: Path | None = None,
        share: float = whisper_model.SHARE,
        halves: Sequence[Path] = (),
        notes: Path | None = None,
    ) -> None:
        self.name = "whisper-base" if halves else "whisper"
        self._writes = notes or folder
        self._open = partial(_opened, self._writes, threads)
        try:
            if shop:
                fitting = whisper_model.BASE_CHANGES if halves else whisper_model.CHANGES
                self.model, self.decoder = _adapted(
                    folder, threads, halves, changes or fitting, share
                )
            else:
                weights = whisper_model.WeightsFile(folder / "model.bin")
                self.model, self.decoder = self._open(), Decoder(weights.decoder())
            self.tokenizer = Tokenizer.from_file(str(folder / "tokenizer.json"))
        except RecognizerError:
            raise
        except Exception as error:  # the two libraries raise bare RuntimeError and Exception
            raise RecognizerError(
                f"the Whisper model in {folder} cannot be loaded; copy it again, all four files"
            ) from error
        self._free = None if shop else _Notes(self.model, self.tokenizer)
        known = self.tokenizer.get_vocab()
        self._begin, self.eot = _begin(known), known["<|endoftext|>"]
        self.no_speech = known.get("<|nospeech|>") or known["<|nocaptions|>"]
        self.shop = shop
        before = [] if shop else [known["<|startofprev|>"], *self._ids(f" {PROMPT}.")]
        self._prompt = [*before, *self._begin]
        self._spell = cache(lambda word: tuple(self._ids(" " + word)))
        trade = (token for word in LEXICON if word.isascii() for token in self._spell(word))
        self._keep({*range(COMMON), self.eot, self.no_speech, *trade})
        self._started = lru_cache(GRAMMARS)(lambda grammar: over_tokens(grammar.start, self._spell))

    def _keep(self, tokens: set[int]) -> None:
        """Let these tokens come out, and no others."""
        self._kept = tokens
        self.decoder.keep(np.array(sorted(tokens)))
        at = {int(token): n for n, token in enumerate(self.decoder.kept)}
        soft = tuple(at[self._ids(sign)[0]] for sign in (".", ",", "!", "?"))
        self.search = Search(self.decoder, Ends(at[self.eot], soft, at[self.no_speech]))
        self._likings: dict[tuple[int, ...], float] = {}

    def expect(self, grammar: Grammar) -> None:
        """Narrow the search to `grammar`."""
        tokens = {token for word in grammar.vocabulary for token in self._spell(word)}
        if not tokens <= self._kept:
            self._keep(self._kept | tokens)
        self._start = self._started(grammar)

    def hear(self, samples: Samples) -> Hearing:
        """Recognize one utterance."""
        begun = time.perf_counter()
        # The matrices here are small: a second BLAS thread costs more than it brings.
        with threadpool_limits(limits=1, user_api="blas"):
            encoded = self.encode(samples)
            found = self.search.run(self.decoder.listen(encoded), self._prompt, self._start)
            inside = found.inside[:KEPT]
            ranked = self._without_liking(inside)
            if len(ranked) > 1 and ranked[0][1] - ranked[1][1] < DOUBT:
                ranked = self._without_liking(self._heard_slower(inside, samples))
        marks = {"no_speech": found.no_speech} if inside and self.shop else {}
        if inside:
            marks |= {"inside": inside[0][1], "tokens": float(len(inside[0][0]))}
        hypotheses = tuple(Hypothesis(self._text(tokens), score) for tokens, score in ranked)
        free, seconds = self._text(found.free), time.perf_counter() - begun
        return Hearing(self.name, hypotheses, free, found.free_score, marks, seconds)

    def _heard_slower(self, inside: Scored, samples: Samples) -> Scored:
        """The same hypotheses, each with the mean of its scores as heard and as heard slower."""
        slower = np.asarray(soxr.resample(samples, RATE, RATE / SLOWER), dtype=np.float32)
        again = self._scored(*self._prompted(slower), [tokens for tokens, _ in inside])
        return [(t, (s + other) / 2) for (t, s), other in zip(inside, again, strict=True)]

    def _scored(self, sound: Sound, memory: Memory, lists: list[list[int]]) -> list[float]:
        """Log probabilities of whole phrases; see `_prompted`."""
        position, ends = self.search.position, self.search.ends
        begun = [[self._prompt[-1], *tokens] for tokens in lists]
        scores = []
        for tokens, logs in zip(lists, self.decoder.scores(sound, begun, memory), strict=True):
            each = sum(float(logs[n, position[token]]) for n, token in enumerate(tokens))
            scores.append(each + float(np.logaddexp.reduce(logs[-1, [ends.last, *ends.soft]])))
        return scores

    def encode(self, samples: Samples) -> Array:
        """The encoder's output, shape (frames, width)."""
        view = _view(self.spectrum(samples))
        encoded: Array = np.array(self.model.encode(view), dtype=np.float32)[0]
        return encoded

    def spectrum(self, samples: Samples) -> Array:
        """What the encoder takes: log mel spectrum, shape (80, frames), 100 frames a second."""
        return in_window(samples, self.shop)

    def dictate(self, samples: Samples) -> str:
        """Free words; the weights for them are opened with the first."""
        if self._free is None:
            tokenizer = Tokenizer.from_file(str(self._writes / "tokenizer.json"))
            self._free = _Notes(self._open(), tokenizer)
        return self._free.write(samples)

    def _without_liking(self, inside: Scored) -> Scored:
        """Scores less `PRIOR` times what the model would say of the words having heard nothing.

        The internal language model of an end-to-end recognizer, estimated by leaving out the
        sound: after Meng et al., "Internal Language Model Estimation for Domain-Adaptive
        End-to-End Speech Recognition" (2021), cited from memory.
        """
        if len(self._likings) > 50_000:
            self._likings.clear()
        missing = [tokens for tokens, _ in inside if tuple(tokens) not in self._likings]
        if missing:
            scores = self._scored(*self._nothing, missing)
            self._likings.update(zip(map(tuple, missing), scores, strict=True))
        prior = SHOP_PRIOR if self.shop else PRIOR
        ranked = [(t, score - prior * self._likings[tuple(t)]) for t, score in inside]
        return sorted(ranked, key=lambda pair: -pair[1])

    @cached_property
    def _nothing(self) -> tuple[Sound, Memory]:
        return self._prompted(FAINT)

    def _prompted(self, samples: Samples) -> tuple[Sound, Memory]:
        """A sound, and the decoder's memory of the prompt but for its end over it."""
        sound = self.decoder.listen(self.encode(samples))
        return sound, self.decoder.start(sound, self._prompt[:-1])[1]

    def _ids(self, text: str) -> list[int]:
        return list(self.tokenizer.encode(text, add_special_tokens=False).ids)

    def _text(self, tokens: list[int]) -> str:
        return str(self.tokenizer.decode(tokens)).strip()


# --- what a Whisper model hears of a sound: its log mel spectrogram ---
#
# As the model was trained: Radford et al., "Robust Speech Recognition via Large-Scale Weak
# Supervision" (2022), section 2.2: 80 bands over windows of 25 ms, 10 ms apart. The bands are on
# Slaney's mel scale, straight up to 1 kHz and logarithmic above (its constants from memory;
# `tests/voice/test_whisper.py` holds the result against another implementation).

Spectrum = npt.NDArray[np.float32]

BANDS, WINDOW, HOP = 80, 400, 160
FRAMES = 3000
"""Frames of the 30 s that the model was trained on."""
_RANGE = 8.0
"""Powers of ten below the loudest at which a spectrum is cut off."""


@cache
def _bands() -> Spectrum:
    """The weight of each frequency in each band, shape (80, 201); each band of area 1."""
    straight_to, a_mel, octave = 1000.0, 200.0 / 3, np.log(6.4) / 27.0
    corner = straight_to / a_mel
    top = corner + np.log(RATE / 2 / straight_to) / octave
    mels = np.linspace(0.0, top, BANDS + 2)
    above = straight_to * np.exp(octave * (mels - corner))
    edges = np.where(mels < corner, a_mel * mels, above)
    away = edges[:, None] - np.fft.rfftfreq(WINDOW, 1.0 / RATE)
    width = np.diff(edges)[:, None]
    weights = np.maximum(0.0, np.minimum(-away[:-2] / width[:-1], away[2:] / width[1:]))
    return np.asarray(weights * (2.0 / (edges[2:] - edges[:-2]))[:, None], np.float32)


def spectrum(samples: Samples) -> Spectrum:
    """The log mel spectrogram, shape (80, n // 160), of a sound at 16 kHz, from -1 to 1, of shape
    (n,) with n over 200."""
    sound = np.pad(samples.astype(np.float32), WINDOW // 2, mode="reflect")
    frames = np.lib.stride_tricks.sliding_window_view(sound, WINDOW)[::HOP][: samples.size // HOP]
    power = np.abs(np.fft.rfft(frames * np.hanning(WINDOW + 1)[:-1].astype(np.float32))) ** 2
    heard = np.log10(np.maximum(_bands() @ power.T.astype(np.float32), 1e-10))
    heard = (np.maximum(heard, heard.max() - _RANGE) + 4.0) / 4.0
    return np.asarray(heard, np.float32)


def in_window(samples: Samples, shop: bool) -> Spectrum:
    """The same, in the window that holds these words; see `WINDOW_S` and `WINDOWS_S`."""
    before = int(LEAD_S * RATE)
    samples = samples[: int(MAX_S * RATE)]
    least = LEAD_S + len(samples) / RATE + AFTER_S
    fitting = (s for s in WINDOWS_S if s >= least)
    window_s = next(fitting, WINDOWS_S[-1]) if shop else WINDOW_S
    padded = np.zeros(max(int(window_s * RATE), before + len(samples)), np.float32)
    padded[before : before + len(samples)] = samples
    return spectrum(padded)


def full_spectrum(samples: Samples) -> Spectrum:
    """The same in the window of training, shape (80, 3000): zeros stand behind the sound."""
    heard = spectrum(np.pad(samples, (0, HOP)))[:, :FRAMES]
    return np.pad(heard, ((0, 0), (0, FRAMES - heard.shape[1])))
