"""The assistant's voice taken out: what it takes for a person, and who is heard over it.

    python -m tests.benchmarks.bench_echo [--minutes N]

The assistant speaks prompts at -20 dBFS; a room gives them back to the microphone. Once as it is:
every utterance begun is a false one. Once with "stop" said over every second prompt at -26 dBFS by
changing voices: how many are heard, and how long after the word began ("quiet": the same words
where nothing is played). "word" is the word's level over all that is left of the echo while it is
said, before and after; the first prompt, while the filter knows nothing, is counted in.
"""

import argparse
import time

import numpy as np

from assistant.voice.detection.echo_canceller import EchoCanceller
from assistant.voice.detection.endpointer import Endpointer
from assistant.voice.devices.audio import FRAME, FRAME_S, RATE, Samples
from tests.spoken.channels import active_level, echo_of
from tests.spoken.noises import RMS, noise
from tests.spoken.voices import available, say

PROMPTS = (
    "Measure the gap from the release bearing to the clutch brake. Say it in inches.",
    "Nine sixteenths. Say check, or say it again.",
    "Hold the pedal down. Helper, say holding when it is down.",
    "Turn the adjusting ring two notches, then take the wrench off.",
)
SPAN = tuple[int, int]


def levelled(samples: Samples, level_db: float) -> Samples:
    power, first, last = active_level(samples)
    return samples[first:last] * np.float32(10 ** (level_db / 20) / np.sqrt(power))


def played(voice: str, seconds: float) -> tuple[Samples, list[SPAN]]:
    """What the loudspeaker is given, and from which sample to which it speaks."""
    out, spans, at = np.zeros(round(seconds * RATE), np.float32), [], RATE // 2
    while True:
        words = levelled(say(voice, PROMPTS[len(spans) % len(PROMPTS)]), -20.0)
        if at + len(words) > len(out):
            return out, spans
        out[at : at + len(words)] = words
        spans.append((at, at + len(words)))
        at += len(words) + round(0.8 * RATE)


def interruptions(spans: list[SPAN], seconds: float) -> tuple[Samples, list[SPAN]]:
    """The word over every second prompt, and where it is."""
    voices = available("test")
    out, said = np.zeros(round(seconds * RATE), np.float32), []
    for n, (start, end) in enumerate(spans[::2]):
        word = levelled(say(voices[n % len(voices)], "stop"), -26.0)
        at = start + round((0.2 if n == 0 else 0.4) * (end - start))
        out[at : at + len(word)] += word
        said.append((at, at + len(word)))
    return out, said


def noticed(heard: Samples, given: Samples, spans: list[SPAN]) -> list[tuple[float, float]]:
    """Every beginning of an utterance: since when, and when it was noticed."""
    endpointer, found = Endpointer(), []
    for n in range(len(heard) // FRAME):
        part = slice(n * FRAME, (n + 1) * FRAME)
        ours = any(a <= part.stop and part.start < b + RATE // 5 for a, b in spans)
        for event in endpointer.feed(heard[part], n * FRAME_S, given[part], ours):
            if event.kind == "started":
                found.append((event.start_s, event.at_s))
    return found


def hits(found: list[tuple[float, float]], said: list[SPAN]) -> list[float]:
    """Delay of each word that was noticed, in seconds."""
    delays = []
    for start, end in said:
        mine = [t for at, t in found if start / RATE - 0.15 <= at <= end / RATE + 0.1]
        delays += [mine[0] - start / RATE] if mine else []
    return delays


def over_echo_db(echo: Samples, near: Samples, given: Samples, said: list[SPAN]) -> list[float]:
    """Median level of the words over what is left of the echo: before, after."""
    canceller, clean = EchoCanceller(), []
    for n in range(len(echo) // FRAME):
        part = slice(n * FRAME, (n + 1) * FRAME)
        clean.append(canceller.feed(echo[part] + near[part], given[part]))
    left = np.concatenate(clean) - near[: len(clean) * FRAME]

    def ratio(rest: Samples, span: SPAN) -> float:
        word = slice(*span)
        return float(10 * np.log10(np.mean(near[word] ** 2) / np.mean(rest[word] ** 2)))

    return [float(np.median([ratio(rest, span) for span in said])) for rest in (echo, left)]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, default=1.0, help="of every case")
    seconds = parser.parse_args().minutes * 60
    print(f"{'echo':42} false  a minute  heard      delay, ms    word over echo, dB")
    all_false, all_seconds, cost = 0, 0.0, 0.0
    for gain_db, delay_s, fades_s in (
        (-10, 0.02, 0.3),
        (-10, 0.12, 0.5),
        (-20, 0.06, 0.3),
        (-30, 0.12, 0.3),
    ):
        for label, voice, distorts, kind, snr_db in (
            ("", "us-f2", False, "", 0),
            ("distorted", "gb-m3", True, "", 0),
            ("idle 20 dB", "rms", False, "idle", 20),
            ("idle 10 dB", "us-f2", False, "idle", 10),
            ("impacts 10 dB", "rms", False, "impacts", 10),
            ("babble 20 dB", "gb-m3", False, "babble", 20),
        ):
            given, spans = played(voice, seconds)
            echo = echo_of(given, gain_db, delay_s, fades_s, distorts)
            near, said = interruptions(spans, seconds)
            if kind:
                around = noise(kind, seconds + 0.1, 5) * np.float32(
                    10 ** ((-26 - snr_db) / 20) / RMS
                )
            else:
                around = np.random.default_rng(5).normal(size=len(echo)) * 10 ** (-65 / 20)
            around = np.asarray(around[: len(echo)], np.float32)
            begun = time.process_time()
            false = len(noticed(echo + around, given, spans))
            cost += time.process_time() - begun
            over = hits(noticed(echo + near + around, given, spans), said)
            quiet = hits(noticed(near + around, np.zeros_like(given), []), said)
            before, after = over_echo_db(echo, near, given, said)
            if kind != "babble":
                all_false, all_seconds = all_false + false, all_seconds + seconds
            name = f"{gain_db} dB, {delay_s * 1000:.0f} ms, room {fades_s} s, {label}"
            print(
                f"{name:42} {false:5} {false / seconds * 60:9.1f}  {len(over):2} of {len(said):2}"
                f"  {np.median(over) * 1000:4.0f} {np.max(over) * 1000:4.0f}"
                f" (quiet {np.median(quiet) * 1000:3.0f} {np.max(quiet) * 1000:4.0f})"
                f"  {before:5.1f} {after:5.1f}",
                flush=True,
            )
    print(f"without babble: {all_false} false in {all_seconds / 60:.0f} minutes of its own speech")
    print(f"{cost / (24 * seconds) * 1000:.0f} ms of a core a second while it speaks")


if __name__ == "__main__":
    main()
