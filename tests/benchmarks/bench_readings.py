"""How many utterances of both corpora come out right, and how fast, next to three other readers.

    python -m tests.benchmarks.bench_readings [--repeat N] [--sample N]

The other readers are general: none was written for this trade, and none knows which quantity was
asked. So each gets the same words and the most favourable interpretation:

- right: any number it finds equals the expected value in any unit that it could mean: inches,
  thousandths, millimetres, centimetres, or the plain number; for a row with an interval, any
  value inside it. Two neighbours also count as a fraction ("9 16ths") and all its numbers as
  digits in a row ("4 85"). quantulum3 also gets its own unit converted to inches. A row that
  expects a question, a refusal or nothing counts as right when the reader finds nothing.
  text2num's `alpha2digit` leaves digits it was given in place, and every number left in its
  text counts.
- asked: lugcall only; the others cannot ask.
- read wrong: a number found where none of the above holds: a wrong value, or a value for a row
  that has none.
- none/failed: nothing found, or an exception, for a row that has a value (for lugcall also
  "refused").

lugcall gets no such favour: a row is right when its status and value are what the file says.
"asked" counts questions where the file expects a value, a refusal or nothing; a wrong reading
and a missed one are counted as for the others. The four columns add up to 100 %.

Speed is one core, whole passes, best of N, and has three lines for lugcall, because it keeps what
it has worked out: "first hearing" empties both of its memories before the pass, "known shapes"
empties only the one of whole utterances (new numbers said in a way heard before), and "same words"
empties neither, so it only looks up. The last column compares with "known shapes".

quantulum3 loads its data in a first call that is not timed, and is given two
passes at most; with --sample it gets every Nth row only, and the table says so.
"""

import argparse
import re
import sys
import time
import warnings
from collections.abc import Callable, Sequence
from itertools import pairwise
from typing import NamedTuple

from text_to_num import alpha2digit
from word2number.w2n import word_to_num

from assistant.readings import read
from tests.benchmarks.figures import table
from tests.readings.test_corpus import FILES, Row, is_right
from tests.readings.test_corpus import rows as rows_of_file

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    from quantulum3.parser import parse

MM_PER_IN = 25.4
BASELINE = "lugcall, known shapes"
NUMBER = re.compile(r"\d+(?:[.,]\d+)?")


def corpus() -> list[tuple[str, Row]]:
    """Every row of both files, with its file."""
    return [(name, row) for name in FILES for row in rows_of_file(name)]


def inside(row: Row, value: float) -> bool:
    """Whether `value` is the expected one, allowing for the six places the files keep."""
    ends = [float(x) for x in (row.nominal_in or row.value_in or row.count or "nan").split("..")]
    slack = 1e-6 * max(1.0, abs(ends[-1]))
    return ends[0] - slack <= value <= ends[-1] + slack


def lugcall(row: Row) -> str:
    """This project, judged strictly."""
    got = read(row.words, row.quantity)
    if is_right(row, got):
        return "right"
    if got.status == "read":
        return "wrong"
    return "asked" if got.status == "ask" else "none"


def favourable(row: Row, numbers: list[float], inches: list[float]) -> str:
    """The verdict that suits a general reader best."""
    if not numbers:
        return "none" if row.status == "read" else "right"
    if row.status != "read":
        return "wrong"
    means = list(inches)
    found = numbers + [a / b for a, b in pairwise(numbers) if b]
    digits = "".join(f"{n:g}" for n in numbers)
    if digits.isdigit():
        found.append(float(digits))
    for n in found:
        means += [n] if row.count else [n, n / 1000, n / MM_PER_IN, n * 10 / MM_PER_IN]
    return "right" if any(inside(row, value) for value in means) else "wrong"


def with_quantulum3(row: Row) -> str:
    numbers, inches = [], []
    for found in parse(row.words):
        numbers.append(float(found.value))
        # Its names for units of length, with their inches; others count as plain numbers.
        factor = {
            "inch": 1.0,
            "thou": 0.001,
            "mil": 0.001,
            "millimetre": 1 / MM_PER_IN,
            "centimetre": 10 / MM_PER_IN,
            "foot": 12.0,
            "metre": 1000 / MM_PER_IN,
        }.get(found.unit.name)
        if factor is not None:
            inches.append(found.value * factor)
    return favourable(row, numbers, inches)


def with_text2num(row: Row) -> str:
    text = alpha2digit(row.words, "en")
    return favourable(row, [float(x.replace(",", ".")) for x in NUMBER.findall(text)], [])


def with_word2number(row: Row) -> str:
    return favourable(row, [float(word_to_num(row.words))], [])


def judge(reader: Callable[[Row], str], row: Row) -> str:
    """A reader's verdict; an exception means it found nothing."""
    try:
        return reader(row)
    except Exception:
        return "none" if row.status == "read" else "right"


class Result(NamedTuple):
    name: str
    rows: int
    verdicts: list[str]
    per_second: float


def run(
    name: str,
    reader: Callable[[Row], str],
    rows: Sequence[Row],
    repeat: int,
    before: Callable[[], None] = lambda: None,
) -> Result:
    """Best of `repeat` whole passes."""
    best = float("inf")
    verdicts: list[str] = []
    for _ in range(repeat):
        before()
        start = time.perf_counter()
        verdicts = [judge(reader, row) for row in rows]
        best = min(best, time.perf_counter() - start)
    return Result(name, len(rows), verdicts, len(rows) / best)


def share(verdicts: list[str], verdict: str) -> str:
    return f"{100 * verdicts.count(verdict) / len(verdicts):.1f}"


def print_results(results: list[Result]) -> None:
    ours = next(r for r in results if r.name == BASELINE).per_second
    kinds = ("right", "asked", "wrong", "none")
    head = ["reader", "rows", "right %", "asked %", "wrong %", "none/failed %", "readings/s"]
    table(
        [*head, "lugcall is"],
        [
            [
                *(r.name, str(r.rows), *(share(r.verdicts, kind) for kind in kinds)),
                *(f"{r.per_second:,.0f}", f"{ours / r.per_second:,.1f} x"),
            ]
            for r in results
        ],
    )


def print_categories(files: Sequence[str], rows: Sequence[Row], verdicts: list[str]) -> None:
    lines = []
    for category in [*dict.fromkeys(row.category for row in rows), "all"]:
        cells = []
        for file in FILES:
            some = [
                verdict
                for of, row, verdict in zip(files, rows, verdicts, strict=True)
                if of == file and category in (row.category, "all")
            ]
            cells.append(f"{some.count('right')}/{len(some)}" if some else "-")
        lines.append([category, *cells])
    print()
    table(["lugcall by category", "tuning", "held-out"], lines)


def main() -> None:
    """Load the readers, run them, print one table and the categories."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--repeat", type=int, default=5, help="passes; the best one counts")
    parser.add_argument("--sample", type=int, default=1, help="quantulum3 gets every Nth row")
    args = parser.parse_args()

    # The package exports the function under the module's name.
    module = sys.modules["assistant.readings.read"]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        parse("nine sixteenths of an inch")

    def forget_words() -> None:
        module._heard_before.cache_clear()

    def forget_all() -> None:
        module._heard_before.cache_clear()
        module.analyse.cache_clear()

    files, rows = zip(*corpus(), strict=True)
    results = [
        run("lugcall, first hearing", lugcall, rows, args.repeat, forget_all),
        run(BASELINE, lugcall, rows, args.repeat, forget_words),
        run("lugcall, same words", lugcall, rows, args.repeat),
        run("text2num", with_text2num, rows, args.repeat),
        run("word2number", with_word2number, rows, args.repeat),
    ]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        some = rows[:: args.sample]
        name = f"quantulum3 (1 in {args.sample})" if args.sample > 1 else "quantulum3"
        results.insert(3, run(name, with_quantulum3, some, min(args.repeat, 2)))
    print_results(results)
    print_categories(files, rows, results[1].verdicts)


if __name__ == "__main__":
    main()
