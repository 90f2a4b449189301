"""Whole jobs by voice, closed loop: simulated people and truck, real ears, a record at the end.

    python -m tests.benchmarks.bench_closed_loop --out FILE [--sessions 100] [--seed 0]
        [--split test] [--share 0/1] [--show] [--people]
    python -m tests.benchmarks.bench_closed_loop --sum FILE...

Each session is one truck with a hidden geometry, a technician and a helper in two voices, one
noise, 20 or 10 dB, a wide or a narrow channel, one microphone each or one for both. Every word goes
through the listener frame by frame. Results are appended to FILE, one JSON object a session; what
is there already is not done again. `--share 1/2` does every second pair of sessions: two runs share
the work. `--people`: every number is called out figure by figure, and each figure is a recorded
digit of a person's, the technician's of one and the helper's of another (`$LUGCALL_PEOPLE`); a
"point" or "lugs" between them, and all other words, are the synthetic voices'.
"""

import argparse
import itertools
import json
import statistics
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from assistant.texts.dialogs import load_dialogs
from assistant.voice.recognition.recognizers import Recognizers, open_recognizers
from tests.benchmarks.figures import table
from tests.demo import DIALOGS
from tests.spoken import recordings
from tests.spoken.closed_loop import Loop, Shop, by_sound
from tests.spoken.voices import available

NOISES = ("idle", "impacts", "hiss", "babble")
COUNTED = ("utterances", "accept", "choose", "again", "nothing", "not heard")


def shop(number: int, split: str, people: bool = False) -> Shop:
    """The `number`-th session's sound: all combinations come in turn."""
    voices = available(split)
    return Shop(
        voices[number % len(voices)],
        voices[(number * 5 + 3 + (number % len(voices) == (number * 5 + 3) % len(voices)))
               % len(voices)],
        NOISES[number // 2 % 4],
        (20, 10)[number % 2],
        ("wideband", "narrowband")[(number // 8 + number) % 2],
        number // 3 % 3 == 0,
        number,
        tuple(itertools.permutations(recordings.people(), 2))[number % 6] if people else (),
    )  # fmt: skip


def run(
    number: int, split: str, ears: Recognizers, show: bool, people: bool = False
) -> dict[str, Any]:
    sound = shop(number, split, people)
    told = print if show else (lambda line: None)
    with tempfile.TemporaryDirectory(prefix="lugcall-loop-") as folder:
        loop = Loop(
            number, load_dialogs(DIALOGS), Path(folder), by_sound(sound, ears), told, people
        )
        figures = loop.run()
    return {
        "session": number,
        "split": split,
        "snr_db": sound.snr_db,
        "noise": sound.noise,
        "channel": sound.channel,
        "shared": sound.shared,
        "voices": [sound.tech.name, sound.helper.name],
        "people": sound.people,
        **figures,
    }


def tries(row: dict[str, Any]) -> list[int]:
    """How often each reading had to be called out: the last of each run of tries."""
    called = row["called"]
    return [
        n for (_, n), after in zip(called, [*called[1:], ["", 1]], strict=True) if after[1] == 1
    ]


def summed(rows: list[dict[str, Any]]) -> dict[str, Any]:
    counts: Counter[str] = Counter()
    for row in rows:
        for one in row["utterances"]:
            kinds = [d["decision"] for d in one["decisions"]]
            counts["utterances"] += 1
            counts["not heard"] += not kinds
            counts.update(kinds)
    mismatches = [m for row in rows for m in row["mismatches"]]
    misheard = [m for m in mismatches if m["kind"] == "command"]
    all_tries = [n for row in rows for n in tries(row)]
    times = [d["decode_s"] for r in rows for u in r["utterances"] for d in u["decisions"]]
    return {
        "sessions": len(rows),
        "signed off": sum(row["signed_off"] for row in rows),
        "readings": sum(row["readings"] for row in rows),
        "wrong": sum(len(row["wrong"]) for row in rows),
        "tries a reading": round(statistics.mean(all_tries), 3) if all_tries else 0,
        "first try %": round(100 * sum(n == 1 for n in all_tries) / max(1, len(all_tries)), 1),
        **{key: counts[key] for key in COUNTED},
        "values taken otherwise": sum(m["kind"] != "command" for m in mismatches),
        "commands taken otherwise": len(misheard),
        "of them with effect": sum(m["effect"] for m in misheard),
        "decode s": round(statistics.median(times), 3) if times else 0,
        "session s": round(statistics.mean(row["wall_s"] for row in rows), 1) if rows else 0,
    }


def by_noise(rows: list[dict[str, Any]]) -> None:
    """Print figures by noise level and over all, one column each."""
    groups = [(f"{snr} dB", [r for r in rows if r["snr_db"] == snr]) for snr in (20, 10)]
    columns = [(name, summed(some)) for name, some in [*groups, ("all", rows)] if some]
    table(
        ["what", *(name for name, _ in columns)],
        [[key, *(str(column[key]) for _, column in columns)] for key in columns[-1][1]],
    )


def load(paths: Iterable[Path]) -> list[dict[str, Any]]:
    return [json.loads(line) for path in paths for line in path.read_text().splitlines() if line]


def details(rows: list[dict[str, Any]]) -> None:
    """Every wrong value, unfinished session and misheard command, one a line."""
    for row in rows:
        where = f"session {row['session']} ({row['snr_db']} dB {row['noise']} {row['channel']})"
        if not row["signed_off"]:
            print(f"{where}: not signed off, at {row['stuck_at']}")
        for wrong in row["wrong"]:
            print(f"{where}: WRONG {wrong}")
        for m in row["mismatches"]:
            if m["kind"] == "command":
                heard = [(d["heard"], d["probability"]) for d in m["decisions"]]
                effect = "moved the job" if m["effect"] else "no effect"
                print(f"{where}: {m['step']}: {m['words']!r} taken for {m['taken']['meaning']}, "
                      f"{effect} {heard}")  # fmt: skip


def main() -> None:
    args = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    args.add_argument("--out", type=Path)
    args.add_argument("--sessions", type=int, default=100)
    args.add_argument("--seed", type=int, default=0)
    args.add_argument("--split", default="test", choices=("test", "tuning"))
    args.add_argument("--share", default="0/1")
    args.add_argument("--minutes", type=float, default=1e9)
    args.add_argument("--show", action="store_true")
    args.add_argument("--people", action="store_true")
    args.add_argument("--sum", type=Path, nargs="*")
    a = args.parse_args()
    if a.sum:
        rows = load(a.sum)
        by_noise(rows)
        details(rows)
        return
    mine, of = map(int, a.share.split("/"))
    done = {r["session"] for r in load([a.out])} if a.out and a.out.exists() else set()
    engines, problems = open_recognizers()
    for problem in problems:
        print(problem, file=sys.stderr)
    ears = Recognizers(engines)
    until = time.monotonic() + 60 * a.minutes
    rows = []
    for number in range(a.seed, a.seed + a.sessions):
        if number // 2 % of != mine or number in done or time.monotonic() > until:
            continue
        row = run(number, a.split, ears, a.show, a.people)
        rows.append(row)
        end = "signed off" if row["signed_off"] else f"not signed off, at {row['stuck_at']}"
        print(f"session {number}: {end}, {row['readings']} readings, wrong {row['wrong']}, "
              f"{row['wall_s']:.0f} s", flush=True)  # fmt: skip
        if a.out:
            with a.out.open("a", encoding="utf-8") as out:
                out.write(json.dumps(row) + "\n")
    if rows:
        by_noise(rows)
        details(rows)


if __name__ == "__main__":
    main()
