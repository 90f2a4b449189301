"""A photo put beside a job: the record holds it by its hash, with a text, as a line of its own.

A photo is kept as it was given, byte for byte, unless it tells more than it shows: where it was
taken, whose the camera is, further pictures or a film behind it. Then it is written anew without
that, and whoever gave it is told; the time it was taken goes into the record's line.
"""

from __future__ import annotations

import hashlib
import io
import warnings
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from assistant import named_file
from assistant.record import Event, RecordError
from assistant.record.clips import FOLDERS, PHOTO
from assistant.record.disk import reason, write_whole
from assistant.review.acts import MAX_TEXT, LeadError, lead_code, not_written, opened

if TYPE_CHECKING:
    from PIL.Image import Image

MOST_BYTES = 25_000_000
"""A phone's photo is 2 to 12 MB."""
MOST_PIXELS = 120_000_000
"""What is shown takes 3 to 4 bytes a pixel of memory while it is looked at."""
_ENDS = {"JPEG": b"\xff\xd9", "PNG": b"IEND\xaeB`\x82"}
_FILES = {"JPEG": "jpg", "MPO": "jpg", "PNG": "png"}
_OWNERS = (0x013B, 0x8298, 0xA430)
"""Of EXIF (CIPA DC-008): artist, copyright, camera owner."""
_TAKEN, _ORIENTATION = 0x9003, 0x0112


@dataclass(frozen=True, slots=True)
class Photo:
    """A photo as it is kept: its bytes, the end of its file's name, when it was taken by the
    camera's clock ("" if not told), and whether a place, or else anything more, was left out."""

    content: bytes
    ending: str
    taken: str = ""
    no_place: bool = False
    no_more: bool = False


def add(
    record: Path, file: Path, code: str, text: str, now: Callable[[], datetime] = datetime.now
) -> tuple[Event, Photo]:
    """Put a photo beside a record, open or finished; both it and its line are on the disk when this
    returns.

    Args:
        code: of who adds it, technician or lead, as `acts.lead_code`.
        text: what is to be seen in it, shown beside it.

    Raises:
        LeadError: it does not fit, is no photo, or the record is in use or damaged, or the disk did
            not take it; nothing was added.
    """
    code, words = lead_code(code, ""), " ".join(text.split())
    if not words:
        raise LeadError("say what the photo shows as well; nothing was added")
    if len(words) > MAX_TEXT:
        raise LeadError(f"that is over {MAX_TEXT} characters; say it shorter. Nothing was added")
    photo = read_photo(file)
    digest = hashlib.sha256(photo.content).hexdigest()
    name = f"{record.stem}{FOLDERS[1]}/{digest[:16]}.{photo.ending}"
    data = {"file": name, "sha256": digest}
    data |= {"taken": photo.taken} if photo.taken else {}
    with opened(record, now) as journal:
        held = (event.data.get("photo") for event in journal.events if event.kind == PHOTO)
        kept = journal.path.parent / name
        was_there = kept.exists()
        if was_there and any(isinstance(one, dict) and one.get("file") == name for one in held):
            raise LeadError(f"{record.name} has this photo already; nothing was added")
        try:
            write_whole(kept, photo.content)
            line = {"lead": code, "text": words, "about": "", "photo": data}
            return journal.append(PHOTO, line), photo
        except RecordError as error:
            if not was_there:
                _forget(kept)
            raise not_written(record, error) from error
        except OSError as error:
            what, remedy = reason(error)
            why = f"{kept} cannot be written: {what}; {remedy}, then do it again"
            raise LeadError(f"{why}. Nothing was added") from error


def _forget(kept: Path) -> None:
    with suppress(OSError):
        kept.unlink()
        kept.parent.rmdir()


def read_photo(file: Path) -> Photo:
    """A photo as it may be kept.

    Raises:
        LeadError: it cannot be read, or is no whole JPEG or PNG within the bounds.
    """
    try:
        raw = named_file.whole(file, MOST_BYTES)
    except OSError as error:
        why = f"{file} cannot be read: {reason(error)[0]}; give a photo, JPEG or PNG"
        raise LeadError(f"{why}. Nothing was added") from None
    from PIL import Image, UnidentifiedImageError

    why = "is damaged, or not whole: take it or copy it again"
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of oddities inside; the size is looked at below
            with Image.open(io.BytesIO(raw), formats=("JPEG", "PNG")) as image:
                if image.width * image.height <= MOST_PIXELS:
                    image.load()
                    return _kept(image, raw)
                why = f"has over {MOST_PIXELS / 1e6:g} million pixels: make it smaller"
    except UnidentifiedImageError:
        why = "is no JPEG or PNG picture: save it as one of them"
    except Image.DecompressionBombError:
        why = f"has over {MOST_PIXELS / 1e6:g} million pixels: make it smaller"
    except Exception:  # whatever a decoder finds in what is not as it should be
        pass
    raise LeadError(f"{file.name} {why}. Nothing was added")


def _kept(image: Image, raw: bytes) -> Photo:
    from PIL.ExifTags import IFD

    exif = image.getexif()
    inner = exif.get_ifd(IFD.Exif)
    taken = _moment(inner.get(_TAKEN))
    beside = [str(value) for key, value in image.info.items() if key not in ("exif", "icc_profile")]
    place = bool(exif.get_ifd(IFD.GPSInfo)) or any("GPS" in one for one in beside)
    form = image.format or ""
    more = (
        any(tag in exif or tag in inner for tag in _OWNERS)
        or bool({"xmp", "photoshop", "comment", *getattr(image, "text", ())} & image.info.keys())
        or getattr(image, "n_frames", 1) > 1
        or not raw.endswith(_ENDS.get(form, b"\0"))
    )
    if not (place or more):
        return Photo(raw, _FILES[form], taken)
    return Photo(_anew(image, exif.get(_ORIENTATION)), _FILES[form], taken, place, more)


def _moment(told: Any) -> str:
    """When a photo was taken, ISO 8601 without an offset; "" where that is not told."""
    try:
        return datetime.strptime(str(told), "%Y:%m:%d %H:%M:%S").isoformat()
    except ValueError:
        return ""


def _anew(image: Image, orientation: Any) -> bytes:
    """The first picture alone, with its colours and the way it is held, and nothing else."""
    from PIL.Image import Exif

    exif, out = Exif(), io.BytesIO()
    if orientation in range(2, 9):
        exif[_ORIENTATION] = orientation
    how: dict[str, Any] = {"format": "JPEG" if image.format == "MPO" else image.format}
    if image.format != "PNG":
        how["quality"] = "keep" if image.format == "JPEG" else 95
        image.info.pop("comment", None)
    image.save(out, exif=exif, icc_profile=image.info.get("icc_profile"), **how)
    return out.getvalue()
