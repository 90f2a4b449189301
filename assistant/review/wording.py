"""How the lead's desk says things, on a page or in a terminal: `dialogs/en/desk.toml`."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Set
from functools import partial
from typing import TYPE_CHECKING, Any

from assistant.quantity import MILES_PER
from assistant.review.columns import DAMAGE
from assistant.sentences import printable, sentences, step_name

if TYPE_CHECKING:
    from assistant.review import Answers

Row = dict[str, Any]
"""By column, or by the name that a template has for it."""

MILES = "miles"
MOST_SIGNS, MOST_OF_NOTE = 60, 200
"""Of one doubt among many, and of a note."""
_BROKEN = "BROKEN CHAIN: "


def say(name: str, **fields: object) -> str:
    """An entry of the desk's words, its blanks filled in; they are never spoken."""
    return str(sentences("desk").texts[name]).format_map(fields)


def say_many(name: str, count: int, **fields: object) -> str:
    """The entry of this name, or for one of a kind the one with `_one` behind it."""
    return say(f"{name}_one" if count == 1 else name, count=count, **fields)


def short(text: str) -> str:
    """A doubt among many: without the reasons it gives after a colon, where it is long; a note in
    its own words."""
    if text.startswith(f"{say('kinds.note')} "):
        return text if len(text) <= MOST_OF_NOTE else text[: MOST_OF_NOTE - 1].rstrip() + "…"
    if text.startswith(_BROKEN):
        return _BROKEN + short(text.removeprefix(_BROKEN))
    if len(text) <= MOST_SIGNS:
        return text
    first = text.split(": ")[0]
    return first if len(first) <= MOST_SIGNS else text[: MOST_SIGNS - 1].rstrip() + "…"


def headed(kind: str, text: str) -> tuple[str, str]:
    """What kind of doubt it is, and the doubt, which may say that by itself up to a colon."""
    heading = say(f"kinds.{kind}")
    own, _, rest = text.partition(": ")
    return (own, rest) if rest and own.lower().startswith(heading) else (heading, text)


def signed(count: int) -> str:
    """`+2`, `-1`, `0`."""
    return f"{count:+d}" if count else "0"


def way(miles: float, unit: str) -> str:
    """A distance in what the truck's odometer counts: `12,345 miles`, `20,000 kilometres`."""
    return f"{in_unit(miles, unit):,.0f} {unit or MILES}"


def in_unit(miles: float, unit: str) -> float:
    """A distance by the truck's odometer, whatever it counts."""
    return miles / MILES_PER.get(unit, 1.0)


def lugs(count: int) -> str:
    """`+2 lugs`, `-1 lug`, `0 lugs`."""
    return f"{signed(count)} lug{'' if abs(count) == 1 else 's'}"


def span(seconds: float) -> str:
    """`45 s`, `3 min 20 s`, `2 h 5 min`."""
    whole = round(seconds)
    if whole < 60:
        return f"{whole} s"
    if whole < 3600:
        return f"{whole // 60} min {whole % 60} s" if whole % 60 else f"{whole // 60} min"
    if whole < 172_800:
        return f"{whole // 3600} h {whole % 3600 // 60} min"
    return f"{whole // 86_400} days"


# --- The review in plain lines, for a terminal.


def summary(answers: Answers, most: int) -> Iterator[str]:
    """What came of the folders, damaged files, what needs eyes and is due; `most` lines of each."""
    return map(printable, _lines(answers, most))


def damage_lines(answers: Answers, most: int) -> Iterator[str]:
    """The files that were changed after they were written; no more than `most`, and how many."""
    return _files([row for row in answers.ask("damaged") if row["status"] in DAMAGE], most)


def _lines(answers: Answers, most: int) -> Iterator[str]:
    yield from damage_lines(answers, most)
    yield from answers.told
    yield from _files([r for r in answers.ask("damaged") if r["status"] not in DAMAGE], most)
    total = answers.ask("totals")[0]
    if not total["jobs"]:
        yield say("summary.none")
        return
    right = total["first_time_right"]
    yield say(
        "summary.totals",
        jobs=many(total["jobs"], "job"),
        trucks=many(total["units"], "truck"),
        signed=total["signed_off"] or 0,
        share="" if right is None else say("summary.share", share=right),
        open=total["jobs"] - (total["signed_off"] or 0),
        doubtful=total["doubtful"] or 0,
    )
    fresh = answers.fresh()
    if fresh:
        yield say_many("summary.fresh", len(fresh), when=answers.looked)
    eye, notes = partial(_eye, fresh), partial(_notes, answers)
    yield from _listed(answers, "needs_eyes", most, say("summary.eyes"), eye, notes)
    causes = answers.ask("causes")
    if len(causes) > 1 or any(row["jobs"] > most for row in causes):
        yield say_many("summary.causes", total["doubtful"])
        for row in causes:
            yield say("summary.cause", jobs=row["jobs"], what=say(f"kinds.{row['kind']}"))
    yield from _listed(answers, "lead_questions", most, say("summary.questions"), _question)
    yield from _listed(answers, "unfinished", most, say("summary.open"), _open)
    yield from _due(answers, most)


def _listed(
    answers: Answers, question: str, most: int, heading: str, line: Callable[[Row], str],
    more: Callable[[list[Row]], Mapping[int, list[str]]] = lambda rows: {},
) -> Iterator[str]:  # fmt: skip
    """The first rows of a question, each with its file and what `more` tells of its job, and how
    many more rows there are."""
    rows = answers.ask(question, most + 1)
    if rows:
        yield heading
    below = more(rows[:most])
    for row in rows[:most]:
        yield line(row)
        yield say("summary.path", path=f"{row['folder']}/{row['path']}")
        yield from below.get(row["job"], ())
    if len(rows) > most:
        count = answers.count(question) - most
        yield say("summary.more", count=count, question=question)


def _about(row: Row) -> dict[str, str]:
    when = row["began_local"][:16].replace("T", " ")
    return {"when": when, "unit": row["unit"] or say("summary.no_unit")}


def _eye(fresh: Set[int], row: Row) -> str:
    more = f" (+{row['unseen'] - 1})" if row["unseen"] > 1 else ""
    asked = f" [{row['asked'].removeprefix('lead-')}]" if row["asked"] else ""
    new = f" [{say('summary.new')}]" if row["job"] in fresh else ""
    what = f"{short(row['reason'].rstrip('.'))}{more}{new}{asked}".strip()
    return say("summary.eye", what=what, **_about(row))


def _notes(answers: Answers, rows: list[Row]) -> Mapping[int, list[str]]:
    """The notes in these jobs that no lead has looked at, where something else is told first."""
    told: dict[int, list[str]] = {}
    for doubt in answers.of_jobs("doubts", [row["job"] for row in rows]):
        if doubt["kind"] == "note" and not doubt["seen"]:
            told.setdefault(doubt["job"], []).append(doubt["text"])
    first = {row["job"]: row["reason"] for row in rows}
    return {
        job: [say("summary.path", path=short(text)) for text in texts if text != first[job]]
        for job, texts in told.items()
    }


def _question(row: Row) -> str:
    blanks = {**row, "unit": row["unit"] or say("summary.no_unit")}
    key = "answered" if row["answer"] else "question" if row["put"] else "question_not_put"
    return say(f"summary.{key}", **blanks)


def _open(row: Row) -> str:
    if row["unfinished"]:
        return say("summary.left", why=row["unfinished"], **_about(row))
    step = step_name(row["step"]) if row["step"] else say("summary.not_begun")
    return say("summary.open_at", step=step, **_about(row))


def _files(rows: list[Row], most: int) -> Iterator[str]:
    yield from map(_file, rows[:most])
    if len(rows) > most:
        yield say_many("summary.more_files", len(rows) - most)


def _file(row: Row) -> str:
    line = f"{row['folder']}/{row['path']}: {row['line'] or row['status']}"
    if row["status"] != "missing":
        return line
    return say("summary.seen", line=line, when=row["seen_utc"])


def many(count: int, what: str, of_many: str = "") -> str:
    """`1 job`, `12,000 jobs`."""
    return f"{count:,} {what if count == 1 else of_many or what + 's'}"


def _due(answers: Answers, most: int) -> Iterator[str]:
    known = answers.ask("due_count")[0]
    if known["dated"]:
        counts = {name: known[name] or 0 for name in ("overdue", "may_be_due")}
        yield say("summary.due", **counts)
        for row in answers.ask("units", most):
            if row["due_from_utc"] is not None:
                yield _truck(row)
        if known["dated"] > most:
            yield say("summary.more", count=known["dated"] - most, question="units")
    if known["by_odometer"]:
        yield say_many("summary.due_odometer", known["by_odometer"])
        for row in answers.ask("by_odometer", most):
            yield say("summary.due_by", unit=row["unit"], at=due_at(row))
        if known["by_odometer"] > most:
            count = known["by_odometer"] - most
            yield say("summary.more", count=count, question="by_odometer")


def due_at(row: Row) -> str:
    """By a truck's odometer, when it is due: at the check told, or worn, whichever comes first;
    "" where neither is known."""
    low, high, check = row["worn_from_miles"], row["worn_to_miles"], row["check_miles"]
    if low is None or (check is not None and check <= low):
        low = high = check
    unit = row["odometer_unit"]
    if low is None or high in (low, None):
        return "" if low is None else way(low, unit)
    return say("summary.from_to", low=f"{in_unit(low, unit):,.0f}", high=way(high, unit))


def _truck(row: Row) -> str:
    """A truck, with its odometer and the days when it is due."""
    at = due_at(row)
    first, last = row["due_from_utc"], row["due_to_utc"]
    days = say("summary.on", low=first) if last is None else say(
        "summary.from_to", low=f"{first:%Y-%m-%d}", high=f"{last:%Y-%m-%d}")  # fmt: skip
    state = row["state"].upper()
    past = say("summary.past", state=state) if state else ""
    return say("summary.due_at", unit=row["unit"], at=at, days=days, past=past)
