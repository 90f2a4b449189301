"""The few things a record needs of the file system: reach the disk, be alone, say why not."""

import errno
import os
import sys
import tempfile
from pathlib import Path

from assistant import named_file
from assistant.record.events import RecordBusy

_REASONS: dict[int, tuple[str, str]] = {
    errno.ENOSPC: ("no space left on the disk", "free space"),
    errno.EDQUOT: ("this user's share of the disk is used up", "free space"),
    errno.EROFS: ("the disk or folder is read-only", "make it writable"),
    errno.EACCES: ("no permission to write there", "have the permission set right"),
    errno.EPERM: ("no permission to write there", "have the permission set right"),
    errno.EFBIG: ("the file may not grow any more", "have the size limit lifted"),
    errno.EIO: ("the disk reports an error", "have the disk checked"),
    errno.ENOTDIR: ("a part of its folder's path is a file", "move that file or choose a folder"),
    errno.EEXIST: ("a file stands where its folder should be", "move that file"),
    errno.EISDIR: ("it is a folder", "name the record itself"),
    errno.ENOENT: ("it is not there", "check the name"),
    errno.ENAMETOOLONG: ("its name is too long", "choose a shorter one"),
    errno.ELOOP: ("its path is a circle of links", "name the record itself"),
}


def reason(error: OSError) -> tuple[str, str]:
    """Say in plain words what the system refused, and what to do about it."""
    known = _REASONS.get(error.errno or 0)
    return known or (" ".join((error.strerror or str(error)).split()).lower(), "put that right")


def sync_data(fd: int) -> None:
    """Return once the file's bytes, and the length needed to read them, are on the disk.

    fdatasync (POSIX) does that and skips only the likes of the modification time, which
    saves a second trip to the disk for each event; where it is missing, fsync does more.
    Neither can answer for a drive that claims to have written what it holds in its cache.

    Raises:
        OSError: the disk refused. What it holds is then unknown: never try this again.
    """
    if hasattr(os, "fdatasync"):
        os.fdatasync(fd)
    else:
        os.fsync(fd)


def sync_folder(folder: Path) -> None:
    """Make the names in a folder durable; a synced file without a name is a lost file."""
    fd = os.open(folder, os.O_RDONLY | getattr(os, "O_DIRECTORY", 0))
    try:
        os.fsync(fd)
    finally:
        os.close(fd)


def make_folder(folder: Path) -> None:
    """Make a folder and those above it where missing, each one's name durable."""
    if folder.is_dir():
        return
    if folder.parent != folder:
        make_folder(folder.parent)
    folder.mkdir(exist_ok=True)
    sync_folder(folder.parent)


def lock(fd: int, name: str) -> None:
    """Take the file for this session alone, without waiting (flock, let go when closed).

    Raises:
        RecordBusy: another session has it, or the system has no such locks.
    """
    if sys.platform == "win32":
        raise RecordBusy(f"{name} cannot be locked: this system lacks flock. Use Linux or macOS.")
    else:
        import fcntl

        try:
            fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            raise RecordBusy(
                f"The record {name} is open in another session. "
                "Go on there, or end that session and then: lugcall resume"
            ) from error


def same_file(fd: int, path: Path) -> bool:
    """Say if the open file still has its name: not deleted, moved or replaced."""
    here = os.fstat(fd)
    try:
        there = os.stat(path)
    except FileNotFoundError:
        return False
    return here.st_nlink > 0 and (here.st_dev, here.st_ino) == (there.st_dev, there.st_ino)


def write_whole(path: Path, content: bytes, durable: bool = True) -> None:
    """Put a file in place as a whole: whoever opens it finds the old one or the new.

    `durable`: it is on the disk when this returns; what can be made again need not be.

    Raises:
        OSError: the disk did not take it; what stood there is as it was.
    """
    try:
        named_file.refuse_special(path)
        make_folder(path.parent)
        fd, name = tempfile.mkstemp(prefix=".", suffix=".part", dir=path.parent)
    except OSError as error:
        error.filename = str(path)  # which was asked for
        raise
    try:
        try:
            write_all(fd, content)
            if durable:
                os.fsync(fd)
        finally:
            os.close(fd)
        os.chmod(name, 0o644)
        os.replace(name, path)
        if durable:
            sync_folder(path.parent)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise


def write_all(fd: int, block: bytes) -> None:
    """Write the block with one call; after a short write, ask for the rest to learn why.

    Raises:
        OSError: it was not all written; some of it may have been.
    """
    written = os.write(fd, block)
    while written < len(block):
        more = os.write(fd, block[written:])
        if not more:
            raise OSError(errno.EIO, "nothing more was written")
        written += more
