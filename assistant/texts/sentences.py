"""The sentences of one file of `dialogs/` that is a list of `name = "words with {blanks}"`.

    plan = sentences("plan")
    plan.say("stays", name="Gap", side="low")

A table in the file groups its entries: `[gauge] rule = ...` is said as "gauge.rule". An entry may
be a list of two: what is shown, and what a voice says instead.
"""

from __future__ import annotations

import string
import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from assistant.texts.dialogs import DialogError, dialogs_folder


@dataclass(frozen=True, slots=True)
class Sentences:
    """One file's entries: shown words, and spoken ones where they differ."""

    file: str
    shown: dict[str, str]
    spoken: dict[str, str]

    def say(self, name: str, **fields: object) -> str:
        """An entry as it is shown, its blanks filled in.

        Raises:
            KeyError: there is no such entry, or a blank was not given: a fault of the program.
        """
        return self.shown[name].format_map(fields)

    def aloud(self, name: str, **fields: object) -> str:
        """An entry as a voice says it."""
        return self.spoken.get(name, self.shown[name]).format_map(fields)


@cache
def sentences(name: str, folder: Path | None = None, language: str = "en") -> Sentences:
    """The entries of `dialogs/LANGUAGE/NAME.toml`, checked once.

    Raises:
        DialogError: one line naming the file and the entry to mend.
    """
    path = (folder or dialogs_folder()) / language / f"{name}.toml"
    try:
        raw = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise DialogError(f"dialogs: {path} cannot be read: {error.strerror}") from None
    except (ValueError, RecursionError) as error:
        raise DialogError(f"dialogs: {path.name}: not valid TOML: {error}") from None
    shown: dict[str, str] = {}
    spoken: dict[str, str] = {}
    for key, value in _flat(raw, ""):
        both = value if isinstance(value, list) else [value]
        if len(both) not in (1, 2) or not all(isinstance(v, str) and v.strip() for v in both):
            raise DialogError(f"dialogs: {path.name}: {key} must be words in quotes")
        for words in both:
            _check(path.name, key, words)
        shown[key] = both[0]
        if len(both) == 2:
            spoken[key] = both[1]
    return Sentences(path.name, shown, spoken)


def _flat(table: dict[str, Any], above: str) -> list[tuple[str, Any]]:
    found: list[tuple[str, Any]] = []
    for key, value in table.items():
        found += (
            _flat(value, f"{above}{key}.") if isinstance(value, dict) else [(above + key, value)]
        )
    return found


def _check(file: str, key: str, words: str) -> None:
    try:
        list(string.Formatter().parse(words))
    except ValueError as error:
        raise DialogError(f"dialogs: {file}: {key}: {error}; mend its braces") from None
