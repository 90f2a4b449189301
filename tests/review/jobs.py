"""Records for the lead's desk: told anew from the demo job, or played by voice."""

import copy
import random
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any

from assistant.card import Card
from assistant.conversation import Session
from assistant.record.events import stamp
from assistant.texts.dialogs import Dialogs
from tests.conversation.test_session import answer
from tests.demo import DEMO
from tests.heard import heard, unheard
from tests.records import events_of, sealed

RATIO = 12.0
"""Pedal travel per fork travel of the demo's truck."""
INTERVAL_MILES = 30_000
"""From the odometer to the next check, for the jobs of a fleet."""


@dataclass(frozen=True)
class Job:
    """A record told anew: `left` is free travel as left (inches), `again` how often the found gap
    was not heard, `upto` how many lines there are (0: all, to the sign-off), `due` the next check
    (miles; 0: as in the demo), `rate_in` the inches lost per 10,000 miles that led to `found`.
    `distance` is what its odometer counts, and what `miles` and `due` then are."""

    unit: str
    day: datetime
    code: str = "12"
    miles: int = 100_000
    left: float = 1.5625
    found: float = 0.53125
    again: int = 0
    mic: str = "Headset A"
    upto: int = 0
    due: int = 0
    rate_in: float = 0.0
    distance: str = "miles"


def day(year: int, month: int, day_: int) -> datetime:
    """Eight o'clock, UTC."""
    return datetime(year, month, day_, 8, tzinfo=UTC)


def fleet(trucks: int, jobs: int, seed: int = 5) -> list[Job]:
    """Jobs of trucks that each wear and drive in their own way, dealt out in turn."""
    rng = random.Random(seed)
    own = [(rng.lognormvariate(-2.3, 0.25), rng.uniform(150, 400)) for _ in range(trucks)]
    at = [day(2021, 1, 4) + timedelta(minutes=rng.randrange(86_400)) for _ in own]
    miles = [rng.randrange(20_000, 400_000) for _ in own]
    told = []
    for number in range(jobs):
        truck = number % trucks
        rate_in, a_day = own[truck]
        days = rng.uniform(60, 150)
        at[truck] += timedelta(days=days)
        way = round(a_day * days)
        miles[truck] += way
        found = 1.5625 - rate_in * way / 10_000
        again = rng.choice((0, 0, 0, 1, 4))
        mic = rng.choice(("Headset A", "Headset B", "Cab microphone"))
        due = miles[truck] + INTERVAL_MILES
        told.append(
            Job(f"F-{truck:05d}", at[truck], str(rng.randint(10, 20)), miles[truck], found=found,
                again=again, mic=mic, due=due, rate_in=rate_in)
        )  # fmt: skip
    return told


def tell(folder: Path, jobs: Sequence[Job], bays: int = 0) -> list[Path]:
    """Write them, one after the other into the folders of the bays where there are some."""
    paths = []
    for i, job in enumerate(jobs):
        place = folder / f"bay-{i % bays}" if bays else folder
        place.mkdir(parents=True, exist_ok=True)
        paths.append(place / f"{job.day:%Y%m%d-%H%M%S}-{i}.jsonl")
        paths[-1].write_bytes(record_of(job))
    return paths


@cache
def _demo() -> list[dict[str, Any]]:
    return events_of(DEMO / "records" / "first_job.jsonl")


def record_of(job: Job) -> bytes:
    """The whole record; one line is told every 20 s."""
    group: list[tuple[str, dict[str, Any]]] = []
    for event in _demo():
        data = copy.deepcopy(event["data"])
        _change(event["kind"], data, job)
        if data.get("step") == "found_gap" and event["kind"] == "turn" and data.get("act"):
            missed = {"mic": job.mic, "decision": "again", "alternatives": [{"words": "a gap"}]}
            said = [{"to": "tech", "text": "Say again.", "key": "reply:say_again"}]
            lost = {"who": "tech", "step": "found_gap", "said": said, "ear": missed}
            wanted = job.again if not any(kind == "unheard" for kind, _ in group) else 0
            group += [("unheard", lost)] * wanted
        group.append((event["kind"], data))
    moments = (stamp(job.day + timedelta(seconds=20 * n)) for n in range(len(group)))
    lines = [(at, *one) for at, one in zip(moments, group, strict=True)]
    return sealed(lines[: job.upto or len(lines)])


def _change(kind: str, data: dict[str, Any], job: Job) -> None:
    if kind == "opened":
        data["unit"] = job.unit
    if kind == "closed":
        data["code"] = job.code
        data.pop("ring_left", None)  # nobody looked
        count = float(job.due or data["next_due"]["count"])
        data["next_due"].update(count=count, kind=job.distance)
        _count(data["as_found"]["odometer"], job)
        for quantity in ("gap", "clearance"):
            _worn(data["as_found"][quantity], job)
        _length(data["as_found"]["free-travel"], job.found)
        _length(data["as_left"]["free-travel"], job.left)
        return
    taken = data.get("taken") or {}
    if taken.get("quantity") == "odometer" and taken["stage"] == "found":
        _count(taken, job)
    if taken.get("stage") == "found" and taken["quantity"] in ("gap", "clearance"):
        _worn(taken, job)
    for one in (taken, *data.get("over", [])):
        if one.get("quantity") == "free-travel":
            _length(one, job.found if one["stage"] == "found" else job.left)


def _count(taken: dict[str, Any], job: Job) -> None:
    figures = f"{job.miles:,} {job.distance}"
    taken.update(count=float(job.miles), kind=job.distance, figures=figures)


def _worn(taken: dict[str, Any], job: Job) -> None:
    """The bearing has gone as far as free travel says: what the gap has less, the clearance has
    more."""
    further = (job.found - 0.53125) / RATIO * (-1 if taken["quantity"] == "gap" else 1)
    ends = {name: taken[name] + further for name in ("value_in", "low_in", "high_in")}
    taken.update(ends, figures=f"{ends['value_in']:.3f} in")


def _length(taken: dict[str, Any], value: float) -> None:
    taken.update(value_in=value, low_in=value - 1 / 64, high_in=value + 1 / 64)
    taken.update(figures=f"{value:.3f} in")


def play(folder: Path, card: Card, dialogs: Dialogs, mic: str, misheard: int, hold_s: int) -> Path:
    """A whole job by voice, typed where `mic` is "": so many utterances not understood, a gap
    called out wrong and corrected, the pedal held so long; after much of it, a gap too close to its
    limit is accepted at the end. One turn takes 8 s."""
    now = [day(2025, 5, 5)]
    session, _ = Session.begin(card, dialogs, folder, lambda: now[0])

    def ear(decision: str, words: str) -> dict[str, Any]:
        guess = {"words": words, "probability": 0.6, "engines": ["whisper", "pocketsphinx"]}
        return {"mic": mic, "decision": decision, "probability": 0.6, "alternatives": [guess],
                "seconds": 0.61}  # fmt: skip

    wrong, tired = True, misheard > 2
    for _ in range(200):
        if session.job.finished:
            break
        step = session.job.step
        now[0] += timedelta(seconds=hold_s if step is not None and step.kind == "release" else 8)
        who, _, words = answer(session.job).partition(": ")
        if misheard and session.job.at == "found_gap":
            misheard -= 1
            unheard(session, who, ear("again", words)) if mic else session.hear(who, "mumble")
            continue
        if wrong and session.job.at == "found_clearance" and session.job.pending is None:
            wrong, who, words = False, "tech", "correct the gap to 0.662"
        if tired and session.job.at == "final_gap" and words.startswith("0."):
            words = "nine sixteenths"
        heard(session, who, words, ear("accept", words) if mic else None)
    assert session.job.finished, session.job.at
    session.close()
    return session.journal.path
