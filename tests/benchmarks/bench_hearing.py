"""How well and how fast the ears hear: test voices in noise, shop noise alone, people's voices.

    python -m tests.benchmarks.bench_hearing [--n 256] [--minutes 10] [--turns 32] [--out FILE.json]
        [--hearings FILE.pickle]

- n utterances of the test voices, two thirds readings and a third commands, in four noises at 20,
  10 and 5 dB and without noise, wide and narrow band; cut as `lugcall hear` cuts them. "free" is
  faster-whisper (beam 5, a prompt, no grammar) with its words typed in; "lugcall" our search with
  the same weights, and what is decided then. First try: taken at once, and right.
- minutes of shop noise, off-topic talk, radio and, where `$LUGCALL_PEOPLE` names recordings,
  people's sentences, through the turn-taking at four steps.
- turns said into a stream of noise: end of the words to the answer decided on.
- memory of a process that only hears; the card recordings of pocketsphinx-testdata, by people.

Voices, phrases, sentences and seeds are those of the test split, which nothing is tuned on.
"""

import argparse
import hashlib
import json
import os
import platform
import sys
import time
from pathlib import Path
from typing import Any

import jiwer

from assistant.voice import interpretation
from assistant.voice.devices.audio import load
from assistant.voice.recognition.recognizers import Recognizers, open_recognizers
from tests.benchmarks import hearing_live as live
from tests.benchmarks import hearing_scores as scores
from tests.benchmarks.bench_memory import memory
from tests.benchmarks.figures import quantile, table
from tests.benchmarks.hearing_utterances import WAYS, Free, hear_all, judge, plan
from tests.spoken import voices


def people(ears: Recognizers, free: Free) -> dict[str, Any]:
    """The card recordings: sentences right and word error rate, by way of hearing."""
    if not voices.card_recordings():
        return {"skipped": voices.CARDS_MISSING}
    ears.expect(voices.CARDS_GRAMMAR)
    truth, heard = [], {way: [] for way in WAYS}
    for path, words in voices.card_recordings():
        truth.append(words)
        sound = load(path)
        (whisper,) = ears.listen(sound)
        inside = [h.words for h in whisper.hypotheses if voices.CARDS_GRAMMAR.accepts(h.words)]
        heard["lugcall"].append(inside[0] if inside else "")
        heard["free"].append(scores.plain(free(sound)))
    return {
        way: {
            "right": sum(a == b for a, b in zip(truth, said, strict=True)),
            "of": len(truth),
            "wer": jiwer.wer(truth, said),
            "heard": said,
        }
        for way, said in heard.items()
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--n", type=int, default=256, help="utterances")
    parser.add_argument(
        "--minutes", type=float, default=10, help="of shop noise, in stretches of 30"
    )
    parser.add_argument("--turns", type=int, default=32, help="turns for the latency")
    parser.add_argument("--out", type=Path, help="write all figures here as JSON")
    parser.add_argument(
        "--hearings", type=Path, help="keep here what the engines heard, and go on from there"
    )
    args = parser.parse_args()
    if not voices.available("test"):
        sys.exit(voices.missing())
    opened, _ = open_recognizers(("whisper",))
    ears, free = Recognizers(opened), Free()
    weights = Path(interpretation.__file__).with_name("policy.toml").read_bytes()
    begun, load_before = time.time(), os.getloadavg()
    found: dict[str, Any] = {
        "machine": f"{os.cpu_count()} cores, Python {platform.python_version()}",
        "policy sha256": hashlib.sha256(weights).hexdigest()[:12],
        "memory MB": memory(),
        "people": people(ears, free),
        "test voices": len(voices.available("test")),
    }
    if args.n:
        heard = hear_all(plan(args.n), ears, free, args.hearings)
        rows = [judge(one) for one in heard]
        found |= {
            "n": len(rows),
            "engines": scores.engines(rows),
            "splits": scores.splits(rows),
            "calibration": scores.calibration(rows),
            "mistakes": scores.mistakes(rows),
        }
    if args.turns:
        found["latency"] = live.latency(ears, args.turns)
    if args.minutes:
        found["rejection"] = live.rejection(ears, args.minutes)
    found |= {"load before": load_before, "load after": os.getloadavg()}
    found["took s"] = time.time() - begun
    if args.out:
        args.out.write_text(json.dumps(found, indent=1, ensure_ascii=False), encoding="utf-8")
    report(found)


def report(found: dict[str, Any]) -> None:
    print(f"{found['machine']}; load {found['load before'][0]:.1f} before, "
          f"{found['load after'][0]:.1f} after; took {found['took s']:.0f} s; "
          f"calibration {found['policy sha256']}")  # fmt: skip
    if "engines" in found:
        print(f"\nTest voices ({found['test voices']}), {found['n']} utterances")
        table(["", *WAYS], [[key, *(_cell(found["engines"][w][key], key) for w in WAYS)]
                            for key in found["engines"]["lugcall"]])  # fmt: skip
        print("\nReadings by condition")
        table(["", "n", "first try", "top", "wrong"],
              [[name, str(s["n"]), *(_cell(s[k]) for k in ("first try", "top", "wrong"))]
               for name, s in found["splits"].items()])  # fmt: skip
        sure = found["calibration"]
        print(f"\nCalibration: Brier {sure['brier']:.3f}, "
              f"expected calibration error {sure['ece']:.3f}")  # fmt: skip
        table(["probability", "n", "said", "came true"],
              [[f"{b['from']:.1f} to {b['from'] + 0.1:.1f}", str(b["n"]), f"{b['said']:.3f}",
                f"{b['came']:.3f}"] for b in sure["bins"]])  # fmt: skip
    if "latency" in found:
        late = found["latency"]
        print(f"\nTurns in a stream of noise (20 and 10 dB): {late['n']}, not answered "
              f"{late['unanswered']}, cut in two {late['cut in two']}, right at once "
              f"{late['right at once']}")  # fmt: skip
        for name in ("waits", "totals"):
            if late[name]:
                what = {"waits": "end of speech noticed", "totals": "answer decided on"}[name]
                print(f"  end of the words to {what}: median {late[name][len(late[name]) // 2]:.2f}"
                      f" s, 95 % {quantile(late[name], 0.95):.2f} s")  # fmt: skip
    if "rejection" in found:
        no = found["rejection"]
        print(
            f"\n{no['minutes']:.0f} minutes of shop noise and other talk, "
            f"{sum(no['events'].values())} events, {no['utterances found']} utterances found"
        )
        print(f"  false accepts {no['false accepts an hour']:.1f} an hour {no['false accepts']}")
        print(f"  say agains {no['say agains an hour']:.1f} an hour {no['say agains']}")
    print(f"\nMemory {found['memory MB']:.0f} MB; people's cards:")
    for way, got in found["people"].items():
        line = (
            got if isinstance(got, str) else f"{got['right']} of {got['of']}, wer {got['wer']:.2f}"
        )
        print(f"  {way}: {line}")


def _cell(value: float | None, key: str = "") -> str:
    if value is None:
        return "-"
    timed = key.endswith(" s") or key in ("wer", "real-time factor")
    return f"{value:.2f}" if timed else f"{100 * value:.1f} %"


if __name__ == "__main__":
    main()
