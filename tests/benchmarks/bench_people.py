"""How well people are heard: digits of people joined to readings, and people who talk to others.

    python -m tests.benchmarks.bench_people [--n 40] [--sentences 60] [--share 0.7]
        [--changes FILE --only PERSON] [--keep FILE.pickle]
    python -m tests.benchmarks.bench_people --again FILE.pickle...

The recordings are named by `$LUGCALL_PEOPLE` (see tests/spoken/recordings.py). Each person says n
readings of three figures without noise, at 20 and at 10 dB; each is cut and heard as
`lugcall hear --for gap` does it. Top: the first of the list is right. First try: taken at once, and
right. Wrong: taken at once, and another value. The sentences are those that nothing was fitted on.
With changes of Whisper that a person was left out of, `--only` that person.
"""

from __future__ import annotations

import argparse
import pickle
import time
from collections import defaultdict
from pathlib import Path

from assistant.voice.devices.audio import RATE, Samples, load
from assistant.voice.interpretation import identity
from assistant.voice.interpretation.ranking import decide, reading_interpreter
from assistant.voice.recognition.models import whisper_folder
from assistant.voice.recognition.recognizers import Recognizers
from assistant.voice.recognition.whisper import WhisperRecognizer
from assistant.voice.recognition.whisper_model import SHARE
from assistant.voice.session.recorded import speech_in
from tests.benchmarks.figures import bins, expected_error, table
from tests.benchmarks.hearing_utterances import Heard, Utterance, hear
from tests.spoken import recordings
from tests.spoken.voices import Voice

INTERPRET = reading_interpreter("gap")


def asked_for(words: str, who: str, kind: str = "", snr: int | None = None) -> Utterance:
    """Words of a person ("" for what is none of ours) where the gap is asked for."""
    voice = Voice(who, "people", "people", ())
    meaning = "reading" if words else ""
    return Utterance(words, words, "gap", meaning, "", False, "tech", voice, kind, snr, "wideband")


def listen(ears: Recognizers, n: int, sentences: int, only: str) -> list[Heard]:
    """What is made of every reading, and of every sentence."""
    rows = []
    for said in recordings.readings(n, who=only):
        u = asked_for(said.words, said.person, said.kind, said.snr)
        rows.append(hear(u, speech_in(said.sound()), ears))
    for path in recordings.sentences()[1::2][:sentences]:
        rows.append(hear(asked_for("", path.name), longest(load(path)), ears))
    return rows


def longest(sound: Samples) -> Samples:
    """What the ears take of a long sentence."""
    return speech_in(sound)[: 7 * RATE]


def report(rows: list[Heard]) -> None:
    counts: dict[tuple[str, str], list[int]] = defaultdict(lambda: [0, 0, 0, 0])
    pairs: dict[str, list[tuple[float, bool]]] = defaultdict(list)
    talk = taken_talk = 0
    for row in rows:
        decision, words = decide([row.hearing], INTERPRET), row.said.words
        taken, first = decision.kind == "accept", decision.meaning
        if not words:
            talk, taken_talk = talk + 1, taken_talk + taken
            continue
        meant = INTERPRET(words)
        good = bool(meant and first is not None and identity(first) == identity(meant[0]))
        for person in (row.said.voice.name, "all"):
            found = counts[person, f"{row.said.snr} dB" if row.said.snr else "clean"]
            wrong = taken and not good and decision.name == "reading"
            for at, counted in enumerate((True, good, good and taken, wrong)):
                found[at] += counted
            pairs[person].append((decision.probability, good))
    table(["", "n", "top", "first try", "wrong"],
          [[" ".join(key), str(n), *(f"{100 * k / n:.1f} %" for k in found)]
           for key, (n, *found) in sorted(counts.items())])  # fmt: skip
    for person, some in sorted(pairs.items()):
        print(f"expected calibration error, {person}: {expected_error(some):.3f} of {len(some)}")
    table(["probability", "n", "said", "came true"],
          [[f"{b['from']:.1f} to {b['from'] + 0.1:.1f}", str(b["n"]), f"{b['said']:.3f}",
            f"{b['came']:.3f}"] for b in bins(pairs["all"])])  # fmt: skip
    for bar in (0.9, 0.95, 0.97, 0.98, 0.99):
        sure = [good for p, good in pairs["all"] if p >= bar]
        print(
            f"{bar}: {len(sure)} of {len(pairs['all'])} at least so sure, {sure.count(False)} wrong"
        )
    print(f"people's sentences taken for a reading: {taken_talk} of {talk}")


def main() -> None:
    args = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    args.add_argument("--n", type=int, default=40)
    args.add_argument("--sentences", type=int, default=60)
    args.add_argument("--changes", type=Path, help="of Whisper, else those in place")
    args.add_argument("--share", type=float, default=SHARE)
    args.add_argument("--only", default="", help="this person")
    args.add_argument("--keep", type=Path, help="what was heard, for --again and calibrate.py")
    args.add_argument("--again", type=Path, nargs="*", help="judge what was kept")
    a = args.parse_args()
    if a.again:
        report([row for path in a.again for row in pickle.loads(path.read_bytes())])
        return
    folder, begun = whisper_folder(), time.monotonic()
    if recordings.missing() or folder is None:
        raise SystemExit(recordings.missing() or "there are no Whisper weights here")
    engine = WhisperRecognizer(
        folder.folder, shop=True, changes=a.changes, share=a.share, halves=folder.halves
    )
    rows = listen(Recognizers([engine]), a.n, a.sentences, a.only)
    if a.keep:
        a.keep.write_bytes(pickle.dumps(rows))
    report(rows)
    print(f"took {time.monotonic() - begun:.0f} s")


if __name__ == "__main__":
    main()
