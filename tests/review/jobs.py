"""A few records told anew from the demo job: other trucks, days, technicians, words not heard."""

from __future__ import annotations

import copy
import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from assistant.record.events import GENESIS, seal_event, stamp

_DEMO = Path(__file__).parents[2] / "demo_sessions" / "records" / "first_job.jsonl"


@dataclass(frozen=True)
class Job:
    """One of them: `left` is free travel as left (inches), `again` how often the found gap was not
    heard, `upto` how many lines there are (0: all, to the sign-off)."""

    unit: str
    day: datetime
    code: str = "12"
    miles: int = 100_000
    left: float = 1.5625
    found: float = 0.53125
    again: int = 0
    mic: str = "Headset A"
    upto: int = 0


def tell(folder: Path, jobs: Sequence[Job]) -> list[Path]:
    """Write them; one line is told every 20 s."""
    folder.mkdir(parents=True, exist_ok=True)
    return [_tell(folder, job, i) for i, job in enumerate(jobs)]


def day(year: int, month: int, day_: int) -> datetime:
    """Eight o'clock, UTC."""
    return datetime(year, month, day_, 8, tzinfo=UTC)


def _tell(folder: Path, job: Job, number: int) -> Path:
    group: list[tuple[str, dict[str, Any]]] = []
    for line in _DEMO.read_text(encoding="utf-8").splitlines():
        event = json.loads(line)
        data = copy.deepcopy(event["data"])
        _change(event["kind"], data, job)
        if data.get("step") == "found_gap" and event["kind"] == "turn" and data.get("act"):
            missed = {"mic": job.mic, "decision": "again", "alternatives": [{"words": "a gap"}]}
            said = [{"to": "tech", "text": "Say again.", "key": "reply:say_again"}]
            unheard = {"who": "tech", "step": "found_gap", "said": said, "ear": missed}
            wanted = job.again if not any(kind == "unheard" for kind, _ in group) else 0
            group += [("unheard", unheard)] * wanted
        group.append((event["kind"], data))
    prev, content = GENESIS, b""
    for n, (kind, data) in enumerate(group[: job.upto or len(group)]):
        event_, line_ = seal_event(n, stamp(job.day + timedelta(seconds=20 * n)), kind, data, prev)
        prev, content = event_.hash, content + line_
    path = folder / f"{job.day:%Y%m%d-%H%M%S}-{number}.jsonl"
    path.write_bytes(content)
    return path


def _change(kind: str, data: dict[str, Any], job: Job) -> None:
    if kind == "opened":
        data["unit"] = job.unit
    if kind == "closed":
        data["code"] = job.code
        _count(data["as_found"]["odometer"], job.miles)
        _length(data["as_found"]["free-travel"], job.found)
        _length(data["as_left"]["free-travel"], job.left)
        return
    taken = data.get("taken") or {}
    if taken.get("quantity") == "odometer" and taken["stage"] == "found":
        _count(taken, job.miles)
    if taken.get("quantity") == "free-travel":
        _length(taken, job.found if taken["stage"] == "found" else job.left)


def _count(taken: dict[str, Any], miles: int) -> None:
    taken.update(count=float(miles), figures=f"{miles:,} miles")


def _length(taken: dict[str, Any], value: float) -> None:
    taken.update(value_in=value, low_in=value - 1 / 64, high_in=value + 1 / 64)
    taken.update(figures=f"{value:.3f} in")
