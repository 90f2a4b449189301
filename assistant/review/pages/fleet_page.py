"""Many jobs as a page: what needs eyes first, what is due, how it goes, and each job to look up."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from assistant.review.pages import charts, curves, outlooks
from assistant.review.pages.kept import charts_of
from assistant.review.pages.questions import (
    MOST_EYES,
    MOST_JOBS,
    MOST_UNITS,
    Answers,
    Row,
    ask,
    narrowed,
)
from assistant.review.pages.render import drawn, link, page, script
from assistant.review.pages.tokens import hash_of, joined, tokens_of
from assistant.review.wording import signed, span
from assistant.wear.outlook import Outlook

if TYPE_CHECKING:
    from assistant.review import Review


_MOST = {
    "jobs": MOST_JOBS,
    "eyes": MOST_EYES,
    "units": MOST_UNITS,
    "curves": curves.MOST_CURVES,
    "rings": outlooks.MOST,
}


@dataclass(frozen=True, slots=True)
class Listed:
    """One job of the list: its row, where its record and its page are, and its tokens."""

    row: Row
    record: Path
    record_link: str
    page_link: str
    tokens: str
    words: str
    day: str
    when: str
    lasted: str
    doubts: list[str]
    lead: str


def fleet_page(
    desk: Review,
    page_folder: Path,
    page_of: Callable[[Row], Path],
    unit: str = "",
    since: date | None = None,
    ring_lugs: int | None = None,
) -> tuple[str, list[Listed]]:
    """The page, and the jobs it lists, for whoever makes their pages.

    Args:
        desk: an open review.
        page_folder: where the page will be.
        page_of: where a job's own page is, or will be.
        unit: only this truck.
        since: only jobs begun since this day.
        ring_lugs: lugs of a ring from new to its end, if known.
    """
    answers = ask(desk, narrowed(desk.tables, unit, since))
    jobs = [_listed(desk, row, answers, page_folder, page_of) for row in answers.jobs]
    by_job = {one.row["job"]: one for one in jobs}
    due = outlooks.due_soon(answers.visits, ring_lugs)
    trucks = outlooks.by_unit(answers.visits)
    rings, no_rings = outlooks.rings(trucks, ring_lugs)
    soon = [look.unit for look in due]
    chart = charts_of(desk)
    order = soon + [row["unit"] for row in answers.units if row["unit"] not in set(soon)]
    order = [unit for unit in order if unit in trucks]
    text = page(
        "fleet.html",
        script=script("fleet.js"),
        a=answers,
        jobs=jobs,
        eyes=[(row, by_job[row["job"]]) for row in answers.eyes],
        due=due,
        rings=rings,
        no_rings=no_rings,
        last_job={unit: jobs_[-1] for unit, jobs_ in answers.visit_jobs.items()},
        by_job=by_job,
        months=drawn(chart(charts.months, answers.months)),
        by_step=drawn(chart(charts.misheard, answers.by_step, "step", "step")),
        by_mic=drawn(chart(charts.misheard, answers.by_mic, "microphone", "mic")),
        minutes=drawn(chart(charts.minutes, answers.minutes)),
        curves=drawn(
            chart(curves.curves, curves.cells([(u, trucks[u]) for u in order if u in trucks]))
        ),
        codes=sorted({one.row["code"] for one in jobs if one.row["code"]}),
        told=desk.told,
        hash_of=hash_of,
        signed=signed,
        narrowed=" ".join(x for x in (unit, f"since {since}" if since else "") if x),
        most=_MOST,
        made=datetime.now(UTC).strftime("%Y-%m-%d %H:%M UTC"),
        ring_lugs=ring_lugs,
        similar=outlooks.SIMILAR,
        lugs_text=lugs_text,
        miles_text=miles_text,
        dates_text=dates_text,
        due_word=lambda dates: due_word(dates, date.today()),
    )
    return text, jobs


def _listed(
    desk: Review, row: Row, answers: Answers, page_folder: Path, page_of: Callable[[Row], Path]
) -> Listed:
    record = Path(row["folder"], row["path"])
    if "\\x" in row["path"]:  # a name that is no text
        record = desk.record_path(row["job"])
    when = str(row["began_local"])[:16].replace("T", " ")
    job = row["job"]
    words = " ".join(str(row[k] or "") for k in ("unit", "code", "path", "card", "step", "chain"))
    return Listed(
        row=row,
        record=record,
        record_link=link(record, page_folder),
        page_link=link(page_of(row), page_folder),
        tokens=joined(tokens_of(row, answers)),
        words=f"{words} {when} {' '.join(answers.texts.get(job, ()))}".lower(),
        day=when[:10],
        when=when,
        lasted=span(row["time_s"]) if row["time_s"] is not None else "",
        doubts=answers.texts.get(job, []),
        lead=answers.left_as.get(job, ""),
    )


def lugs_text(look: Outlook) -> str:
    """`at most 14`, or what is known where the number of lugs is not; nothing without a ring."""
    if look.lugs_left is not None:
        return f"at most {look.lugs_left}" if look.lugs_left else "NONE"
    if "self-adjusting" in look.last.kind:
        return ""
    return f"not known; {signed(look.lugs_used)} since {look.since}"


def miles_text(span_of: Any) -> str:
    """`412,000 to 440,000`, or `412,000 on`."""
    low = f"{round(span_of.low, -2):,.0f}"
    if span_of.high is None:
        return f"{low} on"
    high = f"{round(span_of.high, -2):,.0f}"
    return low if low == high else f"{low} to {high}"


def dates_text(dates: tuple[date, date | None] | None) -> str:
    """`2026-03-02 to 2026-07-11`; empty when not known."""
    if dates is None:
        return ""
    low, high = dates
    if low == high:
        return f"{low:%Y-%m-%d}"
    return f"{low:%Y-%m-%d} on" if high is None else f"{low:%Y-%m-%d} to {high:%Y-%m-%d}"


def due_word(dates: tuple[date, date | None] | None, today: date) -> str:
    """`OVERDUE` past the range, `MAY BE DUE` within it, else nothing."""
    if dates is None or today < dates[0]:
        return ""
    return "OVERDUE" if dates[1] is not None and today > dates[1] else "MAY BE DUE"
