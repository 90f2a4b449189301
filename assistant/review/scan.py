"""What is in a records folder now, asked so that a silent drive cannot hold us up."""

from __future__ import annotations

import os
import stat
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from assistant.record.disk import reason
from assistant.record.folder import SUFFIX
from assistant.review.wording import say

CARDS = ".toml"
_LOOK_S = 0.05
FileStamp = tuple[int, int, int]
"""What tells a changed file from an unchanged one: bytes, and two times in nanoseconds."""


class NoAnswer(Exception):
    """The drive did not answer in time, or the folder cannot be listed; one line."""


@dataclass(slots=True)
class FolderListing:
    """Files below a folder, by their path from it, as text that any program can keep.

    `found` holds their stamps, `real` the true names of those that are not valid text, `problems`
    one line for each folder that could not be listed. `beat` grows while the listing goes on.
    """

    found: dict[str, FileStamp] = field(default_factory=dict)
    real: dict[str, str] = field(default_factory=dict)
    problems: list[str] = field(default_factory=list)
    beat: int = 0


def as_text(path: str) -> str:
    """A path as text: bytes that are no text are shown as `\\xNN`."""
    return path.encode("utf-8", "surrogateescape").decode("utf-8", "backslashreplace")


def is_record(name: str) -> bool:
    return name.endswith(SUFFIX)


def listed(folder: Path, patience_s: float) -> FolderListing:
    """All files below `folder` but hidden ones, cards and clips; links to folders are not followed.

    Raises:
        NoAnswer: it is not there, is no folder, or nothing was heard of it for `patience_s`.
    """
    listing = FolderListing()
    within(lambda: _walk(str(folder), "", listing), lambda: listing.beat, patience_s)
    return listing


def within(work: Callable[[], None], beat: Callable[[], int], patience_s: float) -> None:
    """Do work that may hang in the system; what hangs is left behind, as no one can stop it.

    Raises:
        NoAnswer: `beat` did not grow for `patience_s`, or the work met an OSError.
    """
    errors: list[BaseException] = []

    def run() -> None:
        try:
            work()
        except BaseException as error:
            errors.append(error)

    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    last, since = beat(), time.monotonic()
    while True:
        thread.join(_LOOK_S)
        if not thread.is_alive():
            break
        if (now := beat()) != last:
            last, since = now, time.monotonic()
        elif time.monotonic() - since > patience_s:
            raise NoAnswer(f"it has not answered for {patience_s:g} s")
    for error in errors:
        if isinstance(error, OSError):
            raise NoAnswer(reason(error)[0])
        raise error


def _walk(folder: str, below: str, listing: FolderListing) -> None:
    with os.scandir(folder) as entries:
        folders = []
        for entry in entries:
            listing.beat += 1
            name = entry.name
            if name.startswith(".") or name.endswith(CARDS):
                continue
            try:
                if entry.is_dir(follow_symlinks=False):
                    if not name.endswith(".clips"):
                        folders.append(entry)
                    continue
                facts = entry.stat()
            except OSError:
                facts = None  # a link to nothing, or just removed
            if facts is None or not stat.S_ISREG(facts.st_mode):
                continue  # a device, a pipe, a link to a folder: to open those may hang
            real = f"{below}{name}"
            path = real if real.isascii() else as_text(real)
            if path != real:
                listing.real[path] = real
            listing.found[path] = (facts.st_size, facts.st_mtime_ns, facts.st_ctime_ns)
    for entry in folders:
        try:
            _walk(entry.path, f"{below}{entry.name}/", listing)
        except OSError as error:
            path, why = as_text(below + entry.name), reason(error)[0]
            listing.problems.append(say("file.unlisted", path=path, why=why))
