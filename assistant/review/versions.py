"""Which versions of the record's format are read here, and what a first line says of its own.

A later version may mean other things by the same names, so none of it is guessed at: its file is
listed and skipped until lugcall itself is newer.
"""

from __future__ import annotations

from typing import BinaryIO

import msgspec

from assistant.record.events import FORMAT, MAX_LINE

FORMATS = (1,)
"""Versions that are read, in order; the last is the one written now."""
_NAME = FORMAT.rpartition("/")[0]
assert f"{_NAME}/{FORMATS[-1]}" == FORMAT


class _Data(msgspec.Struct):
    format: str


class _First(msgspec.Struct):
    data: _Data


_DECODER = msgspec.json.Decoder(_First)


def version_of(form: str) -> int | None:
    """The number of a format as records spell it (`lugcall-record/1`); None if it is none."""
    name, _, number = form.rpartition("/")
    plain = number.isascii() and number.isdigit() and not number.startswith("0")
    return int(number) if name == _NAME and plain and len(number) < 9 else None


def version_told(stream: BinaryIO) -> int | None:
    """The version that the first line of a file tells, whatever else a later one may hold.

    Only this is looked for: lines of a later version may be chained and spelled otherwise.
    """
    stream.seek(0)
    line = stream.readline(MAX_LINE)
    if FORMAT.rpartition("/")[0].encode() not in line:
        return None
    try:
        return version_of(_DECODER.decode(line).data.format)
    except (msgspec.DecodeError, RecursionError, UnicodeDecodeError):
        return None
