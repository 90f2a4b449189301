"""How often danger said aloud in a hold, in free words, stops or blocks the job.

    python -m tests.benchmarks.bench_alarms [--lines 60] [--harmless]

The words are of two writers who saw no list (`tests/corpus/words/hold`), said by the synthetic
voices of the tests into the technician's or the helper's microphone, in shop noise. What counts is
what the whole way through recognizer, interpretation and dialogue makes of the job.
"""

import argparse
import random
from collections import Counter

import numpy as np

from assistant.voice.recognition.recognizers import Recognizers, open_recognizers
from assistant.voice.session.recorded import listen_files
from tests.conversation import strangers
from tests.spoken.channels import scene
from tests.spoken.voices import available, say


def outcome(who: str, words: str, voice: str, snr_db: float, ears: Recognizers, seed: int) -> str:
    """ "stops", "blocks" or "passes"."""
    talk = strangers.talk_at("S26" if who == "T" else "S27")
    sound = scene(
        say(voice, words), "idle" if snr_db < 90 else "", snr_db, "wideband", seed
    ).samples
    quiet = np.random.default_rng(seed).standard_normal(len(sound)).astype(np.float32) * 1e-4
    pair = (sound, quiet) if who == "T" else (quiet, sound)
    listen_files(talk, ears, [("tech.wav", pair[0]), ("helper.wav", pair[1])])
    if talk.dialogue.stopped:
        return "stops"
    return "blocks" if not talk.dialogue.danger().held else "passes"


def main() -> None:
    """The command."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--lines", type=int, default=60)
    parser.add_argument("--harmless", action="store_true")
    chosen = parser.parse_args()
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
