"""The name of a record's file: when it began, and a hint of what for."""

import re
import unicodedata
from datetime import datetime

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
