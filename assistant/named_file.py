"""The one way to open what a user names: a regular file, bounded, that nothing has to wait for.

A pipe, a device or a terminal may never end, or never begin; a file in `/proc` may claim to be
empty and wait for news. Whoever reads through this gets bytes or one error in plain words, soon.
"""

from __future__ import annotations

import errno
import io
import os
import stat
import time
from pathlib import Path
from typing import Any

MOST_BYTES = 100_000_000
"""A job's record is some 100 kB; a hundred megabytes is some other file."""
LONGEST_WAIT_S = 20.0
"""As long as a disk may take in all to give up a file, not counting what is done with it."""
_NOT_WAITING = (
    getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_NOCTTY", 0) | getattr(os, "O_CLOEXEC", 0)
)


class Unfit(OSError):
    """What is named is no file to read; `strerror` says why, in plain words."""


def refuse_special(path: Path) -> None:
    """Only what is a regular file, or is not there yet, may be opened, also for writing.

    Raises:
        Unfit: it is something else, after following links.
        OSError: it cannot be looked at.
    """
    try:
        _refuse(os.stat(path), path)
    except FileNotFoundError:
        return
    except ValueError:  # such as one with a zero byte
        raise Unfit(errno.EINVAL, "no such name is possible", str(path)) from None


def descriptor(path: Path, flags: int = os.O_RDONLY) -> int:
    """A regular file's descriptor, opened without waiting. Raises as `refuse_special` does."""
    # Looked at before it is opened: only to open some devices does something.
    refuse_special(path)
    fd = os.open(path, flags | _NOT_WAITING)
    try:
        _refuse(os.fstat(fd), path)
    except BaseException:
        os.close(fd)
        raise
    return fd


def reading(fd: int, most: int = MOST_BYTES, closefd: bool = True) -> io.BufferedReader:
    """The bytes of an open regular file. Raises Unfit while it is read, once it has given more
    than `most`, or taken too long: how long it says it is does not matter."""
    return io.BufferedReader(_Bounded(fd, most, closefd), 1 << 16)


def opened(path: Path, most: int = MOST_BYTES) -> io.BufferedReader:
    """A file for reading its bytes, at most `most` of them.

    Raises:
        Unfit: it is no regular file; while it is read, see `reading`.
        OSError: there is none, or it may not be read.
    """
    return reading(descriptor(path), most)


def whole(path: Path, most: int = MOST_BYTES) -> bytes:
    """All of a file. Raises as `opened` does."""
    with opened(path, most) as file:
        return file.read()


def text_of(data: bytes) -> str:
    """The text of a file's bytes.

    Raises:
        ValueError: it is not UTF-8; the message names the line.
    """
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise ValueError(f"line {line} is not UTF-8 text; save the file as UTF-8") from None


def _refuse(facts: os.stat_result, path: Path) -> None:
    if stat.S_ISDIR(facts.st_mode):
        raise Unfit(errno.EISDIR, "it is no file but a folder", str(path))
    if not stat.S_ISREG(facts.st_mode):
        raise Unfit(errno.EINVAL, "it is no file but a pipe or a device", str(path))


class _Bounded(io.FileIO):
    """A file that gives so many bytes, and keeps its reader waiting so long, and no more."""

    def __init__(self, fd: int, most: int, closefd: bool) -> None:
        super().__init__(fd, "rb", closefd=closefd)
        self._left = self._most = most
        self._waited_s = 0.0

    def readinto(self, block: Any) -> int:
        began = time.monotonic()
        count = super().readinto(block)
        self._waited_s += time.monotonic() - began
        if count is None:  # nothing there now: a regular file never says that
            raise Unfit(errno.EINVAL, "it gives its bytes when it likes, so it is not a file")
        if self._waited_s > LONGEST_WAIT_S:
            raise Unfit(errno.EINVAL, "its disk is too slow to read it")
        self._left -= count
        if self._left < 0:
            much = f"it is too large: over {self._most / 1e6:g} MB it is some other file"
            raise Unfit(errno.EINVAL, much)
        return count

    def readall(self) -> bytes:
        return b"".join(iter(self._piece, b""))

    def _piece(self) -> bytes:
        block = bytearray(1 << 16)
        return bytes(block[: self.readinto(block)])
