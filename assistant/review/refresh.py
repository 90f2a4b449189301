"""Bringing the index of a folder up to date: only what changed is read."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

from assistant.review.compact import compact
from assistant.review.known import Known
from assistant.review.many import Task, read_all
from assistant.review.parts import Parts
from assistant.review.scan import Listing, NoAnswer, is_record, listed
from assistant.review.store import Manifest, Store

PATIENCE_S = 20.0
"""A drive that says nothing for so long is given up for now."""
Progress = Callable[[int, int], None]
"""Called with files read and files to read."""


@dataclass(slots=True)
class Refreshed:
    """What a refresh did. `told`: one line each on what the lead should know.

    `read` files were read, `read_bytes` of them; `manifest` is the snapshot to look at.
    """

    folder: Path
    manifest: Manifest
    told: list[str] = field(default_factory=list)
    read: int = 0
    read_bytes: int = 0


def refresh(
    store: Store,
    patience_s: float = PATIENCE_S,
    progress: Progress | None = None,
    afresh: bool = False,
    processes: int | None = None,
) -> Refreshed:
    """Bring one folder's index up to date, or say why it stays as it was.

    Args:
        store: of the folder.
        patience_s: how long a drive may say nothing.
        progress: told how it goes.
        afresh: read every file again, changed or not.
        processes: to read with; as many as the machine has processors if not given.

    Raises:
        OSError: the index itself cannot be written.
    """
    with store.alone() as alone:
        manifest = store.manifest()
        done = Refreshed(store.folder, manifest)
        if not alone:
            done.told.append(
                f"{store.folder}: another lead is refreshing its index now; "
                f"this is as of {_when(manifest)}"
            )
            return done
        try:
            listing = listed(store.folder, patience_s)
        except NoAnswer as error:
            done.told.append(f"{store.folder}: {error}; {_last_seen(manifest)}")
            return done
        done.told += [f"{store.folder}: {problem}" for problem in listing.problems]
        _bring_up(store, done, listing, patience_s, progress, afresh, processes)
    return done


def _bring_up(
    store: Store,
    done: Refreshed,
    listing: Listing,
    patience_s: float,
    progress: Progress | None,
    afresh: bool,
    processes: int | None,
) -> None:
    manifest = done.manifest
    now_us = time.time_ns() // 1000
    known = Known.of(store, manifest)
    changed = [p for p, stamp in listing.found.items() if afresh or known.differs(p, stamp)]
    gone = known.missing(listing)
    records = [p for p in changed if is_record(p)]
    known.pass_over([p for p in changed if not is_record(p)], listing)
    befores = {} if afresh else known.befores(records)
    if records:
        real = [(p, listing.real.get(p, p), befores.get(p)) for p in records]
        task = Task(str(store.folder), now_us, real)
        try:
            _read(store, done, task, known, listing, patience_s, progress, processes)
        except NoAnswer as error:
            done.told.append(
                f"{store.folder}: {error}; {done.read} of {len(records)} files were read. "
                "Run it again when it answers."
            )
    lost = known.with_job(gone)
    known.gone(gone, manifest.scanned_us or now_us)
    if lost:
        done.told.append(_gone(store, lost, manifest))
    if changed or gone or not manifest.files:
        known.save(store, manifest)
    manifest.scanned_us = now_us
    compact(store, manifest)
    store.save(manifest)
    store.sweep(manifest)


def _read(
    store: Store,
    done: Refreshed,
    task: Task,
    known: Known,
    listing: Listing,
    patience_s: float,
    progress: Progress | None,
    processes: int | None,
) -> None:
    """Read the files of a task into parts; each is there for good once it is full."""
    manifest = done.manifest
    parts = Parts(store, manifest.next_part, len(task.files))

    def finish() -> None:
        if parts.finish():
            manifest.parts.append(parts.part - 1)
            manifest.next_part = parts.part

    try:
        for piece in read_all(task, patience_s, processes):
            parts.add(piece.tables, len(piece.files))
            for path, found in piece.files:
                known.take(path, listing.found[path], found, parts.part)
                done.read += 1
                done.read_bytes += found.read
            if progress is not None:
                progress(done.read, len(task.files))
            if parts.full:
                finish()
                # A build that is cut off, even by the power, goes on from here.
                known.save(store, manifest)
                store.save(manifest)
    except NoAnswer:
        finish()
        raise
    except BaseException:
        parts.drop()
        raise
    finish()


def _when(manifest: Manifest) -> str:
    if not manifest.scanned_us:
        return "never: it was not read before"
    return f"{datetime.fromtimestamp(manifest.scanned_us / 1e6):%Y-%m-%d %H:%M}"


def _last_seen(manifest: Manifest) -> str:
    if not manifest.scanned_us:
        return "nothing of it was read before"
    return f"its {manifest.jobs} jobs are shown as last seen {_when(manifest)}"


def _gone(store: Store, gone: list[str], manifest: Manifest) -> str:
    few = ", ".join(sorted(gone)[:3]) + (" and others" if len(gone) > 3 else "")
    what = "file is" if len(gone) == 1 else "files are"
    return (
        f"{store.folder}: {len(gone)} {what} no longer there, last seen "
        f"{_when(manifest)}: {few}; the jobs in them are kept"
    )
