"""What the fleet page asks of the index: few questions, each with a bound on what comes back."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import replace
from datetime import date, datetime
from typing import TYPE_CHECKING
from urllib.parse import quote

from assistant.review import questions
from assistant.review.columns import OF_A_JOB
from assistant.review.questions import Tables
from assistant.review.wording import Row
from assistant.sentences import step_name

if TYPE_CHECKING:
    import ibis.expr.types as ir

    from assistant.review import Review

MOST_JOBS = 1000
MOST_UNITS = 240
MOST_EYES = 100
BIN_MIN = 10
"""Width of the bins of time a job, minutes."""


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

    `texts` and `flags` are the doubts of each listed job and their kinds, `beside` kind and text of
    those that its record does not tell by itself; `misheard_at` its steps and microphones;
    `left_as` the lead's last act; `minutes` the jobs of each bin of time; `last_job` that of each
    truck; `answers` those to a lead's questions on a job.
    """

    def __init__(self, desk: Review, t: Tables) -> None:
        import ibis

        rows = desk.rows
        self.totals = rows(questions.totals(t))[0]
        self.jobs = rows(t.jobs.order_by([ibis.desc("began_utc"), "job"]).limit(MOST_JOBS))
        self.eyes = rows(questions.needs_eyes(t).limit(MOST_EYES))
        self.all_eyes = rows(questions.needs_eyes(t).aggregate(jobs=ibis._.count()))[0]["jobs"]
        self.causes = rows(questions.causes(t))
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
        d = shown.doubts.order_by([ibis.desc("weight"), "n"])
        for row in rows(d.select("job", "at_utc", "kind", "text")):
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
        bins = b.mutate(bin=(b.time_s / (60 * BIN_MIN)).floor().cast("int64"))
        self.minutes = rows(bins.group_by("bin").agg(jobs=bins.count()).order_by("bin"))
        self.units = rows(questions.units(t).limit(MOST_UNITS))
        self.due_count = rows(questions.due_count(t))[0]
        self.last_job = {row["unit"]: row["last_job"] for row in self.units}
        self.visits = [visit for _, visit in desk.due.visits(self.last_job)]
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
        out.append(f"time:{min(int(row['time_s'] // (60 * BIN_MIN)), 30)}")
    out += sorted(f"doubt:{kind}" for kind in answers.flags[job])
    if row["unseen"]:
        out.append("doubt:any")
    return out + sorted(answers.misheard_at[job])


def joined(tokens: Iterable[str]) -> str:
    """For the attribute of a row: quoted, so that a space parts them."""
    return " ".join(quote(token, safe=":-._~") for token in tokens)


def _yes(value: object) -> str:
    return "yes" if value else "no"
