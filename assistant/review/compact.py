"""Parts brought together, so that a thousand refreshes do not leave a thousand small files."""

from __future__ import annotations

import pyarrow as pa
import pyarrow.parquet as pq

from assistant.review.arrow import array, same, schema
from assistant.review.store import COMPRESSION, ROWS, Manifest, Store

MOST_PARTS = 24
MOST_DEAD = 0.25
"""Of the jobs; more, and queries read too much for nothing."""


def compact(store: Store, manifest: Manifest) -> None:
    """Make one part of the smallest, where there are many; of all, where many jobs are dead."""
    dead = sum(len(jobs) for jobs in manifest.dead.values())
    merged = manifest.parts
    if dead <= max(50, MOST_DEAD * manifest.jobs):
        if len(manifest.parts) <= MOST_PARTS:
            return
        # The large ones stay: a refresh must not write a whole fleet anew for ten jobs.
        merged = sorted(manifest.parts, key=lambda part: _jobs(store, part))[: _few()]
    part = manifest.next_part
    for table in ROWS:
        with pq.ParquetWriter(
            store.part_file(part, table), schema(table), compression=COMPRESSION
        ) as writer:
            for old in merged:
                _copy(store, writer, old, table, part, manifest.dead.get(str(old), []))
    files = pq.ParquetFile(store.place / manifest.files).read().cast(schema("files"))
    parts = [part if old in merged else old for old in files["part"].to_pylist()]
    at = files.schema.get_field_index("part")
    files = files.set_column(at, files.schema.field(at), array(parts, pa.int64()))
    manifest.files = f"files-{manifest.generation + 1:06d}-{part}.parquet"
    pq.write_table(files, store.place / manifest.files, compression=COMPRESSION)
    manifest.dead = {p: jobs for p, jobs in manifest.dead.items() if int(p) not in merged}
    manifest.parts = [p for p in manifest.parts if p not in merged] + [part]
    manifest.next_part = part + 1


def _few() -> int:
    return max(2, MOST_PARTS // 3)


def _jobs(store: Store, part: int) -> int:
    jobs: int = pq.ParquetFile(store.part_file(part, "jobs")).metadata.num_rows
    return jobs


def _copy(
    store: Store, writer: pq.ParquetWriter, old: int, table: str, part: int, dead: list[int]
) -> None:
    import pyarrow.compute as pc

    gone = array(dead, pa.int64())
    file = pq.ParquetFile(store.part_file(old, table))
    # One row group at a time: memory stays that of one, whatever the fleet.
    for group in range(file.num_row_groups):
        rows = file.read_row_group(group)
        if dead:
            rows = rows.filter(pc.invert(pc.is_in(rows["job"], gone)))
        at = rows.schema.get_field_index("part")
        rows = rows.set_column(at, rows.schema.field(at), same(part, rows.num_rows))
        if rows.num_rows:
            writer.write_table(rows)
