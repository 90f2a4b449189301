"""What can go wrong with a record, each said in one line for the technician."""


class RecordError(Exception):
    """Something is wrong with a record; the message is one line and says what to do."""


class DamagedLine(RecordError):
    """One line is not a whole, unchanged event in canonical form."""


class NotARecord(RecordError):
    """The file is not a lugcall record, or holds no whole event to go on from."""


class BrokenChain(RecordError):
    """A line in the record was changed, lost or moved; `line` is its number, from 1."""

    def __init__(self, message: str, line: int) -> None:
        super().__init__(message)
        self.line = line


class RecordBusy(RecordError):
    """Another session has the record open for writing."""


class Unrecordable(RecordError):
    """The data offered cannot be written as an event; nothing was written, go on."""


class WriteFailed(RecordError):
    """An event did not reach the disk; the journal takes no more events."""
