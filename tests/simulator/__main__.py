"""python -m tests.simulator 20000 [--seed N] [--jobs 2] [--kind rod ...] [--out FILE] [--show]

`--read FILE ...` prints the report of trucks that were played before.
"""

import argparse
import json
import multiprocessing
import sys
from collections import Counter
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from statistics import median, quantiles

from tests.simulator.judge import GOOD, Verdict, judged
from tests.simulator.kinds import KINDS


def _one(asked: tuple[int, tuple[str, ...]]) -> Verdict:
    verdict = judged(*asked)
    verdict.lines = []
    return verdict


def spread(numbers: Sequence[float]) -> str:
    if len(numbers) < 2:
        return str(list(numbers))
    return f"median {median(numbers):g}, 95% {quantiles(numbers, n=20)[-1]:g}"


def report(verdicts: list[Verdict]) -> str:
    clean = [v for v in verdicts if not v.mishaps]
    ends, unhurt = (Counter(v.end for v in some) for some in (verdicts, clean))
    lines = [f"{len(verdicts)} trucks, {len(clean)} of them without a mistake of the crew"]
    lines += [f"  {end:<26}{count:>7}{unhurt[end]:>7}" for end, count in ends.most_common()]
    good = [v for v in verdicts if v.end == "in tolerance" and v.best is not None]
    for name, some in (("without mistakes", [v for v in good if not v.mishaps]), ("all", good)):
        over = [v.moves - (v.best or 0) for v in some]
        least = sum(n <= 0 for n in over)
        told = f"{spread(over)}; no more than it: {least} of {len(over)}"
        lines.append(f"moves beyond the best possible, {name}: {told}")
    lines.append(f"utterances a job: {spread([v.utterances for v in good])}")
    lines.append(f"... of them check: {spread([v.checks for v in good])}")
    for kind in sorted({v.kind for v in good}):
        some = [v.utterances for v in good if v.kind == kind]
        lines.append(f"  {kind:<30}{spread(some)}")
    lines.append(f"readings that were misheard: {sum(v.misheard for v in verdicts)}")
    lines.append(f"seconds a job: {spread([round(v.seconds, 2) for v in verdicts])}")
    return "\n".join([*lines, *(v.line for v in verdicts if v.end not in GOOD)])


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.simulator")
    parser.add_argument("trucks", type=int, nargs="?", default=200)
    parser.add_argument("--seed", type=int, default=0, help="of the first truck")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--kind", action="append", default=[], help="kinds with this in their name")
    parser.add_argument("--show", action="store_true", help="the whole talk of the first truck")
    parser.add_argument("--out", type=Path, help="what became of each, a line of JSON")
    parser.add_argument("--read", type=Path, nargs="+", help="such files, instead of playing")
    asked = parser.parse_args()
    kinds = tuple(k for k in KINDS if all(part in k for part in asked.kind))
    if asked.show:
        verdict = judged(asked.seed, kinds)
        print(*verdict.lines, verdict.line, sep="\n")
        return 0
    if asked.read:
        lines = [line for path in asked.read for line in path.read_text("utf-8").splitlines()]
        verdicts = [Verdict(**json.loads(line)) for line in lines]
    else:
        seeds = [(seed, kinds) for seed in range(asked.seed, asked.seed + asked.trucks)]
        with multiprocessing.Pool(asked.jobs) as pool:
            verdicts = pool.map(_one, seeds, chunksize=5)
    if asked.out:
        asked.out.write_text("".join(json.dumps(asdict(v)) + "\n" for v in verdicts), "utf-8")
    print(report(verdicts))
    return int(any(v.end not in GOOD for v in verdicts))


if __name__ == "__main__":
    sys.exit(main())
