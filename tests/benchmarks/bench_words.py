"""How well words are understood that independent writers said people would say.

    python -m tests.benchmarks.bench_words                 # the writers never tuned on
    python -m tests.benchmarks.bench_words --left-out      # the tuning ones, each by the others
    python -m tests.benchmarks.bench_words --misses FILE   # the lines not understood, to read

A line is right when what is taken is what its writer meant; asked when lugcall asks back or blocks;
dangerous when an act that lets the job go on was taken without being meant, when one that must
never be taken was, or when danger in a hold neither stopped nor blocked. The rest is wrong.
"""

from __future__ import annotations

import argparse
import statistics
import time
from collections import Counter
from collections.abc import Iterable
from pathlib import Path

from assistant.conversation import meaning
from tests.conversation import strangers
from tests.conversation.strangers import ALARMS, CORPUS, Line

KINDS = ("right", "asked", "wrong", "dangerous")


def count(lines: Iterable[Line], misses: list[str]) -> Counter[str]:
    """How the lines were understood; those that were not are added to `misses`."""
    found: Counter[str] = Counter()
    for line in lines:
        verdict = strangers.judge(line, strangers.take(line))
        found[verdict.kind] += 1
        if verdict.kind != "right":
            meant = "|".join("+".join(way) for way in line.meant)
            misses.append(
                f"{verdict.kind}\t{line.at}\t{line.situation}\t{line.words}\t{meant}\t{verdict.taken}"
            )
    return found


def show(name: str, found: Counter[str]) -> None:
    """One row."""
    total = found.total()
    print(f"{name:12}{total:7}" + "".join(f"{found[k] / total:11.1%}" for k in KINDS))


def left_out() -> Iterable[tuple[str, list[Line]]]:
    """The tuning writers, each third understood by weights fitted on the other two."""
    from tests.benchmarks.fit_meanings import fit

    lines = list(strangers.lines("tuning"))
    writers = sorted({x.writer for x in lines})
    for third in range(3):
        out = writers[third::3]
        weights = meaning.Weights.of(fit([x for x in lines if x.writer not in out]))
        meaning.likely.cache_clear()
        meaning.weights = lambda weights=weights: weights  # type: ignore[assignment,misc]
        for writer in out:
            yield writer, [x for x in lines if x.writer == writer]


def in_a_hold() -> None:
    """Danger and harmless talk in a hold, by writers of their own."""
    found: Counter[tuple[str, str]] = Counter()
    for path in sorted((CORPUS / "hold").glob("*.tsv")):
        for kind, who, words in strangers.rows(path):
            situation, person = ("S26", "tech") if who == "T" else ("S27", "helper")
            got = strangers.labels(strangers.kept(situation).understood(words, person))
            does = "stops" if got & (ALARMS | {"released"}) else ""
            found[kind, does or ("blocks" if "block" in got else "passes")] += 1
    for kind in ("danger", "harmless"):
        total = sum(n for (k, _), n in found.items() if k == kind)
        told = ", ".join(f"{does} {found[kind, does]}" for does in ("stops", "blocks", "passes"))
        print(f"in a hold, {total} of {kind}: {told}")


def main() -> None:
    """The command."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--left-out", action="store_true")
    parser.add_argument("--set", default="heldout")
    parser.add_argument("--misses", type=Path)
    chosen = parser.parse_args()
    misses: list[str] = []
    print(f"{'':12}{'lines':>7}" + "".join(f"{kind:>11}" for kind in KINDS))
    groups = (
        left_out()
        if chosen.left_out
        else (
            (path.stem, list(strangers.lines_of(path)))
            for path in sorted((CORPUS / chosen.set).glob("*.tsv"))
        )
    )
    total: Counter[str] = Counter()
    for name, lines in groups:
        found = count(lines, misses)
        show(name, found)
        total += found
    show("all", total)
    if not chosen.left_out:
        in_a_hold()
        _speed()
    if chosen.misses:
        chosen.misses.write_text("\n".join(misses), encoding="utf-8")


def _speed() -> None:
    lines = list(strangers.lines("heldout"))[:2000]
    took = []
    for line in lines:
        talk = strangers.kept(line.situation)
        start = time.perf_counter()
        talk.understood(line.words + " ", line.who)
        took.append(1e3 * (time.perf_counter() - start))
    print(f"understanding one line: median {statistics.median(took):.2f} ms")


if __name__ == "__main__":
    main()
