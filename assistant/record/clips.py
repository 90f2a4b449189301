"""The sound of confirmed readings, beside the record: one FLAC file each, named by its own hash.

A clip is on the disk before the line that refers to it, and only that line holds it in place: a
shop may remove clips at any time without harm to the record, but not change one unseen.
"""

from __future__ import annotations

import hashlib
import io
import re
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from assistant import named_file
from assistant.record.disk import reason, write_whole

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

RATE = 16_000
_NAME = re.compile(r"[^/\\]+\.clips/([0-9a-f]{16})\.flac")

State = Literal["good", "removed", "changed", "unreadable"]


class ClipError(Exception):
    """One clear line on why a clip could not be kept; the job goes on without it."""


def keep(folder: Path, record_name: str, samples: npt.NDArray[np.float32]) -> dict[str, Any]:
    """Write a clip beside the record in `folder`, durable when this returns.

    `samples` are mono, `RATE` a second, full scale -1 to 1, shape (n,). Returns what the record
    keeps: `file` (its path from `folder`), `sha256` of the file and `seconds` of sound.

    Raises:
        ClipError: the disk did not take it.
    """
    flac = _flac(samples)
    digest = hashlib.sha256(flac).hexdigest()
    name = f"{Path(record_name).stem}.clips/{digest[:16]}.flac"
    try:
        write_whole(folder / name, flac)
    except OSError as error:
        raise ClipError(f"the sound could not be kept: {reason(error)[0]}") from error
    return {"file": name, "sha256": digest, "seconds": round(len(samples) / RATE, 3)}


def state(folder: Path, name: str, digest: str) -> State:
    """Whether a clip that a record in `folder` refers to by name and hash is there, unchanged."""
    match = _NAME.fullmatch(name)
    if match is None or match[1] != digest[:16]:
        return "changed"
    try:
        with named_file.opened(folder / name) as file:
            same = hashlib.file_digest(file, "sha256").hexdigest() == digest
    except (FileNotFoundError, NotADirectoryError):
        return "removed"
    except OSError:
        return "unreadable"
    return "good" if same else "changed"


def _flac(samples: npt.NDArray[np.float32]) -> bytes:
    # Here, because the text commands read this module and should not wait for these.
    import numpy as np
    import soundfile

    file = io.BytesIO()
    whole = np.clip(np.nan_to_num(samples), -1.0, 1.0)
    soundfile.write(file, whole, RATE, format="FLAC", subtype="PCM_16")
    return file.getvalue()
