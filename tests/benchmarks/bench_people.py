"""How well people are heard: digits of people joined to readings, and people who talk to others.

    python -m tests.benchmarks.bench_people [--n 40] [--sentences 60] [--engine whisper ...]
        [--changes FILE --only PERSON] [--share 0.7] [--keep FILE.pickle]

The recordings are named by `$LUGCALL_PEOPLE` (see tests/spoken/recordings.py). Each person says n
readings of three figures without noise, at 20 and at 10 dB; each is cut and heard as
`lugcall hear --for gap` does it. Top: the first of the list is right. First try: taken at once, and
right. Wrong: taken at once, and another value. The sentences are those that nothing was fitted on.
With changes of Whisper that a person was left out of, `--only` that person.
"""

from __future__ import annotations

import argparse
import pickle
from collections import defaultdict
from pathlib import Path

from assistant.voice.devices.audio import load
from assistant.voice.interpretation import Decision, identity
from assistant.voice.interpretation.ranking import decide, reading_interpreter
from assistant.voice.recognition.expected import reading_grammar
from assistant.voice.recognition.models import whisper_folder
from assistant.voice.recognition.recognizer import Hearing, Recognizer
from assistant.voice.recognition.recognizers import Recognizers, open_recognizers
from assistant.voice.recognition.whisper import WhisperRecognizer
from assistant.voice.recognition.whisper_model import SHARE
from assistant.voice.session.recorded import speech_in
from tests.benchmarks.figures import expected_error, table
from tests.spoken import recordings

INTERPRET = reading_interpreter("gap")


def ears(names: tuple[str, ...], changes: Path | None, share: float) -> Recognizers:
    """The engines called so, or all; Whisper with these changes."""
    opened: list[Recognizer] = open_recognizers(names)[0]
    folder = whisper_folder()
    if folder is not None and (changes is not None or share != SHARE):
        other = WhisperRecognizer(folder.folder, shop=True, changes=changes, share=share)
        opened = [other if one.name == "whisper" else one for one in opened]
    return Recognizers(opened)


def heard(listening: Recognizers, said: recordings.Said) -> list[Hearing]:
    """What the engines make of one reading."""
    return listening.listen(speech_in(said.sound()))


def right(decision: Decision, words: str) -> bool:
    meant = INTERPRET(words)
    first = decision.meaning
    return bool(meant and first is not None and identity(first) == identity(meant[0]))


def report(rows: list[tuple[recordings.Said, list[Hearing]]]) -> None:
    counts: dict[tuple[str, str], list[int]] = defaultdict(lambda: [0, 0, 0, 0])
    pairs: dict[str, list[tuple[float, bool]]] = defaultdict(list)
    for said, hearings in rows:
        decision = decide(hearings, INTERPRET)
        good, taken = right(decision, said.words), decision.kind == "accept"
        for person in (said.person, "all"):
            row = counts[person, f"{said.snr} dB" if said.snr else "clean"]
            wrong = taken and not good and decision.name == "reading"
            for at, counted in enumerate((True, good, good and taken, wrong)):
                row[at] += counted
            pairs[person].append((decision.probability, good))
    table(["", "n", "top", "first try", "wrong"],
          [[" ".join(key), str(n), *(f"{100 * k / n:.1f} %" for k in found)]
           for key, (n, *found) in sorted(counts.items())])  # fmt: skip
    for person, found in sorted(pairs.items()):
        print(f"expected calibration error, {person}: {expected_error(found):.3f} of {len(found)}")


def main() -> None:
    args = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    args.add_argument("--n", type=int, default=40)
    args.add_argument("--sentences", type=int, default=60)
    args.add_argument("--engine", action="append", default=[])
    args.add_argument("--changes", type=Path)
    args.add_argument("--share", type=float, default=SHARE)
    args.add_argument("--only", default="")
    args.add_argument("--keep", type=Path, help="what was heard, for another look at it")
    a = args.parse_args()
    if recordings.missing():
        raise SystemExit(recordings.missing())
    listening = ears(tuple(a.engine), a.changes, a.share)
    listening.expect(reading_grammar("gap"))
    rows = [(said, heard(listening, said)) for said in recordings.readings(a.n, who=a.only)]
    if a.keep:
        a.keep.write_bytes(pickle.dumps(rows))
    print(f"heard by {' and '.join(listening.names)}")
    report(rows)
    talk = recordings.sentences()[1::2][: a.sentences]
    taken = [
        (path.name, decision.heard, round(decision.probability, 2))
        for path in talk
        if (decision := decide(listening.listen(speech_in(load(path))), INTERPRET)).kind == "accept"
    ]
    print(f"people's sentences taken for a reading: {len(taken)} of {len(talk)} {taken}")


if __name__ == "__main__":
    main()
