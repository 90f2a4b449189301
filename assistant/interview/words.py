"""The words of the card conversation, loaded from `dialogs/` and checked."""

from __future__ import annotations

import re
import string
import tomllib
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from assistant.card.making import QUESTIONS, REVIEW
from assistant.clutch.thread import METRIC, UNIFIED, lead_in
from assistant.readings import read
from assistant.readings.speak import number_words
from assistant.sentences import DialogError, dialogs_folder
from assistant.texts.dialogs import Dialogs, Meaning

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


# --- What can be meant while a card is made: each value of a choice, and what steers.

_STEERS = (
    *("stop", "pause", "carry_on", "back", "repeat", "where", "why", "help", "correct", "note"),
    *("skip", "done", "check", "no", "sign_off"),
)


def steering(dialogs: Dialogs) -> dict[str, Meaning]:
    """What steers here; the words of pedal and truck would only be misheard for something else."""
    words = {key: dialogs.words[key] for key in _STEERS}
    # Nobody is in danger: a stop is one plain word, not a shout to be heard at any price.
    words["stop"] = replace(words["stop"], phrases=("stop", "stop now"), anywhere=(), in_hold=())
    return words


def meanings(texts: CardWords) -> dict[str, Meaning]:
    """Each value of each choice as a meaning of its own, and the commands."""
    out = {}
    for question in QUESTIONS:
        said = texts.questions[question.words].phrases
        if question.kind == "thread":
            said = THREADS
        for value, phrases in said.items():
            key = f"{question.key}={value}"
            out[key] = Meaning(key, "any", phrases)
    for name, phrases in texts.commands.items():
        out[name] = Meaning(name, "any", phrases, anytime=name == "start_over")
    return out


# --- Unit numbers and threads as people say them.

_LETTERS = (
    "alfa bravo charlie delta echo foxtrot golf hotel india juliett kilo lima mike november oscar "
    "papa quebec romeo sierra tango uniform victor whiskey xray yankee zulu"
).split()
"""The spelling alphabet of radio telephony, as everybody says it."""
_DIGITS = "zero one two three four five six seven eight nine".split()
_SAID = {
    **{word: word[0].upper() for word in _LETTERS},
    **{word: str(i) for i, word in enumerate(_DIGITS)},
    **{"oh": "0", "alpha": "A", "juliet": "J", "x-ray": "X"},
    **{"dash": "-", "hyphen": "-", "slash": "/", "point": "."},
}
_SIZES = {
    "#10": "number ten",
    "#12": "number twelve",
    "1/4": "one quarter",
    "5/16": "five sixteenths",
    "3/8": "three eighths",
    "7/16": "seven sixteenths",
    "1/2": "one half",
    "9/16": "nine sixteenths",
    "5/8": "five eighths",
    "3/4": "three quarters",
    "7/8": "seven eighths",
    "1": "one inch",
}


def unit_said(words: str) -> str:
    """`T-104` from "T-104", "t 104", "tango one oh four", "tee" is not known; "" if it is none."""
    tokens = [t.strip(".") for t in re.split(r"[\s,]+", words.strip()) if t.strip(".")]
    if len(tokens) == 1 and re.fullmatch(r"\w[\w./-]{0,15}", tokens[0]):
        return tokens[0].upper()
    out = ""
    for i, token in enumerate(tokens):
        low = token.lower()
        rest = [t.lower() for t in tokens[i:]]
        spelled = all(t in _SAID or len(t) == 1 or t.isdigit() for t in rest)
        if low in _SAID and (spelled or low not in _DIGITS):
            out += _SAID[low]
        elif len(token) == 1 or token.isdigit():
            out += token.upper()
        else:
            count = read(" ".join(tokens[i:]), "odometer").count
            if count is None or count != int(count):
                return ""
            out += str(int(count))
            break
    # Letters and figures stand apart, where nobody said how.
    out = re.sub(r"(?<=[A-Z])(?=\d)", "-", out)
    return out if re.fullmatch(r"\w[\w./-]{0,15}", out) else ""


def _threads() -> dict[str, tuple[str, ...]]:
    """Each published thread as it is said: "one half twenty", "m twelve by one point five"."""
    out: dict[str, tuple[str, ...]] = {}
    for size, (_, coarse, fine) in UNIFIED.items():
        for count in (coarse, fine):
            out[f"{size}-{count}"] = (
                f"{size}-{count}",
                f"{_SIZES[size]} {number_words(count)}",
                f"{_SIZES[size].replace('one half', 'a half')} by {number_words(count)}",
            )
    for size_mm, pitches in METRIC.items():
        for pitch in pitches:
            spoken = f"{number_words(size_mm)} by {_decimal(pitch)}"
            out[f"M{size_mm}x{pitch:g}"] = (f"m{size_mm}x{pitch:g}", f"m {spoken}", spoken)
    return out


def _decimal(value: float) -> str:
    whole, _, part = f"{value:g}".partition(".")
    digits = " ".join(_DIGITS[int(d)] for d in part)
    return number_words(int(whole)) + (f" point {digits}" if digits else "")


THREADS = _threads()
"""Designation -> what is said for it, as typed first."""


def thread_said(words: str) -> str:
    """The designation as written on a card, or "" for no published thread."""
    text = " ".join(words.strip().split())
    for name, phrases in THREADS.items():
        if text.lower().rstrip(".") in phrases:
            return name
    try:
        lead_in(text)
    except ValueError:
        return ""
    return text
