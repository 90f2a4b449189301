"""What can go wrong with a record, each said in one line for the technician."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import msgspec


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


class TornEnd(RecordError):
    """The last line is torn, and is not for this one to cut off."""


class RecordBusy(RecordError):
    """Another session has the record open for writing."""


class Unrecordable(RecordError):
    """The data offered cannot be written as an event; nothing was written, go on."""


class WriteFailed(RecordError):
    """An event did not reach the disk; the journal takes no more events."""


# --- One event of a record: its canonical line, its hash, and reading it back.
#
# A line is the JSON of an object with the members at, data, hash, kind, n and prev. The hash
# is SHA-256 (FIPS 180-4) over the UTF-8 bytes of the canonical JSON of that object without
# `hash`: members sorted, no spaces, characters not escaped unless JSON requires it, no NaN or
# infinity. This follows the idea of RFC 8785 (hash one fixed spelling of the JSON) but is not
# that standard: names are sorted by code point, not by UTF-16 unit, and numbers are spelled as
# Python spells them (1.0 stays 1.0 and whole numbers may have any size). That spelling of a
# float is the shortest one that reads back as the same double, so floats come back exactly.

FORMAT = "lugcall-record/1"
VERSION = int(FORMAT.rpartition("/")[2])
GENESIS = "0" * 64
"""The `prev` of the first event, which follows nothing."""
MAX_LINE = 1 << 20
"""Longest line, in bytes with its newline; also the longest group written at once."""

_MEMBERS = {"at", "data", "hash", "kind", "n", "prev"}
_HEX = re.compile(r"[0-9a-f]{64}", re.ASCII)
_AT = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}[+-]\d\d:\d\d(:\d\d)?", re.ASCII)
_FORMAT = re.compile(r"lugcall-record/([1-9]\d{0,7})", re.ASCII)
_encode = json.JSONEncoder(
    ensure_ascii=False, allow_nan=False, sort_keys=True, separators=(",", ":")
).encode


@dataclass(frozen=True, slots=True)
class Event:
    """One sealed event.

    `n` counts from 0; `at` is local time with its offset, to the millisecond (ISO 8601);
    `data` is plain JSON; `prev` and `hash` are SHA-256 in lower-case hex.
    """

    n: int
    at: str
    kind: str
    data: dict[str, Any]
    prev: str
    hash: str

    @property
    def time(self) -> datetime:
        """The moment of the event, with its offset; order is by `n`, never by this."""
        return datetime.fromisoformat(self.at)


def stamp(moment: datetime) -> str:
    """Spell a moment as `at` does; one without an offset is taken as local time."""
    local = moment.astimezone() if moment.utcoffset() is None else moment
    return local.isoformat(timespec="milliseconds")


def _spell(n: int, at: str, kind: str, data: Mapping[str, Any], prev: str) -> tuple[str, bytes]:
    # The members are spliced in their sorted order so that the data, by far the longest
    # part, is encoded once and not twice (once to hash it, once to write it).
    head = f'{{"at":{_encode(at)},"data":{_encode(data)},'.encode()
    tail = f'"kind":{_encode(kind)},"n":{_encode(n)},"prev":{_encode(prev)}}}'.encode()
    digest = hashlib.sha256(head + tail).hexdigest()
    return digest, head + b'"hash":"' + digest.encode() + b'",' + tail + b"\n"


def seal_event(
    n: int, at: str, kind: str, data: Mapping[str, Any], prev: str
) -> tuple[Event, bytes]:
    """Hash an event into the chain; give it and its line as bytes, newline included.

    The event is read back from its own line: whatever is accepted here is known to be
    readable later, and the event shares nothing with `data`, which the caller may change.
    Tuples become lists and keys that are not text become text, as JSON has it.

    Raises:
        Unrecordable: the data is not JSON (NaN, lone surrogates, objects, ...) or too long.
    """
    try:
        line = _spell(n, at, kind, data, prev)[1]
        event = parse_line(line)
    except (TypeError, ValueError, RecursionError, DamagedLine) as error:
        why = " ".join(str(error).split())
        raise Unrecordable(
            f'The event "{_plain(kind)}" cannot be recorded: {why}. '
            "Nothing was written; give the value again in another form."
        ) from error
    return event, line


def parse_line(line: bytes) -> Event:
    """Read one line, newline included, and check every byte of it.

    The line must be exactly what `seal_event` would write for what it says, so a changed
    space, a doubled member or another spelling of a number shows just as a changed value.

    Raises:
        DamagedLine: it is not; the message says why in a few words.
    """
    if len(line) > MAX_LINE:
        raise DamagedLine(f"it is longer than {MAX_LINE} bytes")
    try:
        members = json.loads(line.decode("utf-8"))
    except (ValueError, RecursionError) as error:
        raise DamagedLine("it is not JSON in UTF-8") from error
    if not isinstance(members, dict) or members.keys() != _MEMBERS:
        raise DamagedLine("it does not have the members of an event")
    event = Event(**members)
    _check_members(event)
    try:
        digest, again = _spell(event.n, event.at, event.kind, event.data, event.prev)
    except (ValueError, RecursionError) as error:
        raise DamagedLine("it holds a value that a record cannot hold") from error
    if digest != event.hash:
        raise DamagedLine("its hash does not fit what it says")
    if again != line:
        raise DamagedLine("it is not in canonical form")
    return event


_LINE = re.compile(
    rb'\{"at":"([^"\\]*)","data":(\{.*\}),"hash":"([0-9a-f]{64})",'
    rb'"kind":"([a-z][a-z0-9_-]*)","n":(0|[1-9]\d{0,17}),"prev":"([0-9a-f]{64})"\}\n'
)


def parse_quickly(line: bytes) -> Event:
    """As `parse_line`, without spelling the line again: its hash is taken over its own bytes.

    For reading many records. What does not look exactly as it should goes to `parse_line`, which
    has the last word. Raises DamagedLine as that does.
    """
    parts = _LINE.fullmatch(line) if len(line) <= MAX_LINE else None
    if parts is None:
        return parse_line(line)
    at, data, digest, kind, n, prev = parts.groups()
    hashed = line[: parts.end(2)] + line[parts.end(3) + 1 : -1]
    try:
        if hashlib.sha256(hashed).hexdigest().encode() != digest:
            return parse_line(line)
        event = Event(int(n), at.decode(), kind.decode(), msgspec.json.decode(data),
                      prev.decode(), digest.decode())  # fmt: skip
    except (ValueError, RecursionError):
        return parse_line(line)
    _check_time(event.at)  # the pattern has checked the rest
    return event


def version_told(line: bytes) -> int | None:
    """The version of the format that a first line tells, whatever else a later one may hold."""
    try:
        found = _FORMAT.fullmatch(json.loads(line)["data"]["format"])
    except (ValueError, LookupError, TypeError, RecursionError):
        return None
    return int(found[1]) if found else None


def _check_members(event: Event) -> None:
    # type() and not isinstance(): a JSON `true` is a Python bool, which is also an int.
    if type(event.n) is not int or event.n < 0:
        raise DamagedLine("its number is not a count")
    _check_time(event.at)
    if not isinstance(event.kind, str) or not event.kind:
        raise DamagedLine("its kind is not a word")
    if not isinstance(event.data, dict):
        raise DamagedLine("its data is not an object")
    for value in (event.prev, event.hash):
        if not isinstance(value, str) or not _HEX.fullmatch(value):
            raise DamagedLine("a hash in it is not 64 hex digits")


def _check_time(at: object) -> None:
    if not isinstance(at, str) or not _AT.fullmatch(at):
        raise DamagedLine("its time is not ISO 8601 with milliseconds and offset")
    try:
        datetime.fromisoformat(at)
    except ValueError as error:
        raise DamagedLine("its time does not exist") from error


def _plain(text: object) -> str:
    """Make text safe to show on one line of any terminal."""
    return ascii(str(text))[1:-1][:60]


def may_follow_closed(kind: str) -> bool:
    """Say if an event may come after "closed": a shop lead's, or a repair of such a one."""
    return kind.startswith("lead-") or kind == "repaired"
