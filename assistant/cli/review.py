"""The lead's desk on the command line: many records at once, pages, acts, photos, retention.

Imports stay inside: quick to start.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, nullcontext
from datetime import datetime
from itertools import takewhile
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from assistant.cli.terminal import PATH, WORDS, Seconds, fail, show_lines, show_told
from assistant.sentences import printable

if TYPE_CHECKING:
    from assistant.record import Event
    from assistant.review import Answers, Review

MOST = 10
"""Lines of one kind that are shown; the rest is counted."""
_patience_option = click.option(
    "--patience", type=Seconds(0.1, 3600), default=20.0, show_default=True,
    help="Seconds a drive may be silent.",
)  # fmt: skip
_ACTS = ("reviewed", "question", "withdrawn", "accepted", "reopened")


class _NamesQuestions(click.Option):
    """An option whose help names the questions, which are looked up only then."""

    def get_help_record(self, ctx: click.Context) -> tuple[str, str] | None:
        from assistant.review.columns import ASKED

        told = super().get_help_record(ctx)
        return told and (told[0], f"{told[1]}: {', '.join(ASKED)}.")


@click.command(short_help="Many records at once: what needs eyes, what is due.")
@click.argument("folders", nargs=-1, type=PATH)
@click.option("--csv", "csv_folder", type=PATH, help="Write all tables there as CSV.")
@click.option("--parquet", "parquet_folder", type=PATH, help="Write all tables as Parquet.")
@click.option("--afresh", is_flag=True, help="Read every record again and check all of it.")
@_patience_option
@click.option("--ask", "question", metavar="QUESTION", cls=_NamesQuestions,
              help="Print the answer to this question as CSV instead")  # fmt: skip
@click.option("--json", "as_json", is_flag=True, help="Print that answer as JSON, a line a row.")
@click.option("--find", "words", help="Print the lines of all jobs in which these words were said.")
@click.option("--on", "engine", type=click.Choice(["duckdb", "spark"]), default="duckdb",
              show_default=True, help="What works out the answers; the same on both.")  # fmt: skip
def review(
    folders: tuple[Path, ...],
    csv_folder: Path | None,
    parquet_folder: Path | None,
    afresh: bool,
    patience: float,
    question: str | None,
    as_json: bool,
    words: str | None,
    engine: str,
) -> None:
    """What the records in the FOLDERS say (without one: the records folder of this user).

    An index beside this user's data keeps up with what changed; the records are only read. Exit
    code 1 when one was changed: its chain is broken, two files of one job differ, or a clip or
    photo is not the one that was taken.
    """
    with opened(folders, afresh=afresh, patience_s=patience) as desk:
        from assistant.review.export import export, on_spark
        from assistant.review.wording import summary

        on: Any = on_spark(desk) if engine == "spark" else nullcontext(desk)
        with on as answers:
            if words:
                show_lines(_found(answers, words))
            elif question is not None:
                show_lines(_answer(answers, question, as_json), most=sys.maxsize)
            else:
                show_lines(summary(answers, MOST))
                desk.note_looked()
        for folder, kind in ((csv_folder, "csv"), (parquet_folder, "parquet")):
            if folder is not None:
                written = export(desk, folder, kind)
                show_lines([f"{len(written) - 1} tables and {written[-1].name} in {folder}"])
        if desk.ask("totals")[0]["damage"]:
            raise SystemExit(1)


MOST_FOUND = 40
"""Lines of a search that are shown."""


def _found(answers: Answers, words: str) -> Iterator[str]:
    """The lines of all jobs in which words stand, as `questions.said` finds them."""
    from assistant.review.questions import said
    from assistant.review.transcript import WHO
    from assistant.review.wording import say, say_many

    rows = answers.rows(said(answers.tables, words))
    if not rows:
        yield say("summary.found_none")
        return
    yield say_many("summary.found", len(rows))
    for row in rows[:MOST_FOUND]:
        about = {
            "when": row["began_local"][:16].replace("T", " "),
            "unit": row["unit"] or say("summary.no_unit"),
            "who": WHO.get(row["who"], row["who"].upper()),
            "words": row["words"],
            "path": f"{row['folder']}/{row['path']}",
            "line": row["n"] + 1,
        }
        yield from map(printable, say("summary.found_at", **about).split("\n"))
    if len(rows) > MOST_FOUND:
        yield say("summary.found_more", count=len(rows) - MOST_FOUND)


def _answer(answers: Answers, question: str, as_json: bool) -> Iterable[str]:
    """The answer to a question, as CSV or JSON, a line a row; with the file of each job in it."""
    import csv
    import io

    from assistant.review.columns import ASKED
    from assistant.review.export import harmless, json_lines

    if question not in ASKED:
        fail(f"there is no question {question!r}; ask one of {', '.join(ASKED)}")
    rows = [{k: _rounded(k, v) for k, v in row.items()} for row in answers.ask(question)]
    for name in ("job", "last_job"):
        if rows and name in rows[0] and "path" not in rows[0]:
            files = answers.files(row[name] for row in rows)
            rows = [{"file": files.get(row[name], ""), **row} for row in rows]
    if as_json:
        return json_lines(rows)
    text = io.StringIO()
    cells = (
        [printable(harmless(v)) if isinstance(v, str) else v for v in row.values()] for row in rows
    )
    if rows:
        csv.writer(text, lineterminator="\n").writerows([rows[0], *cells])
    return text.getvalue().split("\n")[:-1]


def _rounded(name: str, value: Any) -> Any:
    """A figure without digits that no gauge shows; a 64th of an inch has six."""
    if not isinstance(value, float):
        return value
    return round(value, 1 if name.endswith(("_miles", "_s")) else 6)


@contextmanager
def opened(folders: tuple[Path, ...], **how: Any) -> Iterator[Review]:
    """The review of the folders, or of the default one, with a progress bar where it takes long."""
    from assistant.record import default_folder
    from assistant.review import open_review

    with (
        _bar() as progress,
        open_review(
            folders or (default_folder(),),
            wait=lambda line: show_lines([line], err=True),
            progress=progress,
            **how,
        ) as desk,
    ):
        if desk.told and not any(one.seen_us for one in desk.refreshed):
            fail("; ".join(desk.told))
        yield desk


@contextmanager
def _bar() -> Iterator[Callable[[int, int], None]]:
    """A progress bar: only after two seconds, and not at all where no one looks."""
    from tqdm import tqdm

    with tqdm(unit=" records", delay=2, disable=None, leave=False) as bar:

        def progress(done: int, total: int) -> None:
            bar.total = total
            bar.update(done - bar.n)
            if done >= total:
                bar.clear()

        yield progress


# --- Pages, a lead's acts, photos, retention of sound and photos.


@click.command(short_help="One job as a page to read and print.")
@click.argument("record", type=PATH)
@click.option("--out", "out", type=PATH, help="The page's file; else RECORD with .html, here.")
def page(record: Path, out: Path | None) -> None:
    """RECORD as one self-contained HTML page, to look at or to print."""
    from assistant.review.pages.job_page import job_page
    from assistant.review.pages.render import write_page

    file = out or Path(f"{record.stem}.html")
    write_page(file, job_page(record, file.parent))
    show_lines([f"Page: {file}"])


@click.command(short_help="All jobs as a page, and a page for each of them.")
@click.argument("folders", nargs=-1, type=PATH)
@click.option("--out", "out", type=PATH, required=True, help="Folder for the pages.")
@click.option("--unit", type=WORDS, default="", help="Only this truck.")
@click.option("--since", type=click.DateTime(("%Y-%m-%d",)), help="Only jobs begun since this day.")
@click.option(
    "--ring-lugs", type=click.IntRange(1, 200), help="Lugs of a new ring; else by the card."
)
@_patience_option
def pages(
    folders: tuple[Path, ...],
    out: Path,
    unit: str,
    since: datetime | None,
    ring_lugs: int | None,
    patience: float,
) -> None:
    """The records in the FOLDERS as fleet.html, with a page for each job on it.

    The pages work from a folder, without a network. Only what changed is made again.
    """
    from assistant.review.pages.fleet_page import fleet_file, write_fleet, write_rest
    from assistant.review.wording import damage_lines, many

    with opened(folders, patience_s=patience) as desk:
        jobs, trucks = write_fleet(desk, out, unit, since.date() if since else None, ring_lugs)
        show_lines([*damage_lines(desk, MOST), *desk.told])
        show_lines([f"All jobs: {fleet_file(out)}"])
        done, failed = write_rest(desk, out, jobs, trucks, _page_bar)
    show_lines((f"no page: {line}" for line in failed), err=True)
    show_lines([f"{many(len(jobs), 'job')} on it, pages made now: {done}"])


def _page_bar(todo: Iterable[Any]) -> Iterable[Any]:
    from tqdm import tqdm

    bar: Iterable[Any] = tqdm(todo, unit=" pages", delay=2, disable=None, leave=False)
    return bar


@click.command(short_help="A time's records against the seals on paper, on one print.")
@click.argument("folders", nargs=-1, type=PATH)
@click.option("--since", type=click.DateTime(("%Y-%m-%d",)), help="First day; else last month's.")
@click.option("--until", type=click.DateTime(("%Y-%m-%d",)), help="Last day; else last month's.")
@click.option("--seals", "seals_file", type=PATH, help="A text file with the seals on paper.")
@click.option("--out", "out", type=PATH, default=Path("audit.html"), show_default=True,
              help="The page's file.")  # fmt: skip
@_patience_option
def audit(
    folders: tuple[Path, ...],
    since: datetime | None,
    until: datetime | None,
    seals_file: Path | None,
    out: Path,
    patience: float,
) -> None:
    """The jobs in the FOLDERS that ended in a time, as a page to print: each seal against the list
    from paper, what leads did, what is damaged.

    Exit code 1 when a seal is missing on either side, or a file, clip or photo is damaged or gone.
    """
    from datetime import UTC

    from assistant import named_file
    from assistant.review.handover.audit import audited, last_month, seals_in
    from assistant.review.pages.render import page as made
    from assistant.review.pages.render import write_page
    from assistant.review.wording import many, say

    days = [given.date() if given else day
            for given, day in zip((since, until), last_month(), strict=True)]  # fmt: skip
    if days[1] < days[0]:
        fail(f"the last day, {days[1]}, is before the first, {days[0]}; turn them round")
    try:
        paper = seals_in(named_file.text_of(named_file.whole(seals_file))) if seals_file else None
    except (OSError, ValueError) as error:
        fail(f"{seals_file} cannot be read: {error}; name a text file with the seals")
    if paper is not None and not paper:
        fail(f"{seals_file} holds no seal such as 3F2A-91BC; copy them from the work orders")
    with opened(folders, patience_s=patience) as desk:
        found = audited(desk, days[0], days[1], paper)
        now = datetime.now(UTC).strftime("%Y-%m-%d %H:%M UTC")
        write_page(out, made("audit.html", a=found, made=now))
    told = {
        "jobs": many(len(found.jobs), "job"),
        "without": len(found.without),
        "lost": many(len(found.lost), "seal"),
        "damaged": many(len(found.damaged), "file"),
    }
    which = "audit.found" if paper else "audit.no_list"
    show_lines([f"Page: {out}", say(which, **told)])
    if not found.fits:
        raise SystemExit(1)


@click.command(short_help="A lead's act, added to a record: reviewed, question, ...")
@click.argument("act", type=click.Choice(_ACTS))
@click.argument("records", nargs=-1, required=True)
@click.option("--by", "code", required=True, help="The lead's code, such as L7; never a name.")
@click.option("--about", default="", help="What it is about: a reading, a line.")
def lead(act: Any, records: tuple[str, ...], code: str, about: str) -> None:
    """Add an act to RECORDS, with WORDS behind them: reviewed, question WORDS, accepted WORDS,
    reopened WORDS, withdrawn: it takes the open questions back, or that of --about "line 51".

    It becomes a line at the end of each record's own chain. No line is ever changed, and a record
    that is signed off takes nothing else. Of several records each is taken by itself: exit code 1
    when one did not take it.
    """
    from assistant.record import RecordError
    from assistant.record.folder import SUFFIX
    from assistant.review.acts import add

    files = [*takewhile(lambda one: one.endswith(SUFFIX) or Path(one).is_file(), records)]
    files = files or [records[0]]
    words = " ".join(records[len(files) :])
    refused = []
    for record in map(Path, files):
        try:
            event = add(record, act, code, words, about)
        except RecordError as error:
            if len(files) == 1:
                raise
            refused.append(str(error))
            continue
        show_lines(_added(record, act, event))
    if refused:
        show_lines(refused, err=True)
        fail(f"{len(refused)} of {len(files)} records did not take it; the others did")


def _added(record: Path, act: str, event: Event) -> list[str]:
    from assistant.record import seal_of
    from assistant.record.history import JobHistory

    paper = "The seal on paper covers up to the sign-off."
    if JobHistory.read(record).closed is None:
        paper = "It is not signed off: there is no seal on paper yet."
    seal = f"Seal with it: {seal_of(event.hash)}. {paper}"
    return [f"Line {event.n + 1} of {record.name}: {act} by {event.data['lead']}.", seal]


@click.command(short_help="A photo, put beside a record.")
@click.argument("record", type=PATH)
@click.argument("file", type=PATH)
@click.argument("words", nargs=-1, required=True, type=WORDS)
@click.option("--by", "code", required=True, help="The code of who adds it; never a name.")
def photo(record: Path, file: Path, words: tuple[str, ...], code: str) -> None:
    """Put a photo, FILE, beside RECORD, open or finished, with WORDS on what it shows.

    JPEG or PNG. The record holds it by its hash, in a line of its own at the end: verify finds it
    changed or missing, and the job's page shows it. Where it was taken is never kept.
    """
    from assistant.review.evidence.photos import add
    from assistant.review.wording import say

    event, kept = add(record, file, code, " ".join(words))
    show_lines(_added(record, "photo", event))
    told = (("photo.no_place", kept.no_place), ("photo.no_more", kept.no_more))
    show_lines([say(name) for name, so in told if so])


@click.command(short_help="Remove sound and photos of jobs older than so many days.")
@click.argument("folders", nargs=-1, type=PATH)
@click.option(
    "--days", type=click.IntRange(0, 100_000), required=True, help="Keep what is up to this age."
)
@click.option("--remove", "really", is_flag=True, help="Remove them; without it nothing is.")
@click.option(
    "--by",
    "code",
    default="",
    help="The lead's code, noted with what was removed; --remove needs it.",
)
@click.option("--json", "as_json", is_flag=True, help="Print what was found as JSON.")
def retention(folders: tuple[Path, ...], days: int, really: bool, code: str, as_json: bool) -> None:
    """Show which clips and photos in the FOLDERS are older than --days; with --remove, remove them.

    No line of a record is changed, and it still verifies: it holds them by their hash only, and
    gets a line at its end that says which were removed.
    """
    from assistant.record import default_folder
    from assistant.review.evidence.retention import counted, look, remove
    from assistant.review.wording import many

    if really and not code.strip():
        fail("who removes them is noted in each record: add your code, such as --by L7")
    found = look(folders or (default_folder(),), days)
    gone, left = remove(found, code) if really else (0, [])
    clips = [
        {"file": str(o.path), "at": o.at.isoformat(), "bytes": o.size, "of": o.what}
        for o in found.old
    ]
    lines = [
        f"{'removed' if really else 'would go'}  "
        f"{one.at:%Y-%m-%d}  {one.size / 1000:7.1f} kB  {one.path}  ({one.what})"
        for one in sorted(found.old, key=lambda old: old.at)
    ]
    lines += (f"kept     {line}" for line in found.kept)
    old = f"{counted(found.old)} older than {many(days, 'day')}, {found.size / 1e6:.1f} MB"
    lines.append(f"{old}: {f'{gone} removed' if really else 'nothing removed; add --remove'}.")
    told = {"clips": clips, "kept": found.kept, "removed": gone, "left": left}
    show_told(as_json, told, lines)
    if left:
        fail("; ".join(left))
