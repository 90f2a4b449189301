"""How soon it speaks and how soon it is silent. Prints figures; asserts nothing.

python -m tests.benchmarks.bench_speech_output
"""

import json
import subprocess
import sys
import tempfile
import time
from contextlib import closing
from pathlib import Path

import numpy as np

from assistant.act import Said
from assistant.voice.devices.audio import RATE
from assistant.voice.devices.portaudio import quiet_libraries
from assistant.voice.output.player import Player
from assistant.voice.output.queue import SpeechOutput
from assistant.voice.output.synthesizer import Synthesizer, split_sentences, spoken
from tests.benchmarks.figures import times
from tests.demo import played
from tests.voice.pulse import missing, pulse


def texts() -> list[str]:
    """Everything said in the invented shop's three jobs, once each."""
    out: dict[str, None] = {}
    for name in ("first_job", "metric_job", "hard_day"):
        with tempfile.TemporaryDirectory() as folder:
            for *_, said in played(name, Path(folder)):
                out.update(dict.fromkeys(one.text for one in said))
    return list(out)


def synthesis() -> None:
    """From a text to the samples of its first sentence, which is when it can be played."""
    all_texts = texts()
    start = time.perf_counter()
    with closing(Synthesizer()) as speech:
        speech.samples("Ready.")
        times("start of the synthesizer to its first samples", [time.perf_counter() - start])
        for what in ("text to samples of its first sentence, new", "the same, said before"):
            took = []
            for text in all_texts:
                start = time.perf_counter()
                speech.samples(split_sentences(spoken(text))[0])
                took.append(time.perf_counter() - start)
            times(what, took)
        took = []
        for text in all_texts:
            start = time.perf_counter()
            spoken(text)
            took.append(time.perf_counter() - start)
        times("of that: figures into words", took)


def on_pulse() -> None:
    """An output on a null sink: what this process believes, and what its monitor hears."""
    if missing():
        print(missing())
        return
    with pulse() as daemon:
        with daemon.recording("lug_speaker") as tape:
            got = subprocess.run(
                [sys.executable, "-m", __spec__.name, "child"],
                env=daemon.env,
                capture_output=True,
                text=True,
            )
        sound, blocks = tape.samples(), tape.times
    # A block cannot come before it sounded: its earliest arrival dates the whole tape, late by
    # the recorder's own latency, so that what follows is not flattered.
    begin = min(at - count / RATE for at, count in blocks)
    heard = np.flatnonzero(np.abs(sound) > 0.003) / RATE + begin
    rows = json.loads(got.stdout.splitlines()[-1])
    times("say() to first sound, as the player dates it", [r[1] - r[0] for r in rows])
    first_heard = [heard[heard > r[0]][0] - r[0] for r in rows]
    times("say() to first sound, as the null sink's monitor has it", first_heard)
    silent = [
        heard[(heard > hush - 0.2) & (heard < hush + 0.55)][-1] - hush for _, _, hush, *_ in rows
    ]
    times("hush() to the last sound on the monitor", silent)
    times("say() of a stop, amid other talk, to its signal", [r[4] - r[3] for r in rows])


def child() -> None:
    """Say and hush twenty times on `lug_speaker`; prints when."""
    quiet_libraries()
    firsts: list[float] = []
    rows = []
    with closing(Synthesizer()) as speech:
        player = Player("lug_speaker")
        output = SpeechOutput(speech, player, on_first=lambda said, where, at: firsts.append(at))
        output.start()
        speech.samples("Ready.")
        time.sleep(1.0)
        for i in range(20):
            said = time.monotonic()
            facts = f"pedal height {i + 3}-1/2 in, total travel 8-1/4 in, odometer 412,350 miles"
            output.say([Said("tech", f"Gap {2 * i + 1}/64 in, {facts}.", "prompt:bench")])
            time.sleep(1.0 + 0.013 * i)
            hush = time.monotonic()
            output.hush()
            first = firsts[-1]
            time.sleep(0.6)
            output.say([Said("tech", f"Gap {2 * i + 1}/64 in, {facts}.", "reply:facts")])
            time.sleep(0.4)
            stop = time.monotonic()
            output.say([Said("tech", "STOP. Everything out.", "reply:stopped", "DANGER", "STOP")])
            time.sleep(0.4)
            rows.append((said, first, hush, stop, firsts[-1]))
            output.hush(stop_too=True)
            time.sleep(0.4)
        output.close()
    print(json.dumps(rows))


if __name__ == "__main__":
    if sys.argv[1:] == ["child"]:
        child()
    else:
        synthesis()
        on_pulse()
