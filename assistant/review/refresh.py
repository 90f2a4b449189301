"""Bringing the index of a folder up to date: only what changed is read.

What is in the folder now is asked so that a silent drive cannot hold us up.
"""

from __future__ import annotations

import os
import stat
import threading
import time
from collections import defaultdict
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime
from functools import partial
from hashlib import blake2b
from pathlib import Path, PurePosixPath

from assistant.record.clips import FOLDERS, state
from assistant.record.disk import reason
from assistant.record.folder import SUFFIX
from assistant.review.beside import of_one_job
from assistant.review.columns import OF_A_JOB
from assistant.review.index import Index
from assistant.review.rows import FileRead, read_file
from assistant.review.wording import Row, say, say_many

PATIENCE_S = 20.0
"""A drive that says nothing for so long is given up for now."""
BATCH = 200
"""Files read between two commits: what is committed is not read again, whatever happens."""
_LOOK_S = 0.05
_THESE = "path IN (SELECT unnest(?))"
CARDS = ".toml"


class Refresh:
    """Brings one folder's index, attached to be written, up to date; or says why it cannot.

    `patience_s` is how long a drive may say nothing, `progress` is called with files read and files
    to read, and `afresh` reads every file again, changed or not.

    Attributes:
        told: one line each on what the lead should know.
        read: how many files were read.
        seen_us: when the folder was last seen whole, microseconds since 1970; 0: never.
    """

    def __init__(
        self,
        index: Index,
        patience_s: float = PATIENCE_S,
        progress: Callable[[int, int], None] = lambda read, of: None,
        afresh: bool = False,
    ) -> None:
        self.told: list[str] = []
        self.read, self.seen_us = 0, index.when("seen_us")
        self._index, self._files = index, f"{index.name}.files"
        try:
            self._listing = listed(index.folder, patience_s)
        except NoAnswer as error:
            jobs = index.run(f"SELECT count(*) AS jobs FROM {index.name}.jobs")[0]["jobs"]
            which = "folder.last_seen" if self.seen_us else "folder.never"
            self._tell(which, why=error, jobs=jobs, when=_when(self.seen_us))
            return
        for problem in self._listing.problems:
            self._tell("folder.problem", problem=problem)
        known = index.stamps()
        changed = [p for p, stamp in self._listing.found.items() if afresh or known.get(p) != stamp]
        records = [path for path in changed if path.endswith(SUFFIX)]
        other = FileRead("foreign", say("file.not_one"))
        self._keep([(path, other) for path in changed if not path.endswith(SUFFIX)])
        try:
            for start in range(0, len(records), BATCH):
                self._read_some(records[start : start + BATCH], patience_s)
                progress(self.read, len(records))
        except NoAnswer as error:
            self._tell("folder.stopped", why=error, read=self.read, all=len(records))
        gone = [p for p, stamp in known.items()
                if stamp[0] is not None and p not in self._listing.found]  # fmt: skip
        self._gone(gone)
        self._tell_copies_apart(patience_s)
        self._look_beside(patience_s)
        self._tell_gone(gone)
        self.seen_us = time.time_ns() // 1000
        index.note(seen_us=self.seen_us)

    def _tell(self, sentence: str, **fields: object) -> None:
        self.told.append(say(sentence, folder=self._index.folder, **fields))

    def _read_some(self, records: list[str], patience_s: float) -> None:
        """Read files and keep their rows.

        Raises:
            NoAnswer: nothing came for `patience_s`; what came before is kept.
        """
        now_us, real = time.time_ns() // 1000, self._listing.real
        found: list[tuple[str, FileRead]] = []
        some = ((p, read_file(self._index.folder / real.get(p, p), now_us)) for p in records)
        try:
            within(partial(found.extend, some), found.__len__, patience_s)
        finally:
            came = found[:]
            self._keep(came)
            self.read += len(came)

    def _keep(self, found: list[tuple[str, FileRead]]) -> None:
        """Put what files are into the index, in the place of what it had of them."""
        if not found:
            return
        run, files = self._index.run, self._files
        what = "path, trail, own, epoch_us(fresh_utc) AS fresh_us"
        sql = f"SELECT {what} FROM {files} WHERE {_THESE} AND events > 0"
        known = {row["path"]: row for row in run(sql, [[path for path, _ in found]])}
        had = set(known)
        rows: dict[str, list[Row]] = {table: [] for table in (*OF_A_JOB, "files")}
        # It may be readable again: what was known of it stands, and it is tried each time.
        unreadable = {p: one for p, one in found if p in had and one.status == "unreadable"}
        for path, one in found:
            if path not in unreadable:
                file = self._file_row(path, one, path in had)
                was = known.get(path)
                if was is not None and (was["trail"], was["own"]) == (one.trail, one.status):
                    file["fresh_utc"] = was["fresh_us"]
                rows["files"].append(file)
                for table, some in one.rows.items():
                    rows[table] += [{"job": file["job"], **row} for row in some]
                if one.rows:
                    rows["jobs"][-1].update(folder=file["folder"], path=path)
        fresh = [row["path"] for row in rows["files"]]
        with self._index.transaction():
            run(f"DELETE FROM {files} WHERE {_THESE}", [fresh])
            again = had.intersection(fresh)
            self._index.forget(job_number(self._index.folder, path) for path in again)
            for table, some in rows.items():
                self._index.insert(table, some)
            sql = f"UPDATE {files} SET own = ?, status = own, own_line = ?, line = own_line, \
size = -1 WHERE path = ?"
            for path, one in unreadable.items():
                run(sql, ["unreadable", say("file.kept", line=one.line), path])
            self._index.note(changed_us=time.time_ns() // 1000)

    def _file_row(self, path: str, one: FileRead, had: bool) -> Row:
        folder, (size, mtime, ctime) = self._index.folder, self._listing.found[path]
        row = {
            "job": job_number(folder, path), "folder": as_text(str(folder)), "path": path,
            "status": one.status, "size_bytes": size, "size": size, "mtime": mtime, "ctime": ctime,
            "line": say("file.was_record", line=one.line) if had and not one.events else one.line,
            "events": one.events, "opening": one.opening, "trail": one.trail, "own": one.status,
            "sound": one.status in ("record", "torn"), "counted": bool(one.rows),
            "fresh_utc": time.time_ns() // 1000,
        }  # fmt: skip
        row["own_line"] = row["line"]
        # A later version is tried each time: lugcall may be newer by then.
        return row if one.status != "later" else row | {"size": -1}

    def _tell_copies_apart(self, patience_s: float) -> None:
        """Of files of one job one counts; the others are copies of it, or damage."""
        if self._index.when("settled_us") == self._index.when("changed_us"):
            return
        # What counts now may have been passed over until now: then its rows are not there.
        found = self._listing.found
        again = [first["path"] for first, _ in self._of_one_job()
                 if not first["counted"] and first["path"] in found]  # fmt: skip
        try:
            if again:
                self._read_some(again, patience_s)
        except NoAnswer as error:
            self._tell("folder.stopped", why=error, read=0, all=len(again))
        with self._index.transaction():
            for first, others in self._of_one_job():
                self._set(first, first["own"], first["own_line"], None)
                for one, status, line in others:
                    self._set(one, status, line, first["job"])
            self._index.note(settled_us=self._index.when("changed_us"))

    def _of_one_job(self) -> Iterator[tuple[Row, Iterator[tuple[Row, str, str]]]]:
        files, by_opening = self._files, defaultdict[str, list[Row]](list)
        for row in self._index.run(
            f"SELECT * EXCLUDE (seen_utc), path AS name FROM {files} WHERE opening <> '' AND "
            f"(status <> own OR opening IN (SELECT opening FROM {files} WHERE opening <> '' "
            "GROUP BY 1 HAVING count(*) > 1)) ORDER BY rowid"
        ):
            by_opening[row["opening"]].append(row)
        return map(of_one_job, by_opening.values())

    def _set(self, file: Row, status: str, line: str, of_job: int | None) -> None:
        """What a file is among those of its job; one that does not count has no rows."""
        run, files, job = self._index.run, self._files, file["job"]
        if of_job is not None and file["counted"]:
            self._index.forget([job])
        if of_job is not None and file["own"] == "missing":
            run(f"DELETE FROM {files} WHERE job = ?", [job])  # it was moved, and lost nothing
        elif (status, line, of_job) != (file["status"], file["line"], file["of_job"]):
            sql = f"UPDATE {files} SET status = ?, line = ?, of_job = ?, counted = ? WHERE job = ?"
            run(sql, [status, line, of_job, of_job is None, job])

    def _look_beside(self, patience_s: float) -> None:
        """Whether each clip and photo is still the one that its record holds by its hash: read when
        it is new here, or its size or times changed."""
        run, name = self._index.run, self._index.name
        sql = f"SELECT k.rowid AS id, k.file, k.sha256, k.stamp, f.path FROM {name}.kept AS k JOIN \
{self._files} AS f ON k.job = f.job WHERE f.own NOT IN ('missing', 'unreadable')"
        todo, there = list[tuple[Row, Path, str]](), self._listing.beside
        for row in run(sql):
            stamp = there.get(str(PurePosixPath(row["path"]).parent / row["file"]), "")
            if row["stamp"] != stamp:
                real = str(self._listing.real.get(row["path"], row["path"]))
                todo.append((row, (self._index.folder / real).parent, stamp))
        if not todo:
            return
        states = list[str]()
        looked = (state(folder, row["file"], row["sha256"]) for row, folder, _ in todo)
        try:
            within(partial(states.extend, looked), states.__len__, patience_s)
        except NoAnswer as error:
            self._tell("folder.stopped", why=error, read=len(states), all=len(todo))
        sql = f"UPDATE {name}.kept SET state = ?, stamp = ?, \
seen_utc = CASE WHEN ? = 'removed' THEN seen_utc ELSE make_timestamp(?) END WHERE rowid = ?"
        now_us = time.time_ns() // 1000
        with self._index.transaction():
            for (row, _, stamp), how in zip(todo, states[:], strict=False):
                run(sql, [how, stamp, how, now_us, row["id"]])

    def _gone(self, gone: list[str]) -> None:
        """Note files that are no longer there; the rows of their jobs stay."""
        if not gone:
            return
        run, files = self._index.run, self._files
        line, now_us = say("file.missing"), time.time_ns() // 1000
        with self._index.transaction():
            run(
                f"UPDATE {files} SET own = 'missing', status = 'missing', own_line = ?, line = ?, "
                f"size = NULL, mtime = NULL, ctime = NULL, seen_utc = make_timestamp(?) "
                f"WHERE {_THESE} AND counted",
                [line, line, self.seen_us or now_us, gone],
            )
            run(f"DELETE FROM {files} WHERE {_THESE} AND NOT counted", [gone])
            self._index.note(changed_us=now_us)

    def _tell_gone(self, gone: list[str]) -> None:
        """Tell of those with a job; one that was moved is not lost."""
        sql = f"SELECT path FROM {self._files} WHERE {_THESE}"
        lost = [row["path"] for row in self._index.run(sql, [gone])] if gone else []
        names = ", ".join(sorted(lost)[:3])
        if len(lost) > 3:
            names = say("folder.others", names=names)
        if lost:
            when, folder = _when(self.seen_us), self._index.folder
            self.told.append(
                say_many("folder.gone", len(lost), folder=folder, names=names, when=when)
            )


def _when(seen_us: int) -> str:
    return f"{datetime.fromtimestamp(seen_us / 1e6):%Y-%m-%d %H:%M}" if seen_us else ""


def job_number(folder: Path, path: str) -> int:
    """The number of a job: the same each time, for the same file in the same folder."""
    name = f"{folder}\0{path}".encode("utf-8", "surrogateescape")
    return int.from_bytes(blake2b(name, digest_size=8).digest()) >> 1


# --- What is in the folder now.


class NoAnswer(Exception):
    """The drive did not answer in time, or the folder cannot be listed; one line."""


@dataclass(slots=True)
class FolderListing:
    """Files below a folder, by their path from it, as text that any program can keep.

    `found` holds bytes and two times in nanoseconds, which tell a changed file from an unchanged
    one; `real` the true names of those that are not valid text; `problems` one line for each folder
    that could not be listed. `beside` holds the same of clips and photos, in one text each. `beat`
    grows while the listing goes on.
    """

    found: dict[str, tuple[int, int, int]] = field(default_factory=dict)
    beside: dict[str, str] = field(default_factory=dict)
    real: dict[str, str] = field(default_factory=dict)
    problems: list[str] = field(default_factory=list)
    beat: int = 0


def as_text(path: str) -> str:
    """A path as text: bytes that are no text are shown as `\\xNN`."""
    return path.encode("utf-8", "surrogateescape").decode("utf-8", "backslashreplace")


def listed(folder: Path, patience_s: float) -> FolderListing:
    """All files below `folder` but hidden ones, cards, clips and photos of records; links to
    folders are not followed.

    Raises:
        NoAnswer: it is not there, is no folder, or nothing was heard of it for `patience_s`.
    """
    listing = FolderListing()
    within(lambda: _walk(str(folder), "", listing), lambda: listing.beat, patience_s)
    return listing


def within(work: Callable[[], None], beat: Callable[[], int], patience_s: float) -> None:
    """Do work that may hang in the system; what hangs is left behind, as no one can stop it.

    Raises:
        NoAnswer: `beat` did not grow for `patience_s`, or the work met an OSError.
    """
    errors: list[BaseException] = []

    def run() -> None:
        try:
            work()
        except BaseException as error:
            errors.append(error)

    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    last, since = beat(), time.monotonic()
    while True:
        thread.join(_LOOK_S)
        if not thread.is_alive():
            break
        if (now := beat()) != last:
            last, since = now, time.monotonic()
        elif time.monotonic() - since > patience_s:
            raise NoAnswer(f"it has not answered for {patience_s:g} s")
    for error in errors:
        if isinstance(error, OSError):
            raise NoAnswer(reason(error)[0])
        raise error


def _beside(folder: os.DirEntry[str], below: str, listing: FolderListing) -> None:
    """The clips or photos of one record; what cannot be listed is not there."""
    with suppress(OSError), os.scandir(folder.path) as entries:
        for entry in entries:
            listing.beat += 1
            facts = entry.stat()
            path = as_text(f"{below}{folder.name}/{entry.name}")
            listing.beside[path] = f"{facts.st_size} {facts.st_mtime_ns} {facts.st_ctime_ns}"


def _walk(folder: str, below: str, listing: FolderListing) -> None:
    with os.scandir(folder) as entries:
        folders = []
        for entry in entries:
            listing.beat += 1
            name = entry.name
            if name.startswith(".") or name.endswith(CARDS):
                continue
            try:
                if entry.is_dir(follow_symlinks=False):
                    if name.endswith(FOLDERS):
                        _beside(entry, below, listing)
                    else:
                        folders.append(entry)
                    continue
                facts = entry.stat()
            except OSError:
                facts = None  # a link to nothing, or just removed
            if facts is None or not stat.S_ISREG(facts.st_mode):
                continue  # a device, a pipe, a link to a folder: to open those may hang
            real = f"{below}{name}"
            path = real if real.isascii() else as_text(real)
            if path != real:
                listing.real[path] = real
            listing.found[path] = (facts.st_size, facts.st_mtime_ns, facts.st_ctime_ns)
    for entry in folders:
        try:
            _walk(entry.path, f"{below}{entry.name}/", listing)
        except OSError as error:
            path, why = as_text(below + entry.name), reason(error)[0]
            listing.problems.append(say("file.unlisted", path=path, why=why))
