"""The pen: puts a block of events on the disk, or takes it back and writes no more."""

import contextlib
import os
from pathlib import Path

from assistant.record.disk import reason, same_file, sync_data, sync_folder, write_all
from assistant.record.errors import RecordError, WriteFailed
from assistant.record.events import Event


class Pen:
    """Holds the open file, its good length in bytes, and the events known to be in it.

    `failed` is set once a write failed. What the disk holds is then no longer sure (after a
    failed sync the system may forget what it could not write), so there is no second try.
    """

    def __init__(self, fd: int, path: Path, events: list[Event], size: int) -> None:
        self.path = path
        self.events = events
        self.failed = False
        self._fd: int | None = fd
        self._size = size

    def settle(self, torn: bool) -> None:
        """Cut off a torn last line, and sync what was found.

        A killed session may have left whole events, or the file's own name, that never
        reached the disk; this session is about to build on them.

        Raises:
            WriteFailed: the disk did not take it.
        """
        fd = self._ready()
        try:
            if torn:
                os.ftruncate(fd, self._size)
            os.fsync(fd)
            sync_folder(self.path.parent)
        except OSError as error:
            raise self._failure(error) from error

    def write(self, events: list[Event], block: bytes) -> None:
        """Write the events' lines with one call and one sync; return when they are durable.

        Raises:
            WriteFailed: they are not, and were taken back where the disk allows it.
            RecordError: the pen was put down.
        """
        fd = self._ready()
        size, count = self._size, len(self.events)
        touched = False
        try:
            self._check_ours(fd, size)
            touched = True
            write_all(fd, block)
            sync_data(fd)
            # Asked again after the sync: what is acknowledged can be found by its name.
            self._check_ours(fd, size + len(block))
            self._size = size + len(block)
            self.events.extend(events)
        except WriteFailed:
            # The file is not ours alone: to cut it could harm what another put there.
            self.failed = True
            raise
        except OSError as error:
            self._take_back(fd, size)
            raise self._failure(error) from error
        except BaseException:
            # An interrupt (Ctrl-C) is no fault of the disk: if all can be taken back, the
            # journal goes on, so that the interrupt itself can be recorded.
            self._size = size
            del self.events[count:]
            self.failed = touched and not self._take_back(fd, size)
            raise

    def put_down(self) -> None:
        """Close the file, which lets go of its lock; all that was written is synced."""
        fd, self._fd = self._fd, None
        if fd is not None:
            with contextlib.suppress(OSError):
                os.close(fd)

    def _ready(self) -> int:
        if self.failed:
            raise WriteFailed(
                "This record failed to be written before, so nothing is added to it now. "
                "Stop work; put right what failed, then: lugcall resume"
            )
        if self._fd is None:
            raise RecordError("This session has let go of its record. Use: lugcall resume")
        return self._fd

    def _check_ours(self, fd: int, size: int) -> None:
        if not same_file(fd, self.path):
            raise WriteFailed(
                "The record could not be written: its file was deleted, moved or replaced. "
                "Stop work; put the file back, then: lugcall resume"
            )
        if os.fstat(fd).st_size != size:
            raise WriteFailed(
                "The record could not be written: another program changed its file. "
                "Stop work; find out which, then: lugcall verify"
            )

    @staticmethod
    def _take_back(fd: int, size: int) -> bool:
        with contextlib.suppress(OSError):
            os.ftruncate(fd, size)
            sync_data(fd)
            return True
        # What stays is a torn or an unacknowledged line; the next session deals with both.
        return False

    def _failure(self, error: OSError) -> WriteFailed:
        self.failed = True
        what, remedy = reason(error)
        return WriteFailed(
            f"The record could not be written: {what}. Stop work; {remedy}, then: lugcall resume"
        )
