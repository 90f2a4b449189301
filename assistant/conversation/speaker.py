"""Who spoke: a line may begin `tech:` or `helper:`.

A line without either is the technician's. Nothing the helper must say himself can then come from
a line nobody put a name to.
"""

from __future__ import annotations

import re

_PREFIX = re.compile(r"\s*(tech|technician|helper|t|h)\s*:\s*(.*)$", re.I | re.S)


def split_speaker(line: str) -> tuple[str, str]:
    """("tech" or "helper", the words)."""
    m = _PREFIX.match(line)
    if m is None:
        return "tech", line.strip()
    return ("helper" if m[1].lower().startswith("h") else "tech"), m[2].strip()
