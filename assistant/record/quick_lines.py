"""A record's lines read quickly and its chain checked; at the first oddity, read strictly.

A good line is spelled in one way only (`record.events`), so its parts stand at known places and its
hash can be taken over its own bytes, without spelling it again. What this passes is chained and
unchanged. Whatever does not look exactly so goes to `record.chain`, which is slow and has the last
word: no fault is told from here.

A later version of the format may mean other things by the same names, so none of it is guessed at:
its file is listed and skipped until lugcall itself is newer.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from hashlib import sha256
from typing import Any, BinaryIO

import msgspec

from assistant.record.chain import ChainReader, Fault
from assistant.record.events import FORMAT, GENESIS, MAX_LINE, may_follow_closed
from assistant.record.history import line_from_json, line_of, micros

FORMATS = (1,)
"""Versions that are read, in order; the last is the one written now."""
_NAME = FORMAT.rpartition("/")[0]
_LINE = re.compile(
    rb'\{"at":"(\d{4}-\d\d-\d\dT(?:[01]\d|2[0-3]):[0-5]\d:[0-5]\d\.\d{3}'
    rb'[+-]\d\d:\d\d(?::\d\d)?)","data":(\{.*\}),"hash":"([0-9a-f]{64})",'
    rb'"kind":"([a-z][a-z0-9_-]*)","n":(\d+),"prev":"([0-9a-f]{64})"\}\n'
)


class CheckedLines:
    """Iterates over the good lines of a record, as `record.history` has them.

    Attributes:
        count: how many so far; `head` the hash of the last.
        closed: whether the sign-off is among them.
        opening: hash of the first.
        fault: afterwards, None only if all of the file is good.

    Raises:
        RecordError: a line lacks what lugcall always writes (while iterating).
    """

    def __init__(self, stream: BinaryIO) -> None:
        self._stream = stream
        self._good = 0
        self._head = GENESIS.encode()
        self._left_out: list[str] = []
        self.count = 0
        self.closed = False
        self.opening = ""
        self.fault: Fault | None = None

    @property
    def head(self) -> str:
        """Hash of the last good line."""
        return self._head.decode()

    def __iter__(self) -> Iterator[Any]:
        while line := self._stream.readline(MAX_LINE + 1):
            good = self._quickly(line)
            if good is None:
                yield from self._strictly()
                return
            self._good += len(line)
            yield good
        if not self.count:
            yield from self._strictly()

    def _quickly(self, line: bytes) -> Any:
        """One line, or None if it does not look exactly as it should."""
        parts = _LINE.fullmatch(line)
        if parts is None or len(line) > MAX_LINE or not _is_text(line):
            return None
        at, data, digest, named, n, prev = parts.groups()
        hashed = line[: parts.end(2)] + line[parts.end(3) + 1 : -1]
        if prev != self._head or n != b"%d" % self.count:
            return None
        if sha256(hashed).hexdigest().encode() != digest:
            return None
        kind, moment = named.decode(), at.decode()
        if self.closed and not may_follow_closed(kind):
            return None
        try:
            us = micros(moment)
            good = line_from_json(self.count, moment, us, kind, data, self._left_out)
        except ValueError:  # there is no such day, or it is no JSON
            return None
        if not self.count and (kind != "opened" or version_of(good.format) not in FORMATS):
            return None
        self._step(digest, kind)
        return good

    def _step(self, digest: bytes, kind: str) -> None:
        if not self.count:
            self.opening = digest.decode()
        self.count += 1
        self._head = digest
        self.closed = self.closed or kind == "closed"

    def _strictly(self) -> Iterator[Any]:
        self._stream.seek(self._good)
        reader = ChainReader(self._stream)
        reader.good, reader.count = self._good, self.count
        reader.head, reader.closed = self.head, self.closed
        for e in reader:
            good = line_of(e.n, e.at, micros(e.at), e.kind, e.data, self._left_out)
            self._step(e.hash.encode(), e.kind)
            yield good
        self.fault = reader.fault


def _is_text(line: bytes) -> bool:
    """Whether text is in order even in members that a quick decoding passes over."""
    if b"\\ud" in line:
        return False
    if line.isascii():
        return True
    try:
        line.decode()
    except ValueError:
        return False
    return True


def version_of(form: str) -> int | None:
    """The number of a format as records spell it (`lugcall-record/1`); None if it is none."""
    name, _, number = form.rpartition("/")
    plain = number.isascii() and number.isdigit() and not number.startswith("0")
    return int(number) if name == _NAME and plain and len(number) < 9 else None


class _VersionedData(msgspec.Struct):
    format: str


class _VersionedLine(msgspec.Struct):
    data: _VersionedData


def version_told(stream: BinaryIO) -> int | None:
    """The version that the first line of a file tells, whatever else a later one may hold."""
    stream.seek(0)
    line = stream.readline(MAX_LINE)
    if _NAME.encode() not in line:
        return None
    try:
        return version_of(msgspec.json.decode(line, type=_VersionedLine).data.format)
    except (msgspec.DecodeError, RecursionError, UnicodeDecodeError):
        return None
