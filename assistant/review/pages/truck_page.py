"""One truck's whole life as a page: every visit, its wear, its ring, parts, causes, questions, and
why it came back each time."""

from __future__ import annotations

import hashlib
import json
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import UTC, date, datetime
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

from assistant import __version__
from assistant.card.arithmetic import lengths_kept
from assistant.record import RecordError
from assistant.record.folder import slug
from assistant.record.history import JobHistory
from assistant.review.index import source_hash
from assistant.review.pages import charts
from assistant.review.pages.render import link, page, write_page
from assistant.review.pages.returns import Came, headline, why_back
from assistant.review.planned import card_of, decimals
from assistant.review.wording import Row, headed, say, signed, way
from assistant.wear import say as wear_words

if TYPE_CHECKING:
    from assistant.review import Review
    from assistant.review.pages.fleet_page import ListedTruck

MOST_AT_ONCE = 200
"""Trucks that are asked for in one question."""
LIKELY = 0.2
"""A cause less likely than this is not named."""


def truck_file(unit: str) -> str:
    """The page of a truck in the folder of pages, apart from others whose names look alike."""
    digest = hashlib.sha256(unit.encode("utf-8", "surrogateescape")).hexdigest()[:8]
    return f"trucks/{slug(unit)}-{digest}.html"


def write_trucks(
    desk: Review, folder: Path, trucks: Sequence[ListedTruck], jobs: Mapping[int, str],
    made: dict[str, str], show: Callable[[Iterable[Any]], Iterable[Any]],
) -> int:  # fmt: skip
    """Make the pages of these trucks that are missing or old; returns how many.

    `jobs` are the links, from the folder, to the pages of jobs that have one; `made` is what each
    page was made of, and is kept up.

    Raises:
        OSError: the disk did not take one.
    """
    states = _states(desk, trucks, jobs)
    todo = [t for t in trucks if made.get(truck_file(t.unit)) != states[t.unit]
            or not (folder / truck_file(t.unit)).exists()]  # fmt: skip
    groups = [todo[at : at + MOST_AT_ONCE] for at in range(0, len(todo), MOST_AT_ONCE)]
    for group in show(groups):
        lives = _Lives(desk, [truck.unit for truck in group])
        for truck in group:
            file = truck_file(truck.unit)
            write_page(folder / file, lives.page(truck, folder / "trucks", jobs))
            made[file] = states[truck.unit]
    return len(todo)


def _states(desk: Review, trucks: Sequence[ListedTruck], jobs: Mapping[int, str]) -> dict[str, str]:
    """What the page of each truck depends on."""
    t = desk.tables
    found: defaultdict[str, list[str]] = defaultdict(list)
    for row in desk.rows(t.jobs.select("job", "unit", "head", "unseen").order_by(["unit", "job"])):
        found[row["unit"]].append(f"{row['head']} {row['unseen']} {jobs.get(row['job'], '')}")
    for row in desk.rows(t.answers.filter(t.answers.answer != "").select("question", "answer")):
        found[""].append(f"{row['question']} {row['answer']}")
    here = Path(__file__).parent
    code = source_hash(*sorted(p for p in here.iterdir() if p.suffix in (".py", ".html", ".css")))
    same = f"{__version__} {code} {sorted(found.pop('', []))}"
    return {
        one.unit: hashlib.sha256(
            json.dumps([same, sorted(found[one.unit]), one.due, one.word, one.ring]).encode()
        ).hexdigest()
        for one in trucks
    }


class _Lives:
    """The rows of some trucks, to make a page of each."""

    def __init__(self, desk: Review, units: Sequence[str]) -> None:
        t = desk.tables
        jobs = t.jobs.filter(t.jobs.unit.isin(list(units)))
        self._desk = desk
        self._jobs = _by(desk.rows(jobs.order_by(["began_utc", "job"])), "unit")
        d = t.doubts.semi_join(jobs, "job").order_by(["job", "n"])
        self._doubts = _by(desk.rows(d.filter(d.kind != "default")), "job")
        a = t.lead_acts.semi_join(jobs, "job").order_by(["at_utc", "n"])
        self._acts = _by(desk.rows(a), "job")
        h = t.hearing.semi_join(jobs, "job")
        notes = h.filter(h.meaning == "note").select("job", "n", "who", "words")
        self._notes = _by(desk.rows(notes.order_by(["job", "n"])), "job")
        answers = t.answers.filter(t.answers.answer != "")
        self._answers = {row["question"]: row for row in desk.rows(answers)}
        self._visits = {job: visit for job, visit in desk.due.visits(units)}
        self._looks = desk.due.outlooks(units)

    def page(self, truck: ListedTruck, folder: Path, links: Mapping[int, str]) -> str:
        jobs = self._jobs[truck.unit]
        visits = [self._visits[j["job"]] for j in jobs if j["job"] in self._visits]
        cell = charts.cell_of(truck.unit, visits) if visits else None
        look = self._looks.get(truck.unit)
        rate = look.rate if look is not None else None
        unit, lengths = truck.row["odometer_unit"], truck.row["length_unit"]
        came = [self._came(job, jobs[:i]) for i, job in enumerate(jobs)]
        back = [
            (headline(before, now, unit), why_back(before, now, rate, unit, lengths))
            for before, now in pairwise(came)
        ]

        def href(job: int) -> str:
            return f"../{links[job]}" if job in links else ""

        return page(
            "truck.html",
            t=truck,
            fleet=link(folder.parent / "fleet.html", folder),
            visits=[*zip(came, [None, *back], strict=True)][::-1],
            href=href,
            curve=charts.curve(cell, charts.scale_of([cell]), 640, 170) if cell else "",
            cell=cell,
            why=wear_words.why(look) if look is not None else [],
            causes=self._causes(jobs[-1]),
            parts=[(job, word) for job in jobs for word in (job["fitted"] or "").split()],
            troubles=[
                (job, doubt) for job in jobs for doubt in self._doubts[job["job"]]
                if doubt["kind"] in ("unsound", "unfinished")
            ],
            asked=[
                (job, act, self._answers.get(act["hash"])) for job in jobs
                for act in self._acts[job["job"]] if act["kind"] == "lead-question"
            ],
            notes=[(job, note) for job in jobs for note in self._notes[job["job"]]],
            headed=headed,
            signed=signed,
            way=lambda miles: way(miles, unit),
            length=lambda value_in: decimals(value_in, lengths),
            made=datetime.now(UTC).strftime("%Y-%m-%d %H:%M UTC"),
        )  # fmt: skip

    def _came(self, job: Row, earlier: Sequence[Row]) -> Came:
        return Came(job, self._doubts[job["job"]], self._was_due(job["unit"], earlier))

    def _was_due(self, unit: str, earlier: Sequence[Row]) -> tuple[date, date | None] | None:
        """When it was due by the visits before."""
        known = [self._visits[job["job"]] for job in earlier if job["job"] in self._visits]
        return self._desk.due.look(known).due if known else None

    def _causes(self, job: Row) -> list[str]:
        """What its readings as found make likely, of the last visit; none where none is."""
        from assistant.causes.case import Case, findings_of
        from assistant.causes.table import load_table

        try:
            history = JobHistory.read(Path(job["folder"], job["path"]))
            card = card_of(history.opened.card.text)
            known = lengths_kept(history.last_read("found"))
        except (RecordError, OSError, ValueError):
            return []
        if card is None or not known:
            return []
        case = Case(load_table().of(card, (job["fitted"] or "").split()))
        case.found.update(findings_of(case.table, card, known))
        ranked = case.ranked() if case.found else []
        return [say("truck.cause", chance=p, what=one.say) for one, p in ranked[:3] if p >= LIKELY]


def _by(rows: Iterable[Row], key: str) -> defaultdict[Any, list[Row]]:
    found: defaultdict[Any, list[Row]] = defaultdict(list)
    for row in rows:
        found[row[key]].append(row)
    return found
