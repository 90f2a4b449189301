"""The tests' own speakers: voices and words of training and test are apart, and mean what they say.

What is measured with them is worth no more than that.
"""

import numpy as np
import pytest

from assistant.act import Act
from assistant.card import Card
from assistant.conversation.understand import understand
from assistant.job.job import Job
from assistant.readings import QUANTITIES, read
from assistant.texts.dialogs import Dialogs
from assistant.voice.devices.audio import RATE
from tests.spoken import channels, chatter, noises, phrases, voices
from tests.spoken.commands import commands, moments, put

SPLITS = ("tuning", "test")


@pytest.mark.parametrize("snr_db", [20, 5])
def test_the_snr_is_the_one_asked_for(snr_db: int) -> None:
    t = np.arange(RATE) / RATE
    sweep = 0.1 * np.sqrt(2) * np.sin(2 * np.pi * (300 + 900 * t) * t)
    speech, quiet = np.pad(sweep, RATE // 5).astype(np.float32), RATE // 5
    mixed = channels.mix(speech, noises.noise("impacts", 3.5, 1), snr_db, seed=5)
    # 10 dB below the speech's own level the sweep is found again by fitting it.
    sound = mixed.samples[round(mixed.start_s * RATE) : round(mixed.end_s * RATE)]
    gain = float(np.dot(sound, speech) / np.dot(speech, speech))
    rest = (sound - gain * speech)[quiet:-quiet]
    measured = 20 * np.log10(gain * 0.1 / np.sqrt(np.mean(rest**2)))
    assert measured == pytest.approx(snr_db, abs=0.5)
    assert np.abs(mixed.samples).max() < 0.9


def test_voices_share_no_speaker_between_splits() -> None:
    """Training and tuning may: both are learnt from. Test and background are nobody's else."""
    assert len({v.name for v in voices.VOICES}) == len(voices.VOICES) >= 22
    people: dict[str, set[str]] = {}
    for v in voices.VOICES:
        person = v.settings[0].split("+")[-1].removeprefix("voice_").removeprefix("cmu_us_")
        people.setdefault(person.split("_")[0].removesuffix("16"), set()).add(v.split)
    assert all(len(s) == 1 for s in people.values() if s != {"training", "tuning"}), people
    assert {next(iter(s)) for s in people.values() if len(s) == 1} >= {"test", "background"}
    assert {v.split for v in voices.VOICES if v.make == "piper"} == {"test"}


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


def test_phrases_are_many_and_apart() -> None:
    made = {split: phrases.readings(split) for split in SPLITS}
    words = {split: {(p.quantity, p.words) for p in made[split]} for split in SPLITS}
    assert not words["tuning"] & words["test"]
    for split in SPLITS:
        assert len(words[split]) == len(made[split]) >= 400
        assert {p.quantity for p in made[split]} == set(phrases.QUOTA)
        assert all(p.agrees(read(p.text, p.quantity)) for p in made[split])  # commas or none


@pytest.mark.parametrize("split", SPLITS)
def test_commands_are_understood_where_they_are_said(
    split: str, card: Card, dialogs: Dialogs
) -> None:
    todo, jobs = commands(split), moments(card, dialogs)
    assert len(todo) >= 60 and len({c.meaning for c in todo}) >= 20
    for command in todo:
        act = understand(command.words, command.who, jobs[command.step, command.pending])
        assert isinstance(act, Act) and act.meaning == command.meaning, (command, act)


def test_off_topic_talk_is_no_reading_and_no_command(card: Card, dialogs: Dialogs) -> None:
    job = put(Job(card, dialogs), "found_gap")
    for texts in (chatter.BABBLE, *chatter.SHOP.values(), *chatter.RADIO.values()):
        for text in texts:
            assert all(read(text, q).status != "read" for q in QUANTITIES), text
            for who in ("tech", "helper"):
                act = understand(phrases.plain(text), who, job)
                assert not isinstance(act, Act) or act.meaning == "unclear", (text, act)
    for by_split in (chatter.SHOP, chatter.RADIO):
        assert not set(by_split["tuning"]) & set(by_split["test"])
