"""What the fleet page asks of the index: few questions, each with a bound on what comes back."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING
from urllib.parse import quote

from assistant.review import questions
from assistant.review.columns import OF_A_JOB
from assistant.review.pages.charts import bin_of, bins
from assistant.review.questions import Tables
from assistant.review.wording import Row
from assistant.sentences import step_name

if TYPE_CHECKING:
    import ibis.expr.types as ir

    from assistant.review import Review

MOST_JOBS = 1000
MOST_UNITS = 5000
MOST_EYES = 300
MOST_FOUND = 40_000
"""Lines that a search on the page looks through, and jobs, the newest of each."""
DAYS = 7
"""So many days are the last week: their jobs that need eyes are on the page, however many."""


def narrowed(t: Tables, unit: str = "", since: date | None = None) -> Tables:
    """The tables of one truck only, or of jobs begun since a day (UTC)."""
    if not unit and since is None:
        return t
    jobs = t.jobs
    if unit:
        jobs = jobs.filter(jobs.unit.upper() == unit.upper())
    if since is not None:
        jobs = jobs.filter(jobs.began_utc >= datetime(since.year, since.month, since.day))
    return _only(t, jobs)


def _only(t: Tables, jobs: ir.Table) -> Tables:
    """The tables of some jobs and their trucks; that of the files as it is."""
    others = [name for name in OF_A_JOB if name != "jobs"]
    of_jobs = {name: getattr(t, name).semi_join(jobs, "job") for name in others}
    return replace(t, jobs=jobs, due=t.due.semi_join(jobs, "unit"), **of_jobs)


class FleetAnswers:
    """All that the page shows. Rows are dicts with the columns of `columns.COLUMNS`.

    `eyes` are the jobs that need eyes, the gravest first, and those of the last week; `by_weight`
    how many there are of each gravity. `texts` and `flags` are the doubts of each listed job and
    their kinds, `notes` those that no lead has looked at, `beside` kind and text of those
    that its record does not tell by itself;
    `misheard_at` its steps and microphones; `left_as` the lead's last act; `bins` the jobs of each
    bin of time; `last_job` that of each truck; `answers` those to a lead's questions on a job;
    `asked` his open questions; `befell` what befell people in the days of `questions.PERIOD_DAYS`,
    by kind.
    """

    def __init__(self, desk: Review, t: Tables) -> None:
        import ibis

        rows = desk.rows
        self.totals = rows(questions.totals(t))[0]
        self.jobs = rows(t.jobs.order_by([ibis.desc("began_utc"), "job"]).limit(MOST_JOBS))
        eyes, now = questions.needs_eyes(t), datetime.now(UTC).replace(tzinfo=None)
        self.eyes = rows(eyes.limit(MOST_EYES))
        last_week = rows(eyes.filter(eyes.began_utc >= now - timedelta(days=DAYS + 1)))
        known = {row["job"] for row in self.eyes}
        self.eyes += [row for row in last_week if row["job"] not in known]
        counted = rows(eyes.group_by("weight").agg(jobs=ibis._.count()))
        self.by_weight = {row["weight"]: row["jobs"] for row in counted}
        self.asked = rows(questions.lead_questions(t))
        d = questions.safety(t)
        lately = d.filter(d.began_utc >= now - timedelta(days=questions.PERIOD_DAYS))
        self.befell = {
            row["kind"]: row["times"]
            for row in rows(lately.group_by("kind").agg(times=lately.count()))
        }
        self.better = rows(questions.better(t))
        listed = {row["job"] for row in self.jobs}
        missing = [row["job"] for row in self.eyes if row["job"] not in listed]
        if missing:
            self.jobs += rows(t.jobs.filter(t.jobs.job.isin(missing)))
        shown = t
        if self.totals["jobs"] > len(self.jobs):  # the day of the oldest may bring in a few more
            oldest = min(row["began_utc"] for row in self.jobs if row["job"] in listed)
            of_page = (t.jobs.began_utc >= oldest) | t.jobs.job.isin(missing or [-1])
            shown = _only(t, t.jobs.filter(of_page))
        self.texts: defaultdict[int, list[str]] = defaultdict(list)
        self.flags: defaultdict[int, set[str]] = defaultdict(set)
        self.beside: defaultdict[int, list[tuple[str, str]]] = defaultdict(list)
        self.notes: defaultdict[int, list[str]] = defaultdict(list)
        d = shown.doubts.order_by([ibis.desc("weight"), "n"])
        for row in rows(d.select("job", "at_utc", "kind", "text", "seen")):
            if row["kind"] == "note" and not row["seen"]:
                self.notes[row["job"]].append(row["text"])
            self.texts[row["job"]].append(row["text"].rstrip("."))
            self.flags[row["job"]].add(row["kind"])
            if row["at_utc"] is None:  # the record does not tell it by itself
                self.beside[row["job"]].append((row["kind"], row["text"]))
        self.misheard_at: defaultdict[int, set[str]] = defaultdict(set)
        h = shown.hearing.filter(shown.hearing.again)
        for row in rows(h.select("job", "step", "microphone").distinct()):
            self.misheard_at[row["job"]] |= {f"step:{row['step']}", f"mic:{row['microphone']}"}
        self.left_as = {row["job"]: row["asked"].removeprefix("lead-") for row in self.jobs}
        self.answers: defaultdict[int, list[str]] = defaultdict(list)
        a = desk.tables.answers.filter(desk.tables.answers.answer != "")
        a = t.lead_acts.inner_join(a, [t.lead_acts.hash == a.question])
        for row in rows(a.select("job", "answer").order_by(["job", "answer"])):
            self.answers[row["job"]].append(row["answer"])
        self.months = rows(questions.first_time_right(t))
        by_step, by_mic = (rows(questions.misheard(t, by)) for by in ("step", "microphone"))
        self.by_step = [{**r, "name": step_name(r["step"])} for r in by_step if r["again"]]
        self.by_mic = [{**r, "name": r["microphone"]} for r in by_mic if r["again"]]
        b = t.jobs.filter(t.jobs.signed_off)
        b = b.mutate(minute=(b.time_s / 60).floor().cast("int64"))
        minutes = rows(b.group_by("minute").agg(jobs=b.count()).order_by("minute"))
        self.bins = bins(minutes)
        self.units = rows(questions.units(t).limit(MOST_UNITS))
        self.due_count = rows(questions.due_count(t))[0]
        self.last_job = {row["unit"]: row["last_job"] for row in self.units}
        self.damaged = rows(questions.damaged(t).limit(MOST_EYES))


# --- How the parts of the page point at jobs: `#jobs=first:no&month:2026-11`.
#
# Each job carries its tokens; a link names those that a job must have. The page's script does the
# rest, and without it the links lead to the list.


def hash_of(*tokens: str) -> str:
    """The end of a link to the jobs that have all these tokens."""
    return "jobs=" + "&".join(quote(token, safe=":-._~") for token in tokens)


def tokens_of(row: Row, answers: FleetAnswers) -> list[str]:
    job = row["job"]
    out = [
        f"unit:{row['unit']}",
        f"code:{row['code']}",
        f"month:{row['ended_utc']:%Y-%m}",
        f"signed:{_yes(row['signed_off'])}",
        f"chain:{'broken' if row['chain'] == 'BROKEN CHAIN' else row['chain']}",
        f"lead:{answers.left_as[job] or 'none'}",
    ]
    if row["first_time_right"] is not None:
        out.append(f"first:{_yes(row['first_time_right'])}")
    if row["signed_off"] and row["time_s"] is not None:
        out.append(f"time:{bin_of(int(row['time_s'] // 60), answers.bins)}")
    out += sorted(f"doubt:{kind}" for kind in answers.flags[job])
    if row["unseen"]:
        out.append("doubt:any")
    return out + sorted(answers.misheard_at[job])


def joined(tokens: Iterable[str]) -> str:
    """For the attribute of a row: quoted, so that a space parts them."""
    return " ".join(quote(token, safe=":-._~") for token in tokens)


def _yes(value: object) -> str:
    return "yes" if value else "no"
