"""Fits the calibration in `voice/interpretation/policy.toml` on background voices; prints it.

    python -m tests.benchmarks.calibrate [--speech 400] [--minutes 12] [--work FOLDER]
        [--people FILE.pickle...]

Speech: the background's voices and the calibration's (Whisper was adapted with the tuning ones and
would be too sure of them) and tuning phrases, as the hearing benchmark has them. Not speech to us:
the tuning stream of shop noise and chatter.
People: what `bench_people --keep` heard with weights that each was left out of. It is printed how
well the fit foretells each person that it was made without.
The hearings are kept in the work folder, so that another fit costs seconds.
"""

import argparse
import pickle
import sys
from itertools import cycle
from pathlib import Path

import numpy as np
from scipy.optimize import minimize

from assistant.voice.devices.audio import RATE
from assistant.voice.interpretation import POLICY, identity
from assistant.voice.interpretation.ranking import decide
from assistant.voice.recognition.recognizers import Recognizers, open_recognizers
from tests.benchmarks.figures import expected_error
from tests.benchmarks.hearing_utterances import Heard, Utterance, asked, hear, hear_all, plan
from tests.spoken import nonspeech, voices

RIGHT = ("one", "odds", "gap", "fit", "free_fit", "agree", "silent", "no_speech")
MEANT_FOR_US = RIGHT
RIDGE = 0.02
SPLIT, SEED = "tuning", 5
PLACES = (("gap", ""), ("gap", "found_gap"), ("free-travel", "found_free"))
"""Where what is not meant for us is heard: quantity, and step or "" (as by `lugcall hear`)."""


def gather(n: int, minutes: float) -> list[Heard]:
    """Utterances, and then what was none; those have no words."""
    ears = Recognizers(open_recognizers(("whisper",))[0])
    out = hear_all(plan(n, SEED, SPLIT, "background", "calibration"), ears, None)
    samples, events = nonspeech.stream(minutes, SEED, SPLIT)
    nobody = voices.available(SPLIT)[0]
    for event, (quantity, step) in zip(sorted(events, key=lambda e: e.kind), cycle(PLACES)):
        start, end = int((event.start_s - 0.25) * RATE), int((event.end_s + 0.2) * RATE)
        piece = samples[max(start, 0) : min(end, start + 6 * RATE)]
        place = Utterance("", "", quantity, "", step, False, "", nobody, event.kind, None, "")
        out.append(hear(place, piece, ears))
    return out


def table(rows: list[Heard], temperature: float):
    """Features, whether the first meaning is right, whether it was speech to us."""
    blank = {**POLICY["calibration"], "right": {}, "meant_for_us": {}, "temperature": temperature}
    features, right, ours = [], [], []
    for row in rows:
        words, interpret = row.said.words, asked(row.said)[1]
        got = decide([row.hearing], interpret, blank)
        truth = interpret(words) if words else None
        features.append(got.features)
        ours.append(bool(words))
        first = got.meaning and identity(got.meaning)
        right.append(bool(first and truth and first == identity(truth[0])))
    return features, np.array(right), np.array(ours)


def fit(features, names, target, keep):
    x = np.array([[f[n] for n in names] for f in features])[keep]
    y = target[keep].astype(float)

    def loss(w):
        z = x @ w
        return np.mean(np.logaddexp(0, z) - y * z) + RIDGE * np.sum(w[1:] ** 2) / 10

    w = minimize(loss, np.zeros(len(names))).x
    return dict(zip(names, (round(float(v), 4) for v in w), strict=True)), float(loss(w))


def foretold(rows: list[Heard], features, right, ours) -> None:
    """Print the calibration error of each person, and of each third of the other voices, by a fit
    without them."""
    who = np.array([
        row.said.voice.name if row.said.voice.make == "people" else f"voices {n % 3}"
        for n, row in enumerate(rows)
    ])  # fmt: skip
    out = []
    for one in sorted(set(who[ours])):
        here = (who == one) & ours
        weights, _ = fit(features, RIGHT, right, ~here)
        x = np.array([[f[n] for n in RIGHT] for f in features])[here]
        sure = 1 / (1 + np.exp(-x @ np.array(list(weights.values()))))
        pairs = list(zip(sure.tolist(), right[here].tolist(), strict=True))
        out += [(one, pair) for pair in pairs]
        print(f"{one}: {expected_error(pairs):.3f} of {len(pairs)}", file=sys.stderr)
    for what in (True, False):
        pairs = [pair for one, pair in out if one.startswith("voices") is what]
        if pairs:
            name = "all synthetic voices" if what else "all people"
            print(f"{name}: {expected_error(pairs):.3f} of {len(pairs)}", file=sys.stderr)


def main() -> None:
    args = argparse.ArgumentParser()
    args.add_argument("--speech", type=int, default=400)
    args.add_argument("--minutes", type=float, default=12)
    args.add_argument("--work", type=Path, default=Path("calibration-work"))
    args.add_argument("--people", type=Path, nargs="*", default=[])
    a = args.parse_args()
    kept = a.work / "hearings.pickle"
    if not kept.exists():
        a.work.mkdir(parents=True, exist_ok=True)
        kept.write_bytes(pickle.dumps(gather(a.speech, a.minutes)))
    rows = pickle.loads(kept.read_bytes())
    rows += [row for path in a.people for row in pickle.loads(path.read_bytes())]
    speech = sum(bool(row.said.words) for row in rows)
    text = [
        "# Weights of the logistic regressions in ranking.py.",
        f"# Fitted by tests/benchmarks/calibrate.py on {speech} utterances of the background and",
        f"# of people, and {len(rows) - speech} sounds and sentences that were not meant for it.",
    ]
    best = None
    for temperature in (0.7, 1.0, 1.5, 2.0):
        features, right, ours = table(rows, temperature)
        weights, loss = fit(features, RIGHT, right, np.ones(len(ours), bool))
        if best is None or loss < best[0]:
            best = (loss, temperature, weights, features, right, ours)
    loss, temperature, weights, features, right, ours = best
    foretold(rows, features, right, ours)
    meant_for_us, other = fit(features, MEANT_FOR_US, ours, np.ones(len(ours), bool))
    print(
        f"right {right[ours].mean():.3f} of speech, loss {loss:.3f}, {other:.3f}", file=sys.stderr
    )
    text += ["[calibration]", f"temperature = {temperature}"]
    for key, w in (("right", weights), ("meant_for_us", meant_for_us)):
        text.append(f"{key} = {{ " + ", ".join(f"{k} = {v}" for k, v in w.items()) + " }")
    print("\n".join(text))


if __name__ == "__main__":
    main()
