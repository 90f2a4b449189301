"""Bringing the index of a folder up to date: only what changed is read."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from hashlib import blake2b
from pathlib import Path
from typing import Any

from assistant.review.columns import OF_A_JOB
from assistant.review.index import Index
from assistant.review.rows import FileRead, read_file
from assistant.review.scan import FileStamp, FolderListing, NoAnswer, is_record, listed, within
from assistant.review.wording import say

PATIENCE_S = 20.0
"""A drive that says nothing for so long is given up for now."""
BATCH = 200
"""Files read between two commits: what is committed is not read again, whatever happens."""
_HELD = ("record", "torn", "BROKEN CHAIN", "missing", "unreadable")
"""What files with a job can be; the others are no records, or copies of one."""
Progress = Callable[[int, int], None]
"""Called with files read and files to read."""


@dataclass(slots=True)
class Refreshed:
    """What a refresh did.

    Attributes:
        folder: of the records.
        seen_us: when it was last seen whole, microseconds since 1970; 0: never.
        told: one line each on what the lead should know.
        read: how many files were read.
    """

    folder: Path
    seen_us: int
    told: list[str] = field(default_factory=list)
    read: int = 0


def refresh(
    index: Index,
    patience_s: float = PATIENCE_S,
    progress: Progress | None = None,
    afresh: bool = False,
) -> Refreshed:
    """Bring one folder's index up to date, or say why it stays as it was.

    Args:
        index: attached to be written.
        patience_s: how long a drive may say nothing.
        progress: told how it goes.
        afresh: read every file again, changed or not.
    """
    done = Refreshed(index.folder, index.seen_us)
    try:
        listing = listed(index.folder, patience_s)
    except NoAnswer as error:
        done.told.append(_last_seen(index, str(error), done.seen_us))
        return done
    done.told += [say("folder.problem", folder=index.folder, problem=p) for p in listing.problems]
    now_us = time.time_ns() // 1000
    known = _known(index)
    changed = [p for p, stamp in listing.found.items() if afresh or known.get(p) != stamp]
    records = [p for p in changed if is_record(p)]
    others = [(p, FileRead("foreign", say("file.not_one"))) for p in changed if not is_record(p)]
    _keep(index, others, listing)
    try:
        _read(index, done, records, listing, now_us, patience_s, progress)
    except NoAnswer as error:
        done.told.append(
            say("folder.stopped", folder=index.folder, why=error, read=done.read, all=len(records))
        )
    gone = [p for p, stamp in known.items() if stamp[0] is not None and p not in listing.found]
    with index.transaction():
        lost = _gone(index, gone, done.seen_us or now_us)
        if lost:
            done.told.append(_told_gone(index, lost, done.seen_us))
        _only_once(index)
        index.seen_us = done.seen_us = now_us
    return done


def job_number(folder: Path, path: str) -> int:
    """The number of a job: the same each time, for the same file in the same folder."""
    name = f"{folder}\0{path}".encode("utf-8", "surrogateescape")
    return int.from_bytes(blake2b(name, digest_size=8).digest()) >> 1


def _known(index: Index) -> dict[str, tuple[int | None, ...]]:
    """The stamps of all files at the last look; of None where a file was no longer there."""
    found = index.rows(f"SELECT path, size, mtime, ctime FROM {index.name}.files")
    return {row["path"]: (row["size"], row["mtime"], row["ctime"]) for row in found}


def _read(
    index: Index,
    done: Refreshed,
    records: list[str],
    listing: FolderListing,
    now_us: int,
    patience_s: float,
    progress: Progress | None,
) -> None:
    """Read files and keep their rows, some at a time.

    Raises:
        NoAnswer: nothing came for `patience_s`; what came before is kept.
    """
    for start in range(0, len(records), BATCH):
        some = records[start : start + BATCH]
        found: list[tuple[str, FileRead]] = []

        def read(some: list[str] = some, found: list[tuple[str, FileRead]] = found) -> None:
            for path in some:
                file = index.folder / listing.real.get(path, path)
                found.append((path, read_file(file, now_us)))

        try:
            within(read, lambda found=found: len(found), patience_s)  # type: ignore[misc]
        finally:
            came = found[:]
            _keep(index, came, listing)
            done.read += len(came)
        if progress is not None:
            progress(done.read, len(records))


def _keep(index: Index, found: list[tuple[str, FileRead]], listing: FolderListing) -> None:
    """Put what files are into the index, in the place of what it had of them."""
    if not found:
        return
    paths = [path for path, _ in found]
    before = index.rows(
        f"SELECT path, events FROM {index.name}.files WHERE path IN (SELECT unnest(?))", [paths]
    )
    had = {row["path"] for row in before if row["events"]}
    rows: dict[str, list[Any]] = {table: [] for table in (*OF_A_JOB, "files")}
    unreadable = []
    for path, one in found:
        if path in had and one.status == "unreadable":
            # It may be readable again: what was known of it stands, and it is tried each time.
            unreadable.append((path, say("file.kept", line=one.line)))
            continue
        _add_rows(rows, index.folder, path, one, listing.found[path], path in had)
    fresh = [row["path"] for row in rows["files"]]
    with index.transaction():
        files = f"{index.name}.files"
        index.run(f"DELETE FROM {files} WHERE path IN (SELECT unnest(?))", [fresh])
        index.forget(job_number(index.folder, path) for path in had.intersection(fresh))
        for table, some in rows.items():
            index.insert(table, some)
        for path, line in unreadable:
            sql = f"UPDATE {files} SET status = 'unreadable', line = ?, size = -1 WHERE path = ?"
            index.run(sql, [line, path])


def _add_rows(
    rows: dict[str, list[Any]], folder: Path, path: str, one: FileRead, stamp: FileStamp, had: bool
) -> None:
    job = job_number(folder, path)
    shown = str(folder).encode("utf-8", "surrogateescape").decode("utf-8", "backslashreplace")
    for table, some in one.rows.items():
        for row in some:
            row["job"] = job
        rows[table] += some
    if one.rows:
        one.rows["jobs"][0].update(folder=shown, path=path)
    line = say("file.was_record", line=one.line) if had and not one.events else one.line
    row = {
        "job": job, "folder": shown, "path": path, "status": one.status, "line": line,
        "size_bytes": stamp.size, **stamp._asdict(), "events": one.events, "opening": one.opening,
    }  # fmt: skip
    if one.status == "later":
        row["size"] = -1  # tried each time: lugcall may be newer by then
    rows["files"].append(row)


def _only_once(index: Index) -> None:
    """Of copies of one record, the longest counts; of equal ones, the one that was known first."""
    held = f"status IN {_HELD} AND opening <> ''"
    copies = index.rows(
        f"SELECT path, job, opening FROM {index.name}.files WHERE {held} AND opening IN "
        f"(SELECT opening FROM {index.name}.files WHERE {held} GROUP BY 1 HAVING count(*) > 1) "
        "ORDER BY events DESC, rowid"
    )
    longest: dict[str, str] = {}
    shorter = []
    for row in copies:
        first = longest.setdefault(row["opening"], row["path"])
        if first != row["path"]:
            shorter.append(row["job"])
            index.run(
                f"UPDATE {index.name}.files SET status = 'copy', line = ? WHERE job = ?",
                [say("file.copy", path=first), row["job"]],
            )
    index.forget(shorter)


def _gone(index: Index, gone: list[str], seen_us: int) -> list[str]:
    """Note files that are no longer there; gives those with a job, whose rows stay."""
    if not gone:
        return []
    files, these = f"{index.name}.files", "path IN (SELECT unnest(?))"
    index.run(
        f"UPDATE {files} SET status = 'missing', line = ?, "
        "size = NULL, mtime = NULL, ctime = NULL, seen_utc = make_timestamp(?) "
        f"WHERE {these} AND events > 0 AND status <> 'copy'",
        [say("file.missing"), seen_us, gone],
    )
    index.run(f"DELETE FROM {files} WHERE {these} AND status <> 'missing'", [gone])
    return [row["path"] for row in index.rows(f"SELECT path FROM {files} WHERE {these}", [gone])]


def _when(seen_us: int) -> str:
    return f"{datetime.fromtimestamp(seen_us / 1e6):%Y-%m-%d %H:%M}"


def _last_seen(index: Index, why: str, seen_us: int) -> str:
    if not seen_us:
        return say("folder.never", folder=index.folder, why=why)
    jobs = index.rows(f"SELECT count(*) AS jobs FROM {index.name}.jobs")[0]["jobs"]
    when = _when(seen_us)
    return say("folder.last_seen", folder=index.folder, why=why, jobs=jobs, when=when)


def _told_gone(index: Index, gone: list[str], seen_us: int) -> str:
    names = ", ".join(sorted(gone)[:3])
    if len(gone) > 3:
        names = say("folder.others", names=names)
    which = "folder.gone_one" if len(gone) == 1 else "folder.gone"
    return say(which, folder=index.folder, count=len(gone), when=_when(seen_us), names=names)
