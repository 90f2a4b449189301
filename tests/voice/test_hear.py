"""`lugcall hear` as a program on synthesized recordings, and Whisper on people's voices."""

import json
import re
import subprocess
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from assistant.cli import voice as cli_voice
from assistant.readings import read
from assistant.voice.devices.audio import RATE, load
from assistant.voice.recognition import models, recognizers
from assistant.voice.recognition.recognizer import Hearing, Hypothesis
from assistant.voice.recognition.recognizers import Recognizers, open_recognizers
from assistant.voice.session.recorded import hear_files, speech_in
from tests.demo import lugcall
from tests.spoken import channels, noises, voices
from tests.spoken.phrases import plain

KEYS = [*read("half", "gap").as_json(), "file", "heard", "probability", "decision",
        "alternatives", "engines", "seconds"]  # fmt: skip
"""The keys of `lugcall reading --json`, then those of hearing."""
SAID = {
    "slt": ("nine sixteenths", 9 / 16),
    "awb": ("five eighths", 5 / 8),
    "us-f3": ("four eighty-five", 0.485),
}
needs_voices = pytest.mark.skipif(
    not set(SAID) <= {v.name for v in voices.available("test")}, reason=voices.missing() or "-"
)
needs_whisper = pytest.mark.skipif(
    models.find_spec(models.WHISPER_PACKAGE) is None, reason="no Whisper weights installed"
)
needs_cards = pytest.mark.skipif(not voices.card_recordings(), reason=voices.CARDS_MISSING)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Recordings: three voices over an idling engine, one in stereo at 44.1 kHz, and oddments."""
    folder = tmp_path_factory.mktemp("recordings")
    for name, (text, _) in SAID.items():
        mixed = channels.scene(voices.say(name, text), "idle", 25, "wideband", 1)
        soundfile.write(folder / f"{name}.wav", mixed.samples, RATE)
    mono = soundfile.read(folder / "slt.wav")[0]
    import soxr

    stereo = np.stack([soxr.resample(mono, RATE, 44_100)] * 2, axis=1)
    soundfile.write(folder / "stereo.flac", stereo, 44_100)
    soundfile.write(folder / "noise.wav", noises.noise("idle", 3.0, 2) * np.float32(0.2), RATE)
    soundfile.write(folder / "silence.wav", np.zeros(RATE, np.float32), RATE)
    (folder / "text.wav").write_text("half an inch\n")
    soundfile.write(folder / "empty.wav", np.zeros(0), RATE)
    return folder


@needs_voices
@needs_whisper
class TestCommand:
    FILES = ("slt.wav", "stereo.flac", "missing.wav", "awb.wav", "text.wav", "us-f3.wav",
             "noise.wav", "silence.wav", "empty.wav")  # fmt: skip

    @pytest.fixture(scope="class")
    @classmethod
    def done(cls, folder: Path) -> subprocess.CompletedProcess[str]:
        return lugcall("hear", *cls.FILES, "--for", "gap", "--json", cwd=folder)

    @pytest.fixture(scope="class")
    @classmethod
    def reports(cls, done: subprocess.CompletedProcess[str]) -> dict[str, dict[str, Any]]:
        found = [json.loads(line) for line in done.stdout.splitlines()]
        return {report["file"]: report for report in found}

    def test_one_object_a_line_in_order(self, done: subprocess.CompletedProcess[str]) -> None:
        lines = done.stdout.splitlines()
        assert [json.loads(line)["file"] for line in lines] == list(self.FILES)
        assert done.returncode == 2  # some file held no reading

    def test_keys(self, reports: dict[str, dict[str, Any]]) -> None:
        for report in reports.values():
            assert list(report) == KEYS
            assert report["decision"] in ("accept", "choose", "again", "nothing")
            assert 0 <= report["probability"] <= 1 and report["seconds"] >= 0
            assert report["engines"] == ["whisper"]
            for other in report["alternatives"]:
                assert {"heard", "probability", "value_in", "count"} <= other.keys()
                assert 0 <= other["probability"] <= 1

    def test_clear_voices_are_read_right(self, reports: dict[str, dict[str, Any]]) -> None:
        for name, (text, value) in SAID.items():
            report = reports[f"{name}.wav"]
            assert (report["status"], report["decision"]) == ("read", "accept"), report
            assert report["value_in"] == pytest.approx(value)
            assert plain(report["heard"]) == plain(text)
            typed = read(plain(report["heard"]), "gap").as_json()
            assert {key: report[key] for key in typed} == typed

    def test_rate_and_channels_do_not_matter(self, reports: dict[str, dict[str, Any]]) -> None:
        assert reports["stereo.flac"]["value_in"] == reports["slt.wav"]["value_in"] == 9 / 16
        assert reports["stereo.flac"]["decision"] == "accept"

    @pytest.mark.parametrize("name", ["noise.wav", "silence.wav"])
    def test_noise_is_nothing(self, reports: dict[str, dict[str, Any]], name: str) -> None:
        report = reports[name]
        assert (report["status"], report["decision"]) == ("none", "nothing"), report
        assert report["value_in"] is None and report["why"]

    @pytest.mark.parametrize(
        "name, why",
        [
            ("missing.wav", "there is no such file"),
            ("text.wav", "it is not a sound file"),
            ("empty.wav", "holds no sound"),
        ],
    )
    def test_what_is_no_recording_is_refused(
        self, reports: dict[str, dict[str, Any]], name: str, why: str
    ) -> None:
        report = reports[name]
        assert (report["status"], report["decision"]) == ("refused", "nothing")
        assert why in report["why"] and "\n" not in report["why"]
        assert report["value_in"] is None and report["alternatives"] == []

    def test_for_people(self, folder: Path) -> None:
        args = ("--for", "gap", "--engine", "whisper")
        one = lugcall("hear", "slt.wav", *args, cwd=folder)
        assert one.returncode == 0
        done = lugcall("hear", "slt.wav", "missing.wav", *args, cwd=folder)
        good, bad = done.stdout.splitlines()
        assert re.match(r"slt\.wav: accept: nine sixteenths \(nine sixteenths\) \d\.\d\d", good)
        assert bad.startswith("missing.wav: nothing: cannot read missing.wav")
        assert done.returncode == 2


@pytest.mark.parametrize(
    "args, said",
    [
        (("slt.wav", "--for", "wheelbase"), "there is no quantity 'wheelbase'; use one of gap"),
        (("slt.wav", "--for", "gap", "--engine", "ear"), "'ear' is not one of"),
        (("--for", "gap"), "Missing argument 'FILES...'"),
        (("slt.wav",), "Missing option '--for'"),
    ],
)
def test_wrong_use_is_one_line(tmp_path: Path, args: tuple[str, ...], said: str) -> None:
    done = lugcall("hear", *args, cwd=tmp_path)
    assert done.returncode == 2 and done.stdout == ""
    assert said in done.stderr


@pytest.fixture(scope="module")
def ears() -> Recognizers:
    return Recognizers(open_recognizers(("whisper",))[0])


@needs_voices
@needs_whisper
class TestFiles:
    def test_one_at_a_time(self, folder: Path, ears: Recognizers) -> None:

        def paths() -> Any:
            yield folder / "slt.wav"
            raise AssertionError("asked for the second before the first was given")

        assert next(hear_files(paths(), "gap", ears))["value_in"] == 9 / 16

    def test_metric_shop_also_for_what_else_it_may_be(
        self, tmp_path: Path, ears: Recognizers, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        said = (Hypothesis("thirty eight", 1.0), Hypothesis("thirty nine", 0.9))
        monkeypatch.setattr(ears, "listen", lambda samples: [Hearing("whisper", said)])
        soundfile.write(tmp_path / "a.wav", np.zeros(RATE, np.float32), RATE)
        (report,) = hear_files([tmp_path / "a.wav"], "free-travel", ears, metric=True)
        assert [a["value_in"] for a in report["alternatives"]] == [pytest.approx(39 / 25.4)]

    def test_speech_is_found_and_cut_out(self, folder: Path) -> None:
        whole = load(folder / "slt.wav")
        said = speech_in(whole)
        words = voices.say("slt", "nine sixteenths")
        assert len(words) * 0.8 < len(said) < len(whole)
        quiet = np.zeros(2 * RATE, np.float32)
        assert np.array_equal(speech_in(quiet), quiet)


@needs_cards
@needs_whisper
def test_people_with_cards(ears: Recognizers) -> None:
    """All cards, of five people; a short one may come out several times, where it may be said."""
    assert len(voices.card_recordings()) == 5
    ears.expect(voices.CARDS_GRAMMAR)
    found = {}
    for path, words in voices.card_recordings():
        assert voices.CARDS_GRAMMAR.accepts(words)
        (hearing,) = ears.listen(load(path))
        inside = [h.words for h in hearing.hypotheses if voices.CARDS_GRAMMAR.accepts(h.words)]
        found[words] = inside[0] if inside else ""
    right = [said == words for words, said in found.items()]
    only = [not f"{said} ".replace(f"{words} ", "") for words, said in found.items()]
    assert sum(right) >= 3 and all(only) and all(found.values()), found


@needs_voices
@needs_whisper
def test_recognizers_are_loaded_once(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    opened: list[str] = []
    really = recognizers._open
    monkeypatch.setattr(recognizers, "_open", lambda name: opened.append(name) or really(name))
    files = [str(folder / "slt.wav"), str(folder / "awb.wav")]
    with pytest.raises(SystemExit):
        cli_voice.hear.main([*files, "--for", "gap", "--engine", "whisper"], standalone_mode=False)
    assert opened == ["whisper"]
    assert len(capsys.readouterr().out.splitlines()) == 2
