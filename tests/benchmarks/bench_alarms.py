"""How often danger said aloud in a hold, in free words, stops or blocks the job.

    python -m tests.benchmarks.bench_alarms [--lines 60] [--harmless]
    python -m tests.benchmarks.bench_alarms --stops
    python -m tests.benchmarks.bench_alarms --said 320 [--writers second]

The words are of two writers who saw no list (`tests/corpus/words/hold`), said by the synthetic
voices of the tests into the technician's or the helper's microphone, in shop noise. What counts is
what the whole way through recognizer, interpretation and dialogue makes of the job.

`--stops`: the words that stop a job, a lost pedal's and a danger's, each by some of the synthetic
voices of test and tuning in turn, in four noises at 10 dB; in a hold, and a stop outside one too.
Counts and "holding" beside them, which should neither stop nor block.

`--said`: so many lines that the writers of `tuning` marked as nothing but a danger or a stop in a
hold, in the same voices and noises, and half as many counts and "holding" of theirs;
of the `first` half of the writers, whose misses were looked at, or of the `second`, where only the
figures were.
"""

import argparse
import random
import re
from collections import Counter

import numpy as np

from assistant.texts.dialogs import load_dialogs
from assistant.voice.devices.audio import RATE
from assistant.voice.recognition.recognizers import Recognizers, open_recognizers
from assistant.voice.session.recorded import listen_files
from tests.conversation import strangers
from tests.demo import DIALOGS
from tests.spoken import noises
from tests.spoken.channels import scene
from tests.spoken.voices import available, say


def outcome(
    who: str, words: str, voice: str, snr_db: float, ears: Recognizers, seed: int,
    kind: str = "idle", at: str = "",
) -> str:  # fmt: skip
    """ "stops", "blocks" or "passes", in a hold or `at` another situation."""
    talk = strangers.talk_at(at or ("S26" if who == "T" else "S27"))
    spoken = np.pad(say(voice, words), (2 * RATE, 0))  # the ears know the noise by then
    sound = scene(spoken, kind if snr_db < 90 else "", snr_db, "wideband", seed).samples
    quiet = np.random.default_rng(seed).standard_normal(len(sound)).astype(np.float32) * 1e-4
    pair = (sound, quiet) if who == "T" else (quiet, sound)
    listen_files(talk, ears, [("tech.wav", pair[0]), ("helper.wav", pair[1])])
    if talk.dialogue.stopped:
        return "stops"
    return "blocks" if not at and not talk.dialogue.danger().held else "passes"


VOICES = {"": 2, "S18": 2, "count": 8}
"""Of each line that stops in a hold, outside one, and of each that does not."""


def stops(ears: Recognizers) -> None:
    """How often a word that stops was missed, and by whom."""
    known = load_dialogs(DIALOGS).words
    lines = [(who, p, at) for p in known["stop"].phrases for who in "TH" for at in ("", "S18")]
    lines += [("H", p, "") for p in (*known["lost"].phrases, "hands out", "get your hands out")]
    lines += [("T", p, "") for p in known["danger"].phrases]
    lines += [
        ("T", p, "count") for p in ("two lugs", "three lugs", "four lugs", "five lugs", "six")
    ]
    lines += [("H", p, "count") for p in ("holding", "still holding", "down and holding", "okay")]
    voices = [v.name for split in ("test", "tuning") for v in available(split)]
    kinds, counts = list(noises.KINDS), Counter[tuple[str, str]]()
    for n, (who, words, at) in enumerate(lines):
        for turn in range(VOICES[at]):
            voice, kind = voices[(5 * turn + n) % len(voices)], kinds[(turn + n) % len(kinds)]
            did = outcome(who, words, voice, 10.0, ears, n, kind, at.removeprefix("count"))
            told = {"": "in a hold", "count": "harmless in a hold"}.get(at, "outside a hold")
            counts[told, did] += 1
            if (did == "passes") != (at == "count"):
                print(f"{did}: {who} {words!r} {told} {voice} {kind}", flush=True)
    for (told, did), count in sorted(counts.items()):
        print(f"{told}: {did} {count}", flush=True)


def said(ears: Recognizers, lines: int, half: str) -> None:
    """How often what writers call a danger passes a hold, and what they call harmless does not."""
    paths = sorted((strangers.CORPUS / "tuning").glob("*.tsv"))
    rows = [row for path in paths[half == "second" :: 2] for row in strangers.rows(path)]
    known: dict[str, list[tuple[str, str]]] = {"danger": [], "harmless": []}
    for at, who, words, label, *_ in rows:
        meant = set(re.split("[|+]", label))
        counted = (at, who, len(meant), label[:5]) == ("S26", "T", 1, "value")
        if at in ("S26", "S27") and meant <= {"danger", "stop"}:
            known["danger"].append((who, words))
        elif counted or (at, who, meant) == ("S27", "H", {"holding"}):
            known["harmless"].append((who, words))
    voices, rng = [v.name for s in ("test", "tuning") for v in available(s)], random.Random(7)
    kinds, counts = list(noises.KINDS), Counter[tuple[str, str]]()
    for told, count in (("danger", lines), ("harmless", lines // 2)):
        for n, (who, words) in enumerate(rng.sample(known[told], min(count, len(known[told])))):
            voice, kind = voices[n % len(voices)], kinds[n % len(kinds)]
            did = outcome(who, words, voice, 10.0, ears, n, kind)
            counts[told, did] += 1
            counts[f"{told}, {kind}", did] += 1
            if (did == "passes") != (told == "harmless") and half == "first":
                print(f"{did}: {who} {words!r} {told} {voice} {kind} {n}", flush=True)
    for (told, did), count in sorted(counts.items()):
        print(f"{told}: {did} {count}", flush=True)


def main() -> None:
    """The command."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--lines", type=int, default=60)
    parser.add_argument("--harmless", action="store_true")
    parser.add_argument("--stops", action="store_true")
    parser.add_argument("--said", type=int, default=0)
    parser.add_argument("--writers", choices=("first", "second"), default="second")
    chosen = parser.parse_args()
    if chosen.said:
        said(Recognizers(open_recognizers()[0]), chosen.said, chosen.writers)
        return
    if chosen.stops:
        stops(Recognizers(open_recognizers()[0]))
        return
    kind = "harmless" if chosen.harmless else "danger"
    found = [
        (who, words)
        for path in sorted((strangers.CORPUS / "hold").glob("*.tsv"))
        for told, who, words in strangers.rows(path)
        if told == kind
    ]
    rng = random.Random(5)
    lines, voices = rng.sample(found, chosen.lines), [v.name for v in available("test")]
    ears = Recognizers(open_recognizers()[0])
    for snr_db in (99.0, 20.0, 10.0):
        counts: Counter[str] = Counter()
        for n, (who, words) in enumerate(lines):
            counts[outcome(who, words, voices[n % len(voices)], snr_db, ears, n)] += 1
        told = ", ".join(f"{does} {counts[does]}" for does in ("stops", "blocks", "passes"))
        print(f"{kind}, {'clean' if snr_db > 90 else f'{snr_db:.0f} dB'}: {told}", flush=True)


if __name__ == "__main__":
    main()
