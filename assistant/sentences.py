"""The sentences of one file of `dialogs/` that is a list of `name = "words with {blanks}"`.

    plan = sentences("plan")
    plan.say("stays", name="Gap", side="low")

A table in the file groups its entries: `[gauge] rule = ...` is said as "gauge.rule". An entry may
be a list of two: what is shown, and what a voice says instead. Whatever is said is a `Both`: the
words for the eye, which know the words for the ear.
"""

from __future__ import annotations

import os
import re
import string
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from assistant import named_file
from assistant.act import Said
from assistant.resources import data_folder
from assistant.toml_file import TomlError, TomlFile

MOST_BYTES = 1_000_000
"""Of a file of `dialogs/`: some ten times the largest of ours."""


class DialogError(Exception):
    """One clear line: which file, which entry, what is wrong, what to do."""


class Both(str):
    """Words as they are shown, `9/16 in`, which know how they are `spoken`, "nine sixteenths".

    Joining or cutting the text loses the spoken ones: put a `Both` into a blank of a sentence
    (`fill`) instead.
    """

    __slots__ = ("spoken",)
    spoken: str

    def __new__(cls, shown: str, spoken: str = "") -> Both:
        both = super().__new__(cls, shown)
        both.spoken = spoken or aloud(shown)
        return both

    def __getnewargs__(self) -> tuple[str, str]:  # type: ignore[override]
        return str(self), self.spoken


def joined(parts: Sequence[str], between: str = " ") -> Both:
    """The parts one after another, for eye and ear."""
    return Both(between.join(parts), between.join(aloud(part) for part in parts))


def aloud(words: object) -> str:
    """The words for a voice of anything that is said."""
    return words.spoken if isinstance(words, Both) else str(words)


def capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def step_name(step: str) -> str:
    """What people call a step; one of another version as its name in the record has it."""
    return sentences("names").texts.get(f"step.{step}") or step.replace("_", " ")


MOST_SHOWN = 1000
"""Signs of a line that are shown; of a longer one the beginning and the end are."""
_MOST_MARKS = 2
"""Accents on one letter: more paint over the lines around it."""
_UNSEEN = frozenset("\u034f\u115f\u1160\u17b4\u17b5\u2800\u3164\uffa0")
"""Letters and marks that show nothing (Unicode's Default_Ignorable_Code_Point, and a blank)."""
_VARIANTS = re.compile("[\u180b-\u180f\ufe00-\ufe0f\U000e0100-\U000e01ef]")


def printable(text: str, most: int = MOST_SHOWN) -> str:
    """What people, cards, records or files say, as one line that a screen or page may show.

    Signs that would end the line, move, turn round or hide others are written out, not obeyed.
    """
    if len(text) > most:
        text = f"{text[: most * 3 // 4 - 5]} ... {text[-most // 4 :]}"
    if text.isascii() and text.isprintable():
        return text
    shown, marks = [], _MOST_MARKS
    for sign in text:
        if unicodedata.category(sign) in ("Mn", "Me"):
            marks += 1
        else:
            marks = 0 if sign > " " else _MOST_MARKS
        hides = sign in _UNSEEN or marks > _MOST_MARKS or _VARIANTS.match(sign)
        plain = sign.isprintable() and not hides
        shown.append(sign if plain else sign.encode("unicode_escape").decode("ascii"))
    return "".join(shown)


def blanks_of(text: str) -> set[str]:
    """The names of a text's blanks. Raises ValueError where its braces are not in pairs."""
    return {name for _, name, _, _ in string.Formatter().parse(text) if name is not None}


def fill(text: str, fields: Mapping[str, object]) -> Both:
    """A text with its blanks filled in, for eye and ear."""
    shown = text.format_map(fields)
    if not fields and not isinstance(text, Both):
        return Both(shown, shown)
    return Both(shown, aloud(text).format_map({k: aloud(v) for k, v in fields.items()}))


@dataclass(frozen=True, eq=False)
class Sentences:
    """One file's entries, each for eye and ear; one is equal to itself alone, and can be a key."""

    file: str
    texts: dict[str, Both]

    def say(self, name: str, /, **fields: object) -> Both:
        """An entry with its blanks filled in.

        Raises:
            KeyError: there is no such entry, or a blank was not given: a fault of the program.
        """
        return fill(self.texts[name], fields)

    def said(
        self,
        to: str,
        name: str,
        /,
        *,
        key: str = "",
        signal: str = "",
        cue: str = "",
        **fields: object,
    ) -> Said:
        """An entry said to somebody; see `act.Said`."""
        words = fill(self.texts[name], fields)
        return spoken_to(to, words, key or f"reply:{name}", signal, cue)


def spoken_to(to: str, words: str, key: str, signal: str = "", cue: str = "") -> Said:
    """Words as one thing said; those of a `Both` keep their spoken form."""
    told = aloud(words)
    return Said(to, str(words), key, signal, cue, "" if told == words else told)


def dialogs_folder() -> Path:
    """Where the dialogs are: $LUGCALL_DIALOGS, the checkout's `dialogs`, or the installed copy."""
    chosen = os.environ.get("LUGCALL_DIALOGS")
    return Path(chosen) if chosen else data_folder("dialogs", "en/steps.toml")


def toml_of(path: Path) -> tuple[TomlFile, bytes]:
    """A file of `dialogs/`, and its bytes.

    Raises:
        DialogError: it cannot be read, or is not TOML.
    """
    try:
        data = named_file.whole(path, MOST_BYTES)
        return TomlFile.of(named_file.text_of(data), path.name), data
    except OSError as error:
        raise DialogError(
            f"dialogs: {path} cannot be read: {error.strerror}; check $LUGCALL_DIALOGS"
        ) from None
    except TomlError as error:
        raise DialogError(f"dialogs: {error}") from None
    except ValueError as error:
        raise DialogError(f"dialogs: {path.name}, {error}") from None


@cache
def sentences(name: str, folder: Path | None = None, language: str = "en") -> Sentences:
    """The entries of `dialogs/LANGUAGE/NAME.toml`, checked once.

    Raises:
        DialogError: one line naming the file and the entry to mend.
    """
    path = (folder or dialogs_folder()) / language / f"{name}.toml"
    if not path.is_file():  # a shop's own folder may leave it out
        path = data_folder("dialogs", "en/steps.toml") / language / f"{name}.toml"
    file, _ = toml_of(path)
    texts: dict[str, Both] = {}
    for key, value in _flat(file.tables, ""):
        both = value if isinstance(value, list) else [value]
        if len(both) not in (1, 2) or not all(isinstance(v, str) and v.strip() for v in both):
            raise DialogError(f"dialogs: {file.problem(key, 'must be words in quotes')}")
        for words in both:
            try:
                blanks_of(words)
            except ValueError as error:
                raise DialogError(
                    f"dialogs: {file.problem(key, f'{error}; mend its braces')}"
                ) from None
        texts[key] = Both(both[0], both[-1])
    return Sentences(file.name, texts)


def _flat(table: dict[str, Any], above: str) -> list[tuple[str, Any]]:
    found: list[tuple[str, Any]] = []
    for key, value in table.items():
        found += (
            _flat(value, f"{above}{key}.") if isinstance(value, dict) else [(above + key, value)]
        )
    return found
