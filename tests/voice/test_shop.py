"""Whisper adapted to the shop: the changes fit the weights, and do what they were made for."""

from pathlib import Path

import numpy as np
import pytest

from assistant.voice.recognition import models
from assistant.voice.recognition.expected import reading_grammar
from assistant.voice.recognition.recognizer import RecognizerError
from assistant.voice.recognition.whisper import WhisperRecognizer
from assistant.voice.recognition.whisper_model import CHANGES, WeightsFile, adapted
from tests.spoken import voices
from tests.spoken.chatter import SHOP

pytestmark = pytest.mark.skipif(
    models.find_spec(models.WHISPER_PACKAGE) is None, reason="the Whisper weights are not installed"
)
VOICES = ("awb", "slt", "us-jacky", "lanc-adam")
"""Test voices: it was not adapted with them."""
needs_voices = pytest.mark.skipif(
    not {*VOICES} <= {v.name for v in voices.available()}, reason=voices.missing() or "-"
)


@pytest.fixture(scope="module")
def folder() -> Path:
    found = models.whisper_folder()
    assert found is not None
    return found.folder


@pytest.fixture(scope="module")
def engine(folder: Path) -> WhisperRecognizer:
    engine = WhisperRecognizer(folder, shop=True)
    engine.expect(reading_grammar("gap"))
    return engine


def test_they_are_for_the_weights_known_here() -> None:
    with np.load(CHANGES) as file:
        assert str(file["model"]) == models.WHISPER_SHA256


def test_every_change_has_its_place_and_stays_small(folder: Path) -> None:
    plain = WeightsFile(folder / "model.bin").variables
    shop = adapted(plain)
    with np.load(CHANGES) as file:
        pairs = sum(name.endswith(".w.a") for name in file.files)
        norms = sum(name.endswith((".g", ".n")) for name in file.files)
    assert len(shop) == pairs + norms
    assert {name.split("/")[0] for name in shop} == {"encoder", "decoder"}
    for name, new in shop.items():
        assert new.shape == plain[name].shape
        size = float(np.linalg.norm(new - plain[name]) / np.linalg.norm(plain[name]))
        assert 0 < size < 1, name


def test_a_rewritten_file_differs_in_what_was_changed_alone(folder: Path, tmp_path: Path) -> None:
    plain = WeightsFile(folder / "model.bin").variables
    name = "encoder/layer_1/ffn/linear_1/bias"
    new = plain[name].astype(np.float32) + 0.25
    copy, file = tmp_path / "model.bin", WeightsFile(folder / "model.bin")
    copy.write_bytes(file.changed({name: new}))
    again = WeightsFile(copy).variables
    assert {k for k in plain if not np.array_equal(plain[k], again[k])} == {name}
    assert np.allclose(again[name], new, atol=1e-3)
    assert copy.stat().st_size == (folder / "model.bin").stat().st_size
    with pytest.raises(ValueError, match="not"):
        file.changed({name: new[1:]})


@pytest.mark.parametrize("content", [b"", b"PK\x03\x04 cut short"])
def test_a_damaged_file_is_one_line(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "whisper_shop.npz"
    path.write_bytes(content)
    with pytest.raises(RecognizerError, match="install lugcall again"):
        adapted({}, path)
    with pytest.raises(RecognizerError, match="install lugcall again"):
        adapted({}, tmp_path / "none.npz")


@needs_voices
@pytest.mark.parametrize("voice", VOICES)
def test_a_reading_is_no_chatter(engine: WhisperRecognizer, voice: str) -> None:
    """In a voice that is new to it, a reading comes out first and chatter as no speech to us."""
    reading = engine.hear(voices.say(voice, "nine sixteenths"))
    assert reading.hypotheses[0].words == "nine sixteenths"
    talk = engine.hear(voices.say(voice, SHOP["test"][0]))
    assert talk.marks["no_speech"] > reading.marks["no_speech"] + 3
