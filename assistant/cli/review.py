"""The lead's desk on the command line. Imports stay inside: quick to start."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from assistant.cli import lead as cli_lead
from assistant.cli.terminal import fail, one_line_errors

if TYPE_CHECKING:
    from assistant.review.desk import Review

_PATH = click.Path(path_type=Path)
MOST = 10
"""Lines of one kind that are shown; the rest is counted."""


def add_to(main: click.Group) -> None:
    """Register the commands."""
    main.add_command(review)
    cli_lead.add_to(main)


@click.command(short_help="Many records at once: what needs eyes, what is due.")
@click.argument("folders", nargs=-1, type=_PATH)
@click.option("--csv", "csv_folder", type=_PATH, help="Write all tables there as CSV.")
@click.option("--parquet", "parquet_folder", type=_PATH, help="Write all tables as Parquet.")
@click.option("--afresh", is_flag=True, help="Read every record again and check all of it.")
@click.option("--patience", default=20.0, show_default=True, help="Seconds a drive may be silent.")
@one_line_errors
def review(
    folders: tuple[Path, ...],
    csv_folder: Path | None,
    parquet_folder: Path | None,
    afresh: bool,
    patience: float,
) -> None:
    """What the records in the FOLDERS say (without one: the records folder of this user).

    An index beside this user's data keeps up with what changed; the records are only read.
    """
    with opened(folders, afresh=afresh, patience_s=patience) as desk:
        from assistant.review.summary import summary

        for line in summary(desk, MOST):
            click.echo(line)
        from assistant.review.export import export

        for folder, kind in ((csv_folder, "csv"), (parquet_folder, "parquet")):
            if folder is not None:
                written = export(desk, folder, kind)
                click.echo(f"{len(written) - 1} tables and {written[-1].name} in {folder}")


@contextmanager
def opened(folders: tuple[Path, ...], **how: Any) -> Iterator[Review]:
    """The review of the folders, or of the default one, with a progress bar where it takes long."""
    from assistant.record import default_folder
    from assistant.review import open_review

    with (
        _bar() as progress,
        open_review(folders or (default_folder(),), progress=progress, **how) as desk,
    ):
        if desk.told and not any(manifest.scanned_us for _, manifest in desk.snapshot):
            fail("; ".join(desk.told))
        yield desk


@contextmanager
def _bar() -> Iterator[Any]:
    from tqdm import tqdm

    # Shown only after two seconds, and not at all where no one looks.
    with tqdm(unit=" records", delay=2, disable=None, leave=False) as bar:

        def progress(done: int, total: int) -> None:
            bar.total = total
            bar.update(done - bar.n)
            if done >= total:
                bar.clear()

        yield progress
