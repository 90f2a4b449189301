"""Figures from what was heard: words, meanings, time, calibration."""

import re
import statistics
from collections.abc import Callable, Sequence
from typing import Any

import jiwer
from num2words import num2words

from .figures import bins, expected_error, quantile
from .hearing_utterances import WAYS, Row


def plain(text: str) -> str:
    """Words to be compared: lower case, no signs, figures spelled out."""
    text = re.sub(r"\d+", lambda m: f" {num2words(int(m[0]))} ", text.lower())
    return " ".join(re.sub(r"[^a-z' ]+", " ", text).split())


def top_right(row: Row, way: str) -> bool:
    """Whether the likeliest meaning is what was said, whatever was decided."""
    return row.truth is not None and row.got[way][1] == row.truth


def first_try(row: Row, way: str) -> bool:
    """Taken at once, and right."""
    return row.got[way][0] == "accept" and top_right(row, way)


def wrong(row: Row, way: str) -> bool:
    """Taken for something that was not said; a question back is no such thing."""
    kind, meaning, *_ = row.got[way]
    asks = isinstance(meaning, tuple) and meaning[:1] in (("ask",), ("question",))
    return kind == "accept" and not asks and not top_right(row, way)


def share(rows: Sequence[Row], way: str, of: Callable[[Row, str], bool]) -> float | None:
    """Part of `rows` for which `of` holds; None where there are none."""
    return sum(of(row, way) for row in rows) / len(rows) if rows else None


def engines(rows: Sequence[Row]) -> dict[str, dict[str, Any]]:
    """One entry a way of hearing: the main table."""
    read = [row for row in rows if row.said.is_reading]
    told = [row for row in rows if not row.said.is_reading]
    out: dict[str, dict[str, Any]] = {}
    for way in WAYS:
        taken = [row.seconds[way] for row in rows]
        found: dict[str, Any] = {
            "wer": jiwer.wer(
                [plain(r.said.words) for r in rows], [plain(r.words[way]) for r in rows]
            ),
            "wrong accepts": share(rows, way, wrong),
            "wrong values": share(read, way, wrong),
            "readings first try": share(read, way, first_try),
            "readings top": share(read, way, top_right),
            "commands first try": share(told, way, first_try),
            "commands top": share(told, way, top_right),
            "median s": statistics.median(taken),
            "p95 s": quantile(taken, 0.95),
            "real-time factor": sum(taken) / sum(row.audio_s for row in rows),
        }
        for snr in (None, 20, 10, 5):
            here = [row for row in read if row.said.snr == snr]
            found[f"readings {snr or 'clean'}"] = share(here, way, first_try)
            found[f"readings top {snr or 'clean'}"] = share(here, way, top_right)
        out[way] = found
    return out


def splits(rows: Sequence[Row], way: str = "lugcall") -> dict[str, dict[str, Any]]:
    """First-try readings and wrong accepts by noise, channel, voice, kind of phrase and place."""
    by: dict[str, Callable[[Row], str]] = {
        "noise": lambda r: r.said.kind or "none",
        "channel": lambda r: r.said.channel,
        "voice": lambda r: r.said.voice.name,
        "quantity": lambda r: r.said.quantity,
        "place": lambda r: "at its step" if r.said.step else "lugcall hear",
    }
    read = [row for row in rows if row.said.is_reading]
    out: dict[str, dict[str, Any]] = {}
    for name, key in by.items():
        for value in sorted({key(row) for row in read}):
            here = [row for row in read if key(row) == value]
            out[f"{name}: {value}"] = {
                "n": len(here),
                "first try": share(here, way, first_try),
                "top": share(here, way, top_right),
                "wrong": share(here, way, wrong),
            }
    return out


def calibration(rows: Sequence[Row], way: str = "lugcall") -> dict[str, Any]:
    """Probabilities against what came true; Brier score; expected calibration error."""
    pairs = [(row.got[way][2], top_right(row, way)) for row in rows]
    return {
        "bins": bins(pairs),
        "brier": sum((p - r) ** 2 for p, r in pairs) / len(pairs),
        "ece": expected_error(pairs),
    }


def mistakes(rows: Sequence[Row], way: str = "lugcall") -> list[dict[str, Any]]:
    """Every utterance not taken right at once, for the error analysis."""
    return [
        {
            "said": row.said.words,
            "heard": row.got[way][3],
            "decision": row.got[way][0],
            "probability": round(row.got[way][2], 3),
            "top right": top_right(row, way),
            "reading": row.said.is_reading,
            "at": row.said.step or f"hear {row.said.quantity}",
            "voice": row.said.voice.name,
            "noise": row.said.kind,
            "snr": row.said.snr,
            "channel": row.said.channel,
        }
        for row in rows
        if not first_try(row, way)
    ]
