"""The record of a session: append-only, chained by hashes, on the disk before it counts."""

from assistant.record.chain import Verdict, read_events, read_seal, seal_of, verify_file
from assistant.record.events import (
    FORMAT,
    GENESIS,
    MAX_LINE,
    BrokenChain,
    DamagedLine,
    Event,
    NotARecord,
    RecordBusy,
    RecordError,
    Unrecordable,
    WriteFailed,
    parse_line,
    seal_event,
)
from assistant.record.folder import default_folder, newest_unfinished, records_in
from assistant.record.journal import Journal

__all__ = [
    "FORMAT",
    "GENESIS",
    "MAX_LINE",
    "BrokenChain",
    "DamagedLine",
    "Event",
    "Journal",
    "NotARecord",
    "RecordBusy",
    "RecordError",
    "Unrecordable",
    "Verdict",
    "WriteFailed",
    "default_folder",
    "newest_unfinished",
    "parse_line",
    "read_events",
    "read_seal",
    "records_in",
    "seal_event",
    "seal_of",
    "verify_file",
]
