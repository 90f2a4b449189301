"""python -m tests.simulator 20000 [--seed N] [--jobs 2] [--kind rod-card ...] [--show SEED]"""

import argparse
import multiprocessing
import sys
from collections import Counter
from collections.abc import Sequence
from statistics import median, quantiles

from tests.simulator.judge import GOOD, Verdict, judged
from tests.simulator.kinds import KINDS


def _one(asked: tuple[int, tuple[str, ...]]) -> Verdict:
    verdict = judged(*asked)
    verdict.lines = []
    return verdict


def spread(numbers: Sequence[float]) -> str:
    if not numbers:
        return "none"
    high = quantiles(numbers, n=20)[-1] if len(numbers) > 1 else numbers[0]
    return f"median {median(numbers):g}, 95% {high:g}"


def report(verdicts: list[Verdict]) -> str:
    ends = Counter(v.end for v in verdicts)
    lines = [f"{len(verdicts)} trucks"]
    lines += [f"  {end:<26}{count:>6}" for end, count in ends.most_common()]
    clean = [v for v in verdicts if not v.mishaps]
    lines.append(f"  without a mistake of the crew: {dict(Counter(v.end for v in clean))}")
    good = [v for v in verdicts if v.end == "in tolerance" and v.best is not None]
    for name, some in (("without mistakes", [v for v in good if not v.mishaps]), ("all", good)):
        over = [v.moves - (v.best or 0) for v in some]
        lines.append(f"moves beyond the best possible, {name}: {spread(over)}")
    lines.append(f"utterances a job: {spread([v.utterances for v in good])}")
    lines.append(f"... of them check: {spread([v.checks for v in good])}")
    for kind in sorted({v.kind for v in good}):
        some = [v.utterances for v in good if v.kind == kind]
        lines.append(f"  {kind:<30}{spread(some)}")
    lines.append(f"readings that were misheard: {sum(v.misheard for v in verdicts)}")
    lines.append(f"seconds a job: {spread([round(v.seconds, 2) for v in verdicts])}")
    lines += [v.line for v in verdicts if v.end not in GOOD]
    return "\n".join(lines)


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.simulator")
    parser.add_argument("trucks", type=int, nargs="?", default=200)
    parser.add_argument("--seed", type=int, default=0, help="of the first truck")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--kind", action="append", help="only kinds with this in their name")
    parser.add_argument("--show", action="store_true", help="the whole talk of the first truck")
    asked = parser.parse_args()
    kinds = tuple(k for k in KINDS if all(part in k for part in asked.kind or []))
    if asked.show:
        verdict = judged(asked.seed, kinds)
        print(*verdict.lines, verdict.line, sep="\n")
        return 0
    seeds = [(seed, kinds) for seed in range(asked.seed, asked.seed + asked.trucks)]
    with multiprocessing.Pool(asked.jobs) as pool:
        verdicts = pool.map(_one, seeds, chunksize=5)
    print(report(verdicts))
    return int(any(v.end not in GOOD for v in verdicts))


sys.exit(main())
