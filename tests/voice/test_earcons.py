"""The signals: told apart by their envelope alone, in the right band, loud enough."""

import itertools

import numpy as np
import pytest

from assistant.voice.devices.audio import RATE, Samples
from assistant.voice.output.earcons import ABOVE_AMBIENT_DB, LOUDEST_DBFS, NAMES, earcon
from tests.spoken.channels import level_dbfs
from tests.spoken.noises import noise

Rhythm = tuple[float, ...]


def envelope(sound: Samples) -> Samples:
    """Level each 5 ms; no pitch is left in it."""
    return np.sqrt(np.square(sound[: len(sound) // 80 * 80]).reshape(-1, 80).mean(axis=1))


def pulses(sound: Samples) -> Rhythm:
    """Lengths in seconds of the stretches louder than half the loudest, and between them."""
    level = envelope(sound)
    on = np.concatenate([[False], level > 0.5 * level.max(), [False]])
    edges = np.flatnonzero(np.diff(on.astype(int)))
    return tuple(np.diff(edges) * 80 / RATE)


def test_rhythms_are_apart() -> None:
    """Any two differ in the number of pulses, or fourfold in their length."""
    rhythms = {name: pulses(earcon(name)) for name in NAMES}
    for a, b in itertools.combinations(NAMES, 2):
        one, two = rhythms[a], rhythms[b]
        longer = max(one[0], two[0]) / min(one[0], two[0])
        assert len(one) != len(two) or longer > 4, (a, one, b, two)


def told_by_envelope(heard: Samples) -> str:
    """Which signal it was, by the best fit of the envelopes, wherever it begins."""
    there = envelope(heard)
    there = there - there.mean()
    scores = {}
    for name in NAMES:
        # Half a second of nothing belongs to each rhythm: a short one is not a part of a long one.
        pad = np.zeros(int(0.3 * RATE), dtype=np.float32)
        shape = envelope(np.concatenate([pad, earcon(name), pad]))
        shape = (shape - shape.mean()) / np.linalg.norm(shape - shape.mean())
        scores[name] = float(np.correlate(there, shape, "valid").max())
    return max(scores, key=lambda name: scores[name])


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("kind", ["idle", "hiss", "impacts"])
def test_told_apart_in_noise_without_pitch(name: str, kind: str) -> None:
    """Carried by noise instead of a tone, 15 dB over the shop's noise, another seed each."""
    rng = np.random.default_rng(sum(map(ord, name + kind)))
    plain = earcon(name)
    level = np.repeat(envelope(plain), 80)
    toneless = level * rng.normal(size=len(level))
    quiet = np.zeros(RATE // 2)
    sound = np.concatenate([quiet, toneless, quiet]).astype(np.float32)
    background = noise(kind, len(sound) / RATE + 0.1, 7)[: len(sound)]
    wanted = level_dbfs(toneless[level > 0.01].astype(np.float32)) - ABOVE_AMBIENT_DB
    background = background * np.float32(10 ** ((wanted - level_dbfs(background)) / 20))
    assert told_by_envelope(sound + background) == name


@pytest.mark.parametrize("name", NAMES)
def test_band(name: str) -> None:
    """All of it between 500 and 2500 Hz, at least half of it below 1500 Hz."""
    sound = earcon(name)
    power = np.abs(np.fft.rfft(sound, 1 << 16)) ** 2
    hz = np.fft.rfftfreq(1 << 16, 1 / RATE)
    inside = power[(hz >= 480) & (hz <= 2520)].sum()
    assert inside > 0.97 * power.sum()
    assert power[(hz >= 480) & (hz < 1500)].sum() > 0.5 * inside


@pytest.mark.parametrize("name", NAMES)
def test_level_follows_the_noise(name: str) -> None:
    def pulse_level(sound: Samples) -> float:
        return level_dbfs(
            sound[np.repeat(envelope(sound) > 0.5 * envelope(sound).max(), 80).nonzero()]
        )

    assert pulse_level(earcon(name, -35.0)) == pytest.approx(-20.0, abs=1.0)
    assert pulse_level(earcon(name)) == pytest.approx(LOUDEST_DBFS, abs=1.0)
    assert pulse_level(earcon(name, 0.0)) == pytest.approx(LOUDEST_DBFS, abs=1.0), (
        "as loud as may be"
    )
    assert np.abs(earcon(name)).max() < 1.0, "not clipped"


@pytest.mark.parametrize("name", NAMES)
def test_short_and_without_clicks(name: str) -> None:
    sound = earcon(name)
    assert len(sound) < 0.8 * RATE
    assert abs(sound[0]) < 0.01 and abs(sound[-1]) < 0.01
    sound[:] = 0.0
    assert earcon(name).any(), "the shape kept is not the one given"
