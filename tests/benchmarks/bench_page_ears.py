"""The page's microphone beside the native one: the same sound through both, into the same ears.

    python -m tests.benchmarks.bench_page_ears [--n 24]

Each utterance is a reading of the gap by a test voice, at the step that asks for it, on a new job
each time. Native: the sound goes into the ears as frames, in real time. Page: it goes into
chromium's microphone stream, over the WebSocket, into a server's ears; timed is from the last
sample to the reading on the bench. Both wait for the words' end alike.
"""

import argparse
import tempfile
import time
from pathlib import Path

import numpy as np
from playwright.sync_api import sync_playwright

from assistant.conversation import Session
from assistant.screens.ears import Ears
from assistant.texts.dialogs import load_dialogs
from assistant.voice.devices.audio import FRAME, FRAME_S, RATE
from assistant.voice.session.attendant import Attendant, SpokenTurn
from tests.demo import DIALOGS
from tests.screens.conftest import CHROMIUM, serve, until
from tests.screens.test_pages import AWAKE, opened
from tests.screens.test_voice import MICROPHONE, wav
from tests.spoken.voices import available, say

WORDS = (
    "nine sixteenths;five eighths;eleven sixteenths;half an inch;twenty one thirty seconds;"
    "seven sixteenths;three quarters;nineteen thirty seconds".split(";")
)
MOST_S = 12.0


def figures(session: Session) -> str:
    pending, job = session.job.pending, session.job
    taken = [r.figures for r in job.facts.readings if r.quantity == "gap"]
    return pending.figures if pending is not None else (taken or [""])[-1]


def meant(folder: Path, words: str) -> str:
    session, _ = Session.resume(folder, load_dialogs(DIALOGS))
    reading = session.understood(words, "tech").reading
    session.close()
    return str(reading["figures"])


def native(ears: Ears, record: Path, words: str) -> tuple[float, str]:
    """Seconds from the last sample to the answer, and what was taken."""
    session, _ = Session.resume(record, load_dialogs(DIALOGS))
    told: list[float] = []

    def answer(turn: SpokenTurn) -> None:
        if turn.said:
            told.append(time.monotonic())

    attendant = Attendant(session, ears.recognizers, ears.decoder, answer)
    channel = attendant.add("tech", "bench")
    attendant.practise()
    sound = say(available("test")[0], words)
    quiet = np.zeros(RATE, np.float32)
    frames = np.concatenate([quiet, sound, np.zeros(int(MOST_S * RATE), np.float32)])
    ends = (len(quiet) + len(sound)) / RATE
    begins = time.monotonic()
    for i in range(len(frames) // FRAME):
        time.sleep(max(0.0, begins + i * FRAME_S - time.monotonic()))
        channel.feed(frames[i * FRAME : (i + 1) * FRAME], i * FRAME_S)
        attendant.pump()
        if told:
            break
    taken = figures(session)
    session.close()
    return (told[0] if told else time.monotonic()) - begins - ends, taken


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--n", type=int, default=24)
    n = parser.parse_args().n
    rows: dict[str, list[tuple[float, bool]]] = {"native": [], "page": []}
    with tempfile.TemporaryDirectory() as home, sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=AWAKE)
        ears = Ears()
        for i in range(n):
            words = WORDS[i % len(WORDS)]
            folder = Path(home) / str(i)
            folder.mkdir()
            record = folder / f"{until('found_gap', folder)}.jsonl"
            right = meant(record, words)
            took, taken = native(ears, record, words)
            rows["native"].append((took, taken == right))
            folder = Path(home) / f"page{i}"
            folder.mkdir()
            job = until("found_gap", folder)
            served = serve(folder, ears=lambda: ears)
            ears.close = lambda: None  # it is for all of them
            bench = opened(browser, served.at, "bench", job)
            bench.evaluate(MICROPHONE)
            bench.click("#listen")
            bench.wait_for_function("() => window.speak")
            time.sleep(1.0)
            before = bench.evaluate("link.n")
            ends = time.monotonic() + len(say(available("test")[0], words)) / RATE
            bench.evaluate("(sound) => window.speak(sound)", wav(words))
            while time.monotonic() < ends + MOST_S and bench.evaluate("link.n") == before:
                time.sleep(0.01)
            rows["page"].append(
                (time.monotonic() - ends, figures(served.bays._live[job].conversation) == right)
            )
            bench.context.close()
            served.stop()
        browser.close()
    for name, told in rows.items():
        times = sorted(took for took, _ in told)
        right = sum(good for _, good in told)
        print(f"{name:>7}: median {times[len(times) // 2]:.2f} s, 95 % "
              f"{times[int(len(times) * 0.95)]:.2f} s, right {right} of {len(told)}")  # fmt: skip


if __name__ == "__main__":
    main()
