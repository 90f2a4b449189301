"""How the benchmarks print what they measured."""

from collections.abc import Iterable, Sequence
from typing import Any


def quantile(values: Iterable[float], part: float) -> float:
    """The value below which `part` of them lie."""
    ordered = sorted(values)
    return ordered[min(len(ordered) - 1, int(len(ordered) * part))]


def times(what: str, seconds: Sequence[float]) -> None:
    """Print one line: median, 95 % and the longest, in milliseconds."""
    middle, most = (1000 * quantile(seconds, part) for part in (0.5, 0.95))
    print(
        f"{what:52} median {middle:8.3f}  95 % {most:8.3f}  worst {1000 * max(seconds):8.3f} ms"
        f"  (n={len(seconds)})",
        flush=True,
    )


def table(head: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    widths = [max(len(row[i]) for row in [head, *rows]) for i in range(len(head))]
    for row in [head, *rows]:
        first, *rest = (c.ljust(w) if not i else c.rjust(w)
                        for i, (c, w) in enumerate(zip(row, widths, strict=True)))  # fmt: skip
        print("  ".join([first, *rest]).rstrip(), flush=True)


def bins(pairs: Sequence[tuple[float, bool]]) -> list[dict[str, Any]]:
    """Probabilities against what came true, in ten bins."""
    out = []
    for low in range(10):
        here = [(p, r) for p, r in pairs if low <= min(p * 10, 9.999) < low + 1]
        if here:
            said, came = (sum(x) / len(here) for x in zip(*here, strict=True))
            out.append({"from": low / 10, "n": len(here), "said": said, "came": came})
    return out


def expected_error(pairs: Sequence[tuple[float, bool]]) -> float:
    """Expected calibration error: mean distance of the bins, weighted by their size."""
    return float(sum(b["n"] * abs(b["said"] - b["came"]) for b in bins(pairs)) / len(pairs))
