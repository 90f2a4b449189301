"""What the index knows of a folder's files: the table of files, taken up and put down again."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from assistant.review.arrow import array, schema, table_of
from assistant.review.many import job_number
from assistant.review.one import Before, Found
from assistant.review.scan import Listing, Stamp
from assistant.review.store import COMPRESSION, Manifest, Store

_JOBS = ("record", "torn", "BROKEN CHAIN", "missing", "unreadable")
_NOT_ONE = "not a record: its name does not end in .jsonl"
Row = dict[str, Any]


class Known:
    """Files by path. Rows that did not change stay in Arrow; only changed ones become Python's."""

    def __init__(self, table: pa.Table, manifest: Manifest, folder: str) -> None:
        self._table, self._manifest, self._folder = table, manifest, folder
        paths = self._placed()
        stamps = (table[name].to_pylist() for name in ("size", "mtime", "ctime"))
        self._stamps = dict(zip(paths, zip(*stamps, strict=True), strict=True))
        self._new: dict[str, Row] = {}
        self._dropped: set[str] = set()
        self._openings: dict[str, Row] | None = None

    def _placed(self) -> list[str]:
        paths: list[str] = self._table["path"].to_pylist()
        self._places = {path: place for place, path in enumerate(paths)}
        return paths

    @classmethod
    def of(cls, store: Store, manifest: Manifest) -> Known:
        """What a snapshot knows."""
        folder = str(store.folder)
        if not manifest.files:
            return cls(table_of("files", []), manifest, folder)
        # Not `read_table`: that imports pyarrow.dataset, and with it pandas.
        table = pq.ParquetFile(store.place / manifest.files).read().cast(schema("files"))
        return cls(table, manifest, folder)

    def differs(self, path: str, stamp: Stamp) -> bool:
        """Whether a file is new, or not as it was."""
        return self._stamps.get(path) != stamp

    def missing(self, listing: Listing) -> list[str]:
        """Files that were there at the last look, and are no longer."""
        gone = self._stamps.keys() - listing.found.keys()
        return [path for path in gone if self._stamps[path][0] is not None]

    def with_job(self, paths: Iterable[str]) -> list[str]:
        """Those of these files that hold a job."""
        return [path for path in paths if (self._row(path) or {}).get("part")]

    def befores(self, paths: Iterable[str]) -> dict[str, Before]:
        """How the open ones among these records were left."""
        found = {}
        for path in paths:
            row = self._row(path)
            if row is not None and row["aside"] is not None:
                found[path] = Before(*(row[k] for k in ("good", "count", "head", "tail", "aside")))
        return found

    def pass_over(self, paths: Iterable[str], listing: Listing) -> None:
        """Files that are not named like records: told, never read."""
        for path in paths:
            self.take(path, listing.found[path], Found("foreign", _NOT_ONE), 0)

    def take(self, path: str, stamp: Stamp, found: Found, part: int) -> None:
        """A file was read into a part: what was known of it before is dead."""
        before = self._row(path)
        job = job_number(self._folder, path)
        was = before is not None and before["count"] > 0
        if was and found.status == "unreadable":
            # It may be readable again: what was known of it stands, and it is tried each time.
            kept = {
                "status": "unreadable",
                "line": f"{found.line}; its job is as it was",
                "size": -1,
            }
            self._new[path] = {**(before or {}), **kept}
            return
        if before is not None:
            self._bury(before)
        if was and not found.count:
            found.line += "; it was a record when it was read last"
        row: Row = {
            "job": job, "folder": self._folder.encode("utf-8", "replace").decode(), "path": path,
            "status": found.status, "line": found.line, "size_bytes": stamp.size,
            **stamp._asdict(), "part": part if found.count else 0, "good": found.good,
            "count": found.count,
            "head": found.head, "opening": found.opening, "tail": found.tail, "aside": found.aside,
        }  # fmt: skip
        if found.status == "later":
            row["size"] = -1  # tried each time: lugcall may be newer by then
        self._new[path] = row
        if found.opening:
            self._only_once(row)

    def _only_once(self, row: Row) -> None:
        """Of copies of one record, the longest counts."""
        if self._openings is None:
            columns = [self._table[name].to_pylist() for name in ("opening", "path", "status")]
            self._openings = {}
            for opening, path, status in zip(*columns, strict=True):
                if opening and status in _JOBS and path not in self._new:
                    self._openings[opening] = {"path": path}
        other = self._openings.get(row["opening"])
        if other is not None and other["path"] != row["path"]:
            rival = self._row(other["path"])
            if rival is not None and rival["status"] in _JOBS:
                longer, shorter = (rival, row) if rival["count"] >= row["count"] else (row, rival)
                self._bury(shorter)
                shorter["status"] = "copy"
                shorter["line"] = f"a copy of {longer['path']}; counted once"
                self._new[shorter["path"]] = shorter
                row = longer
        self._openings[row["opening"]] = {"path": row["path"]}

    def gone(self, paths: Iterable[str], seen_us: int) -> None:
        """Files that are no longer there: their jobs stay, with when they were last seen."""
        for path in paths:
            row = self._row(path)
            if row is None or not row["part"]:
                self._dropped.add(path)
                continue
            line = "no longer there; its job is kept"
            empty = dict.fromkeys(("size", "mtime", "ctime"))
            self._new[path] = {
                **row,
                **empty,
                "seen_utc": seen_us,
                "status": "missing",
                "line": line,
            }

    def _bury(self, row: Row) -> None:
        if row["part"]:
            self._manifest.dead.setdefault(str(row["part"]), []).append(row["job"])

    def _row(self, path: str) -> Row | None:
        if path in self._new:
            return self._new[path]
        place = self._places.get(path)
        if place is None:
            return None
        row: Row = self._table.slice(place, 1).to_pylist()[0]
        return row

    def save(self, store: Store, manifest: Manifest) -> None:
        """Write the table of files for the next snapshot; it may go on after that."""
        if self._new or self._dropped:
            stale = array([*self._new, *self._dropped], pa.string())
            kept = pc.invert(pc.is_in(self._table["path"], stale))
            new = table_of("files", self._new.values())
            self._table = pa.concat_tables([self._table.filter(kept), new]).combine_chunks()
            self._placed()
            self._new, self._dropped = {}, set()
        manifest.files = f"files-{manifest.generation + 1:06d}.parquet"
        pq.write_table(self._table, store.place / manifest.files, compression=COMPRESSION)
        manifest.jobs = self.jobs

    @property
    def jobs(self) -> int:
        """How many records there are, those no longer there among them."""
        # With columns alone: an array or number of Python's makes Arrow import pandas, to see
        # whether it is a series.
        held = self._table["status"].filter(self._table["count"].cast(pa.bool_()))
        each = pc.value_counts(held).to_pylist()
        return sum(one["counts"] for one in each if one["values"] in _JOBS)
