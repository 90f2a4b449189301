"""A record's events read quickly and its chain checked; at the first oddity, read strictly.

A good line is spelled in one way only (`record.events`), so its parts stand at known places and its
hash can be taken over its own bytes, without spelling it again. What this passes is chained and
unchanged. Whatever does not look exactly so goes to `record.chain`, which is slow and has the last
word: no fault is told from here.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from functools import lru_cache
from hashlib import sha256
from typing import Any, BinaryIO

from assistant.record.chain import ChainReader, Fault, may_follow_closed
from assistant.record.events import GENESIS, MAX_LINE
from assistant.review.plain import micros
from assistant.review.shapes import loosely, quickly, wholly
from assistant.review.versions import FORMATS, version_of

_HEAD = re.compile(
    rb'\{"at":"(\d{4}-\d\d-\d\dT(?:[01]\d|2[0-3]):[0-5]\d:)[0-5]\d\.\d{3}'
    rb'([+-]\d\d:\d\d(?::\d\d)?)","data":(?=\{)'
)
_KIND = re.compile(rb"[a-z][a-z0-9_-]*")
_HASH = b',"hash":"'
_SPLICE = len(_HASH) + 64 + 1
"""Bytes of the member `hash`, which is not hashed itself."""
_QUOTE = ord('"')
_TURN = b',"kind":"turn","n":%d,"prev":"'
_MANY = 1000
_TURNS = [_TURN % n for n in range(_MANY)]
"""What comes after the hash of a turn; spelled beforehand, as most lines are turns."""
_SECOND_US = {b"%02d." % second: second * 1_000_000 for second in range(60)}
_MILLI_US = {b"%03d" % milli: milli * 1000 for milli in range(1000)}
_BLOCK = 1 << 16
"""Bytes read at once: most records whole, and below what the system is asked for page by page."""

Line = tuple[int, int, str, Any]
"""One good event: number, time in microseconds since 1970 in UTC, kind, data as in `shapes`."""


class Walk:
    """Iterates over the good events of a record from where it was left, as `ChainReader` does.

    Args:
        stream: open for reading, at byte `good`.
        good, count, head, closed: where it was left; the defaults begin a record.

    Attributes:
        good, count, head, closed: as of now; `fault` afterwards is None only if all is good.
        opening, began: hash and time as written of the first event, if it was read here.
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
        self.good, self.count, self.closed = good, count, closed
        self._head = head.encode()
        self.fault: Fault | None = None
        self.opening = self.began = ""

    @property
    def head(self) -> str:
        """Hash of the last good event."""
        return self._head.decode()

    def __iter__(self) -> Iterator[Line]:
        rest = b""
        while block := self._stream.read(_BLOCK):
            block = rest + block
            lines = block.split(b"\n")
            rest = lines.pop()
            events = self._quickly(lines, _decoding(block[: len(block) - len(rest)]))
            yield from events
            if len(events) < len(lines) or len(rest) >= MAX_LINE:
                yield from self._strictly()
                return
        if rest or not self.count:
            yield from self._strictly()

    def _quickly(self, lines: list[bytes], decode: Callable[[str, bytes], Any]) -> list[Line]:
        """The events of these lines, up to the first that does not look exactly as it should.

        Much of a build is spent here. So what a line shares with the one before it, and the end
        that most lines have, is compared as it stands, and looked into only where it differs.
        """
        events: list[Line] = []
        count, prev, good = self.count, self._head, self.good
        minute, rest, minute_us, start = b"", b"", 0, 0
        for line in lines:
            try:
                if line[:24] != minute or not line.startswith(rest, 30):
                    head = _HEAD.match(line)
                    if head is None:
                        break
                    start = head.end()
                    minute, rest = line[:24], line[30 : start + 1]
                    minute_us = _minute(head[1], head[2])
                us = minute_us + _SECOND_US[line[24:27]] + _MILLI_US[line[27:30]]
            except (ValueError, KeyError):  # there is no such time
                break
            tail = (_TURNS[count] if count < _MANY else _TURN % count) + prev + b'"}'
            if line.endswith(tail):
                kind, at = "turn", len(line) - len(tail) - _SPLICE
            else:
                at = line.rfind(_HASH)
                named = line[at + _SPLICE + 9 : line.find(b'"', at + _SPLICE + 9)]
                kind = _kind(named)
                tail = b',"kind":"%b","n":%d,"prev":"%b"}' % (named, count, prev)
                if not kind or line[at + _SPLICE :] != tail:
                    break
            digest = line[at + 9 : at + 73]
            if (
                at < start
                or not line.startswith(_HASH, at)
                or line[at + 73] != _QUOTE
                or sha256(line[:at] + tail).hexdigest().encode() != digest
                or len(line) >= MAX_LINE
                or (self.closed and not may_follow_closed(kind))
            ):
                break
            try:
                data = decode(kind, line[start:at])
            except ValueError:
                break
            if count == 0:
                if kind != "opened" or version_of(data.format) not in FORMATS:
                    break
                self.opening, self.began = digest.decode(), line[7 : start - 9].decode()
            events.append((count, us, kind, data))
            good += len(line) + 1
            count += 1
            prev = digest
            if kind == "closed":
                self.closed = True
        self.count, self._head, self.good = count, prev, good
        return events

    def _strictly(self) -> Iterator[Line]:
        self._stream.seek(self.good)
        reader = ChainReader(self._stream)
        reader.good, reader.count = self.good, self.count
        reader.head, reader.closed = self.head, self.closed
        for event in reader:
            self.good, self.count, self.closed = reader.good, reader.count, reader.closed
            self._head = event.hash.encode()
            if event.n == 0:
                self.opening, self.began = event.hash, event.at
            yield event.n, micros(event.at), event.kind, loosely(event.kind, event.data)
        self.fault = reader.fault


def _decoding(text: bytes) -> Callable[[str, bytes], Any]:
    """How to decode lines: a quick decoding passes over what is not asked for, whatever it holds,
    so where text may not be in order all of it is decoded."""
    # Backslashes are few, and found at once; to look for the whole of it takes three times as long.
    at = text.find(b"\\")
    while at >= 0:
        if text.startswith(b"\\ud", at):
            return wholly
        at = text.find(b"\\", at + 1)
    if not text.isascii():
        try:
            text.decode()
        except ValueError:
            return wholly
    return quickly


@lru_cache(maxsize=256)
def _kind(named: bytes) -> str:
    return named.decode() if _KIND.fullmatch(named) else ""


@lru_cache(maxsize=4096)
def _minute(minute: bytes, offset: bytes) -> int:
    return micros(f"{minute.decode()}00.000{offset.decode()}")
