"""Many jobs as a page that answers a lead's three questions: what must I look at now, what is due,
is the shop getting better. Below them is every job, to look up.

It is in one folder with the pages of its jobs; of those only what changed is made again.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

from assistant import __version__, named_file
from assistant.record import RecordError
from assistant.record.clips import FOLDERS
from assistant.record.disk import write_whole
from assistant.review import questions as questions_of
from assistant.review.columns import DAMAGE
from assistant.review.doubts import KINDS, WEIGHTS
from assistant.review.handover.due_list import calendar, due_csv
from assistant.review.index import source_hash
from assistant.review.pages import charts, questions
from assistant.review.pages.questions import FleetAnswers, hash_of
from assistant.review.pages.render import link, page, page_name, write_page
from assistant.review.pages.trend import measures
from assistant.review.pages.truck_page import truck_file, write_trucks
from assistant.review.planned import both_decimals
from assistant.review.questions import Tables
from assistant.review.transcript import WHO
from assistant.review.wording import Row, due_at, say, signed
from assistant.wear.outlook import due_state
from assistant.wear.visits import by_unit

if TYPE_CHECKING:
    from assistant.review import Review

MOST_DUE = 20
"""Trucks, the first to be due, that are shown at once; the next ones where they are asked for."""
MOST_RINGS = 8
MOST_CURVES = 24
MOST_ROWS = 240
MOST_MONTHS = 12
MOST_BARS = 8
AHEAD_DAYS = 182
"""So far ahead the days on which trucks are due are drawn."""
_MADE = "made.json"
_HERE = Path(__file__).parent
_SOURCES = sorted(p for p in _HERE.iterdir() if p.suffix in (".py", ".html", ".css"))
"""What the pages' look depends on."""
_KIND_OF = {weight: kind for kind, weight in WEIGHTS.items()}


class Listed:
    """One job of the list: its row, where its record is and its `page` in the
    folder, what it is found by."""

    def __init__(self, desk: Review, row: Row, answers: FleetAnswers, folder: Path) -> None:
        self.row = row
        self.record = Path(row["folder"], row["path"])
        if "\\x" in row["path"]:  # a name that is no text
            self.record = desk.record_path(row["job"])
        self.page = f"jobs/{page_name(Path(row['path']), row['opening'])}"
        self.page_link = link(folder / self.page, folder)
        self.doubts = answers.texts[row["job"]]
        self.beside = answers.beside[row["job"]]
        self.answers = answers.answers[row["job"]]
        self.tokens = questions.joined(questions.tokens_of(row, answers))
        self.when = str(row["began_local"])[:16].replace("T", " ")
        told = [row[key] or "" for key in ("unit", "code", "path", "card", "step", "chain")]
        self.words = " ".join([*map(str, told), self.when, *(self.doubts or [""])]).lower()


@dataclass(frozen=True, slots=True)
class EyesFor:
    """Jobs that need eyes for the same gravest reason: its `kind`, or "asked" where no doubt is
    left but a lead's question; how grave, from 1 to 5; the `jobs` that are shown, each with its row
    of `needs_eyes`; and how many there are in all."""

    kind: str
    grave: int
    jobs: list[tuple[Row, Listed]]
    count: int


def causes_of(answers: FleetAnswers, by_job: Mapping[int, Listed]) -> list[EyesFor]:
    """The jobs that need eyes by their gravest reason, the exceptions first."""
    groups: dict[int, list[tuple[Row, Listed]]] = {}
    for row in answers.eyes:
        if row["weight"] or row["asked"] != "lead-question":  # his questions stand by themselves
            groups.setdefault(row["weight"], []).append((row, by_job[row["job"]]))
    return [
        EyesFor(
            _KIND_OF[weight] if weight else "asked",
            max(1, -(-5 * weight // (len(KINDS) - 1))),
            jobs,
            answers.by_weight[weight] if weight else len(jobs),
        )
        for weight, jobs in groups.items()
    ]


class ListedTruck:
    """A truck as the page shows it: its row of `questions.units`, when it is due in words, where
    that is along `AHEAD_DAYS` (from and width, per cent, or None), and its ring."""

    def __init__(self, row: Row, today: date, ring_lugs: int | None) -> None:
        self.row, self.unit = row, row["unit"]
        start, end = row["due_from_utc"], row["due_to_utc"]
        days = None if start is None else (start.date(), None if end is None else end.date())
        self.due, self.word = dates_text(days), due_word(days, today)
        if days is None and (way := due_at(row)):
            self.due = say("fleet.by_odometer", at=way)
        self.from_day = "" if days is None else f"{days[0]:%Y-%m-%d}"
        self.span: tuple[float, float] | None = None
        if days is not None:
            far = today + timedelta(days=AHEAD_DAYS)
            ends = (max(today, min(far, day)) for day in (days[0], days[1] or far))
            at, to = (100 * (day - today).days / AHEAD_DAYS for day in ends)
            self.span = round(at, 1), round(to - at, 1)
        self.has = ring_lugs or row["ring_lugs"]
        self.left = row["lugs_left"]
        if ring_lugs is not None and not row["looked"] and row["clutch"] != "self-adjusting":
            self.left = min(ring_lugs, max(0, ring_lugs - row["lugs"]))
        self.ring = lugs_text(row, self.has, self.left)
        self.free = both_decimals(row["free_left_in"], row["free_limit_in"], row["length_unit"])
        self.page_link = quote(truck_file(self.unit))


def write_fleet(
    desk: Review, folder: Path, unit: str = "", since: date | None = None,
    ring_lugs: int | None = None,
) -> tuple[list[Listed], list[ListedTruck]]:  # fmt: skip
    """Write the fleet page; returns the jobs and the trucks on it, whose pages `write_rest` makes.

    Only of a `unit`, or of jobs begun `since` a day; `ring_lugs` is what a ring has from new to its
    end, if known.

    Raises:
        RecordError: it was to be narrowed, and no job is left.
        OSError: the disk did not take it.
    """
    tables = questions.narrowed(desk.tables, unit, since)
    answers = FleetAnswers(desk, tables)
    jobs = [Listed(desk, row, answers, folder) for row in answers.jobs]
    if not jobs and (unit or since):
        raise RecordError(_none_left(unit, since))
    by_job = {one.row["job"]: one for one in jobs}
    trucks = [ListedTruck(row, date.today(), ring_lugs) for row in answers.units]
    drawn = [truck.unit for truck in trucks[:MOST_CURVES]]
    visits = by_unit(visit for _, visit in desk.due.visits(drawn))
    cells = [charts.cell_of(unit, visits[unit]) for unit in drawn if unit in visits]
    curves = [cell for cell in cells if cell is not None]
    fresh = desk.fresh() if desk.looked else set(by_job)  # to whom never looked, all is new
    text = page(
        "fleet.html",
        a=answers,
        jobs=jobs,
        causes=causes_of(answers, by_job),
        fresh=fresh,
        looked=desk.looked,
        trucks=trucks,
        lives={truck.unit: truck.page_link for truck in trucks},
        rings=sorted((t for t in trucks if t.left is not None), key=lambda t: (t.left, t.unit)),
        no_rings=[t.unit for t in trucks if t.left is None and t.row["clutch"] != "self-adjusting"],
        by_job=by_job,
        measures=list(measures(answers.better)),
        months=answers.months[-MOST_MONTHS:],
        curves=[(cell, charts.curve(cell, charts.scale_of(curves))) for cell in curves],
        codes=sorted({one.row["code"] for one in jobs if one.row["code"]}),
        told=desk.told,
        damage=DAMAGE,
        kinds=kind_names(),
        safety=questions_of.SAFETY,
        period_days=questions_of.PERIOD_DAYS,
        hash_of=hash_of,
        signed=signed,
        narrowed=" ".join(filter(None, (unit, f"since {since}" if since else ""))),
        today=f"{date.today():%Y-%m-%d}",
        week=f"{date.today() - timedelta(days=questions.DAYS):%Y-%m-%d}",
        made=datetime.now(UTC).strftime("%Y-%m-%d %H:%M UTC"),
        ring_lugs=ring_lugs,
        most={"due": MOST_DUE, "rings": MOST_RINGS, "rows": MOST_ROWS, "bars": MOST_BARS},
    )
    write_page(fleet_file(folder), text)
    safety = page(
        "safety.html",
        months=desk.rows(questions_of.safety_months(tables)),
        events=desk.rows(questions_of.safety(tables).limit(questions.MOST_FOUND)),
        links={job: one.page_link for job, one in by_job.items()},
        safety=questions_of.SAFETY,
        kinds=kind_names(),
        made=datetime.now(UTC).strftime("%Y-%m-%d %H:%M UTC"),
    )
    write_page(folder / "safety.html", safety)
    write_whole(folder / "due.ics", calendar(answers.units), durable=False)
    write_page(folder / "due.csv", due_csv(answers.units))
    write_page(folder / "find.js", _findable(desk, tables, by_job, trucks))
    return jobs, trucks


def kind_names() -> dict[str, str]:
    """Every kind of doubt as people read it."""
    return {kind: say(f"kinds.{kind}") for kind in KINDS}


def _findable(
    desk: Review, tables: Tables, by_job: Mapping[int, Listed], trucks: Sequence[ListedTruck]
) -> str:  # fmt: skip
    """What the search on the page looks through: trucks, jobs, and what was said in them, but for
    what is said alike in most of them."""
    j = tables.jobs
    found = desk.rows(
        j.select("job", "unit", "began_local", "code", "began_utc", "folder", "path")
        .order_by([j.began_utc.desc(), "job"])
        .limit(questions.MOST_FOUND)
    )
    place = {row["job"]: i for i, row in enumerate(found)}
    lines = [
        (place[row["job"]], row["n"] + 1, WHO.get(row["who"], row["who"].upper()), row["words"])
        for row in desk.rows(questions_of.uncommon(tables).limit(questions.MOST_FOUND))
        if row["job"] in place
    ]

    def way(row: Row) -> str:
        listed = by_job.get(row["job"])
        return "" if listed is None else listed.page_link

    told = {
        "trucks": [
            (truck.unit, truck.page_link, truck.word, truck.due, truck.ring) for truck in trucks
        ],
        "jobs": [
            (way(row), row["unit"], row["began_local"][:16].replace("T", " "), row["code"])
            for row in found
        ],
        "lines": lines,
    }
    return f"lugcallFound({json.dumps(told, ensure_ascii=False)});\n"


def _none_left(unit: str, since: date | None) -> str:
    of, begun = f" of {unit}" if unit else "", f" begun since {since}" if since else ""
    return f"no job{of}{begun} in these folders; no page was written"


def lugs_text(row: Row, has: int | None, left: int | None) -> str:
    """`14` where somebody looked, else `at most 14 of 18`, or what is known where the number of
    lugs is not; "" without a ring."""
    if left is not None and row["looked"]:
        return f"{left}"
    if left is not None:
        return say("fleet.at_most_of" if left else "fleet.none", lugs=left, has=has)
    if row["clutch"] == "self-adjusting":
        return ""
    return say("fleet.lugs_unknown", used=signed(row["lugs"]), since=row["since_utc"].date())


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


# --- The folder of pages.


def fleet_file(folder: Path) -> Path:
    return folder / "fleet.html"


def write_rest(
    desk: Review, folder: Path, jobs: Sequence[Listed], trucks: Sequence[ListedTruck],
    show: Callable[[Iterable[Any]], Iterable[Any]],
) -> tuple[int, list[str]]:  # fmt: skip
    """Make the pages of jobs and trucks that are missing or old; returns how many, and a line on
    each that failed.

    A page is old when the record's head, its clips, photos or this version changed. May be broken
    off at any time: the next call goes on.
    `show` is given what is to be done, and hands it on one by one: a progress bar.
    """
    made = _made(folder)
    try:
        links = {one.row["job"]: one.page_link for one in jobs}
        lives = write_trucks(desk, folder, trucks, links, made, show)
        done, failed = _write_jobs(folder, jobs, made, show)
    finally:
        write_page(folder / _MADE, json.dumps(made, indent=0, sort_keys=True))
    return done + lives, failed


def _write_jobs(
    folder: Path, jobs: Sequence[Listed], made: dict[str, str],
    show: Callable[[Iterable[Any]], Iterable[Any]],
) -> tuple[int, list[str]]:  # fmt: skip
    todo = [one for one in jobs if made.get(one.page) != _state(one)
            or not (folder / one.page).exists()]  # fmt: skip
    done, failed = 0, []
    if todo:
        from assistant.review.pages.job_page import job_page
    for one in show(todo):
        file = folder / one.page
        photos = Photos(file)
        try:
            text = job_page(one.record, file.parent, fleet_file(folder), one.beside, photos.take)
        except (RecordError, OSError) as error:
            failed.append(str(error))
            continue
        photos.leave()
        write_page(file, text)
        made[one.page] = _state(one)
        done += 1
    return done, failed


class Photos:
    """Copies of a job's photos beside its page, so that the folder of pages can be carried away.
    Those that are no longer beside the record go: what a shop removes is not left here."""

    def __init__(self, page: Path) -> None:
        self._folder = page.with_suffix(FOLDERS[1])
        self._taken: set[str] = set()

    def take(self, photo: Path) -> Path:
        """Where the page has it from. Raises OSError: it cannot be read, or written there."""
        copy = self._folder / photo.name
        write_whole(copy, named_file.whole(photo), durable=False)
        self._taken.add(photo.name)
        return copy

    def leave(self) -> None:
        """Remove what was not taken. Raises OSError: the disk did not do it."""
        for old in [*self._folder.iterdir()] if self._folder.is_dir() else ():
            if old.name not in self._taken:
                old.unlink()
        if self._folder.is_dir() and not self._taken:
            self._folder.rmdir()


def _state(one: Listed) -> str:
    """What the page of a job depends on."""
    clips = list[str]()
    for end in FOLDERS if one.row["clips"] or one.row["photos"] else ():
        own = one.record.parent / f"{one.record.stem}{end}"
        try:
            stats = sorted((p.name, p.stat()) for p in own.iterdir())
            clips += (f"{name}:{facts.st_size}:{facts.st_mtime_ns}" for name, facts in stats)
        except OSError:
            clips.append("none")
    told = f"{clips} {one.beside} {one.answers}"
    return f"{__version__} {source_hash(*_SOURCES)} {one.row['head']} {told}"


def _made(folder: Path) -> dict[str, str]:
    try:
        found = json.loads(named_file.whole(folder / _MADE))
    except (OSError, ValueError):
        return {}
    return {str(k): str(v) for k, v in found.items()} if isinstance(found, dict) else {}
