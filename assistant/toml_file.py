"""A TOML file read into msgspec types; every error is one line with file, line, key and remedy.

What a key may hold is said once, in a `msgspec.Struct`: its type, the choices of `one_of`, the
range of a `Meta(ge=, le=)`. A type may carry words of its own for its errors:

    Length = Annotated[str, Meta(extra={"hint": 'write it in quotes, like "9/16 in"'})]
    arm: Annotated[Length, Meta(extra={"like": '"2-1/2 in"'})]     # how a missing key is written
"""

from __future__ import annotations

import json
import math
import re
import threading
import tomllib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Annotated, Any, Literal, TypeVar, get_args

import msgspec
from msgspec import inspect

T = TypeVar("T")
_ONE_AT_A_TIME = threading.Lock()
"""msgspec prepares a type when it is first used, and crashes if two threads do so at once."""


def one_of(choices: Sequence[str]) -> Any:
    """The type of a key that holds one of these words."""
    hint = f"will not do; write one of {', '.join(choices)}"
    written = " or ".join(json.dumps(choice) for choice in choices)
    return Annotated[
        Literal[tuple(choices)], msgspec.Meta(extra={"hint": hint, "choices": written})
    ]


def word_of(choices: Sequence[str]) -> msgspec.Meta:
    """The same as what is said of a `str`: `Annotated[str, word_of(...)]`."""
    pattern = "|".join(re.escape(choice) for choice in choices)
    _, meta = get_args(one_of(choices))
    return msgspec.Meta(pattern=f"^(?:{pattern})$", extra=meta.extra)


_AT = re.compile(r" - at `(?:key in )?\$(?P<path>[^`]*)`$")
_FIELD = re.compile(r"(?P<how>unknown|missing required) field `(?P<name>[^`]*)`")


class TomlError(Exception):
    """One clear line: file, line, key, what is wrong, what to write instead."""


@dataclass(frozen=True, slots=True)
class TomlFile:
    """A TOML file's text and tables; `name` is how errors call it."""

    name: str
    text: str
    tables: dict[str, Any]

    @classmethod
    def of(cls, text: str, name: str) -> TomlFile:
        """Parse the text.

        Raises:
            TomlError: it is not TOML, or holds a number that is none (nan, inf).
        """
        try:
            _refuse_deep(text)
            tables = tomllib.loads(text)
        except RecursionError:
            raise TomlError(f"{name}: brackets stand in one another too deeply; mend it") from None
        except ValueError as error:
            raise TomlError(f"{name}: not valid TOML: {error}") from None
        file = cls(name, text, tables)
        for key, value in file.values():
            if isinstance(value, float) and not math.isfinite(value):
                raise file.problem(key, f"{value!r} will not do; write a plain number")
        return file

    def values(self) -> Iterator[tuple[str, Any]]:
        """Every value in it that is no table or list, and its dotted key."""
        return _values(self.tables, "")

    def problem(self, key: str, what: str) -> TomlError:
        line = self._line(key)
        place = f"{self.name}, line {line}" if line else self.name
        return TomlError(f"{place}: {key}: {what}")

    def to(self, kind: type[T], what: str = "a card") -> T:
        """The tables as `kind`, a `msgspec.Struct` that forbids unknown fields.

        `what` the file is stands in errors: "is no key of a card".

        Raises:
            TomlError: a key is unknown, missing, or holds something else than its type says.
        """
        try:
            with _ONE_AT_A_TIME:
                return msgspec.convert(self.tables, kind)
        except msgspec.ValidationError as error:
            raise self._explained(str(error), kind, what) from None

    def _explained(self, message: str, root: type, what: str) -> TomlError:
        found = _AT.search(message)
        path = re.findall(r"\[(\d+|\.\.\.)\]|([^.\[\]]+)", found["path"] if found else "")
        path = self._named(root, message, path)
        keys = [name for _, name in path if name]
        at, key = _below(inspect.type_info(root), keys), ".".join(keys)
        field = _FIELD.search(message)
        if field is None:
            hint = _hint(at, keys)
            value = _shown(_value(self.tables, path))
            told = hint if hint.startswith(("is ", "write ")) else f"{value} {hint}"
            return self.problem(key, told.strip())
        name = field["name"]
        full = f"{key}.{name}".lstrip(".")
        if field["how"] == "unknown":
            allowed = _fields(at)
            near = get_close_matches(name, allowed, 1)
            hint = f"did you mean {near[0]}?" if near else f"use one of {', '.join(allowed)}"
            return self.problem(full, f"is no key of {what}; {hint}")
        kind = _below(at, [name])
        if any(isinstance(part, inspect.ListType) for part in _parts(kind)):
            return self.problem(full, f"is missing; {_hint(kind, [full])}")
        return self.problem(key or name, f"{_item(path)}{name} is missing; {_example(kind, name)}")

    def _named(
        self, kind: type, message: str, path: list[tuple[str, str]]
    ) -> list[tuple[str, str]]:
        """With the names of the tables that msgspec calls `[...]`, found by trying each alone."""
        path = list(path)
        for place, (number, _) in enumerate(path):
            tables = _value(self.tables, path[:place])
            if number != "..." or not isinstance(tables, dict):
                continue
            whole = dict(tables)
            for name, table in whole.items():
                tables.clear()
                tables[name] = table
                try:
                    msgspec.convert(self.tables, kind)
                except msgspec.ValidationError as error:
                    if str(error) == message:
                        path[place] = ("", name)
                        break
            tables.clear()
            tables.update(whole)
        return path

    def _line(self, key: str) -> int:
        """The line that defines a dotted key, as well as a person would find it; 0 if nowhere."""
        section = ""
        best = 0
        for number, line in enumerate(self.text.splitlines(), 1):
            head = re.match(r"\s*\[\s*([^\]]+?)\s*\]", line)
            if head:
                section = head[1].lstrip("[").replace('"', "").replace(" ", "")
                if section == key or key.startswith(section + "."):
                    best = best or number
                continue
            m = re.match(r"\s*([A-Za-z0-9_\-\".]+)\s*=", line)
            if not m:
                continue
            full = (section + "." if section else "") + m[1].replace('"', "")
            if full == key:
                return number
            if key.startswith(full + ".") and "." in key:
                best = number
        return best


_DEEPEST = 32
"""Parts of a dotted key, far more than any file here has: the parser takes their square in time."""
_QUOTED = re.compile(r""""(?:[^"\\\n]|\\.)*"|'[^'\n]*'""")
_DEEP = re.compile(rf"(?:\.[ \t]*[\w-]+[ \t]*){{{_DEEPEST}}}")


def _refuse_deep(text: str) -> None:
    """Raises ValueError on a dotted key of too many parts."""
    for number, line in enumerate(text.splitlines(), 1):
        if line.count(".") >= _DEEPEST and _DEEP.search(_QUOTED.sub("x", line)):
            raise ValueError(f"a key of over {_DEEPEST} parts (at line {number})")


def _values(value: Any, key: str) -> Iterator[tuple[str, Any]]:
    if isinstance(value, dict):
        for name, inside in value.items():
            yield from _values(inside, f"{key}.{name}" if key else str(name))
    elif isinstance(value, list):
        for inside in value:
            yield from _values(inside, key)
    else:
        yield key, value


def _parts(kind: inspect.Type) -> list[inspect.Type]:
    """A type without what wraps it; the members of a union."""
    if isinstance(kind, inspect.Metadata):
        return _parts(kind.type)
    if isinstance(kind, inspect.UnionType):
        return [part for one in kind.types for part in _parts(one)]
    if isinstance(kind, inspect.ListType | inspect.VarTupleType):
        return [kind, *_parts(kind.item_type)]
    return [kind]


def _fields(kind: inspect.Type) -> list[str]:
    structs = [p for p in _parts(kind) if isinstance(p, inspect.StructType)]
    return [field.encode_name for struct in structs for field in struct.fields]


def _below(kind: inspect.Type, keys: list[str]) -> inspect.Type:
    for key in keys:
        for part in _parts(kind):
            if isinstance(part, inspect.StructType):
                kind = next((f.type for f in part.fields if f.encode_name == key), kind)
            elif isinstance(part, inspect.DictType):
                kind = part.value_type
    return kind


def _said(kind: inspect.Type, name: str) -> str:
    """The type's own words for its errors, or ""."""
    if isinstance(kind, inspect.Metadata):
        return str((kind.extra or {}).get(name, "")) or _said(kind.type, name)
    if isinstance(kind, inspect.UnionType):
        return next((said for one in kind.types if (said := _said(one, name))), "")
    if isinstance(kind, inspect.VarTupleType):
        return _said(kind.item_type, name)
    return ""


def _item(path: list[tuple[str, str]]) -> str:
    """`bar 2: `, where the path leads into an item of a list, or ""."""
    item, last = "", ""
    for number, name in path:
        item = f"{last} {int(number) + 1}: " if number.isdigit() else item
        last = name or last
    return item


def _example(kind: inspect.Type, name: str) -> str:
    choices = _said(kind, "choices")
    return f"write {choices}" if choices else f"write it like {name} = {_said(kind, 'like') or '5'}"


def _hint(kind: inspect.Type, keys: list[str]) -> str:
    """What to write instead, from the type alone."""
    own = _said(kind, "hint")
    if own:
        return own
    for part in _parts(kind):
        match part:
            case inspect.FloatType() | inspect.IntType() if part.ge is not None:
                return f"will not do; write a number from {part.ge:g} to {part.le or 0:g}"
            case inspect.FloatType() | inspect.IntType():
                return "will not do; write a number"
            case inspect.BoolType():
                return "will not do; write true or false"
            case inspect.StrType():
                return 'will not do; write it in quotes, like "T-104"'
            case inspect.ListType():
                return f"write [[{'.'.join(keys)}]] for each, on a line of its own"
            case inspect.StructType() | inspect.DictType():
                return f"is a section; write [{'.'.join(keys)}] on a line of its own"
    return "will not do"


def _value(tables: Any, path: list[tuple[str, str]]) -> Any:
    for number, name in path:
        if number.isdigit() and isinstance(tables, list):
            tables = tables[int(number)]
        elif name and isinstance(tables, dict):
            tables = tables.get(name)
    return tables


def _shown(value: Any) -> str:
    """A value as an error shows it; of tables and lists nothing."""
    if isinstance(value, dict | list):
        return ""
    text = repr(value)
    return text if len(text) <= 60 else text[:59] + "…"
