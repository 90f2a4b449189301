"""Parts of the index being written: rows gathered into groups, and a part finished now and then.

Whatever happens to a long build, what is in finished parts is not read again.
"""

from __future__ import annotations

import time

import pyarrow as pa
import pyarrow.parquet as pq

from assistant.review.arrow import in_part, schema
from assistant.review.store import COMPRESSION, ROWS, Store

GROUP = 500
"""Jobs in a row group: so many that a group costs little beside its rows."""
LEAST, MOST_S, ABOUT = 2000, 30.0, 16
"""A part is full at so many files, or after so many seconds; a large build makes about 16."""


class Parts:
    """Writes parts of one index, one after another.

    Args:
        store: of the folder.
        part: number of the first part.
        files: how many files are to be read in all.
    """

    def __init__(self, store: Store, part: int, files: int) -> None:
        self._store, self.part = store, part
        self._enough = max(LEAST, files // ABOUT)
        self._waiting: list[dict[str, pa.Table]] = []
        self._writers: dict[str, pq.ParquetWriter] = {}
        self._jobs = self._all_jobs = self._files = 0
        self._since = time.monotonic()

    def add(self, tables: dict[str, pa.Table], files: int) -> None:
        """Take in the rows of some files."""
        self._files += files
        jobs = tables["jobs"].num_rows
        self._jobs += jobs
        self._all_jobs += jobs
        self._waiting.append(tables)
        if self._jobs >= GROUP:
            self._write()

    @property
    def full(self) -> bool:
        """Whether it is time to finish this part."""
        late = time.monotonic() - self._since > MOST_S
        return self._files >= self._enough or (late and self._files > 0)

    def finish(self) -> bool:
        """Close the part, and go on with the next; whether any job was in it."""
        jobs = self._all_jobs
        if jobs:
            self._write()
            self.drop()
            self._writers = {}
            self.part += 1
        self._waiting = []
        self._jobs = self._all_jobs = self._files = 0
        self._since = time.monotonic()
        return jobs > 0

    def drop(self) -> None:
        """Close the files of a part, whether it is to count or not."""
        for writer in self._writers.values():
            writer.close()

    def _write(self) -> None:
        if not self._writers:
            self._writers = {
                table: pq.ParquetWriter(
                    self._store.part_file(self.part, table), schema(table), compression=COMPRESSION
                )
                for table in ROWS
            }
        for table, writer in self._writers.items():
            if self._waiting:
                rows = in_part([one[table] for one in self._waiting], self.part)
                if rows.num_rows:
                    writer.write_table(rows)
        self._waiting, self._jobs = [], 0
