"""Fits the calibration in `voice/interpretation/policy.toml` on background voices; prints it.

    python tests/benchmarks/calibrate.py [--speech 400] [--minutes 12] [--work FOLDER]

Speech: the background's voices and the calibration's (Whisper was adapted with the tuning ones and
would be too sure of them) and tuning phrases, in the four noises at 20, 10 and 5 dB, wide and
narrow band, half of it inside the grammar of a step. Not speech to us: the tuning stream of shop
noise and chatter.
The hearings are kept in the work folder, so that another fit costs seconds.
"""

from __future__ import annotations

import argparse
import pickle
import random
import sys
from functools import partial
from pathlib import Path

import numpy as np
from scipy.optimize import minimize

sys.path.insert(0, str(Path(__file__).parents[2]))

from assistant.card import default_card
from assistant.conversation.understand import understand
from assistant.job.job import Job
from assistant.texts.dialogs import load_dialogs
from assistant.voice.devices.audio import RATE
from assistant.voice.interpretation import POLICY, identity
from assistant.voice.interpretation.ranking import decide, interpreter, reading_interpreter
from assistant.voice.recognition.expected import expected, reading_grammar
from assistant.voice.recognition.recognizers import Recognizers, open_recognizers
from tests.spoken import channels, nonspeech, phrases, voices
from tests.spoken.commands import commands, put

RIGHT = ("one", "odds", "gap", "fit", "free_fit", "agree", "silent", "no_speech")
MEANT_FOR_US = RIGHT
RIDGE = 0.02


def moments():
    """A job at the step where each quantity is asked for, and at each command's step."""
    dialogs = load_dialogs()
    job = Job(default_card(), dialogs)
    asks = {s.reading: s.id for s in dialogs.steps if s.kind == "read" and s.id.startswith("found")}
    asks["lugs"] = "ring_turn"
    return dialogs, job, asks


def gather(n: int, minutes: float, split: str, seed: int = 5) -> list[tuple]:
    rng = random.Random(seed)
    ears = Recognizers(open_recognizers(("whisper",))[0])
    dialogs, job, asks = moments()
    talkers = voices.available("background") + voices.available("calibration")
    jobs = []
    for i in range(n):
        snr, kind = (
            rng.choice((20, 20, 10, 10, 5)),
            rng.choice(("idle", "impacts", "hiss", "babble")),
        )
        channel = rng.choice(("wideband", "narrowband"))
        if i % 4 == 3:
            said = rng.choice(commands(split))
            jobs.append(
                (said.step, said, said.words, talkers[i % len(talkers)], snr, kind, channel)
            )
        else:
            said = rng.choice(phrases.readings(split))
            step = asks.get(said.quantity, "") if i % 2 else ""
            jobs.append((step, said, said.text, talkers[i % len(talkers)], snr, kind, channel))
    voices.prepare([(voice, text) for _, _, text, voice, *_ in jobs])
    jobs.sort(key=lambda j: (j[0], getattr(j[1], "quantity", "")))
    rows = []
    for i, (step, said, text, voice, snr, kind, channel) in enumerate(jobs):
        scene = channels.scene(voices.vary(voices.say(voice, text), i), kind, snr, channel, i)
        start, end = int((scene.start_s - 0.25) * RATE), int((scene.end_s + 0.2) * RATE)
        where = (step, "" if hasattr(said, "meaning") else said.quantity)
        rows.append(
            (where, said.words, snr, hear(ears, job, dialogs, where, scene.samples[start:end]))
        )
        if i % 50 == 0:
            print(f"{i} of {len(jobs)} utterances", file=sys.stderr)
    if minutes:
        samples, events = nonspeech.stream(minutes, seed, split)
        places = [("", "gap"), (asks["gap"], "gap"), (asks["free-travel"], "free-travel")]
        for i, event in enumerate(sorted(events, key=lambda e: hash(e.kind))):
            start, end = int((event.start_s - 0.25) * RATE), int((event.end_s + 0.2) * RATE)
            piece = samples[max(start, 0) : min(end, start + 6 * RATE)]
            rows.append(
                (places[i % 3], None, event.kind, hear(ears, job, dialogs, places[i % 3], piece))
            )
    return rows


def hear(ears, job, dialogs, where, samples):
    step, quantity = where
    put(job, step or job.at)
    grammar = expected(job) if step else reading_grammar(quantity)
    ears.expect(grammar)
    return ears.listen(samples)


def table(rows, temperature: float):
    """Features, whether the first meaning is right, whether it was speech to us."""
    _, job, _ = moments()
    blank = {**POLICY["calibration"], "right": {}, "meant_for_us": {}, "temperature": temperature}
    features, right, ours = [], [], []
    for (step, quantity), words, _, hearings in rows:
        if step:
            put(job, step)
            interpret = interpreter(job, partial(understand, dialogue=job), "", expected(job))
        else:
            interpret = reading_interpreter(quantity)
        got = decide(hearings, interpret, blank)
        truth = interpret(words) if words else None
        features.append(got.features)
        ours.append(words is not None)
        first = got.meaning and identity(got.meaning)
        right.append(bool(words and first and truth and first == identity(truth[0])))
    return features, np.array(right), np.array(ours)


def fit(features, names, target, keep):
    x = np.array([[f[n] for n in names] for f in features])[keep]
    y = target[keep].astype(float)

    def loss(w):
        z = x @ w
        return np.mean(np.logaddexp(0, z) - y * z) + RIDGE * np.sum(w[1:] ** 2) / 10

    w = minimize(loss, np.zeros(len(names))).x
    return dict(zip(names, (round(float(v), 4) for v in w), strict=True)), float(loss(w))


def main() -> None:
    args = argparse.ArgumentParser()
    args.add_argument("--speech", type=int, default=400)
    args.add_argument("--minutes", type=float, default=12)
    args.add_argument("--work", type=Path, default=Path("calibration-work"))
    a = args.parse_args()
    kept = a.work / "hearings.pickle"
    if not kept.exists():
        a.work.mkdir(parents=True, exist_ok=True)
        kept.write_bytes(pickle.dumps(gather(a.speech, a.minutes, "tuning")))
    rows = pickle.loads(kept.read_bytes())
    speech = sum(words is not None for _, words, *_ in rows)
    text = [
        "# Weights of the logistic regressions in ranking.py.",
        f"# Fitted by tests/benchmarks/calibrate.py on {speech} utterances of the background and",
        f"# {len(rows) - speech} sounds and sentences that were not meant for lugcall.",
    ]
    best = None
    for temperature in (0.7, 1.0, 1.5, 2.0):
        features, right, ours = table(rows, temperature)
        weights, loss = fit(features, RIGHT, right, np.ones(len(ours), bool))
        if best is None or loss < best[0]:
            best = (loss, temperature, weights, features, right, ours)
    loss, temperature, weights, features, right, ours = best
    meant_for_us, other = fit(features, MEANT_FOR_US, ours, np.ones(len(ours), bool))
    print(
        f"right {right[ours].mean():.3f} of speech, loss {loss:.3f}, {other:.3f}", file=sys.stderr
    )
    text += ["[calibration]", f"temperature = {temperature}"]
    for key, w in (("right", weights), ("meant_for_us", meant_for_us)):
        text.append(f"{key} = {{ " + ", ".join(f"{k} = {v}" for k, v in w.items()) + " }")
    out = "\n".join(text) + "\n"
    print(out)


if __name__ == "__main__":
    main()
