"""Turn-taking by noise: what is found, how soon, how soon it ends, what is taken for speech.

    python -m tests.benchmarks.bench_turntaking [--minutes N] [--split test]

Truth is each word's own first and last 10 ms within 30 dB of its loudest. "told" is the wait when
the recognizer tells, 0.2 s after a pause began, whether the words can stand (here: the truth).
"""

import argparse
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from assistant.voice.detection.endpointer import Endpointer, EndpointEvent
from assistant.voice.detection.vad import Vad
from assistant.voice.devices.audio import FRAME, FRAME_S, RATE, Samples
from tests.spoken import nonspeech
from tests.spoken.channels import CHANNELS, active_level
from tests.spoken.noises import RMS, noise
from tests.spoken.voices import available, say, vary

TEXTS = (
    *("check", "done", "no", "up", "stop", "yes", "hold", "down", "six", "out", "say again"),
    *("nine sixteenths", "five eighths shy", "one and a half inches", "seven thirty seconds"),
    *("three eighty seven thousandths", "point five six two", "four and three quarters"),
)
LEVEL_DB = -26.0
DECODING_S = 0.2


@dataclass(slots=True)
class Tally:
    """What became of the words of one stream, times in seconds."""

    words: int = 0
    missed: int = 0
    split: int = 0
    clipped: int = 0
    false: int = 0
    noticed: list[float] = field(default_factory=list)
    paused: list[float] = field(default_factory=list)
    ended: list[float] = field(default_factory=list)
    told: list[float] = field(default_factory=list)


def edges(samples: Samples) -> tuple[float, float]:
    """Where the words begin and end, in seconds."""
    step = RATE // 100
    power = np.square(samples[: len(samples) // step * step]).reshape(-1, step).mean(axis=1)
    loud = np.flatnonzero(power > power.max() / 1000)
    return float(loud[0]) / 100, float(loud[-1] + 1) / 100


def stream(
    kind: str, snr_db: float, channel: str, split: str, seconds: float, seed: int
) -> tuple[Samples, list[tuple[float, float]]]:
    """Words of changing voices 1 to 2.5 s apart in noise, and where they are."""
    rng = np.random.default_rng(seed)
    voices, out, at, truth = available(split), np.zeros(round(seconds * RATE)), 3 * RATE, []
    while True:
        voice, text = voices[rng.integers(len(voices))], TEXTS[rng.integers(len(TEXTS))]
        word = vary(say(voice, text), int(rng.integers(1 << 30)))
        if at + len(word) + 2 * RATE > len(out):
            break
        start, end = edges(word)
        out[at : at + len(word)] += word * (10 ** (LEVEL_DB / 20) / np.sqrt(active_level(word)[0]))
        truth.append((at / RATE + start, at / RATE + end))
        at += len(word) + round(rng.uniform(1.0, 2.5) * RATE)
    samples = np.asarray(out, np.float32)
    if channel == "far":
        samples = CHANNELS[channel](samples)[: len(out)]
    background = noise(kind, seconds + 0.1, seed)[: len(out)] if kind else rng.normal(size=len(out))
    level_db = LEVEL_DB - snr_db if kind else -70.0
    samples = samples + background * (10 ** (level_db / 20) / (RMS if kind else 1.0))
    samples = np.asarray(samples, np.float32)
    return samples if channel == "far" else CHANNELS[channel](samples), truth


def heard(
    samples: Samples, truth: list[tuple[float, float]], told: bool
) -> tuple[list[tuple[float, float]], list[EndpointEvent], list[EndpointEvent]]:
    """All events: (start, noticed), pauses, ends; with `told`, patience is set from the truth."""
    endpointer, started, paused, ended = Endpointer(), [], [], []
    waiting: list[tuple[float, bool]] = []
    for n in range(len(samples) // FRAME):
        now = n * FRAME_S
        while told and waiting and waiting[0][0] <= now:
            endpointer.patience(waiting.pop(0)[1])
        for event in endpointer.feed(samples[n * FRAME : (n + 1) * FRAME], now):
            if event.kind == "started":
                started.append((event.start_s, event.at_s))
            elif event.kind == "paused":
                paused.append(event)
                inside = any(a < event.speech_end_s < b - 0.1 for a, b in truth)
                waiting = [(event.at_s + DECODING_S, not inside)]
            elif event.kind == "ended":
                ended.append(event)
                waiting = []
    return started, paused, ended


def tallied(samples: Samples, truth: list[tuple[float, float]]) -> Tally:
    tally = Tally(words=len(truth))
    started, paused, ended = heard(samples, truth, told=False)
    _, _, ended_told = heard(samples, truth, told=True)
    mine: set[int] = set()
    for start, end in truth:
        found = [n for n, e in enumerate(ended) if e.start_s < end and e.speech_end_s > start]
        mine.update(found)
        if not found:
            tally.missed += 1
            continue
        tally.split += len(found) > 1
        first, last = ended[found[0]], ended[found[-1]]
        tally.clipped += first.at_s - len(first.samples) / RATE > start
        tally.ended.append(last.at_s - end)
        tally.paused += [p.at_s - end for p in paused if start < p.at_s <= last.at_s][-1:]
        tally.noticed += [seen - start for at, seen in started if at == first.start_s]
        tally.told += [
            e.at_s - end for e in ended_told if e.start_s < end and e.speech_end_s > start
        ][-1:]
    tally.false = len(ended) - len(mine)
    return tally


def added(tallies: list[Tally]) -> Tally:
    total = Tally()
    for tally in tallies:
        for name in Tally.__slots__:
            setattr(total, name, getattr(total, name) + getattr(tally, name))
    return total


def row(name: str, tally: Tally) -> str:
    times = " ".join(
        f"{np.median(t) * 1000:5.0f} {np.percentile(t, 95) * 1000:5.0f} "
        for t in (tally.noticed, tally.paused, tally.ended, tally.told)
    )
    counts = f"{tally.words:5} {tally.missed:6} {tally.split:5} {tally.clipped:7} {tally.false:5}"
    return f"{name:16} {counts}  {times}"


def detectors(split: str, seconds: float) -> None:
    """Frames wrong and processor time, of the detector chosen and of one that was not."""
    vad = Vad()
    ways: dict[str, Callable[[Samples], bool]] = {"silero": lambda f: vad.probability(f) > 0.5}
    try:
        import webrtcvad
    except ImportError:
        pass
    else:
        other = webrtcvad.Vad(3)

        def webrtc(frame: Samples) -> bool:
            raw = np.asarray(np.clip(frame, -1, 1) * 32767, "<i2").tobytes()
            return sum(other.is_speech(raw[i : i + 320], RATE) for i in (0, 320, 640)) > 1

        ways["webrtc 3"] = webrtc
    print(f"\n{'detector':10} {'noise':12} speech missed %  rest taken %  ms a frame")
    for name, speech in ways.items():
        for kind in ("idle", "impacts", "hiss"):
            for snr_db in (10, 5):
                samples, truth = stream(kind, snr_db, "wideband", split, seconds, 5)
                vad.reset()
                begun = time.process_time()
                said = [
                    speech(samples[i : i + FRAME]) for i in range(0, len(samples) - FRAME, FRAME)
                ]
                cost = (time.process_time() - begun) / len(said) * 1000
                middle = (np.arange(len(said)) + 0.5) * FRAME_S
                words = np.zeros(len(said), bool)
                for start, end in truth:
                    words |= (middle > start) & (middle < end)
                flags = np.array(said)
                print(
                    f"{name:10} {kind:8}{snr_db:3}  {100 * np.mean(~flags[words]):14.1f}"
                    f"{100 * np.mean(flags[~words]):14.1f}{cost:12.2f}"
                )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, default=2.0, help="of every stream")
    parser.add_argument("--split", default="test", choices=["tuning", "test"])
    options = parser.parse_args()
    seconds, split = options.minutes * 60, options.split
    print("milliseconds after the speech began or ended, median and 95 %:")
    head = f"{'noise, dB':16} words missed split clipped false"
    print(f"{head}  noticed      pause        end          told")
    for kind, levels in (("", (99,)), *((k, (20, 10, 5)) for k in NOISES)):
        for snr_db in levels:
            parts = [
                tallied(*stream(kind, snr_db, channel, split, seconds, 11 + n))
                for n, channel in enumerate(CHANNELS)
            ]
            print(row(f"{kind or 'none':8} {snr_db if kind else '':>4}", added(parts)), flush=True)
    print("\nnoise alone: utterances an hour")
    for kind in NOISES:
        samples = noise(kind, 2 * seconds, 21)
        begun = time.process_time()
        ended = heard(samples, [], told=False)[2]
        cost = (time.process_time() - begun) / len(samples) * RATE * 1000
        print(f"{kind:16} {len(ended) * 1800 / seconds:6.0f}   {cost:.1f} ms of a core a second")
    samples, events = nonspeech.stream(4 * options.minutes, 3, split)
    ended = heard(samples, [], told=False)[2]
    of = Counter(
        next((v.kind for v in events if v.start_s - 0.3 < e.start_s < v.end_s + 0.3), "nothing")
        for e in ended
    )
    sounds = Counter(v.kind for v in events)
    print(f"\n{4 * options.minutes:.0f} minutes of shop, utterances of sounds:")
    print(", ".join(f"{kind} {of[kind]} of {sounds[kind]}" for kind in sorted(sounds)))
    print(f"from nothing at all: {of['nothing']}")
    detectors(split, seconds)


NOISES = ("idle", "impacts", "hiss", "babble")

if __name__ == "__main__":
    main()
