"""What only the folders and the jobs together show: it comes to what each record tells by itself.

Copies in several folders, of which one counts; other files of a job that are damage; an odometer
that runs backwards from one job of a truck to its next; a clip or photo that was changed.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from pathlib import PurePosixPath
from typing import TYPE_CHECKING, Any

from assistant.quantity import ODOMETER
from assistant.review.columns import BROKEN, CHANGED, COLUMNS, COPY, DAMAGE, DIFFERS, LOST
from assistant.review.doubts import WEIGHTS
from assistant.review.index import Index, rows_of
from assistant.review.wording import Row, say
from assistant.wear.visits import SHORTEST_MILES

if TYPE_CHECKING:
    import duckdb


# --- Files that tell one job, which begin with the same first line.
#
# A file that was changed is never what the others are held against while a sound one is there. One
# that goes on otherwise than the one that counts is damage, although both chains hold: somebody
# changed one of them and sealed it anew, or the two were gone on with apart.

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


# --- Over all the folders of a review.

_MORE = """
    (SELECT job, count(*) AS more, count(*) FILTER (NOT seen) AS unlooked,
     coalesce(max(weight) FILTER (NOT seen), 0) AS heavy,
     arg_max(text, weight) FILTER (NOT seen) AS told FROM beside GROUP BY job) AS b
"""
_OF_A_JOB = {
    "doubts": "doubts + coalesce(more, 0)",
    "unseen": "unseen + coalesce(unlooked, 0)",
    "weight": "greatest(weight, coalesce(heavy, 0))",
    "reason": "CASE WHEN coalesce(heavy, 0) > weight THEN told ELSE reason END",
}
"""What comes to a job's own columns."""
_RIGHT = """CASE WHEN first_time_right AND job IN (SELECT job FROM returned) THEN false
    ELSE first_time_right END"""


NEAR_CHECK = 0.9
"""A truck that has gone so large a share of the way to the check told to it came for that check."""
AT_LIMIT_IN = 1 / 32
"""Free travel found so near to its limit has reached it: half a division of a rule more than that
would tell nothing."""
RETURN_DAYS = 90
"""Where nothing tells when a truck was to come, it came back if it came sooner than this. From
memory of no data, a first guess."""
_RETURNED = f"""
    SELECT job FROM (
        SELECT *, next_miles - miles AS way FROM (
            SELECT job, odometer_miles AS miles, next_due_miles AS due, ended_utc,
                lead(began_utc) OVER later AS next_utc,
                lead(odometer_miles) OVER later AS next_miles,
                lead(free_found_in - free_limit_in) OVER later AS next_spare_in
            FROM {{jobs}} AND unit <> '' AND job IN (SELECT job FROM {{readings}})
            WINDOW later AS (PARTITION BY unit ORDER BY began_utc, job)))
    WHERE next_utc IS NOT NULL AND CASE
        WHEN way IS NOT NULL AND due > miles THEN way < {NEAR_CHECK} * (due - miles)
        WHEN way >= {SHORTEST_MILES} AND next_spare_in <= {AT_LIMIT_IN} THEN false
        ELSE next_utc < ended_utc + INTERVAL {RETURN_DAYS} DAY END
"""
"""The jobs after which their truck came back before it was to, the same day or later: before the
check told to it, or, where none was told or the odometers are not known, before long and not worn.
A job in which nothing was read is no coming back."""


class Beside:
    """Over all the indexes. Kept as tables beside them: `apart` (job, status, line) of the files
    whose job does not count here, `beside` (kind, text, weight, seen) of the jobs with more doubts,
    `returned` (job) of those after which the truck came back.

    Attributes:
        same: how many jobs are left out as mere copies.
    """

    def __init__(self, connection: duckdb.DuckDBPyConnection, indexes: Sequence[Index]) -> None:
        self._indexes = indexes
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
        self._apart = bool(apart)
        self._table("apart", "job BIGINT, status VARCHAR, line VARCHAR",
                    [(job, *what) for job, what in apart.items()])  # fmt: skip
        told = [
            (instead.get(job, job), "copy", say("doubts.otherwise", path=path, line=line), False)
            for job, path, line in damage
        ]
        told += self._odometers()
        told += self._kept()
        jobs = f"{self._every('jobs')}{self._counting or ' WHERE true'}"
        returned = _RETURNED.format(jobs=jobs, readings=self._every("readings"))
        self._run(f"CREATE TABLE returned AS {returned}")
        self._beside = bool(told)
        self._table("beside", "job BIGINT, kind VARCHAR, text VARCHAR, seen BOOLEAN, weight BIGINT",
                    [(*one, WEIGHTS[one[1]]) for one in told])  # fmt: skip

    def _in_several(self) -> Iterable[list[Row]]:
        """The files of each job that is in several folders, of each folder the one that counts."""
        if len(self._indexes) < 2:
            return ()
        every = (f"SELECT opening FROM {one.name}.files WHERE counted" for one in self._indexes)
        twice = f"SELECT opening FROM ({' UNION ALL '.join(every)}) GROUP BY 1 HAVING count(*) > 1"
        found = defaultdict[str, list[Row]](list)
        columns = "job, opening, own, own_line, sound, events, trail, counted"
        for row in self._files(columns, f"counted AND opening IN ({twice})"):
            found[row["opening"]].append(row)
        return found.values()

    def _files(self, columns: str, where: str) -> list[Row]:
        name = "folder || '/' || path AS name"
        every = (
            f"SELECT {columns}, {name} FROM {one.name}.files WHERE {where}" for one in self._indexes
        )
        return rows_of(self._run(" UNION ALL ".join(every)))

    def _odometers(self) -> Iterator[tuple[int, str, str, bool]]:
        """Jobs at which the odometer of a truck showed less than at the job before."""
        over = "OVER (PARTITION BY unit ORDER BY began_utc, job)"
        columns = "job, unit, asked, odometer_miles AS miles, began_local AS day"
        jobs = f"SELECT {columns}, began_utc FROM {self._every('jobs')}{self._counting}"
        lags = (f"lag({name}) {over} AS {name}_before" for name in ("job", "miles", "day"))
        known = f"({jobs}) WHERE miles IS NOT NULL AND unit <> ''"
        known = f"SELECT *, {', '.join(lags)} FROM {known}"
        for row in rows_of(self._run(f"SELECT * FROM ({known}) WHERE miles < miles_before - 0.5")):
            figures, before = map(self._odometer, (row["job"], row["job_before"]))
            told = say("doubts.odometer", now=figures, before=before, day=row["day_before"][:10])
            yield row["job"], "odometer", told, row["asked"] in ("lead-reviewed", "lead-accepted")

    def _odometer(self, job: int) -> str:
        of_job = f"job = {job} AND as_found AND quantity = '{ODOMETER}'"
        found = rows_of(self._run(f"SELECT figures FROM {self._every('readings')} WHERE {of_job}"))
        return found[0]["figures"] if found else "?"

    def _kept(self) -> Iterator[tuple[int, str, str, bool]]:
        """Jobs with a clip or photo that is not the one that was taken. Those, and each one that
        cannot be read, or is gone without a line that says so, are put among the files."""
        gone = "state = 'removed' AND what = 'photo' AND NOT noted"
        bad = f"state IN ('changed', 'unreadable') OR ({gone})"
        kept = f"SELECT * FROM {self._every('kept')} WHERE {bad}"
        sql = f"SELECT k.*, folder, path FROM ({kept}) AS k JOIN {self._every('jobs')} USING (job)"
        rows = []
        for row in rows_of(self._run(f"SELECT * FROM ({sql}){self._counting} ORDER BY job, n")):
            told = {"what": row["what"], "line": row["n"] + 1, "path": row["path"]}
            status = {"changed": CHANGED, "removed": LOST}.get(row["state"], row["state"])
            line = say(f"file.beside_{row['state']}", **told)
            path = str(PurePosixPath(row["path"]).parent / row["file"])
            rows.append((row["job"], row["folder"], path, status, line, row["seen_utc"]))
            if status == CHANGED:
                yield (
                    row["job"],
                    "photo",
                    say("doubts.not_the_one", **told | {"file": row["file"]}),
                    False,
                )
        kinds = ("BIGINT", "VARCHAR", "VARCHAR", "VARCHAR", "VARCHAR", "TIMESTAMP")
        names = ("job", "folder", "path", "status", "line", "seen_utc")
        self._table("wrong", ", ".join(map(" ".join, zip(names, kinds, strict=True))), rows)

    def _table(self, name: str, columns: str, rows: list[tuple[Any, ...]]) -> None:
        self._run(f"CREATE TABLE {name} ({columns})")
        if rows:
            each = ", ".join("unnest(?)" for _ in rows[0])
            values = [list(one) for one in zip(*rows, strict=True)]
            self._run(f"INSERT INTO {name} SELECT {each}", values)

    # --- The tables of all the indexes as one.

    @property
    def _counting(self) -> str:
        return " WHERE job NOT IN (SELECT job FROM apart)" if self._apart else ""

    def _every(self, table: str) -> str:
        parts = []
        for index in self._indexes:
            names = ", ".join(f'"{column}"' for column in COLUMNS[table])
            if table == "files":
                seen_us = index.when("seen_us")
                seen = f"coalesce(seen_utc, make_timestamp({seen_us})) AS seen_utc"
                names = names.replace('"seen_utc"', seen)
            parts.append(f"SELECT {names} FROM {index.name}.{table}")
        return f"({' UNION ALL '.join(parts)}) AS every"

    def view(self, table: str) -> str:
        """The query that gives a table of all the indexes, each job once."""
        every, columns = self._every(table), dict.fromkeys(COLUMNS[table], "")
        if table == "files":
            found = f"SELECT * FROM {every}"
            if self._apart:
                columns |= {
                    name: f"coalesce(apart.{name}, every.{name})" for name in ("status", "line")
                }
                found = f"SELECT {_named(columns)} FROM {every} LEFT JOIN apart USING (job)"
            return f"{found} UNION ALL BY NAME SELECT * FROM wrong"
        if table == "jobs":
            columns["first_time_right"] = _RIGHT
        if table == "jobs" and self._beside:
            columns |= _OF_A_JOB
            every = f"{every} LEFT JOIN {_MORE} USING (job)"
        found = f"SELECT {_named(columns)} FROM {every}{self._counting}"
        if table == "doubts" and self._beside:
            more = "SELECT job, 0 AS n, kind, text, seen, weight FROM beside"
            found = f"{found} UNION ALL BY NAME {more}"
        return found


def _named(columns: dict[str, str]) -> str:
    return ", ".join(
        f'{what} AS "{name}"' if what else f'"{name}"' for name, what in columns.items()
    )
