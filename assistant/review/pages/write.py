"""The fleet page and the pages of its jobs in one folder; only what changed is made again."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from assistant import __version__
from assistant.record import RecordError
from assistant.record.folder import slug
from assistant.review.index import source_hash
from assistant.review.pages.fleet_page import Listed, fleet_page
from assistant.review.pages.render import write_page
from assistant.review.wording import Row

if TYPE_CHECKING:
    from assistant.review import Review

_MADE = "made.json"
_SOURCES = sorted(
    p for p in Path(__file__).parent.iterdir() if p.suffix in (".py", ".html", ".css")
)
"""What the pages' look depends on."""


def fleet_file(folder: Path) -> Path:
    return folder / "fleet.html"


def page_file(folder: Path, row: Row) -> Path:
    """Where the page of a job is: named after the record, and apart from its namesakes."""
    stem = Path(row["path"]).stem
    return folder / "jobs" / f"{slug(stem)}-{row['opening'][:8]}.html"


def write_fleet(
    desk: Review, folder: Path, unit: str = "", since: date | None = None,
    ring_lugs: int | None = None,
) -> list[Listed]:  # fmt: skip
    """Write the fleet page; returns the jobs on it, whose pages `write_jobs` makes.

    Raises:
        RecordError: it was to be narrowed, and no job is left.
        OSError: the disk did not take it.
    """
    text, jobs = fleet_page(
        desk, folder, lambda row: page_file(folder, row), unit, since, ring_lugs
    )
    if not jobs and (unit or since):
        of = f" of {unit}" if unit else ""
        begun = f" begun since {since}" if since else ""
        raise RecordError(f"no job{of}{begun} in these folders; no page was written")
    write_page(fleet_file(folder), text)
    return jobs


def write_jobs(
    folder: Path, jobs: Sequence[Listed], show: Callable[[Iterable[Listed]], Iterable[Listed]]
) -> tuple[int, list[str]]:
    """Make the pages that are missing or old; returns how many, and a line on each that failed.

    A page is old when the record's head, its clips or this version changed. May be broken off at
    any time: the next call goes on.
    `show` is given what is to be done, and hands it on one by one: a progress bar.
    """
    made = _made(folder)
    todo = [one for one in jobs if made.get(_name(folder, one)) != _state(one)
            or not (folder / _name(folder, one)).exists()]  # fmt: skip
    done, failed = 0, []
    if todo:
        from assistant.review.pages.job_page import job_page
    try:
        for one in show(todo):
            name = _name(folder, one)
            try:
                text = job_page(one.record, (folder / name).parent, fleet_file(folder))
            except (RecordError, OSError) as error:
                failed.append(str(error))
                continue
            write_page(folder / name, text)
            made[name] = _state(one)
            done += 1
    finally:
        write_page(folder / _MADE, json.dumps(made, indent=0, sort_keys=True))
    return done, failed


def _name(folder: Path, one: Listed) -> str:
    return page_file(folder, one.row).relative_to(folder).as_posix()


def _state(one: Listed) -> str:
    """What the page of a job depends on."""
    clips = ""
    if one.row["clips"]:
        own = one.record.parent / f"{one.record.stem}.clips"
        try:
            clips = ",".join(sorted(f"{p.name}:{p.stat().st_size}" for p in own.iterdir()))
        except OSError:
            clips = "none"
    return f"{__version__} {source_hash(*_SOURCES)} {one.row['head']} {clips}"


def _made(folder: Path) -> dict[str, str]:
    try:
        found = json.loads((folder / _MADE).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return {str(k): str(v) for k, v in found.items()} if isinstance(found, dict) else {}
