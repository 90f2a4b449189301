"""Files that tell one job, which begin with the same first line: which of them counts, and whether
the others tell the same.

A file that was changed is never what the others are held against while a sound one is there. One
that goes on otherwise than the one that counts is damage, although both chains hold: somebody
changed one of them and sealed it anew, or the two were gone on with apart.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING, Any

from assistant.review.columns import BROKEN, COLUMNS, COPY, DAMAGE, DIFFERS
from assistant.review.index import Index, rows_of
from assistant.review.wording import Row, say

if TYPE_CHECKING:
    import duckdb

MARK = 8
"""Letters of a line's hash in a trail: its seal, which two lines share once in 4e9 times."""


def trail_of(hashes: Sequence[str]) -> str:
    """A record in short: what each line's seal is, one after the other."""
    return "".join(one[:MARK] for one in hashes)


def of_one_job(files: Sequence[Row]) -> tuple[Row, Iterator[tuple[Row, str, str]]]:
    """The file that counts, and each other one with what it is, and why, in one line.

    Files are given in the order they came to be known, each with `own` and `own_line` (what it is
    by itself), `sound`, `events`, `trail`, `counted` (whether it counts now) and `name`.
    """
    first = min(
        files,
        key=lambda one: (not one["sound"], -one["events"], one["own"] == "missing",
                         one["own"] == "torn", not one["counted"]),
    )  # fmt: skip
    return first, ((one, *_beside(one, first)) for one in files if one is not first)


def _beside(one: Row, first: Row) -> tuple[str, str]:
    if one["own"] == BROKEN:
        return BROKEN, say("file.broken_copy", line=one["own_line"], path=first["name"])
    if one["own"] in ("unreadable", "missing"):
        return one["own"], one["own_line"]
    if first["trail"].startswith(one["trail"]):
        return COPY, say("file.copy", path=first["name"])
    at = range(0, len(one["trail"]), MARK)
    same = next(i for i in at if one["trail"][i : i + MARK] != first["trail"][i : i + MARK])
    return DIFFERS, say("file.differs", path=first["name"], line=same // MARK + 1)


# --- Over several folders.


class Copies:
    """Of the jobs of all the indexes: which stand in several folders, of which one counts here; and
    of which another file, in whatever folder, tells otherwise.

    They are kept as tables beside the indexes: `apart` (job, status, line) of files whose job does
    not count, `otherwise` (job, text) of the jobs that another file belies.

    Attributes:
        same: how many jobs are left out as mere copies.
        apart, otherwise: whether there are any.
    """

    def __init__(self, connection: duckdb.DuckDBPyConnection, indexes: Sequence[Index]) -> None:
        self._names = [index.name for index in indexes]
        self._run = connection.execute
        files = self._files("of_job, status, line", f"of_job IS NOT NULL AND status IN {DAMAGE}")
        damage = [(row["of_job"], row["name"], row["line"]) for row in files]
        apart: dict[int, tuple[str, str]] = {}
        instead: dict[int, int] = {}
        for first, others in map(of_one_job, self._in_several()):
            for one, status, line in others:
                apart[one["job"]] = status, line
                instead[one["job"]] = first["job"]
                if status in DAMAGE:
                    damage.append((first["job"], one["name"], line))
        self.same = sum(status == COPY for status, _ in apart.values())
        self.apart, self.otherwise = bool(apart), bool(damage)
        told = [
            (instead.get(job, job), say("doubts.otherwise", path=path, line=line))
            for job, path, line in damage
        ]
        self._table("apart", "job BIGINT, status VARCHAR, line VARCHAR",
                    [(job, *what) for job, what in apart.items()])  # fmt: skip
        self._table("otherwise", "job BIGINT, text VARCHAR", told)

    def _in_several(self) -> Iterable[list[Row]]:
        """The files of each job that is in several folders, of each folder the one that counts."""
        if len(self._names) < 2:
            return ()
        every = (f"SELECT opening FROM {name}.files WHERE counted" for name in self._names)
        twice = f"SELECT opening FROM ({' UNION ALL '.join(every)}) GROUP BY 1 HAVING count(*) > 1"
        found = defaultdict[str, list[Row]](list)
        columns = "job, opening, own, own_line, sound, events, trail, counted"
        for row in self._files(columns, f"counted AND opening IN ({twice})"):
            found[row["opening"]].append(row)
        return found.values()

    def _files(self, columns: str, where: str) -> list[Row]:
        name = "folder || '/' || path AS name"
        every = (f"SELECT {columns}, {name} FROM {one}.files WHERE {where}" for one in self._names)
        return rows_of(self._run(" UNION ALL ".join(every)))

    def _table(self, name: str, columns: str, rows: list[tuple[Any, ...]]) -> None:
        self._run(f"CREATE TABLE {name} ({columns})")
        if rows:
            each = ", ".join("unnest(?)" for _ in rows[0])
            self._run(
                f"INSERT INTO {name} SELECT {each}", [list(one) for one in zip(*rows, strict=True)]
            )

    def view(self, table: str, indexes: Sequence[Index]) -> str:
        """The query that gives a table of all the indexes, each job once."""
        names = ", ".join(f'"{column}"' for column in COLUMNS[table])
        parts = []
        for index in indexes:
            some = names
            if table == "files":
                seen_us = index.when("seen_us")
                seen = f"coalesce(seen_utc, make_timestamp({seen_us})) AS seen_utc"
                some = names.replace('"seen_utc"', seen)
            parts.append(f"SELECT {some} FROM {index.name}.{table}")
        every = f"({' UNION ALL '.join(parts)}) AS every"
        if self.apart and table == "files":
            for name in ("status", "line"):
                names = names.replace(
                    f'"{name}"', f"coalesce(apart.{name}, every.{name}) AS {name}"
                )
            return f"SELECT {names} FROM {every} LEFT JOIN apart USING (job)"
        if self.otherwise and table == "jobs":
            more = "(SELECT count(*) FROM otherwise WHERE otherwise.job = every.job)"
            names = names.replace('"doubts"', f"doubts + {more} AS doubts")
        found = f"SELECT {names} FROM {every}"
        if self.apart:
            found += " WHERE job NOT IN (SELECT job FROM apart)"
        if self.otherwise and table == "doubts":
            found += " UNION ALL BY NAME SELECT job, 0 AS n, 'copy' AS kind, text FROM otherwise"
        return found
