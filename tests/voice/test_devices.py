"""Microphones and loudspeakers: what they are worth, and that they may come and go."""

import json
import subprocess
import sys
import textwrap
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import soundfile
import soxr
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.voice.device_check import (
    MicrophoneFigures,
    devices_report,
    heard_back,
    microphone_verdict,
)
from assistant.voice.devices import portaudio
from assistant.voice.devices.audio import FRAME, RATE, AudioError, Samples
from assistant.voice.devices.portaudio import PORTAUDIO
from assistant.voice.devices.streams import Framer
from assistant.voice.output.player import Player
from assistant.voice.output.synthesizer import Synthesizer
from tests.spoken.noises import noise
from tests.voice.pulse import Pulse

RNG = np.random.default_rng(5)


@pytest.fixture(scope="module")
def talk() -> Samples:
    """Five seconds of somebody speaking, at -26 dBFS, in a faint hiss."""
    text = (
        "The gap is five eighths. Six sixteenths shy, she says. The pedal height is eight inches."
    )
    with closing(Synthesizer()) as synthesizer:
        still = np.zeros(8 * RATE // 5)
        sound = np.concatenate([still, synthesizer.samples(text), still])
    sound *= 10 ** (-26 / 20) / np.sqrt(np.mean(np.square(sound)))
    return (sound + 2e-4 * RNG.normal(size=len(sound))).astype(np.float32)


def kinds(samples: Samples, rate: int = RATE) -> set[str]:
    return {p.kind for p in microphone_verdict(np.asarray(samples, np.float32), rate).problems}


def figures(samples: Samples) -> MicrophoneFigures:
    return microphone_verdict(np.asarray(samples, np.float32)).measured


def narrowed(sound: Samples) -> Samples:
    """Through 8000 samples a second and back."""
    return np.asarray(soxr.resample(soxr.resample(sound, RATE, 8000), 8000, RATE), dtype=np.float32)


def mixed(talk: Samples, kind: str, snr_db: float) -> Samples:
    """With a shop noise; none without a kind."""
    if not kind:
        return talk
    background = noise(kind, len(talk) / RATE + 0.1, 3)[: len(talk)]
    level = np.sqrt(np.mean(np.square(talk)) / np.mean(np.square(background)))
    return (talk + background * level * 10 ** (-snr_db / 20)).astype(np.float32)


def tone(hertz: float, seconds: float, level: float = 0.3) -> Samples:
    at = np.arange(round(seconds * RATE)) / RATE
    return (level * np.sin(2 * np.pi * hertz * at)).astype("f4")


def test_a_good_microphone_has_no_problem(talk: Samples) -> None:
    verdict = microphone_verdict(talk)
    assert verdict.problems == () and verdict.ok
    m = verdict.measured
    assert m.noise_dbfs == pytest.approx(-74, abs=2)
    assert m.speech_dbfs is not None and -27 < m.speech_dbfs < -20
    assert m.snr_db == pytest.approx(m.speech_dbfs - m.noise_dbfs, abs=0.5)
    assert "will do" in verdict.lines()[-1]


def test_dead_quiet_noisy_short_and_nobody(talk: Samples) -> None:
    assert kinds(np.zeros(3 * RATE)) == {"dead"}
    quiet = microphone_verdict(talk * np.float32(0.05))
    assert "quiet" in kinds(talk * 0.05) and not quiet.ok
    assert "gain up" in "\n".join(quiet.lines())
    assert "noisy" in kinds(mixed(talk, "hiss", 1))
    assert kinds(talk[: RATE - 2000]) == {"no speech"}
    assert microphone_verdict(talk[: RATE - 2000]).ok
    assert kinds(talk[:1000]) == {"short"}


@pytest.mark.parametrize("rail", [1.0, 0.5])
def test_clipped_whatever_the_rail(talk: Samples, rail: float) -> None:
    verdict = microphone_verdict(np.clip(talk * np.float32(20 * rail), -rail, rail))
    assert "clipped" in {p.kind for p in verdict.problems} and not verdict.ok
    truth = float(np.mean(np.abs(talk * 20) >= 1.0))
    assert verdict.measured.clipped == pytest.approx(truth, rel=0.5)


@pytest.mark.parametrize("hertz", [60.0, 440.0, 1000.0])
def test_a_tone_is_not_clipped(hertz: float) -> None:
    assert "clipped" not in kinds(tone(hertz, 3.0, 0.7))


@pytest.mark.parametrize("kind", ["", "idle", "impacts", "hiss", "babble"])
def test_narrowband_is_told_in_noise(talk: Samples, kind: str) -> None:
    there = mixed(talk, kind, 5.0)
    assert figures(there).narrow is False
    assert figures(narrowed(there)).narrow is True


def test_narrowband_is_told_with_noise_after_the_channel_and_at_a_telephones_rate(
    talk: Samples,
) -> None:
    white = RNG.normal(size=len(talk)) * np.sqrt(np.mean(np.square(talk))) * 10 ** (-15 / 20)
    assert figures(narrowed(talk) + white).narrow is True
    assert figures(talk + white).narrow is False
    assert "narrowband" in kinds(soxr.resample(talk, RATE, 8000), 8000)


@pytest.mark.parametrize("mains", [50, 60])
def test_mains_hum(talk: Samples, mains: int) -> None:
    seconds = len(talk) / RATE
    hum = sum(tone(mains * n, seconds, 0.01 / n) for n in (1, 2, 3))
    verdict = microphone_verdict(talk + hum)
    assert verdict.measured.hum_hz == mains
    assert verdict.measured.hum_dbfs == pytest.approx(-41.7, abs=1.5)
    assert f"{mains} Hz" in "\n".join(verdict.lines())


def test_an_engine_at_idle_is_no_hum(talk: Samples) -> None:
    """Six cylinders at 600 turns a minute fire 30 times a second: at 60 and 120 Hz as well."""
    t = np.arange(len(talk)) / RATE
    engine = sum(0.01 / n * np.sin(2 * np.pi * 30 * n * t + n) for n in range(1, 9))
    assert figures(talk + engine).hum_hz == 0.0


def test_offset_gaps_and_gate(talk: Samples) -> None:
    assert kinds(talk + np.float32(0.05)) == {"offset"}
    torn = talk.copy()
    loud = np.flatnonzero(np.abs(talk) > 0.03)
    for start in loud[:: len(loud) // 12]:
        torn[start : start + 320] = 0.0
    assert "gaps" in kinds(torn) and figures(torn).gaps >= 8
    gated = talk.copy()
    gated[: RATE - 100] = 0.0
    assert kinds(gated) == {"gate"}


def test_snr_is_about_right(talk: Samples) -> None:
    clean = figures(talk).speech_dbfs
    over_mean = clean - 20 * np.log10(np.sqrt(np.mean(np.square(talk))))
    for snr_db in (20, 10):
        got = figures(mixed(talk, "idle", snr_db)).snr_db
        assert got == pytest.approx(snr_db + over_mean, abs=3.0)


def test_a_recording_is_judged_at_its_own_rate(talk: Samples, tmp_path: Path) -> None:
    file = tmp_path / "loud.wav"
    soundfile.write(file, np.clip(soxr.resample(talk, RATE, 44100) * 20, -1, 1), 44100)
    report = devices_report(file=file)
    assert not report.ok and report.source == str(file)
    data = json.loads(json.dumps(report.as_json()))
    assert "clipped" in [p["kind"] for p in data["microphone"]["problems"]]
    assert data["microphone"]["ok"] is False and data["microphone"]["clipped"] > 0.001
    assert any("Clipped" in line for line in report.lines())
    good = tmp_path / "good.flac"
    soundfile.write(good, talk, RATE)
    assert devices_report(file=good).ok


def test_what_is_no_recording_is_one_line(tmp_path: Path) -> None:
    with pytest.raises(AudioError, match="no such file"):
        devices_report(file=tmp_path / "none.wav")
    (tmp_path / "text.wav").write_text("hello", encoding="utf-8")
    with pytest.raises(AudioError, match="not a sound file"):
        devices_report(file=tmp_path / "text.wav")


@pytest.mark.parametrize("error", [OSError("PortAudio library not found"), ImportError("x")])
def test_no_portaudio_is_one_line(error: Exception, monkeypatch: pytest.MonkeyPatch) -> None:
    class Missing:
        def find_spec(self, name: str, *_: object) -> None:
            if name == "sounddevice":
                raise error

    monkeypatch.delitem(sys.modules, "sounddevice", raising=False)
    monkeypatch.setattr(sys, "meta_path", [Missing(), *sys.meta_path])
    with pytest.raises(AudioError, match=r"PortAudio library is missing.*libportaudio2") as got:
        devices_report()
    assert "\n" not in str(got.value)


class FakeLibrary:
    """Stands in for the sounddevice module: devices that come and go, streams without sound."""

    PortAudioError = ZeroDivisionError

    def __init__(self) -> None:
        self.devices = [one("Box")]
        self.default = SimpleNamespace(device=(0, 1))
        self.opened = self.restarted = 0

    def query_devices(self) -> list[dict[str, Any]]:
        return self.devices

    def stream(self, samplerate: int, **_: Any) -> Any:
        if samplerate not in self.devices[0].get("rates", (samplerate,)):
            raise ValueError("Invalid sample rate")
        self.opened += 1
        done = {name: lambda **_: None for name in ("start", "abort", "close")}
        return SimpleNamespace(active=True, **done)

    InputStream = OutputStream = stream

    def _terminate(self) -> None:
        self.restarted += 1

    def _initialize(self) -> None: ...


def one(name: str, inputs: int = 1, outputs: int = 1, **more: Any) -> dict[str, Any]:
    channels = {"max_input_channels": inputs, "max_output_channels": outputs}
    return {"name": name, "default_samplerate": 48000.0, **channels, **more}


@pytest.fixture
def library(monkeypatch: pytest.MonkeyPatch) -> FakeLibrary:
    fake = FakeLibrary()
    monkeypatch.setattr(PORTAUDIO, "library", lambda: fake)
    monkeypatch.setattr(PORTAUDIO, "streams", [])
    monkeypatch.setattr(PORTAUDIO, "_looked", -1000.0)
    return fake


def test_what_is_not_there_is_one_line(library: FakeLibrary) -> None:
    library.devices = [one("Box", inputs=0)]
    report = devices_report()
    assert not report.ok and report.problems == ["There is no microphone; plug one in."]
    library.devices = []
    with pytest.raises(AudioError, match="no microphone and no loudspeaker"):
        devices_report()


def test_devices_are_found_by_number_name_and_part(library: FakeLibrary) -> None:
    library.devices = [
        one("USB Headset: Audio (hw:1,0)"),
        one("Speaker", inputs=0),
        one("Old mic", outputs=0),
        one("New mic", outputs=0),
    ]
    find = PORTAUDIO.find
    assert find(None, "input").number == 0
    assert find(None, "output").number == 1
    assert find("3", "input").name == "New mic"
    assert find("2", "input").name == "Old mic"
    assert find("headset", "output").number == 0
    # Plugged in again it may get another card number.
    assert find("USB Headset: Audio (hw:3,0)", "input").number == 0
    with pytest.raises(AudioError, match="several are called 'mic'"):
        find("mic", "input")
    with pytest.raises(AudioError, match="no loudspeaker is called 'Old mic'"):
        find("Old mic", "output")


@settings(max_examples=30)
@given(st.lists(st.integers(1, 3000), min_size=1, max_size=12))
def test_frames_hold_every_sample_in_order(pieces: list[int]) -> None:
    sound = np.arange(sum(pieces), dtype=np.float32)
    framer, got, at = Framer(), [], 0
    for piece in pieces:
        got += framer.take(sound[at : at + piece], 100.0 + (at + piece) / RATE)
        at += piece
    assert len(got) == len(sound) // FRAME
    for i, frame in enumerate(got):
        np.testing.assert_array_equal(frame.samples, sound[i * FRAME : (i + 1) * FRAME])
        assert frame.at == pytest.approx(100 + i * FRAME / RATE)


def test_frame_times_ride_over_jitter_and_follow_a_jump() -> None:
    framer = Framer()
    times = []
    for i in range(400):
        late = 0.012 * ((i * 7) % 5) / 5 + (2.0 if i >= 300 else 0.0)
        frames = framer.take(np.ones(FRAME, np.float32), 10 + (i + 1) * 0.032 + late)
        times += [frame.at for frame in frames]
    steps = np.diff(times)
    assert np.abs(np.delete(steps, 299) - 0.032).max() < 0.002
    assert steps[299] == pytest.approx(2.032, abs=0.02)


@pytest.mark.parametrize("rate", [48000, 44100, 8000])
def test_other_rates_are_brought_to_ours_bit_by_bit(rate: int) -> None:
    sound = np.sin(2 * np.pi * 1000 * np.arange(3 * rate) / rate).astype(np.float32)
    framer, got = Framer(rate), []
    for i in range(0, len(sound), 441):
        got += framer.take(sound[i : i + 441], i / rate)
    out = np.concatenate([f.samples for f in got])
    assert len(out) == pytest.approx(3 * RATE, abs=2000)
    assert int(np.argmax(np.abs(np.fft.rfft(out[RATE : 2 * RATE])))) == 1000
    assert np.abs(out[RATE : 2 * RATE]).max() == pytest.approx(1.0, abs=0.01)


TIMES = SimpleNamespace(outputBufferDacTime=0.04, currentTime=0.0, inputBufferAdcTime=0.0)


def played(player: Player, frames: int, channels: int = 1) -> Samples:
    out = np.zeros((frames, channels), dtype=np.float32)
    player.callback(out, frames, TIMES, None)
    return out


def test_a_lost_loudspeaker_keeps_its_queue_and_says_the_sentence_again(
    library: FakeLibrary, monkeypatch: pytest.MonkeyPatch
) -> None:
    now = [1000.0]
    monkeypatch.setattr(time, "monotonic", lambda: now[0])
    told: list[str] = []
    player = Player(None, lambda: told.append("lost"), lambda: told.append("back"))
    assert player.name == "Box"
    sentence = np.linspace(0.1, 0.9, 4000, dtype=np.float32)
    player.buffer.play(sentence)
    assert played(player, 256)[0, 0] == sentence[0] and player.check()
    library.devices = []
    now[0] += 1.3  # no callback for longer than that
    assert not player.check()
    for _ in range(30):
        now[0] += 0.1
        assert not player.check()
    assert 2 <= library.restarted <= 3, "once a second"
    assert told == ["lost"]
    library.devices = [one("Box")]
    now[0] += 1.0
    assert player.check()
    assert told == ["lost", "back"] and library.opened == 2
    np.testing.assert_array_equal(played(player, 256)[:, 0], sentence[:256])


def test_a_loudspeaker_with_a_rate_of_its_own(library: FakeLibrary) -> None:
    library.devices = [one("Box", rates=(48000,))]
    player = Player()
    player.buffer.play(tone(1000, 2.0))
    sound = np.concatenate([played(player, 768, 2) for _ in range(125)])
    np.testing.assert_array_equal(sound[:, 0], sound[:, 1])
    middle = sound[24000:72000, 0]
    assert int(np.argmax(np.abs(np.fft.rfft(middle)))) == 1000
    assert np.abs(middle).max() == pytest.approx(0.3, abs=0.01)
    player.buffer.hush()
    played(player, 768, 2)
    assert np.abs(played(player, 768, 2)[400:]).max() < 1e-3


def test_looking_for_a_device_disturbs_nobody_unless_it_is_back(
    library: FakeLibrary, monkeypatch: pytest.MonkeyPatch
) -> None:
    calls: list[str] = []

    def noted(name: str) -> Callable[[], None]:
        return lambda: calls.append(name)

    other: Any = SimpleNamespace(lost=False, suspend=noted("suspend"), resume=noted("resume"))
    PORTAUDIO.streams.append(other)
    seen: list[list[Any]] = [["Box", 1, 1]]
    monkeypatch.setattr(portaudio, "_listed_elsewhere", lambda: seen)

    def look(kind: str, again: bool = True) -> list[str]:
        if again:
            monkeypatch.setattr(PORTAUDIO, "_looked", -1000.0)
        seeker: Any = SimpleNamespace(lost=True, name="Headset (hw:1,0)", kind=kind)
        PORTAUDIO.look_again(seeker)
        return calls

    assert look("input") == []
    seen.append(["Headset (hw:2,0)", 1, 0])
    assert look("input", again=False) == [], "another process looks only every few seconds"
    assert look("output") == [], "it has no output"
    assert look("input") == ["suspend", "resume"]
    other.lost = True
    assert look("output", again=False) == ["suspend", "resume"] * 2, "alone it is started anew"


def test_echo_is_found_late_weak_and_in_noise_and_never_where_there_is_none() -> None:
    sent = np.concatenate([RNG.normal(size=RATE) * 0.1, np.zeros(RATE)]).astype(np.float32)
    for delay_s, gain, noise_level in ((0.0, 1.0, 0.0), (0.25, 0.1, 0.05), (0.6, 0.03, 0.02)):
        late = np.concatenate([np.zeros(round(delay_s * RATE)), sent])[: len(sent)]
        heard = late * gain + noise_level * RNG.normal(size=len(sent))
        got = heard_back(sent, heard.astype(np.float32))
        assert got.heard and got.delay_s == pytest.approx(delay_s, abs=0.001)
        assert got.path_db == pytest.approx(20 * np.log10(gain), abs=1.5)
    hiss = RNG.normal(size=len(sent))
    for other in (hiss, np.cumsum(hiss), tone(866, 2.0), np.zeros(len(sent))):
        assert not heard_back(sent, other.astype(np.float32)).heard


HEAD = """
    import json, sys, time
    import numpy as np
    from assistant.voice.devices.portaudio import quiet_libraries
    quiet_libraries()
    from assistant.voice.devices.audio import RATE
    from assistant.voice.devices.streams import Microphone
    from assistant.voice.output.player import Player
    def tell(*words):
        print(json.dumps(words), flush=True)
"""
Tells = Callable[[str], list[list[Any]]]


@contextmanager
def child(daemon: Pulse, code: str) -> Iterator[Tells]:
    """`code` in a process of its own; gives what it tells, up to and with a first word."""
    text = textwrap.dedent(HEAD) + textwrap.dedent(code)
    command = [sys.executable, "-c", text]
    process = subprocess.Popen(command, env=daemon.env, stdout=subprocess.PIPE, text=True)

    def tells(until: str) -> list[list[Any]]:
        out: list[list[Any]] = []
        for line in process.stdout:
            out.append(json.loads(line))
            if out[-1][0] == until:
                return out
        raise AssertionError(f"ended before {until}: {out}")

    try:
        yield tells
    finally:
        process.kill()
        process.wait()


def test_a_microphone_pulled_out_and_plugged_in_again(daemon: Pulse) -> None:
    code = """
        mic = Microphone("lug_mic", lambda: tell("lost"), lambda: tell("back"))
        tell("open", mic.name)
        last = 0.0
        while True:
            frame = mic.get()
            if frame is None:
                continue
            assert frame.at > last and len(frame.samples) == 512
            last = frame.at
            if abs(frame.samples).max() > 0.1:
                hz = np.fft.rfftfreq(512, 1 / RATE)[np.argmax(np.abs(np.fft.rfft(frame.samples)))]
                tell("tone", float(hz), time.monotonic() - frame.at)
    """
    with child(daemon, code) as tells:
        tells("open")
        daemon.play(tone(500, 0.6))
        heard = tells("tone")[-1]
        assert abs(heard[1] - 500) < 40 and 0 < heard[2] < 1.0
        daemon.unplug("lug_mic")
        tells("lost")
        time.sleep(1.2)
        daemon.plug("lug_mic")
        assert tells("back")[-1] == ["back"]
        daemon.play(tone(1500, 0.6))
        assert abs(tells("tone")[-1][1] - 1500) < 40


def test_a_loudspeaker_pulled_out_beside_a_microphone_at_work(daemon: Pulse) -> None:
    code = """
        mic = Microphone("lug_mic_2", lambda: tell("mic lost"))
        player = Player("lug_speaker_2", lambda: tell("lost"), lambda: tell("back"))
        player.buffer.play(np.linspace(0.2, 0.2, 2 * RATE).astype(np.float32))
        tell("playing")
        frames = 0
        while player.buffer.busy():
            player.check()
            frames += mic.get(0.05) is not None
        time.sleep(0.3)
        tell("done", frames)
    """
    with child(daemon, code) as tells:
        tells("playing")
        time.sleep(0.8)
        daemon.unplug("lug_speaker_2")
        assert tells("lost") == [["lost"]]
        daemon.plug("lug_speaker_2")
        with daemon.recording("lug_speaker_2") as tape:
            assert tells("back") == [["back"]]
            told = tells("done")
    assert [t[0] for t in told] == ["done"] and told[0][1] > 60
    loud = np.count_nonzero(np.abs(tape.samples()) > 0.1) / RATE
    assert loud == pytest.approx(2.0, abs=0.15), "the whole sentence, once"


def test_two_people_hear_each_their_own_loudspeaker(daemon: Pulse) -> None:
    folder = Path(daemon.env["HOME"])
    code = f"""
        from contextlib import closing
        from assistant.act import Said
        from assistant.voice.output.queue import SpeechOutput
        from assistant.voice.output.synthesizer import Synthesizer
        with closing(Synthesizer()) as speech:
            one, two = Player("lug_speaker"), Player("lug_speaker_2")
            first = lambda said, where, at: tell("first", where, said.text)
            output = SpeechOutput(speech, one, two, on_first=first)
            output.start()
            time.sleep(0.3)
            output.say([Said("tech", "Gap now, bearing to brake?", "prompt:a"),
                        Said("helper", "Hold: pedal to the floor.", "prompt:b", cue="HOLD")])
            assert output.wait(30)
            time.sleep(0.3)
            np.save({str(folder / "one.npy")!r}, one.buffer.reference(10))
            np.save({str(folder / "two.npy")!r}, two.buffer.reference(10))
            output.close()
        tell("done")
    """
    with (
        daemon.recording("lug_speaker") as one_tape,
        daemon.recording("lug_speaker_2") as two_tape,
        child(daemon, code) as tells,
    ):
        firsts = sorted(words[1] for words in tells("done")[:-1])
    assert firsts == ["lug_speaker", "lug_speaker_2"]
    sounds = [np.load(folder / "one.npy"), np.load(folder / "two.npy")]
    for i, tape in enumerate((one_tape, two_tape)):
        match = [likeness(tape.samples(), sound) for sound in sounds]
        # a busy machine may drop a piece of the sound; whose sound it is stays plain
        assert match[i] > 0.6 and match[1 - i] < 0.3, match


def likeness(tape: Samples, sound: Samples) -> float:
    """Greatest correlation of `sound` with any stretch of `tape`, 0 to 1."""
    loud = np.flatnonzero(np.abs(sound) > 1e-3)
    sound = sound[loud[0] : loud[-1] + 1]
    size = 1 << (len(tape) + len(sound)).bit_length()
    match = np.fft.irfft(np.fft.rfft(tape, size) * np.conj(np.fft.rfft(sound, size)), size)
    at = int(np.argmax(match[: len(tape)]))
    there = tape[at : at + len(sound)]
    return float(match[at] / (np.linalg.norm(there) * np.linalg.norm(sound) + 1e-12))


def test_the_devices_test_hears_itself_where_there_is_a_way_back(daemon: Pulse) -> None:
    code = """
        from assistant.voice.device_check import devices_report
        report = devices_report("lug_mic", "lug_speaker", seconds=0.6, test=True)
        tell("report", report.as_json(), report.lines())
    """
    back = ("source=lug_speaker.monitor", "sink=lug_mic", "latency_msec=50")
    module = daemon.ctl("load-module", "module-loopback", *back)
    try:
        with child(daemon, code) as tells:
            data, lines = tells("report")[-1][1:]
    finally:
        daemon.ctl("unload-module", module.strip())
    assert {"lug_mic", "lug_speaker"} <= {d["name"] for d in data["devices"]}
    assert data["microphone"]["problems"][0]["kind"] == "dead" and not data["ok"]
    assert any("lug_speaker" in line and "heard them" in line for line in lines)
    assert data["echo"]["heard"] and 0.02 < data["echo"]["delay_s"] < 0.4
    assert data["echo"]["path_db"] == pytest.approx(0.0, abs=1.0)
    assert data["problems"] == []
