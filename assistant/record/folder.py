"""The name of a record's file: when it began, and a hint of what for."""

from __future__ import annotations

import os
import re
import unicodedata
from datetime import UTC, datetime
from pathlib import Path

import platformdirs

from assistant import named_file
from assistant.record.chain import verify_file
from assistant.record.disk import reason
from assistant.record.events import (
    MAX_LINE,
    DamagedLine,
    RecordError,
    may_follow_closed,
    parse_line,
)

SUFFIX = ".jsonl"
_STAMP = re.compile(r"(\d{8}-\d{6})-", re.ASCII)


def slug(hint: str) -> str:
    """Reduce a hint to at most 40 of a-z, 0-9 and dashes, safe in any file system."""
    plain = unicodedata.normalize("NFKD", hint).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", plain)[:40].strip("-") or "session"


def file_name(began: datetime, hint: str, attempt: int = 1) -> str:
    """Name a record, like `20261125-091233-unit-12.jsonl`; later attempts add a number."""
    more = "" if attempt == 1 else f"-{attempt}"
    return f"{began:%Y%m%d-%H%M%S}-{slug(hint)}{more}{SUFFIX}"


def began(name: str) -> datetime | None:
    """Read back when a record began (local time) from its file name, if that says so."""
    found = _STAMP.match(name)
    try:
        return datetime.strptime(found[1], "%Y%m%d-%H%M%S").astimezone() if found else None
    except (ValueError, OverflowError):
        return None


# --- The folder of records: where it is, what is in it, and which one to go on with.

_NEAR = 1 << 14
_UNKNOWN = datetime.min.replace(tzinfo=UTC)


def default_folder() -> Path:
    """Give LUGCALL_RECORDS if it is set, else `records` in the user's data folder."""
    chosen = os.environ.get("LUGCALL_RECORDS")
    if chosen:
        try:
            return Path(chosen).expanduser()
        except RuntimeError:
            raise RecordError(f"LUGCALL_RECORDS names no folder: {chosen}. Set another.") from None
    return Path(platformdirs.user_data_dir("lugcall", appauthor=False)) / "records"


def records_in(folder: Path) -> list[Path]:
    """List the files named like records, the newest first; none if there is no folder yet.

    The newest is the one opened last by its own word or its name's; the file system's times
    are not asked, since a copy or a backup changes them.

    Raises:
        RecordError: the folder cannot be listed.
    """
    try:
        with os.scandir(folder) as entries:
            names = [e.name for e in entries if e.name.endswith(SUFFIX) and e.is_file()]
    except FileNotFoundError:
        return []
    except OSError as error:
        what, remedy = reason(error)
        raise RecordError(
            f"The records in {folder} cannot be listed: {what}. "
            f"First {remedy}, or set LUGCALL_RECORDS to another folder."
        ) from error
    paths = [folder / name for name in names]
    # Two begun within a millisecond still come in one and the same order each time.
    return sorted(paths, key=lambda path: (_opened(path), path.name), reverse=True)


def open_jobs(folder: Path) -> list[Path]:
    """The records to go on with, newest first: begun, not closed, and whole but for a torn end.

    Files that are damaged, foreign or cannot be read are passed over; so are those in which nobody
    has done anything yet: what is left of a start that failed must not stand for a job.

    Raises:
        RecordError: the folder cannot be listed.
    """
    found = []
    for path in records_in(folder):
        if _ends_closed(path):
            continue
        verdict = verify_file(path, clips=False)
        if verdict.begun and not verdict.closed and (verdict.ok or verdict.torn):
            found.append(path)
    return found


def _opened(path: Path) -> datetime:
    try:
        with named_file.opened(path) as stream:
            return parse_line(stream.readline(MAX_LINE + 1)).time
    except (OSError, DamagedLine):
        return began(path.name) or _UNKNOWN


def _ends_closed(path: Path) -> bool:
    """Say if "closed" is near the end, which spares checking years of finished records.

    It may only pass over what the whole check would pass over too: a record with a good
    "closed" line at its end is either closed or damaged.
    """
    try:
        with named_file.opened(path) as stream:
            size = stream.seek(0, os.SEEK_END)
            stream.seek(max(0, size - _NEAR))
            lines = stream.read(_NEAR).split(b"\n")
    except OSError:
        return False
    for line in reversed(lines):
        try:
            kind = parse_line(line + b"\n").kind
        except DamagedLine:
            continue
        if not may_follow_closed(kind):
            return kind == "closed"
    return False
