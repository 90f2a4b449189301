"""What is kept of a torn last line after it is cut off."""

import base64
import hashlib
from typing import Any

KEPT = 1 << 16
"""Bytes of a torn line that are kept; more would only be noise, its hash is kept too."""


def repair_note(tail: bytes) -> dict[str, Any]:
    """Describe the bytes cut off, as the data of a "repaired" event.

    `cut_bytes` is their count and `cut_sha256` their hash; `cut_text` holds the first
    `kept_bytes` of them, exactly: as they are where they are UTF-8 ("utf-8" in `encoding`),
    else in Base64 (RFC 4648, "base64").
    """
    kept = tail[:KEPT]
    try:
        text, encoding = kept.decode("utf-8"), "utf-8"
    except UnicodeDecodeError:
        text, encoding = base64.b64encode(kept).decode("ascii"), "base64"
    return {
        "cut_bytes": len(tail),
        "cut_sha256": hashlib.sha256(tail).hexdigest(),
        "cut_text": text,
        "encoding": encoding,
        "kept_bytes": len(kept),
    }
