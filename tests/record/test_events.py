"""The format, checked from the raw bytes by hand: the tests do not trust the code's own hash."""

import hashlib
import json
import math
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.record import Journal
from assistant.record.events import (
    FORMAT,
    GENESIS,
    MAX_LINE,
    DamagedLine,
    Unrecordable,
    parse_line,
    seal_event,
    stamp,
)
from tests.examples import examples
from tests.tables import rows_of

AT = "2026-11-25T09:12:33.120-06:00"
JSON = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(), inner, max_size=4),
    max_leaves=12,
)


def same(a: Any, b: Any) -> bool:
    """Equal in value and in type: 1, 1.0 and True are not the same here, nor 0.0 and -0.0."""
    if type(a) is not type(b):
        return False
    if isinstance(a, dict):
        return a.keys() == b.keys() and all(same(a[k], b[k]) for k in a)
    if isinstance(a, list):
        return len(a) == len(b) and all(map(same, a, b))
    if isinstance(a, float):
        return a == b and math.copysign(1, a) == math.copysign(1, b)
    return bool(a == b)


def test_a_record_by_hand(tmp_path: Path) -> None:
    with Journal.create(tmp_path, "Unit 12", {"truck": "№ 12"}) as journal:
        journal.append("reading", {"value": 0.5625, "said": "nine sixteenths \u2028 Ä \x07"})
        journal.append_all([("step", {"b": 1, "a": [1.0, None]}), ("step", {})])
    raw = journal.path.read_bytes()
    assert raw.endswith(b"\n") and raw.count(b"\n") == 4
    prev = "0" * 64
    for n, line in enumerate(raw.split(b"\n")[:-1]):
        members = json.loads(line)
        assert list(members) == ["at", "data", "hash", "kind", "n", "prev"]
        # Cut the hash out of the bytes themselves, so as not to spell anything again.
        cut = b'"hash":"' + members["hash"].encode() + b'",'
        assert line.count(cut) == 1
        assert hashlib.sha256(line.replace(cut, b"")).hexdigest() == members["hash"]
        assert members["n"] == n and members["prev"] == prev
        prev = members["hash"]
    first = json.loads(raw.split(b"\n")[0])
    assert first["kind"] == "opened" and first["data"] == {"truck": "№ 12", "format": FORMAT}
    assert FORMAT == "lugcall-record/1"
    assert "№".encode() in raw and b"\\u0007" in raw and "\u2028".encode() in raw


def test_known_line() -> None:
    """A line fixed for good: a change of spelling would orphan every record on disk."""
    event, line = seal_event(0, AT, "opened", {"format": FORMAT, "x": 1.0}, GENESIS)
    bare = (
        '{"at":"2026-11-25T09:12:33.120-06:00","data":{"format":"lugcall-record/1","x":1.0},'
        '"kind":"opened","n":0,"prev":"' + "0" * 64 + '"}'
    )
    assert event.hash == hashlib.sha256(bare.encode()).hexdigest()
    assert line.decode() == bare.replace('"kind"', f'"hash":"{event.hash}","kind"') + "\n"


@examples(400)
@given(
    n=st.integers(0, 10**9),
    kind=st.text(min_size=1),
    data=st.dictionaries(st.text(), JSON, max_size=5),
    prev=st.binary(min_size=32, max_size=32).map(bytes.hex),
    moment=st.datetimes(min_value=datetime(1000, 1, 1)),
    offset=st.integers(-1439, 1439),
)
def test_any_json_comes_back(
    n: int, kind: str, data: dict[str, Any], prev: str, moment: datetime, offset: int
) -> None:
    at = stamp(moment.replace(tzinfo=timezone(timedelta(minutes=offset))))
    event, line = seal_event(n, at, kind, data, prev)
    assert line.count(b"\n") == 1 and line.endswith(b"\n")
    back = parse_line(line)
    assert back == event and seal_event(n, at, kind, back.data, prev)[1] == line
    assert same(back.data, data) and (back.n, back.at, back.kind, back.prev) == (n, at, kind, prev)


@examples(300)
@given(st.binary(max_size=300))
def test_junk_is_damaged_and_no_worse(junk: bytes) -> None:
    with pytest.raises(DamagedLine):
        parse_line(junk)


def respelled(old: str, new: str) -> bytes:
    """Change a good line's text and give it a hash that fits what it then says."""
    line = seal_event(3, AT, "reading", {"a": 1.0, "b": "x"}, "cd" * 32)[1][:-1].decode()
    members = json.loads(line.replace(old, new, 1))
    bare = line.replace(f'"hash":"{json.loads(line)["hash"]}",', "").replace(old, new, 1)
    members.pop("hash", None)
    canon = json.dumps(members, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    digest = hashlib.sha256(canon.encode("utf-8", "surrogatepass")).hexdigest()
    return (bare.replace('"kind"', f'"hash":"{digest}","kind"', 1) + "\n").encode()


@rows_of("respelled_lines.txt", "old", "new")("line")
def test_another_spelling_is_damaged_even_if_its_hash_fits(old: str, new: str) -> None:
    with pytest.raises(DamagedLine) as caught:
        parse_line(respelled(old, new))
    assert "\n" not in str(caught.value)


def test_deep_or_huge_junk_is_damaged() -> None:
    digits = b"9" * 100_000
    for junk in (b"[" * 500_000, b'{"n":' + digits + b"}\n", b"x" * (MAX_LINE + 1)):
        with pytest.raises(DamagedLine):
            parse_line(junk)


def circle() -> dict[str, Any]:
    ring: dict[str, Any] = {}
    ring["again"] = ring
    return ring


def deep() -> dict[str, Any]:
    inner: dict[str, Any] = {}
    for _ in range(100_000):
        inner = {"": inner}
    return inner


@pytest.mark.parametrize(
    "data",
    [
        {"x": math.nan},
        {"x": [math.inf]},
        {"x": "\ud800"},
        {"x": {1, 2}},
        {"x": b"raw"},
        {"x": 10**5000},
        {"x": "y" * MAX_LINE},
        {10: 1, 9: 2},
        {("a",): 1},
        circle(),
    ],
)
def test_what_is_not_json_is_refused_and_the_journal_goes_on(
    tmp_path: Path, data: dict[str, Any]
) -> None:
    with Journal.create(tmp_path, "x", {}) as journal:
        before = journal.path.read_bytes()
        for group in ([("bad", data)], [("good", {}), ("bad", data)]):
            with pytest.raises(Unrecordable) as caught:
                journal.append_all(group)
            assert "\n" not in str(caught.value) and "Nothing was written" in str(caught.value)
        assert journal.path.read_bytes() == before
        assert journal.append("good", {}).n == 1


def test_too_deep_is_refused() -> None:
    with pytest.raises(Unrecordable):
        seal_event(0, AT, "bad", deep(), GENESIS)


def test_an_event_shares_nothing_with_what_the_caller_holds(tmp_path: Path) -> None:
    value = {"lugs": [1, (2, 3)]}
    with Journal.create(tmp_path, "x", {}) as journal:
        event = journal.append("ring", value)
        value["lugs"].append(9)
        assert event.data == {"lugs": [1, [2, 3]]}
        assert parse_line(journal.path.read_bytes().splitlines(True)[1]) == event
