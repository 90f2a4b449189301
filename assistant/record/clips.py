"""What lies beside a record: the sound of confirmed readings, and photos, named by their own hash.

A file is on the disk before the line that refers to it, and only that line holds it in place: a
shop may remove it at any time without harm to the record, but not change it unseen.
"""

from __future__ import annotations

import hashlib
import io
import re
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from assistant import named_file
from assistant.record.disk import reason, write_whole

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

RATE = 16_000
FOLDERS = (".clips", ".photos")
"""Ends of the folders beside a record: of its sound, as FLAC, and of its photos."""
PHOTO = "lead-photo"
"""Kind of the line that puts a photo beside a record; as a lead's it may follow the sign-off."""
REMOVED = "lead-retention"
"""Kind of the line by which a record notes what was removed from beside it."""
_NAME = re.compile(r"[^/\\]+\.(?:clips/([0-9a-f]{16})\.flac|photos/([0-9a-f]{16})\.(?:jpg|png))")

State = Literal["good", "removed", "changed", "unreadable"]
What = Literal["clip", "photo"]


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
    name = f"{Path(record_name).stem}{FOLDERS[0]}/{digest[:16]}.flac"
    try:
        write_whole(folder / name, flac)
    except OSError as error:
        raise ClipError(f"the sound could not be kept: {reason(error)[0]}") from error
    return {"file": name, "sha256": digest, "seconds": round(len(samples) / RATE, 3)}


def held(kind: str, data: Mapping[str, Any]) -> tuple[What, str, str] | None:
    """What an event refers to beside its record: a clip or a photo, its file and hash."""
    what: What = "photo" if kind == PHOTO else "clip"
    told = data.get(what) if kind in (PHOTO, "turn") else None
    if not isinstance(told, dict) or "sha256" not in told:
        return None
    return what, str(told.get("file")), str(told["sha256"])


def noted_removed(kind: str, data: Mapping[str, Any]) -> list[str]:
    """The names of the photos that an event says were removed by rule."""
    names = data.get("photos") if kind == REMOVED else None
    return [str(name) for name in names] if isinstance(names, list) else []


def state(folder: Path, name: str, digest: str) -> State:
    """Whether what a record in `folder` refers to by name and hash is there, unchanged."""
    match = _NAME.fullmatch(name)
    if match is None or digest[:16] not in match.groups():
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
