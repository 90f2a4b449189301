"""The words of the card conversation, loaded from `dialogs/` and checked."""

from __future__ import annotations

import string
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from assistant.card.making import REVIEW
from assistant.card.questions import QUESTIONS
from assistant.procedure.dialog import DialogError, dialogs_folder

MAX_WORDS = 12
COMMANDS = ("start_over", "replace")
"""What may be said beside the answers, and beside words.toml."""
REPLIES: dict[str, tuple[str, ...]] = {
    "new": (),
    "taken": ("figures",),
    "taken_words": ("figures", "spoken"),
    "skipped": (),
    "both": ("low", "high"),
    "resumed": ("unit",),
    "over": ("name",),
    "left": ("figures",),
    "there": ("unit", "name"),
    "replacing": (),
    "stands": ("unit", "name"),
    "document": ("name",),
    "exact": (),
    "refused": ("why",),
    "number": ("low", "high"),
    "thread": (),
    "spell": (),
    "dropped": (),
    "nothing": (),
    "cannot_skip": (),
    "which": (),
    "line": ("name", "value", "source"),
    "kept": ("name",),
    "left_off": (),
    "over_again": (),
    "where": ("done", "say"),
}
"""Reply -> the blanks it may use."""


@dataclass(frozen=True, slots=True)
class Asked:
    """The words of one question; `phrases` by the value they mean, for a choice."""

    say: str
    why: str
    phrases: dict[str, tuple[str, ...]]


@dataclass(frozen=True, slots=True)
class CardWords:
    """All of card.toml."""

    questions: dict[str, Asked]
    commands: dict[str, tuple[str, ...]]
    replies: dict[str, str]

    def say(self, reply: str, **fields: object) -> str:
        """A reply with its blanks filled in."""
        return self.replies[reply].format_map(fields)


def load_card_words(folder: Path | None = None, language: str = "en") -> CardWords:
    """Load and check card.toml.

    Raises:
        DialogError: one line naming the entry to mend.
    """
    path = (folder or dialogs_folder()) / language / "card.toml"
    try:
        raw = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise DialogError(f"dialogs: {path} cannot be read: {error.strerror}") from None
    except (ValueError, RecursionError) as error:
        raise DialogError(f"dialogs: card.toml: not valid TOML: {error}") from None
    replies, commands = raw.pop("replies", {}), raw.pop("commands", {})
    for name in COMMANDS:
        _phrases(f"commands, {name}", commands.get(name))
    wanted = {q.words: q.choices for q in QUESTIONS} | {REVIEW: ()}
    for name in wanted:
        if not isinstance(raw.get(name), dict):
            raise DialogError(f"dialogs: card.toml: [{name}] is missing; add it")
    for name in raw:
        if name not in wanted:
            raise DialogError(f"dialogs: card.toml: [{name}] is asked nowhere; remove it")
    asked = {name: _asked(name, raw[name], choices) for name, choices in wanted.items()}
    for name, blanks in REPLIES.items():
        _text(f"replies, {name}", replies.get(name), blanks)
    for name in replies:
        if name not in REPLIES:
            raise DialogError(f"dialogs: card.toml, replies: {name} is unknown; remove it")
    said = {name: tuple(p.lower() for p in commands[name]) for name in COMMANDS}
    return CardWords(asked, said, dict(replies))


def _asked(name: str, entry: dict[str, Any], choices: tuple[str, ...]) -> Asked:
    blanks = ("quantity",) if name.startswith("figure_") else ()
    say = _text(f"{name}, say", entry.get("say"), blanks)
    if len(say.split()) > MAX_WORDS:
        raise DialogError(f"dialogs: card.toml, {name}: say has over {MAX_WORDS} words; shorten it")
    phrases = entry.get("phrases", {})
    if not isinstance(phrases, dict) or set(phrases) != set(choices):
        raise DialogError(
            f"dialogs: card.toml, {name}: phrases must be for {', '.join(choices) or 'nothing'}"
        )
    for value, said in phrases.items():
        _phrases(f"{name}, {value}", said)
    return Asked(
        say,
        _text(f"{name}, why", entry.get("why"), ()),
        {value: tuple(p.lower() for p in said) for value, said in phrases.items()},
    )


def _phrases(where: str, said: Any) -> None:
    if not isinstance(said, list) or not said or not all(isinstance(p, str) for p in said):
        raise DialogError(f"dialogs: card.toml, {where}: write phrases in quotes, in a list")


def _text(where: str, text: Any, allowed: tuple[str, ...]) -> str:
    if not isinstance(text, str):
        raise DialogError(f"dialogs: card.toml, {where}: write a text in quotes")
    try:
        names = {name for _, name, _, _ in string.Formatter().parse(text) if name is not None}
    except ValueError as error:
        raise DialogError(f"dialogs: card.toml, {where}: {error}; braces in pairs") from None
    if names - set(allowed):
        raise DialogError(f"dialogs: card.toml, {where}: a blank is not one of {allowed}")
    return text
