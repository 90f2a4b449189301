"""The index of one records folder: Parquet parts and a manifest, beside the user's data.

A part is never changed once written; the manifest, replaced in one step, says which parts count and
which jobs in them have been read again since ("dead"). So whoever reads has a whole snapshot,
whatever another lead refreshes meanwhile, and DuckDB and Spark read the very same files.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import time
from collections.abc import Iterator
from dataclasses import asdict, dataclass, field
from pathlib import Path

import platformdirs

from assistant.record.folder import slug
from assistant.review.columns import COLUMNS

LAYOUT = 3
"""Of the index. Another number, and it is built anew: it holds nothing that the records do not."""
COMPRESSION = "snappy"
"""Written twice as quickly as with zstd."""
GRACE_S = 3600.0
"""Files of an older snapshot are kept for so long: somebody may be reading them."""
ROWS = tuple(name for name in COLUMNS if name != "files")


def index_home() -> Path:
    """Where indexes live: LUGCALL_INDEX if set, else the user's cache; never a records folder."""
    chosen = os.environ.get("LUGCALL_INDEX")
    if chosen:
        return Path(chosen)
    return Path(platformdirs.user_cache_dir("lugcall", appauthor=False)) / "review"


@dataclass(slots=True)
class Manifest:
    """One snapshot: `parts` by number, `dead` jobs by part, `files` the table of files."""

    folder: str
    layout: int = LAYOUT
    generation: int = 0
    parts: list[int] = field(default_factory=list)
    dead: dict[str, list[int]] = field(default_factory=dict)
    files: str = ""
    next_part: int = 1
    jobs: int = 0
    scanned_us: int = 0
    """When the folder was last seen whole; 0: never."""


class Store:
    """The index of one folder, on the disk. Creates nothing until something is saved."""

    def __init__(self, folder: Path, home: Path | None = None) -> None:
        self.folder = Path(os.path.abspath(folder))
        digest = hashlib.sha256(os.fsencode(self.folder)).hexdigest()[:12]
        self.place = (home or index_home()) / f"{slug(self.folder.name)}-{digest}"

    def manifest(self) -> Manifest:
        """The snapshot now; an empty one when there is none, or none that can be used."""
        fresh = Manifest(str(self.folder))
        try:
            kept = json.loads((self.place / "manifest.json").read_text(encoding="utf-8"))
            found = Manifest(**kept)
        except (OSError, ValueError, TypeError):
            return fresh
        if found.layout != LAYOUT:
            return fresh
        files = [self.part_file(p, t) for p in found.parts for t in ROWS]
        return found if all(f.exists() for f in [*files, self.place / found.files]) else fresh

    def forget(self) -> None:
        """Let the next refresh build the index anew: what is here cannot be read."""
        (self.place / "manifest.json").unlink(missing_ok=True)

    def save(self, manifest: Manifest) -> None:
        """Make a snapshot the present one, in one step."""
        manifest.generation += 1
        part = self.place / f"manifest.{os.getpid()}.part"
        part.write_text(json.dumps(asdict(manifest), ensure_ascii=True), encoding="utf-8")
        os.replace(part, self.place / "manifest.json")

    def part_file(self, part: int, table: str) -> Path:
        """The file of one table in one part."""
        return self.place / f"part-{part:06d}-{table}.parquet"

    def sweep(self, manifest: Manifest) -> None:
        """Remove what no snapshot of the last hour needs."""
        needed = {self.part_file(p, t).name for p in manifest.parts for t in ROWS}
        needed |= {manifest.files, "manifest.json", "lock"}
        old = time.time() - GRACE_S
        for path in self.place.iterdir():
            with contextlib.suppress(OSError):
                if path.name not in needed and path.stat().st_mtime < old:
                    path.unlink()

    @contextlib.contextmanager
    def alone(self) -> Iterator[bool]:
        """Whether this is the only one to refresh; the lock ends with the block, or the process."""
        self.place.mkdir(parents=True, exist_ok=True)
        with (self.place / "lock").open("a") as file:
            yield _locked(file.fileno())


def _locked(fd: int) -> bool:
    try:
        import fcntl
    except ImportError:  # no such locks here: two leads at once then both do the work
        return True
    try:
        fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    return True
