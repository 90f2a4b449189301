"""A record's events read quickly and its chain checked; at the first oddity, read strictly.

A good line is spelled in one way only (`record.events`), so its parts stand at known places and its
hash can be taken over its own bytes, without spelling it again. What this passes is chained and
unchanged. Whatever does not look exactly so goes to `record.chain`, which is slow and has the last
word: no fault is told from here.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator
from typing import Any, BinaryIO, NamedTuple

import orjson

from assistant.record.chain import ChainReader, Fault, may_follow_closed
from assistant.record.events import FORMAT, GENESIS, MAX_LINE
from assistant.review.plain import micros

_HEAD = re.compile(
    rb'\{"at":"(\d{4}-\d\d-\d\dT(?:[01]\d|2[0-3]):[0-5]\d:[0-5]\d\.\d{3}'
    rb'[+-]\d\d:\d\d(?::\d\d)?)","data":(?=\{)'
)
_TAIL = re.compile(
    rb',"hash":"([0-9a-f]{64})","kind":"([a-z][a-z0-9_-]*)","n":(0|[1-9]\d{0,8}),'
    rb'"prev":"([0-9a-f]{64})"\}\n'
)
_HASH = b',"hash":"'
_SPLICE = len(_HASH) + 64 + 1


class Line(NamedTuple):
    """One good event: number, time as written and in microseconds, kind, data, hash."""

    n: int
    at: str
    us: int
    kind: str
    data: dict[str, Any]
    hash: str


class Walk:
    """Iterates over the good events of a record from where it was left, as `ChainReader` does.

    Args:
        stream: open for reading, at byte `good`.
        good, count, head, closed: where it was left; the defaults begin a record.

    Attributes:
        good, count, head, closed: as of now; `fault` afterwards is None only if all is good.
    """

    def __init__(
        self,
        stream: BinaryIO,
        good: int = 0,
        count: int = 0,
        head: str = GENESIS,
        closed: bool = False,
    ) -> None:
        self._stream = stream
        self.good, self.count, self.head, self.closed = good, count, head, closed
        self.fault: Fault | None = None

    def __iter__(self) -> Iterator[Line]:
        while line := self._stream.readline(MAX_LINE + 1):
            event = self._quick(line)
            if event is None:
                yield from self._strictly()
                return
            self._took(event, len(line))
            yield event
        if not self.count:
            yield from self._strictly()

    def _took(self, event: Line, length: int) -> None:
        self.good += length
        self.count += 1
        self.head = event.hash
        self.closed = self.closed or event.kind == "closed"

    def _quick(self, line: bytes) -> Line | None:
        head = _HEAD.match(line)
        at = line.rfind(_HASH)
        tail = _TAIL.fullmatch(line, at) if at > 0 else None
        if head is None or tail is None or len(line) > MAX_LINE:
            return None
        digest, kind_bytes, number, prev = tail.groups()
        sha = hashlib.sha256(line[:at])
        sha.update(line[at + _SPLICE : -1])
        hexed, kind = sha.hexdigest(), kind_bytes.decode()
        if (
            hexed.encode() != digest
            or prev.decode() != self.head
            or int(number) != self.count
            or (self.closed and not may_follow_closed(kind))
        ):
            return None
        try:
            when = head[1].decode()
            us = micros(when)
            data = orjson.loads(line[head.end() : at])
        except ValueError:
            return None
        if self.count == 0 and (kind != "opened" or data.get("format") != FORMAT):
            return None
        return Line(self.count, when, us, kind, data, hexed)

    def _strictly(self) -> Iterator[Line]:
        self._stream.seek(self.good)
        reader = ChainReader(self._stream)
        reader.good, reader.count = self.good, self.count
        reader.head, reader.closed = self.head, self.closed
        before = self.good
        for event in reader:
            line = Line(event.n, event.at, micros(event.at), event.kind, event.data, event.hash)
            self._took(line, reader.good - before)
            before = reader.good
            yield line
        self.fault = reader.fault
