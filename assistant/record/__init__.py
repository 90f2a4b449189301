"""The record of a session: append-only, chained by hashes, on the disk before it counts."""

from assistant.record.chain import read_events, seal_of, verify_file
from assistant.record.events import (
    BrokenChain,
    Event,
    NotARecord,
    RecordBusy,
    RecordError,
    WriteFailed,
)
from assistant.record.folder import default_folder, open_jobs, records_in
from assistant.record.journal import Journal

__all__ = [
    "BrokenChain",
    "Event",
    "Journal",
    "NotARecord",
    "RecordBusy",
    "RecordError",
    "WriteFailed",
    "default_folder",
    "open_jobs",
    "read_events",
    "records_in",
    "seal_of",
    "verify_file",
]
