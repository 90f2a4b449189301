"""The test's own sound, held against things outside it: arithmetic, libsndfile, the shipped job."""

import io
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest
import soundfile
from scipy import signal

from assistant.act import Act
from assistant.card import Card
from assistant.conversation import split_speaker
from assistant.conversation.understand import understand
from assistant.job.job import Job
from assistant.readings import QUANTITIES, read
from assistant.texts.dialogs import Dialogs
from assistant.voice.devices.audio import RATE, Samples
from tests.spoken import channels, chatter, events, noises, nonspeech, phrases, voices
from tests.spoken.commands import commands

SHIPPED = Path(__file__).parents[2] / "demo_sessions"
SPLITS = ("tuning", "test")
talking = pytest.mark.skipif(not voices.available("tuning"), reason=voices.missing() or "-")


def chirp(seconds: float = 1.0, level: float = 0.1) -> Samples:
    """A sweep of known RMS with silence around it: its active level needs no measuring."""
    t = np.arange(int(seconds * RATE)) / RATE
    tone = level * np.sqrt(2) * np.sin(2 * np.pi * (300 + 900 * t) * t)
    return np.pad(tone, int(0.2 * RATE)).astype(np.float32)


def spectrum(x: Samples) -> tuple[np.ndarray, np.ndarray]:
    """Hertz, and the power at each."""
    return signal.welch(x, RATE, nperseg=1024)


@pytest.mark.parametrize("kind", ["idle", "impacts", "hiss"])
@pytest.mark.parametrize("snr_db", [20, 10, 5])
def test_the_snr_is_the_one_asked_for(kind: str, snr_db: int) -> None:
    speech = chirp()
    mixed = channels.mix(speech, noises.noise(kind, 3.5, 1), snr_db, seed=5)
    start, end = round(mixed.start_s * RATE), round(mixed.end_s * RATE)
    assert mixed.start_s == pytest.approx(0.6) and end - start == len(speech)
    assert len(mixed.samples) - end == round(0.8 * RATE)
    # 10 dB below the speech's own level the sweep is found again by fitting it.
    sound, quiet = mixed.samples[start:end], int(0.2 * RATE)
    gain = float(np.dot(sound, speech) / np.dot(speech, speech))
    rest = (sound - gain * speech)[quiet:-quiet]
    measured = 20 * np.log10(gain * 0.1 / np.sqrt(np.mean(rest**2)))
    assert measured == pytest.approx(snr_db, abs=0.5)
    assert np.abs(mixed.samples).max() < 0.9


def test_level_varies_with_the_seed_and_nothing_else_does() -> None:
    one, two = (channels.mix(chirp(), None, 0, seed).samples for seed in (1, 2))
    ratio = np.abs(one).max() / np.abs(two).max()
    assert not 0.99 < ratio < 1.01
    assert np.allclose(one, two * ratio, atol=1e-6)


def test_narrowband_has_nothing_above_4_khz_nor_below_200() -> None:
    white = np.random.default_rng(1).normal(0, 0.1, RATE).astype(np.float32)
    hertz, power = spectrum(channels.narrowband(white))
    inside = power[(hertz > 500) & (hertz < 3000)].mean()
    assert power[hertz > 4050].max() < 1e-5 * inside
    assert power[(hertz > 15) & (hertz < 150)].max() < 1e-2 * inside


def test_mu_law_is_libsndfiles() -> None:
    x = np.random.default_rng(2).normal(0, 0.25, 20_000).clip(-1, 1)
    file = io.BytesIO()
    soundfile.write(file, x, 8000, subtype="ULAW", format="AU")
    file.seek(0)
    theirs = soundfile.read(file)[0]
    assert np.mean(theirs == channels.mu_law(x)) > 0.99  # the rest falls on a step's edge


def test_the_room_dies_away_in_0_3_s() -> None:
    click = np.zeros(RATE, dtype=np.float32)
    click[100] = 0.5
    tail = channels.far(click)[100 + int(0.006 * RATE) :].astype(np.float64)
    left = 10 * np.log10(np.cumsum(tail[::-1] ** 2)[::-1] + 1e-20)  # Schroeder's integral
    at = [int(np.argmax(left < left[0] - db)) / RATE for db in (5, 25)]
    assert 3 * (at[1] - at[0]) == pytest.approx(0.3, abs=0.03)


def test_a_headset_keeps_150_to_6000_and_clips_softly() -> None:
    white = np.random.default_rng(3).normal(0, 0.1, RATE).astype(np.float32)
    hertz, power = spectrum(channels.headset(white))
    assert power[hertz > 7500].mean() < 0.3 * power[(hertz > 300) & (hertz < 5000)].mean()
    loud = np.concatenate([white, 10 * white[:800]])
    crest = [np.abs(x).max() / np.sqrt(np.mean(x**2)) for x in (loud, channels.headset(loud))]
    assert crest[1] < 0.5 * crest[0]


def test_noises_come_from_the_seed_and_sound_different() -> None:
    kinds = [k for k in noises.KINDS if k != "babble" or voices.available("background")]
    shapes = []
    for kind in kinds:
        one, again, other = (noises.noise(kind, 2, seed) for seed in (1, 1, 2))
        assert np.array_equal(one, again)
        assert abs(np.corrcoef(one, other)[0, 1]) < 0.3
        assert np.sqrt(np.mean(one**2)) == pytest.approx(noises.RMS, rel=0.01)
        bands = spectrum(one)[1][1:].reshape(32, 16).sum(axis=1)
        shapes.append(10 * np.log10(bands / bands.sum() + 1e-7))
    for i, one in enumerate(shapes):
        for other in shapes[:i]:
            assert np.sqrt(np.mean((one - other) ** 2)) > 3  # dB


def test_voices_share_no_speaker_between_splits() -> None:
    """Training and tuning may: both are learnt from. Test and background are nobody's else."""
    assert len({v.name for v in voices.VOICES}) == len(voices.VOICES) >= 22
    people: dict[str, set[str]] = {}
    for v in voices.VOICES:
        person = v.settings[0].split("+")[-1].removeprefix("voice_").removeprefix("cmu_us_")
        people.setdefault(person.split("_")[0].removesuffix("16"), set()).add(v.split)
    assert all(len(s) == 1 for s in people.values() if s != {"training", "tuning"}), people
    assert {next(iter(s)) for s in people.values() if len(s) == 1} >= {"test", "background"}
    for split in SPLITS:
        makes = {v.make for v in voices.VOICES if v.split == split}
        assert makes >= {"espeak-ng", "flite", "festival"}
    assert {v.split for v in voices.VOICES if v.make == "piper"} == {"test"}


@talking
def test_every_voice_there_is_talks_with_little_silence() -> None:
    voices.prepare([(v, "nine sixteenths") for v in voices.VOICES if v in voices.available()])
    for voice in voices.available():
        words = voices.say(voice, "nine sixteenths")
        assert 0.7 < len(words) / RATE < 2.5, voice.name
        assert np.abs(words).max() == pytest.approx(voices.PEAK, abs=0.01)
        quiet = np.abs(words[: RATE // 20]).max()
        assert quiet < 0.05 * voices.PEAK, voice.name


@talking
def test_many_at_once_make_each_sound_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("LUGCALL_SPOKEN_CACHE", str(tmp_path))
    voice = voices.available("tuning")[0]
    with ThreadPoolExecutor(4) as pool:
        said = list(pool.map(lambda _: voices.say(voice, "four lugs"), range(8)))
    assert all(np.array_equal(x, said[0]) for x in said)
    assert [p.suffix for p in (tmp_path / voice.name).iterdir()] == [".flac"]


def test_a_missing_program_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tests.spoken.talkers.shutil.which", lambda _: None)
    with pytest.raises(RuntimeError, match="apt-get install flite"):
        voices.talk("flite", ("slt", "1"), ["one"])


def test_espeak_talks_without_its_program_too(monkeypatch: pytest.MonkeyPatch) -> None:
    pytest.importorskip("espeakng_loader", reason="pip install espeakng-loader")
    monkeypatch.setattr("tests.spoken.talkers.shutil.which", lambda _: None)
    # Those that are only trained with are many, and made in the same way.
    for voice in [v for v in voices.VOICES if v.make == "espeak-ng" and v.split != "training"]:
        sound = voices.talk(voice.make, voice.settings, ["five thou", "nine sixteenths shy"])
        short, long = (len(voices.trimmed(x)) / RATE for x in sound)
        assert 0.6 < short < long < 2.5, voice.name


def test_variation_stays_within_8_percent() -> None:
    lengths = [len(voices.vary(chirp(), seed)) / len(chirp()) for seed in range(20)]
    assert 0.92 <= min(lengths) < 0.97 and 1.03 < max(lengths) <= 1.09


@pytest.mark.parametrize("split", SPLITS)
def test_the_reader_never_contradicts_the_figures(split: str) -> None:
    """Whatever is drawn, also what `readings` would leave out: not read, or read right."""
    rng = phrases.random.Random(7)
    left_out = 0
    for quantity in phrases.QUOTA:
        for _ in range(150):
            said = phrases.drawn(quantity, split, rng)
            reading = read(phrases.plain(said.text), quantity)
            left_out += reading.status != "read"
            assert reading.status != "read" or phrases.true(said, reading), said
    assert left_out < 0.02 * 150 * len(phrases.QUOTA)


def test_truth_is_not_taken_from_the_reader() -> None:
    said = phrases.drawn("gap", "test", phrases.random.Random(1))
    wrong = read("eleven sixteenths minus a sixty fourth", "gap")
    assert not phrases.true(said, wrong)
    assert not phrases.true(said, read("plenty", "gap"))


def test_phrases_are_many_apart_and_the_same_each_time() -> None:
    made = {split: phrases.readings(split) for split in SPLITS}
    words = {split: {(p.quantity, p.words) for p in made[split]} for split in SPLITS}
    assert not words["tuning"] & words["test"]
    for split in SPLITS:
        assert len(words[split]) == len(made[split]) >= 400
        assert {p.quantity for p in made[split]} == set(phrases.QUOTA)
        assert all(p.agrees(read(p.text, p.quantity)) for p in made[split])  # commas or none
    phrases.readings.cache_clear()
    assert phrases.readings("test") == made["test"]


@pytest.mark.parametrize("split", SPLITS)
def test_commands_are_understood_where_they_are_said(
    split: str, card: Card, dialogs: Dialogs
) -> None:
    """The demo job is played; at each step every command of that step must mean what it says."""
    todo = list(commands(split))
    assert len(todo) >= 60 and len({c.meaning for c in todo}) >= 20
    job = Job(card, dialogs)
    said = [line for line in (SHIPPED / "first_job.txt").read_text().splitlines() if line[:1] > "#"]
    detours = {"chain_loose": ["tech: not sound", "tech: repaired", "helper: sound", "tech: sound"]}
    detours["ring_show"] = ["tech: stop", "tech: carry on"]
    while said:
        here = (job.at, job.pending is not None)
        for command in [c for c in todo if (c.step, c.pending) == here]:
            act = understand(command.words, command.who, job)
            assert isinstance(act, Act) and act.meaning == command.meaning, (command, act)
            todo.remove(command)
        said = detours.pop(here[0], []) + said
        who, words = split_speaker(said.pop(0))
        act = understand(words, who, job)
        assert isinstance(act, Act), (words, act)
        job.apply(act)
    assert not todo, {c.step for c in todo}


def test_off_topic_talk_is_no_reading_and_no_command(card: Card, dialogs: Dialogs) -> None:
    job = Job(card, dialogs)
    job.at = "found_gap"
    for texts in (chatter.BABBLE, *chatter.SHOP.values(), *chatter.RADIO.values()):
        for text in texts:
            assert all(read(text, q).status != "read" for q in QUANTITIES), text
            for who in ("tech", "helper"):
                act = understand(phrases.plain(text), who, job)
                assert not isinstance(act, Act) or act.meaning == "unclear", (text, act)
    for by_split in (chatter.SHOP, chatter.RADIO):
        assert not set(by_split["tuning"]) & set(by_split["test"])


def test_events_are_sounds_and_differ_each_time() -> None:
    for kind, make in events.EVENTS.items():
        one, two = (make(np.random.default_rng(seed)) for seed in (1, 2))
        assert 0.2 < len(one) / RATE < 12 and np.isfinite(one).all() and one.std() > 0, kind
        assert len(one) != len(two) or not np.allclose(one, two), kind


@talking
def test_the_stream_says_what_sounds_where() -> None:
    sound, heard = nonspeech.stream(1.5, 3, "tuning")
    again, same = nonspeech.stream(1.5, 3, "tuning")
    assert np.array_equal(sound, again) and heard == same
    assert len(sound) == 90 * RATE and np.abs(sound).max() < 0.9
    assert len({event.kind for event in heard}) >= 5
    ends = [0.0, *(event.end_s for event in heard)]
    for event, before in zip(heard, ends, strict=False):
        assert before < event.start_s < event.end_s <= 90
        assert bool(event.words) == (event.kind in ("chatter", "radio"))
        loud, quiet = (
            np.sqrt(np.mean(sound[int(a * RATE) : int(b * RATE)] ** 2))
            for a, b in ((event.start_s, event.end_s), (before, event.start_s))
        )
        assert loud > 1.5 * quiet, event
