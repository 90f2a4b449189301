"""The lead's desk on the command line. Imports stay inside: quick to start."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager, nullcontext
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from assistant.cli.terminal import PATH, fail, show_lines

if TYPE_CHECKING:
    from assistant.review import Answers, Review

MOST = 10
"""Lines of one kind that are shown; the rest is counted."""


@click.command(short_help="Many records at once: what needs eyes, what is due.")
@click.argument("folders", nargs=-1, type=PATH)
@click.option("--csv", "csv_folder", type=PATH, help="Write all tables there as CSV.")
@click.option("--parquet", "parquet_folder", type=PATH, help="Write all tables as Parquet.")
@click.option("--afresh", is_flag=True, help="Read every record again and check all of it.")
@click.option("--patience", default=20.0, show_default=True, help="Seconds a drive may be silent.")
@click.option("--ask", "question", help="Print the answer to this question as CSV instead.")
@click.option(
    "--on",
    "engine",
    type=click.Choice(["duckdb", "spark"]),
    default="duckdb",
    show_default=True,
    help="What works out the answers; the same on both.",
)
def review(
    folders: tuple[Path, ...],
    csv_folder: Path | None,
    parquet_folder: Path | None,
    afresh: bool,
    patience: float,
    question: str | None,
    engine: str,
) -> None:
    """What the records in the FOLDERS say (without one: the records folder of this user).

    An index beside this user's data keeps up with what changed; the records are only read.
    """
    with opened(folders, afresh=afresh, patience_s=patience) as desk:
        from assistant.review.wording import summary

        with _answers(desk, engine) as answers:
            show_lines(summary(answers, MOST) if question is None else _as_csv(answers, question))
        for folder, kind in ((csv_folder, "csv"), (parquet_folder, "parquet")):
            if folder is not None:
                from assistant.review.export import export

                written = export(desk, folder, kind)
                click.echo(f"{len(written) - 1} tables and {written[-1].name} in {folder}")


def _answers(desk: Review, engine: str) -> Any:
    if engine == "duckdb":
        return nullcontext(desk)
    from assistant.review.export import on_spark

    return on_spark(desk)


def _as_csv(answers: Answers, question: str) -> list[str]:
    """The answer to a question, a line a row."""
    import csv
    import io

    from assistant.review.questions import QUESTIONS

    if question not in QUESTIONS:
        fail(f"there is no question {question!r}; ask one of {', '.join(QUESTIONS)}")
    rows = answers.ask(question)
    text = io.StringIO()
    if rows:
        csv.writer(text, lineterminator="\n").writerows([rows[0], *(r.values() for r in rows)])
    return text.getvalue().split("\n")[:-1]


@contextmanager
def opened(folders: tuple[Path, ...], **how: Any) -> Iterator[Review]:
    """The review of the folders, or of the default one, with a progress bar where it takes long."""
    from assistant.record import default_folder
    from assistant.review import open_review

    with (
        _bar() as progress,
        open_review(
            folders or (default_folder(),),
            wait=lambda line: click.echo(line, err=True),
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
