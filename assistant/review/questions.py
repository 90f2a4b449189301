"""What is often asked of many jobs: from `Tables` to an Ibis expression, for any engine.

    from assistant.review import open_review
    with open_review([folder, ...]) as review:      # builds or refreshes the index first
        t = review.tables                           # Tables: t.jobs, t.readings, t.moves, ...
        rows = review.rows(t.jobs.filter(t.jobs.unit == "T-104"))      # list of dicts
        rows = review.ask("units")                  # one of `QUESTIONS`

Every table has a column `job` and is joined on it; `review.record_path(job)` is a job's file.
Times are naive and in UTC. A job whose file is gone stays in all tables; `files.status` is then
"missing" and `files.seen_utc` says when it was last seen.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import ibis

from assistant.quantity import MILES_PER
from assistant.readings.units import MM_PER_IN
from assistant.review.columns import ASKED, BROKEN, CHANGED, COLUMNS, COPY, DAMAGE, LOST
from assistant.review.doubts import WEIGHTS

if TYPE_CHECKING:
    import ibis.expr.types as ir

MANY_ALIKE = 20
"""So many jobs with the same thing are no exceptions any more."""
GRAVEST_FILES = (*DAMAGE, "missing", LOST, "unreadable", "torn", "later", "foreign", COPY)
"""What files can be that are not simply a record, the gravest first."""


@dataclass(frozen=True, slots=True)
class Tables:
    """All the tables, with the columns of `columns.COLUMNS`; `dialogs/en/columns.toml` says what
    they and the rows hold."""

    jobs: ir.Table
    readings: ir.Table
    moves: ir.Table
    holds: ir.Table
    hearing: ir.Table
    steps: ir.Table
    cautions: ir.Table
    doubts: ir.Table
    lead_acts: ir.Table
    answers: ir.Table
    kept: ir.Table
    due: ir.Table
    files: ir.Table


def tables() -> Tables:
    """The tables, of whatever engine has them under their own names."""
    return Tables(**{
        table: ibis.table({name: _TYPES[kind] for name, kind in columns.items()}, table)
        for table, columns in COLUMNS.items()
    })  # fmt: skip


def sql_of(question: Any, engine: str) -> str:
    """A question in the SQL of an engine, "duckdb" or "pyspark"."""
    getattr(ibis, engine)  # which registers what its SQL depends on
    return str(ibis.to_sql(question, dialect=engine, pretty=False))


_TYPES = {"int": "int64", "float": "float64", "text": "string", "bool": "boolean",
          "time": "timestamp(6)"}  # fmt: skip


def needs_eyes(t: Tables) -> ir.Table:
    """Jobs with something that no lead has looked at, the gravest first; but where the same light
    thing is the gravest of most of them, these come last: the others are the exceptions.

    Columns: job, unit, began_utc, began_local, code, chain, signed_off, doubts (all), unseen (those
    to look at), weight and reason (of the gravest of these), asked (the lead's last act, or empty),
    folder, path. A job without any stands behind them while the lead's question on it is open, or
    after he reopened it.
    """
    j = t.jobs.filter((t.jobs.weight > 0) | t.jobs.asked.isin(["lead-question", "lead-reopened"]))
    j = j.select("job", "unit", "began_utc", "began_local", "code", "chain", "signed_off", "doubts",
                 "unseen", "weight", "reason", "asked", "folder", "path")  # fmt: skip
    alike = j.count().over(ibis.window(group_by="weight"))
    common = (alike > MANY_ALIKE) & (alike * 2 > j.count().over(ibis.window()))
    j = j.mutate(common=common & (j.weight < WEIGHTS["out"]) & (j.weight > 0))
    order = ["common", ibis.desc("weight"), ibis.desc("unseen"), ibis.desc("began_utc"), "job"]
    return j.order_by(order).drop("common")


def causes(t: Tables) -> ir.Table:
    """Per kind of doubt that no lead has looked at, the gravest first: kind, weight, jobs."""
    d = t.doubts.filter(~t.doubts.seen)
    told = d.group_by("kind").agg(weight=d.weight.max(), jobs=d.job.nunique())
    return told.order_by([ibis.desc("weight"), "kind"])


def unfinished(t: Tables) -> ir.Table:
    """Jobs that are not signed off, the newest first: job, unit, began_utc, began_local, step,
    unfinished (why it was closed so, or empty), folder, path."""
    j = t.jobs.filter(~t.jobs.signed_off)
    j = j.select("job", "unit", "began_utc", "began_local", "step", "unfinished", "folder", "path")
    return j.order_by([ibis.desc("began_utc"), "job"])


def lead_questions(t: Tables) -> ir.Table:
    """Questions of leads that they did not take back, those with an answer first; without those
    that were answered before the lead's last other act on the job: he has seen the answer.

    Columns: job, unit, at_utc, code, text, put (how often it was put to a technician), answer,
    answer_who, answered_utc, answer_job, answer_path, answer_line (from 1), folder, path.
    """
    a = t.answers
    answered = a.answer != ""
    of = a.group_by(hash=a.question).agg(
        put=a.count(),
        answer=a.answer.argmin(a.answered_utc, where=answered),
        answered_utc=a.answered_utc.min(where=answered),
        answer_who=a.who.argmin(a.answered_utc, where=answered),
        answer_job=a.job.argmin(a.answered_utc, where=answered),
        answer_line=a.answer_n.argmin(a.answered_utc, where=answered) + 1,
    )
    q = t.lead_acts.filter((t.lead_acts.kind == "lead-question") & ~t.lead_acts.withdrawn)
    q = q.select("job", "n", "at_utc", "code", "text", "hash", "later_utc").left_join(of, "hash")
    q = q.filter(q.answered_utc.isnull() | q.later_utc.isnull() | (q.later_utc < q.answered_utc))
    j = t.jobs.select("job", "unit", "folder", "path")
    where = t.jobs.select(answer_job="job", answer_path=t.jobs.folder + "/" + t.jobs.path)
    q = q.inner_join(j, "job").left_join(where, "answer_job").mutate(put=ibis._.put.fill_null(0))
    q = q.order_by([ibis._.answered_utc.isnull(), ibis.desc("at_utc"), "job", "n"])
    return q.select("job", "unit", "at_utc", "code", "text", "put", "answer", "answer_who",
                    "answered_utc", "answer_job", "answer_path", "answer_line", "folder",
                    "path")  # fmt: skip


def as_found_left(t: Tables) -> ir.Table:
    """As found beside as left, a row per job and quantity, with limits and whose they are."""
    r = t.readings.filter(t.readings.beside)
    of_left = {
        "limit_low_in": r.limit_low_in, "limit_high_in": r.limit_high_in,
        "limit_source": r.limit_source, "accepted": r.accepted, "left_in": r.value_in,
        "left_figures": r.figures, "left_decision": r.decision, "left_p_in": r.p_in,
    }  # fmt: skip
    found = r.found_figures != ""
    return r.select(
        "job", "quantity", "found_in",
        found_figures=found.ifelse(r.found_figures, ibis.null(str)),
        found_decision=found.ifelse(r.found_decision, ibis.null(str)),
        **{name: r.as_left.ifelse(of, ibis.null(of.type())) for name, of in of_left.items()},
    )  # fmt: skip


def predicted_measured(t: Tables) -> ir.Table:
    """Ring moves: lugs told and moved, gap predicted and measured, with unit and date."""
    j = t.jobs.select("job", "unit", "began_utc", "lug_pitch_in")
    m = t.moves.filter(t.moves.kind == "ring")
    return m.inner_join(j, "job")


def by_finding(t: Tables) -> ir.Table:
    """How ring moves came out: finding, moves, mean and spread of the error in inches."""
    m = t.moves.filter((t.moves.kind == "ring") & (t.moves.finding != ""))
    told = m.group_by("finding").agg(
        moves=m.count(), mean_error_in=m.error_in.mean(), spread_in=m.error_in.std(how="pop")
    )
    return told.order_by([ibis.desc("moves"), "finding"])


def first_time_right(t: Tables) -> ir.Table:
    """Per month of the sign-off: month_utc, jobs, right, share of those signed off."""
    j = t.jobs.filter(t.jobs.signed_off)
    j = j.mutate(month_utc=j.ended_utc.truncate("M"), right=j.first_time_right.cast("int64"))
    months = j.group_by("month_utc")
    told = months.agg(jobs=j.count(), right=j.right.sum(), share=j.right.mean())
    return told.order_by("month_utc")


def misheard(t: Tables, *by: str) -> ir.Table:
    """Per step and microphone, or one of them: said, again, share; most misunderstood first."""
    keys = by or ("step", "microphone")
    h = t.hearing.group_by(keys)
    counted = h.agg(said=ibis._.count(), again=ibis._.count(where=ibis._.again))
    shared = counted.mutate(share=counted.again / counted.said)
    return shared.order_by([ibis.desc("again"), *keys])


def time_a_step(t: Tables) -> ir.Table:
    """Per step: jobs, median and mean seconds a job, utterances and say-agains; slowest first."""
    s = t.steps
    told = s.group_by("step").agg(
        jobs=s.count(),
        mean_s=s.step_s.mean(),
        longest_s=s.step_s.max(),
        turns=s.turns.sum(),
        say_agains=s.say_agains.sum(),
    )
    return told.order_by([ibis.desc("mean_s"), "step"])


def totals(t: Tables) -> ir.Table:
    """One row: jobs, signed_off, units, first_time_right (share), mean_time_s, doubtful jobs (with
    something that no lead has looked at), files that are damage (broken, changed, or they differ),
    how many of them are clips and photos."""
    j, f = t.jobs, t.files
    damage = f.agg(
        damage=f.status.isin(DAMAGE).cast("int64").sum(),
        changed=(f.status == CHANGED).cast("int64").sum(),
    )
    told = j.agg(
        jobs=j.count(),
        signed_off=j.signed_off.cast("int64").sum(),
        units=j.unit.nunique(),
        first_time_right=j.first_time_right.cast("int64").mean(),
        mean_time_s=j.time_s.mean(),
        doubtful=(j.unseen > 0).cast("int64").sum(),
    )
    return told.cross_join(damage)


def free_travel(t: Tables) -> ir.Table:
    """Each truck's free travel: job, unit, at_utc, odometer_miles, found_in, left_in."""
    j = t.jobs
    j = j.filter(
        j.signed_off & (j.unit != "") & (j.free_found_in.notnull() | j.free_left_in.notnull())
    )
    j = j.select("job", "unit", "odometer_miles", at_utc="ended_utc", found_in="free_found_in",
                 left_in="free_left_in")  # fmt: skip
    return j.order_by(["unit", "at_utc", "job"])


def units(t: Tables) -> ir.Table:
    """One row a truck, those overdue first, then by the day from which they may be due, then those
    due by the odometer only, by the way that is left: all of the table of trucks, with `last_job`
    for its job."""
    u = t.due.rename(last_job="job")
    way = ibis.least(u.check_miles, u.worn_from_miles) - u.odometer_miles.fill_null(0.0)
    return u.order_by([
        ibis.desc(u.state == "overdue"), u.due_from_utc.asc(nulls_first=False),
        way.asc(nulls_first=False), "unit",
    ])  # fmt: skip


def by_odometer(t: Tables) -> ir.Table:
    """The trucks of `units` of which it is known at what odometer they are due, but no day."""
    u = units(t)
    return u.filter(_no_day(u))


def _no_day(u: ir.Table) -> Any:
    """Whether a truck is due at an odometer that is known, on a day that is not."""
    return u.due_from_utc.isnull() & (u.check_miles.notnull() | u.worn_from_miles.notnull())


def due_count(t: Tables) -> ir.Table:
    """One row: trucks whose due days are known, how many of them are overdue or may be due, and how
    many trucks are due by the odometer only."""
    u = t.due
    return u.agg(
        by_odometer=_no_day(u).cast("int64").sum(),
        dated=u.due_from_utc.count(),
        overdue=(u.state == "overdue").cast("int64").sum(),
        may_be_due=(u.state == "may be due").cast("int64").sum(),
    )


def damaged(t: Tables) -> ir.Table:
    """Files with something wrong, the gravest first: folder, path, status, line, seen_utc."""
    f = t.files.filter(t.files.status != "record")
    order = list(GRAVEST_FILES)
    place = ibis.cases(
        *((f.status == status, order.index(status)) for status in order), else_=len(order)
    )
    f = f.mutate(place=place).order_by(["place", "folder", "path"])
    return f.select("folder", "path", "status", "line", "seen_utc")


SAFETY = ("pedal", "stop", "alone", "skipped", "hold")
"""The kinds of doubt that tell of people rather than of the clutch, the gravest first."""


def safety(t: Tables) -> ir.Table:
    """What befell people at work over all jobs, the newest first, whether a lead has looked at it
    or not: kind (of `SAFETY`), text, n, job, unit, began_utc, began_local, code, seen, folder,
    path."""
    d = t.doubts.filter(t.doubts.kind.isin(SAFETY)).select("job", "n", "kind", "text", "seen")
    j = t.jobs.select("job", "unit", "began_utc", "began_local", "code", "folder", "path")
    return d.inner_join(j, "job").order_by([ibis.desc("began_utc"), "job", "n"])


def safety_months(t: Tables) -> ir.Table:
    """Per month in which jobs began, the newest first: month_utc, jobs, and how many times each of
    `SAFETY` was told in them."""
    j = t.jobs.select("job", month_utc=t.jobs.began_utc.truncate("M"))
    d = t.doubts.filter(t.doubts.kind.isin(SAFETY))
    each = d.group_by("job").agg(**{
        kind: (d.kind == kind).cast("int64").sum() for kind in SAFETY
    })  # fmt: skip
    both = j.left_join(each, "job")
    told = both.group_by("month_utc").agg(
        jobs=both.count(), **{kind: both[kind].fill_null(0).sum() for kind in SAFETY}
    )
    return told.order_by(ibis.desc("month_utc"))


PERIOD_DAYS = 90
"""So long are the two times that `better` holds against each other."""


def better(t: Tables) -> ir.Table:
    """Jobs signed off in the `PERIOD_DAYS` up to the newest, and in as many days before them: a row
    each, the newer first, with `now` true.

    Columns: now, jobs, right (first time), safety (jobs in which a pedal was lost or somebody said
    stop), said, again (utterances, and those said again), time_s (mean at work), time_u_s (its
    standard uncertainty; null of one job), from_utc, to_utc (of the sign-offs).
    """
    j = t.jobs.filter(t.jobs.signed_off)
    last = j.ended_utc.max().over(ibis.window())
    j = j.mutate(ago=last.epoch_seconds() - j.ended_utc.epoch_seconds())
    j = j.filter(j.ago < 2 * PERIOD_DAYS * 86_400)
    j = j.mutate(now=j.ago < PERIOD_DAYS * 86_400)
    d = t.doubts.filter(t.doubts.kind.isin(["pedal", "stop"])).select("job").distinct()
    j = j.left_join(d.mutate(unsafe=ibis.literal(1)), "job")
    told = j.group_by("now").agg(
        jobs=j.count(),
        right=j.first_time_right.cast("int64").sum(),
        safety=j.unsafe.fill_null(0).sum(),
        said=j.turns.sum(),
        again=j.say_agains.sum(),
        time_s=j.time_s.mean(),
        time_u_s=j.time_s.std(how="sample") / j.count().cast("float64").sqrt(),
        from_utc=j.ended_utc.min(),
        to_utc=j.ended_utc.max(),
    )
    return told.order_by(ibis.desc("now"))


def said(t: Tables, words: str) -> ir.Table:
    """Lines of jobs in which each of some words stands, in any order and also within others: what
    was said or typed, and what a lead wrote. A word may also be of the truck or the technician's
    code, so that "t-104 oil" finds what was said of oil on that truck. The newest first.

    Columns: job, n, at_utc, unit, code, began_local, who ("tech", "helper" or "lead"), words,
    folder, path.
    """
    h, a = t.hearing, t.lead_acts
    told = h.select("job", "n", "at_utc", "who", "words").union(
        a.select("job", "n", "at_utc", who=ibis.literal("lead"), words="text")
    )
    j = t.jobs.select("job", "unit", "code", "began_local", "folder", "path")
    wanted = words.lower().split()
    plain = told.words.lower()
    told = told.mutate(**{f"has{i}": plain.contains(word) for i, word in enumerate(wanted)}).filter(
        told.words != ""
    )
    of_job = (j.unit + " " + j.code).lower()
    j = j.mutate(**{f"of{i}": of_job.contains(word) for i, word in enumerate(wanted)})
    both = told.inner_join(j, "job")
    for i in range(len(wanted)):
        both = both.filter(both[f"has{i}"] | both[f"of{i}"])
    if wanted:  # a truck's name alone is no words
        both = both.filter(ibis.or_(*(both[f"has{i}"] for i in range(len(wanted)))))
    both = both.order_by([ibis.desc("at_utc"), "job", "n"])
    return both.select("job", "n", "at_utc", "unit", "code", "began_local", "who", "words",
                       "folder", "path")  # fmt: skip


def work_orders(t: Tables) -> ir.Table:
    """One row a job for a shop's own programs, the newest first; `columns.toml` says what each
    holds, and COLUMNS.md beside an export. Names and their order stay, new ones come at the end.
    Lengths in inches, distances in miles, times in UTC."""
    h = t.hearing.filter(t.hearing.meaning == "note")
    h = h.mutate(placed=h.n.cast("string").lpad(6, "0") + " " + h.words)  # not all engines order
    notes = h.group_by("job").agg(notes=h.placed.collect())
    notes = notes.mutate(notes=notes.notes.sort().map(lambda one: one.substr(7)).join(" / "))
    j = t.jobs.left_join(notes, "job")
    state = ibis.cases(
        (j.chain == BROKEN, "damaged"), (j.signed_off, "signed off"),
        (j.unfinished != "", "unfinished"), else_="open",
    )  # fmt: skip
    told = j.select(
        "opening", "unit", "began_utc", "ended_utc", "seal", "odometer_miles", "gap_found_in",
        "gap_left_in", "free_found_in", "free_left_in", "ring_left", "fitted", "first_time_right",
        "notes", "length_unit", state=state, technician=j.code, why_unfinished=j.unfinished,
        next_check_miles=j.next_due_miles, lugs=j.lugs_by_gap, at_work_s=j.time_s,
        lead=j.asked.replace("lead-", ""), to_look_at=j.unseen, gravest=j.reason,
        record=j.folder + "/" + j.path,
        distance_unit=j.odometer_unit,
        odometer=_own_way(j, j.odometer_miles), next_check=_own_way(j, j.next_due_miles),
        gap_last_in=j.gap_last_in, free_last_in=j.free_last_in,
        **{name: _own_length(j, j[f"{name}_in"]) for name in _OWN_LENGTHS},
    )  # fmt: skip
    return told.order_by([ibis.desc("began_utc"), "opening"]).select(*WORK_ORDER)


_OWN_LENGTHS = ("gap_found", "gap_left", "free_found", "free_left", "gap_last", "free_last")


def _own_way(j: ir.Table, miles: Any) -> Any:
    """A distance in what the truck's odometer counts, to the whole one."""
    return (miles / ibis.cases(*((j.odometer_unit == u, m) for u, m in MILES_PER.items()),
                               else_=1.0)).round(0)  # fmt: skip


def _own_length(j: ir.Table, value_in: Any) -> Any:
    """A length as it is shown on this truck: mm to a tenth, inches to a thousandth."""
    return (j.length_unit == "mm").ifelse((value_in * MM_PER_IN).round(1), value_in.round(3))


WORK_ORDER = {
    "opening": "text", "record": "text", "unit": "text", "state": "text", "began_utc": "time",
    "ended_utc": "time", "technician": "text", "seal": "text", "why_unfinished": "text",
    "odometer_miles": "float", "next_check_miles": "float", "gap_found_in": "float",
    "gap_left_in": "float", "free_found_in": "float", "free_left_in": "float", "lugs": "int",
    "ring_left": "int", "fitted": "text", "first_time_right": "bool", "at_work_s": "float",
    "notes": "text", "lead": "text", "to_look_at": "int", "gravest": "text",
    "odometer": "int", "next_check": "int", "distance_unit": "text", "gap_found": "float",
    "gap_left": "float", "free_found": "float", "free_left": "float", "length_unit": "text",
    "gap_last_in": "float", "free_last_in": "float", "gap_last": "float", "free_last": "float",
}  # fmt: skip
"""The columns of `work_orders` and their types, in their order."""
COMMON_WORDS = 20
"""What was said alike in more jobs than this, "done" or "holding", is told apart from none."""


def uncommon(t: Tables) -> ir.Table:
    """What was said in few jobs, and what leads wrote, the newest first: job, n, who, words."""
    h = t.hearing.filter(t.hearing.words != "")
    h = h.mutate(jobs=h.job.nunique().over(ibis.window(group_by="words")))
    h = h.filter(h.jobs <= COMMON_WORDS).select("job", "n", "at_utc", "who", "words")
    a = t.lead_acts.filter(t.lead_acts.text != "")
    both = h.union(a.select("job", "n", "at_utc", who=ibis.literal("lead"), words="text"))
    return both.order_by([ibis.desc("at_utc"), "job", "n"]).select("job", "n", "who", "words")


QUESTIONS: dict[str, Callable[[Tables], ir.Table]] = {name: globals()[name] for name in ASKED}
"""All of them by name."""
