"""Many jobs as a page: what needs eyes first, what is due, how it goes, and each job to look up.

It is in one folder with the pages of its jobs; of those only what changed is made again.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from assistant import __version__, named_file
from assistant.record import RecordError
from assistant.review.columns import DAMAGE
from assistant.review.doubts import KINDS
from assistant.review.index import source_hash
from assistant.review.pages import charts, questions
from assistant.review.pages.questions import FleetAnswers, hash_of
from assistant.review.pages.render import link, page, page_name, write_page
from assistant.review.wording import Row, say, signed
from assistant.wear.outlook import Outlook, Range, due_state, lugs_left, newest, since_new
from assistant.wear.visits import Visit, by_unit

if TYPE_CHECKING:
    from assistant.review import Review


MOST_DUE = 20
"""Trucks, the first to be due, that are shown with all that is known."""
_MOST = {
    "jobs": questions.MOST_JOBS,
    "eyes": questions.MOST_EYES,
    "units": questions.MOST_UNITS,
    "curves": charts.MOST_CURVES,
    "rings": MOST_DUE,
}
_MADE = "made.json"
_HERE = Path(__file__).parent
_SOURCES = sorted(p for p in _HERE.iterdir() if p.suffix in (".py", ".html", ".css"))
"""What the pages' look depends on."""


class Listed:
    """One job of the list: its row, where its record is and its `page` in the
    folder, what it is found by."""

    def __init__(self, desk: Review, row: Row, answers: FleetAnswers, folder: Path) -> None:
        self.row = row
        self.record = Path(row["folder"], row["path"])
        if "\\x" in row["path"]:  # a name that is no text
            self.record = desk.record_path(row["job"])
        self.record_link = link(self.record, folder)
        self.page = f"jobs/{page_name(Path(row['path']), row['opening'])}"
        self.page_link = link(folder / self.page, folder)
        self.doubts = answers.texts[row["job"]]
        self.beside = answers.beside[row["job"]]
        self.answers = answers.answers[row["job"]]
        self.tokens = questions.joined(questions.tokens_of(row, answers))
        self.when = str(row["began_local"])[:16].replace("T", " ")
        told = [row[key] or "" for key in ("unit", "code", "path", "card", "step", "chain")]
        self.words = " ".join([*map(str, told), self.when, *(self.doubts or [""])]).lower()


def write_fleet(
    desk: Review, folder: Path, unit: str = "", since: date | None = None,
    ring_lugs: int | None = None,
) -> list[Listed]:  # fmt: skip
    """Write the fleet page; returns the jobs on it, whose pages `write_jobs` makes.

    Only of a `unit`, or of jobs begun `since` a day; `ring_lugs` is what a ring has from new to its
    end, if known.

    Raises:
        RecordError: it was to be narrowed, and no job is left.
        OSError: the disk did not take it.
    """
    answers = FleetAnswers(desk, questions.narrowed(desk.tables, unit, since))
    jobs = [Listed(desk, row, answers, folder) for row in answers.jobs]
    if not jobs and (unit or since):
        raise RecordError(_none_left(unit, since))
    by_job = {one.row["job"]: one for one in jobs}
    dated = [row["unit"] for row in answers.units if row["due_from_utc"] is not None]
    looks = desk.due.outlooks(dated[:MOST_DUE], ring_lugs)
    due = [looks[unit] for unit in dated[:MOST_DUE]]
    trucks = by_unit(answers.visits)
    rings, no_rings = rings_left(trucks, ring_lugs)
    chart = partial(charts.kept_or_drawn, desk.home / "charts")
    order = [look.unit for look in due] + [row["unit"] for row in answers.units]
    drawn = [(unit, trucks[unit]) for unit in dict.fromkeys(order) if unit in trucks]
    text = page(
        "fleet.html",
        a=answers,
        jobs=jobs,
        eyes=[(row, by_job[row["job"]]) for row in answers.eyes],
        due=due,
        rings=rings,
        no_rings=no_rings,
        last_job=answers.last_job,
        by_job=by_job,
        months=chart(charts.months, answers.months),
        by_step=chart(charts.misheard, answers.by_step, "step", "step"),
        by_mic=chart(charts.misheard, answers.by_mic, "microphone", "mic"),
        minutes=chart(charts.minutes, answers.minutes),
        curves=chart(charts.curves, charts.cells(drawn)),
        codes=sorted({one.row["code"] for one in jobs if one.row["code"]}),
        told=desk.told,
        damage=DAMAGE,
        kinds={kind: say(f"kinds.{kind}") for kind in KINDS},
        hash_of=hash_of,
        signed=signed,
        narrowed=" ".join(filter(None, (unit, f"since {since}" if since else ""))),
        most=_MOST,
        made=datetime.now(UTC).strftime("%Y-%m-%d %H:%M UTC"),
        ring_lugs=ring_lugs,
        lugs_text=lugs_text,
        miles_text=miles_text,
        dates_text=dates_text,
        due_word=lambda dates: due_word(dates, date.today()),
    )
    write_page(fleet_file(folder), text)
    return jobs


def _none_left(unit: str, since: date | None) -> str:
    of, begun = f" of {unit}" if unit else "", f" begun since {since}" if since else ""
    return f"no job{of}{begun} in these folders; no page was written"


def lugs_text(look: Outlook) -> str:
    """`at most 14`, or what is known where the number of lugs is not; nothing without a ring."""
    if look.lugs_left is not None and look.looked:
        return f"{look.lugs_left}"
    if look.lugs_left is not None:
        return say("fleet.at_most" if look.lugs_left else "fleet.none", lugs=look.lugs_left)
    if "self-adjusting" in look.last.kind:
        return ""
    return say("fleet.lugs_unknown", used=signed(look.lugs_used), since=look.since)


def miles_text(miles: Range) -> str:
    """`412,000 to 440,000`, or `412,000 on`."""
    return _range(*(None if v is None else f"{round(v, -2):,.0f}" for v in (miles.low, miles.high)))


def dates_text(dates: tuple[date, date | None] | None) -> str:
    """`2026-03-02 to 2026-07-11`; empty when not known."""
    days = [None if day is None else f"{day:%Y-%m-%d}" for day in dates or ()]
    return _range(*days) if days else ""


def _range(low: str | None, high: str | None) -> str:
    if low == high:
        return low or ""
    return say("fleet.on" if high is None else "fleet.range", low=low, high=high)


def due_word(dates: tuple[date, date | None] | None, today: date) -> str:
    """`OVERDUE` past the range, `MAY BE DUE` within it, else nothing."""
    state = due_state(dates, today)
    return say(f"fleet.{state.replace(' ', '_')}") if state else ""


# --- Lugs left.


@dataclass(frozen=True, slots=True)
class Ring:
    """Lugs of one truck's ring: `has` from new to its end, `used` in the records since `since`.

    `left` is what is left at most: it is less if the ring was moved before the first record.
    """

    unit: str
    has: int
    used: int
    left: int
    since: date
    last: datetime


def rings_left(
    trucks: Mapping[str, Sequence[Visit]], ring_lugs: int | None = None
) -> tuple[list[Ring], list[str]]:
    """The rings of a fleet, the fewest lugs left first, and the trucks of which it is not known.

    Each truck's visits are oldest first. One whose clutch adjusts itself has no such ring. Without
    `ring_lugs`, from new to a ring's end, each truck's newest card says it.
    """
    known, unknown = [], []
    for unit, visits in trucks.items():
        if "self-adjusting" in visits[-1].kind:
            continue
        left, since = lugs_left(visits, ring_lugs), since_new(visits)
        if left is None:
            unknown.append(unit)
            continue
        used = sum(v.lugs for v in since)
        has = ring_lugs or newest(visits, "ring_lugs") or left + max(0, used)
        known.append(Ring(unit, has, used, left, since[0].at.date(), visits[-1].at))
    return sorted(known, key=lambda ring: (ring.left, ring.unit)), sorted(unknown)


# --- The folder of pages.


def fleet_file(folder: Path) -> Path:
    return folder / "fleet.html"


def write_jobs(
    folder: Path, jobs: Sequence[Listed], show: Callable[[Iterable[Listed]], Iterable[Listed]]
) -> tuple[int, list[str]]:
    """Make the pages that are missing or old; returns how many, and a line on each that failed.

    A page is old when the record's head, its clips or this version changed. May be broken off at
    any time: the next call goes on.
    `show` is given what is to be done, and hands it on one by one: a progress bar.
    """
    made = _made(folder)
    todo = [one for one in jobs if made.get(one.page) != _state(one)
            or not (folder / one.page).exists()]  # fmt: skip
    done, failed = 0, []
    if todo:
        from assistant.review.pages.job_page import job_page
    try:
        for one in show(todo):
            file = folder / one.page
            try:
                text = job_page(one.record, file.parent, fleet_file(folder), one.beside)
            except (RecordError, OSError) as error:
                failed.append(str(error))
                continue
            write_page(file, text)
            made[one.page] = _state(one)
            done += 1
    finally:
        write_page(folder / _MADE, json.dumps(made, indent=0, sort_keys=True))
    return done, failed


def _state(one: Listed) -> str:
    """What the page of a job depends on."""
    clips = ""
    if one.row["clips"]:
        own = one.record.parent / f"{one.record.stem}.clips"
        try:
            clips = ",".join(sorted(f"{p.name}:{p.stat().st_size}" for p in own.iterdir()))
        except OSError:
            clips = "none"
    told = f"{clips} {one.beside} {one.answers}"
    return f"{__version__} {source_hash(*_SOURCES)} {one.row['head']} {told}"


def _made(folder: Path) -> dict[str, str]:
    try:
        found = json.loads(named_file.whole(folder / _MADE))
    except (OSError, ValueError):
        return {}
    return {str(k): str(v) for k, v in found.items()} if isinstance(found, dict) else {}
