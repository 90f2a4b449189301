"""Turn-taking: speech found in noise, utterances whole, echo taken out, a stop heard over it."""

from collections.abc import Iterable
from pathlib import Path

import numpy as np
import pytest

from assistant.voice.detection.echo_canceller import EchoCanceller
from assistant.voice.detection.endpointer import (
    MOST_S,
    PAUSE_S,
    PRE_ROLL_S,
    Endpointer,
    EndpointEvent,
    EndWaits,
)
from assistant.voice.detection.noise_floor import NoiseFloor, level_db
from assistant.voice.detection.vad import Vad
from assistant.voice.devices.audio import FRAME, FRAME_S, RATE, Samples, load
from tests.spoken.channels import active_level, echo_of
from tests.spoken.noises import RMS, noise
from tests.spoken.voices import available, say

VOICES = [voice for voice in available("tuning") if voice.make == "espeak-ng"]
needs_voices = pytest.mark.skipif(not VOICES, reason="needs espeak-ng to speak")
WORDS = ("check", "done", "no", "up", "stop", "hold")
LEVEL_DB = -26.0
CARDS = Path("/usr/share/pocketsphinx/test/data/cards")


def frames(samples: Samples) -> Iterable[tuple[Samples, float]]:
    for n in range(len(samples) // FRAME):
        yield samples[n * FRAME : (n + 1) * FRAME], n * FRAME_S


def silence(seconds: float) -> Samples:
    """Not digital: a microphone's own hiss, at -70 dB."""
    hiss = np.random.default_rng(0).standard_normal(round(seconds * RATE))
    return np.asarray(hiss * 10 ** (-70 / 20), np.float32)


def spoken(text: str, voice: int = 0, level_db: float = LEVEL_DB) -> Samples:
    """`text` without silence at its ends, its active level as given."""
    samples = say(VOICES[voice % len(VOICES)], text)
    power, first, last = active_level(samples)
    return samples[first:last] * np.float32(10 ** (level_db / 20) / np.sqrt(power))


def at(seconds: float, *placed: tuple[float, Samples]) -> Samples:
    """Quiet of this length with samples added at these times."""
    out = silence(seconds)
    for start_s, samples in placed:
        start = round(start_s * RATE)
        out[start : start + len(samples)] += samples
    return out


def kinds(events: Iterable[EndpointEvent]) -> list[str]:
    return [event.kind for event in events]


class Script:
    """Stands in for the detector where only the order of frames matters."""

    def __init__(self, *stretches: tuple[int, float]) -> None:
        self._left = [p for count, p in stretches for _ in range(count)]

    def probability(self, frame: Samples) -> float:
        return self._left.pop(0) if self._left else 0.0

    def reset(self) -> None: ...


def scripted(
    *stretches: tuple[int, float], wait: EndWaits | None = None
) -> tuple[Endpointer, Samples]:
    """One on a script of (frames, probability), and sound to match it: loud where likely."""
    endpointer = Endpointer(wait, Script(*stretches))  # type: ignore[arg-type]
    loud = np.repeat([0.1 if p > 0.3 else 1e-3 for n, p in stretches for _ in range(n)], FRAME)
    hiss = np.random.default_rng(1).standard_normal(len(loud))
    return endpointer, np.asarray(hiss * loud, np.float32)


def played_out(
    endpointer: Endpointer, samples: Samples, *patience: bool | None
) -> list[EndpointEvent]:
    """All events; at each pause it is told the next of `patience`."""
    left, events = list(patience), []
    for frame, at_s in frames(samples):
        for event in endpointer.feed(frame, at_s):
            events.append(event)
            if event.kind == "paused" and left:
                endpointer.patience(left.pop(0))
    return events


def ended(endpointer: Endpointer, samples: Samples, *patience: bool | None) -> list[EndpointEvent]:
    return [e for e in played_out(endpointer, samples, *patience) if e.kind == "ended"]


def test_a_frame_of_another_length_is_refused() -> None:
    with pytest.raises(ValueError, match="512"):
        Vad().probability(np.zeros(480, np.float32))


class Counted(Script):
    """Counts how often the detector was made to forget."""

    resets = 0

    def reset(self) -> None:
        self.resets += 1


def test_the_detector_forgets_in_silence_and_never_in_words() -> None:
    vad = Counted((100, 0.0), (100, 0.9), (47, 0.0), (1, 0.9), (47, 0.0))
    endpointer = Endpointer(vad=vad)  # type: ignore[arg-type]
    frame = np.full(FRAME, 1e-3, np.float32)
    counts = []
    for n in range(295):
        endpointer.feed(frame, n * FRAME_S)
        counts.append(vad.resets)
    assert counts[99] == 2 and counts[-1] == 2


@needs_voices
def test_speech_is_told_from_machines() -> None:
    vad = Vad()
    speech = [vad.probability(f) for f, _ in frames(spoken("seven and three eighths of an inch"))]
    assert np.mean(np.array(speech) > 0.5) > 0.7
    for kind in ("idle", "impacts", "hiss"):
        vad.reset()
        machine = [vad.probability(f) for f, _ in frames(noise(kind, 10, 1))]
        assert np.mean(np.array(machine) > 0.5) < 0.02, kind


def test_the_floor_follows_a_compressor_up_and_down() -> None:
    floor = NoiseFloor()
    quiet = np.random.default_rng(0).standard_normal(RATE * 8).astype(np.float32) * 1e-3
    quiet[RATE * 2 : RATE * 6] *= 30
    seen = {}
    for frame, at_s in frames(quiet):
        floor.feed(level_db(frame))
        seen[round(at_s, 1)] = floor.db
    low, high = level_db(quiet[:FRAME]), level_db(quiet[RATE * 3 : RATE * 3 + FRAME])
    assert high - low == pytest.approx(29.5, abs=2)
    assert seen[1.9] == pytest.approx(low, abs=3)
    assert seen[2.5] == pytest.approx(low, abs=3)  # half a second of it might be a word
    assert seen[5.9] == pytest.approx(high, abs=3)
    assert seen[6.4] == pytest.approx(low, abs=4)


def test_an_utterance_with_pre_roll_pause_and_end() -> None:
    endpointer, samples = scripted((30, 0.0), (20, 0.9), (30, 0.0), wait=EndWaits(0.2, 0.6, 0.3))
    events = played_out(endpointer, samples)
    assert kinds(events) == ["started", "paused", "ended"]
    started, paused, whole = events
    assert started.start_s == whole.start_s == pytest.approx(30 * FRAME_S, abs=0.04)
    assert whole.speech_end_s == paused.speech_end_s == pytest.approx(50 * FRAME_S, abs=0.04)
    assert paused.at_s - paused.speech_end_s == pytest.approx(PAUSE_S, abs=FRAME_S)
    assert whole.at_s - whole.speech_end_s == pytest.approx(0.3, abs=FRAME_S)
    first_s = whole.at_s - len(whole.samples) / RATE
    assert whole.start_s - first_s == pytest.approx(PRE_ROLL_S, abs=0.1)
    start = round(first_s * RATE)
    np.testing.assert_array_equal(whole.samples, samples[start : start + len(whole.samples)])


@pytest.mark.parametrize(("complete", "wait_s"), [(True, 0.2), (False, 0.6), (None, 0.4)], ids=str)
def test_patience_sets_the_wait(complete: bool | None, wait_s: float) -> None:
    waits = EndWaits(0.2, 0.6, 0.4)
    endpointer, samples = scripted((20, 0.0), (10, 0.9), (40, 0.0), wait=waits)
    (end,) = ended(endpointer, samples, complete)
    assert end.at_s - end.speech_end_s == pytest.approx(wait_s, abs=FRAME_S)


def test_patience_is_forgotten_when_the_speech_goes_on() -> None:
    stretches = (20, 0.0), (10, 0.9), (5, 0.0), (10, 0.9), (40, 0.0)
    endpointer, samples = scripted(*stretches, wait=EndWaits(0.2, 0.6, 0.4))
    events = played_out(endpointer, samples, False)
    assert kinds(events) == ["started", "paused", "resumed", "paused", "ended"]
    assert events[-1].at_s - events[-1].speech_end_s == pytest.approx(0.4, abs=FRAME_S)


def test_one_frame_of_speech_is_nothing() -> None:
    endpointer, samples = scripted((20, 0.0), (1, 0.9), (20, 0.0), (1, 0.9), (20, 0.0))
    assert played_out(endpointer, samples) == []


@pytest.mark.parametrize("alert", [False, True])
def test_soft_words_are_heard_where_somebody_may_be_hurt(alert: bool) -> None:
    """As soft as the noise is: by their sound alone."""
    endpointer, samples = scripted((90, 0.0), (12, 0.97), (30, 0.0))
    endpointer.alert = alert
    samples[90 * FRAME : 102 * FRAME] /= 85
    assert bool(ended(endpointer, samples)) == alert


@pytest.mark.parametrize("alert", [False, True])
def test_a_cry_among_talking_people_is_heard_where_somebody_may_be_hurt(alert: bool) -> None:
    endpointer, samples = scripted((90, 0.8), (3, 0.99), (30, 0.1))
    endpointer.alert = alert
    samples[: 90 * FRAME] /= 50
    begun = [e.start_s for e in played_out(endpointer, samples) if e.kind == "started"]
    assert (max(begun, default=0.0) > 88 * FRAME_S) == alert


def test_an_even_sound_taken_for_speech_ends_by_itself() -> None:
    endpointer, samples = scripted((20, 0.0), (round(2 * MOST_S / FRAME_S), 0.9))
    events = played_out(endpointer, samples)
    assert kinds(events) == ["started", "paused", "ended"]
    assert events[-1].at_s < MOST_S


def test_talk_that_never_ends_is_too_long_and_a_word_is_heard_after_it() -> None:
    on_and_on = round(1.2 * MOST_S / FRAME_S)
    endpointer, samples = scripted((20, 0.0), (on_and_on, 0.9), (60, 0.0), (8, 0.9), (30, 0.0))
    talk = samples[20 * FRAME : (20 + on_and_on) * FRAME]
    for n in range(0, on_and_on, 10):  # syllables
        talk[(n + 3) * FRAME : (n + 10) * FRAME] *= 0.3
    events = [event for event in played_out(endpointer, samples) if event.kind != "resumed"]
    too_long = [event for event in events if event.kind == "too long"]
    assert len(too_long) == 1
    assert too_long[0].at_s == pytest.approx(20 * FRAME_S + MOST_S, abs=0.3)
    assert kinds(events)[-3:] == ["started", "paused", "ended"]


def test_the_end_of_one_utterance_is_the_pre_roll_of_the_next() -> None:
    stretches = (20, 0.0), (10, 0.9), (8, 0.0), (10, 0.9), (20, 0.0)
    both = ended(*scripted(*stretches, wait=EndWaits(0.2, 0.2, 0.2)))
    assert len(both) == 2
    assert all(len(event.samples) / RATE > 0.32 + PRE_ROLL_S - 0.1 for event in both)


@needs_voices
@pytest.mark.parametrize("kind", ["idle", "impacts", "hiss"])
def test_short_words_are_found_whole_in_noise(kind: str) -> None:
    snr_db = 10.0
    placed = [(2.5 + 1.5 * n, spoken(word, n)) for n, word in enumerate(WORDS)]
    seconds = 2.5 + 1.5 * len(WORDS)
    samples = at(seconds, *placed)
    background = noise(kind, seconds + 1, 4)[: len(samples)]
    samples = samples + background * np.float32(10 ** ((LEVEL_DB - snr_db) / 20) / RMS)
    found = ended(Endpointer(), samples)
    assert len(found) == len(WORDS)
    for event, (start_s, word) in zip(found, placed, strict=True):
        assert event.at_s - len(event.samples) / RATE < start_s
        assert event.at_s > start_s + len(word) / RATE


@pytest.mark.skipif(not list(CARDS.glob("*.wav")), reason="needs pocketsphinx-testdata")
@pytest.mark.parametrize("number", range(1, 6))
def test_people_are_heard_whole(number: int) -> None:
    """Published recordings of one phrase each, 20 ms frames within 20 dB of the loudest."""
    words = load(CARDS / f"{number:03}.wav")
    power, first, last = active_level(words)
    samples = np.concatenate([silence(1), words, silence(1)])
    samples = samples + noise("idle", 10, 2)[: len(samples)] * np.float32(np.sqrt(power / 10) / RMS)
    (whole,) = ended(Endpointer(), samples)
    assert whole.at_s - len(whole.samples) / RATE < 1 + first / RATE
    assert 1 + last / RATE < whole.at_s < 1 + last / RATE + 0.7


@pytest.mark.parametrize("alert", [False, True])
@pytest.mark.parametrize("kind", ["idle", "impacts", "hiss"])
def test_machines_alone_say_nothing(kind: str, alert: bool) -> None:
    endpointer = Endpointer()
    endpointer.alert = alert
    assert played_out(endpointer, noise(kind, 30, 9)) == []


@needs_voices
def test_talk_in_the_background_does_not_keep_an_answer_from_ending() -> None:
    samples = at(9, *[(3.0 + 1.5 * n, spoken(word, n)) for n, word in enumerate(("check", "done"))])
    samples = samples + noise("babble", 9, 3) * np.float32(10 ** ((LEVEL_DB - 20) / 20) / RMS)
    found = ended(Endpointer(), samples)
    for start_s in (3.0, 4.5):
        mine = [e for e in found if start_s - 0.3 < e.start_s < start_s + 0.6]
        assert mine and mine[0].at_s < start_s + 1.4


@needs_voices
def test_a_gap_in_a_number_is_bridged_by_patience_only() -> None:
    nine, rest = spoken("nine"), spoken("sixteenths")
    samples = at(4, (1.0, nine), (1.0 + len(nine) / RATE + 0.35, rest))
    waits = EndWaits(0.2, 0.6, 0.2)
    assert len(ended(Endpointer(waits), samples)) == 2
    assert len(ended(Endpointer(waits), samples, *[False] * 4)) == 1


PROMPTS = (
    (0.8, "Measure the gap from the bearing to the clutch brake."),
    (4.8, "Nine sixteenths. Say check, or say it again."),
    (9.0, "Turn the ring two notches, then take the wrench off."),
)


def prompts() -> tuple[Samples, list[tuple[float, float]]]:
    """What the assistant plays, and when."""
    out = np.zeros(13 * RATE, np.float32)
    spans = []
    for start_s, text in PROMPTS:
        words = spoken(text, 2, -20.0)
        out[round(start_s * RATE) : round(start_s * RATE) + len(words)] = words
        spans.append((start_s, start_s + len(words) / RATE))
    return out, spans


def listened(
    heard: Samples, played: Samples, spans: list[tuple[float, float]]
) -> list[EndpointEvent]:
    ours = Endpointer()
    events = []
    for frame, at_s in frames(heard):
        over_us = any(a <= at_s + FRAME_S and at_s < b + 0.2 for a, b in spans)
        start = round(at_s * RATE)
        events += ours.feed(frame, at_s, played[start : start + FRAME], over_us)
    return events


@needs_voices
@pytest.mark.parametrize(("gain_db", "delay_s"), [(-10, 0.02), (-20, 0.06), (-30, 0.12)])
def test_it_does_not_hear_itself_but_hears_a_stop(gain_db: float, delay_s: float) -> None:
    played, spans = prompts()
    echo = echo_of(played, gain_db, delay_s) + silence(13)
    assert listened(echo, played, spans) == []
    assert ended(Endpointer(), echo_of(played, -10, 0.02) + silence(13)), "not told, it would"

    stop, said_s = spoken("stop", 0), spans[1][0] + 1.0
    over = echo.copy()
    over[round(said_s * RATE) : round(said_s * RATE) + len(stop)] += stop
    events = listened(over, played, spans)
    barged = [event for event in events if event.kind == "started"]
    assert len(barged) == 1 and said_s - 0.1 < barged[0].start_s < said_s + 0.3
    assert [e for e in events if e.kind == "ended" and abs(e.start_s - said_s) < 0.3]


@needs_voices
def test_the_echo_is_taken_out_and_the_person_left_in() -> None:
    played, spans = prompts()
    echo = echo_of(played, -10, 0.06)
    stop, start = spoken("stop", 1), round((spans[2][0] + 1.0) * RATE)
    heard = echo + silence(13)
    heard[start : start + len(stop)] += stop
    canceller = EchoCanceller()
    clean = np.concatenate(
        [
            canceller.feed(f, played[round(t * RATE) : round(t * RATE) + FRAME])
            for f, t in frames(heard)
        ]
    )

    def power(samples: Samples) -> float:
        return float(np.mean(np.square(samples, dtype=np.float64)))

    second = slice(round(spans[1][0] * RATE), round(spans[1][1] * RATE))
    assert power(clean[second]) < power(heard[second]) / 10
    word = slice(start, start + len(stop))
    assert power(clean[word] - stop) < power(echo[word]) / 10


def test_without_playback_frames_pass_untouched() -> None:
    canceller, frame = EchoCanceller(), silence(FRAME_S)
    assert canceller.feed(frame, np.zeros(FRAME, np.float32)) is frame
    assert canceller.over_db > 90
