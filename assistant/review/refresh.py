"""Bringing the index of a folder up to date: only what changed is read."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import datetime
from functools import partial
from hashlib import blake2b
from pathlib import Path
from typing import Any

from assistant.review.columns import OF_A_JOB
from assistant.review.index import Index
from assistant.review.rows import FileRead, read_file
from assistant.review.scan import FolderListing, NoAnswer, as_text, is_record, listed, within
from assistant.review.wording import say

PATIENCE_S = 20.0
"""A drive that says nothing for so long is given up for now."""
BATCH = 200
"""Files read between two commits: what is committed is not read again, whatever happens."""
_HELD = ("record", "torn", "BROKEN CHAIN", "missing", "unreadable")
"""What files with a job can be; the others are no records, or copies of one."""
_THESE = "path IN (SELECT unnest(?))"
Progress = Callable[[int, int], None]
"""Called with files read and files to read."""


@dataclass(slots=True)
class Refreshed:
    """What a refresh did: when the folder was last seen whole, microseconds since 1970 (0: never),
    one line each on what the lead should know, and how many files were read."""

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

    The index is attached to be written. A drive may say nothing for `patience_s`. With `afresh`,
    every file is read again, changed or not.
    """
    done = Refreshed(index.seen_us)

    def tell(sentence: str, **fields: object) -> None:
        done.told.append(say(sentence, folder=index.folder, **fields))

    try:
        listing = listed(index.folder, patience_s)
    except NoAnswer as error:
        jobs = index.run(f"SELECT count(*) AS jobs FROM {index.name}.jobs")[0]["jobs"]
        when = _when(done.seen_us)
        tell("folder.last_seen" if when else "folder.never", why=error, jobs=jobs, when=when)
        return done
    for problem in listing.problems:
        tell("folder.problem", problem=problem)
    known = index.stamps()
    changed = [p for p, stamp in listing.found.items() if afresh or known.get(p) != stamp]
    records = list(filter(is_record, changed))
    others = [(p, FileRead("foreign", say("file.not_one"))) for p in changed if not is_record(p)]
    _keep(index, others, listing)
    try:
        for some in _read(index, records, listing, patience_s):
            done.read += some
            if progress is not None:
                progress(done.read, len(records))
    except NoAnswer as error:
        tell("folder.stopped", why=error, read=done.read, all=len(records))
    with index.transaction():
        lost = _gone(index, listing, known, done.seen_us or time.time_ns() // 1000)
        if lost:
            tell(**_lost(lost), when=_when(done.seen_us))
        _only_once(index)
        index.seen_us = done.seen_us = time.time_ns() // 1000
    return done


def _lost(paths: list[str]) -> dict[str, Any]:
    """Which sentence tells that files are gone, and its blanks."""
    names = ", ".join(sorted(paths)[:3])
    names = say("folder.others", names=names) if len(paths) > 3 else names
    which = "folder.gone_one" if len(paths) == 1 else "folder.gone"
    return {"sentence": which, "count": len(paths), "names": names}


def _when(seen_us: int) -> str:
    return f"{datetime.fromtimestamp(seen_us / 1e6):%Y-%m-%d %H:%M}" if seen_us else ""


def job_number(folder: Path, path: str) -> int:
    """The number of a job: the same each time, for the same file in the same folder."""
    name = f"{folder}\0{path}".encode("utf-8", "surrogateescape")
    return int.from_bytes(blake2b(name, digest_size=8).digest()) >> 1


def _read(
    index: Index, records: list[str], listing: FolderListing, patience_s: float
) -> Iterator[int]:
    """Read files and keep their rows, a batch at a time; gives how many were kept.

    Raises:
        NoAnswer: nothing came for `patience_s`; what came before is kept.
    """
    now_us = time.time_ns() // 1000
    for start in range(0, len(records), BATCH):
        found: list[tuple[str, FileRead]] = []
        files = ((p, index.folder / listing.real.get(p, p)) for p in records[start : start + BATCH])
        some = ((path, read_file(file, now_us)) for path, file in files)
        silent = None
        try:
            within(partial(found.extend, some), found.__len__, patience_s)
        except NoAnswer as error:
            silent = error
        came = found[:]
        _keep(index, came, listing)
        yield len(came)
        if silent is not None:
            raise silent


def _keep(index: Index, found: list[tuple[str, FileRead]], listing: FolderListing) -> None:
    """Put what files are into the index, in the place of what it had of them."""
    if not found:
        return
    files = f"{index.name}.files"
    before = index.run(
        f"SELECT path FROM {files} WHERE {_THESE} AND events > 0", [[path for path, _ in found]]
    )
    had = {row["path"] for row in before}
    rows: dict[str, list[Any]] = {table: [] for table in (*OF_A_JOB, "files")}
    # It may be readable again: what was known of it stands, and it is tried each time.
    unreadable = {p: one for p, one in found if p in had and one.status == "unreadable"}
    for path, one in found:
        if path not in unreadable:
            rows["files"].append(_file_row(index.folder, path, one, listing, path in had))
            _add_rows(rows, one, rows["files"][-1])
    fresh = [row["path"] for row in rows["files"]]
    with index.transaction():
        index.run(f"DELETE FROM {files} WHERE {_THESE}", [fresh])
        index.forget(job_number(index.folder, path) for path in had.intersection(fresh))
        for table, some in rows.items():
            index.insert(table, some)
        for path, one in unreadable.items():
            sql = f"UPDATE {files} SET status = 'unreadable', line = ?, size = -1 WHERE path = ?"
            index.run(sql, [say("file.kept", line=one.line), path])


def _file_row(
    folder: Path, path: str, one: FileRead, listing: FolderListing, had: bool
) -> dict[str, Any]:
    size, mtime, ctime = listing.found[path]
    row = {
        "job": job_number(folder, path), "folder": as_text(str(folder)), "path": path,
        "status": one.status, "size_bytes": size, "size": size, "mtime": mtime, "ctime": ctime,
        "line": say("file.was_record", line=one.line) if had and not one.events else one.line,
        "events": one.events, "opening": one.opening,
    }  # fmt: skip
    # A later version is tried each time: lugcall may be newer by then.
    return row if one.status != "later" else row | {"size": -1}


def _add_rows(rows: dict[str, list[Any]], one: FileRead, file: dict[str, Any]) -> None:
    for table, some in one.rows.items():
        for row in some:
            row["job"] = file["job"]
        rows[table] += some
    if one.rows:
        one.rows["jobs"][0].update(folder=file["folder"], path=file["path"])


def _only_once(index: Index) -> None:
    """Of copies of one record, the longest counts; of equal ones, the one that was known first."""
    files, held = f"{index.name}.files", f"status IN {_HELD} AND opening <> ''"
    copies = index.run(
        f"SELECT path, job, opening FROM {files} WHERE {held} AND opening IN "
        f"(SELECT opening FROM {files} WHERE {held} GROUP BY 1 HAVING count(*) > 1) "
        "ORDER BY events DESC, rowid"
    )
    longest: dict[str, str] = {}
    shorter = []
    for row in copies:
        first = longest.setdefault(row["opening"], row["path"])
        if first != row["path"]:
            shorter.append(row["job"])
            line = say("file.copy", path=first)
            index.run(f"UPDATE {files} SET status = 'copy', line = ? WHERE job = ?",
                      [line, row["job"]])  # fmt: skip
    index.forget(shorter)


def _gone(
    index: Index, listing: FolderListing, known: dict[str, tuple[int | None, ...]], seen_us: int
) -> list[str]:
    """Note files that are no longer there; gives those with a job, whose rows stay."""
    gone = [p for p, stamp in known.items() if stamp[0] is not None and p not in listing.found]
    if not gone:
        return []
    files = f"{index.name}.files"
    index.run(
        f"UPDATE {files} SET status = 'missing', line = ?, size = NULL, mtime = NULL, "
        f"ctime = NULL, seen_utc = make_timestamp(?) "
        f"WHERE {_THESE} AND events > 0 AND status <> 'copy'",
        [say("file.missing"), seen_us, gone],
    )
    index.run(f"DELETE FROM {files} WHERE {_THESE} AND status <> 'missing'", [gone])
    return [row["path"] for row in index.run(f"SELECT path FROM {files} WHERE {_THESE}", [gone])]
