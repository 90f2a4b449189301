"""The words of the card interview, loaded from `dialogs/` and checked; units, threads as said."""

from __future__ import annotations

import re
import string
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import msgspec

from assistant.card.making import QUESTIONS, REVIEW
from assistant.clutch.thread import METRIC, UNIFIED, lead_in
from assistant.readings import read
from assistant.readings.speak import number_words
from assistant.sentences import Both, DialogError, dialogs_folder, toml_of
from assistant.texts.dialogs import Dialogs, Meaning

MAX_WORDS = 12
"""Words of a question: one breath."""
COMMANDS = ("start_over", "replace")
"""What may be said beside the answers, and beside words.toml."""
REPLIES: dict[str, str] = {
    **dict.fromkeys(("new", "over_again", "left_off"), ""),
    **dict.fromkeys(("exact", "thread", "spell", "dropped", "nothing", "cannot_skip"), ""),
    **dict.fromkeys(("which", "skipped", "replacing", "no_lug", "gap_needed", "outside"), ""),
    **dict.fromkeys(("low_above_high", "ratio_name", "a_length", "a_number", "always"), ""),
    "resumed": "unit",
    "over": "name",
    "left": "figures",
    "kept": "name",
    "taken": "figures",
    "taken_words": "figures spoken",
    "both": "low high",
    "there": "unit name",
    "stands": "unit name",
    "document": "name",
    "refused": "why",
    "number": "low high",
    "line": "name value source",
    "where": "done say",
    "ratio": "number",
    "other_ring": "kind",
}
"""Reply -> the blanks it may use."""
_STEERS = (
    *("stop", "pause", "carry_on", "back", "repeat", "where", "why", "help", "correct", "note"),
    *("skip", "done", "check", "no", "sign_off"),
)
"""Meanings of words.toml that steer here; the words of pedal and truck would only be misheard."""


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

    def within(self, dialogs: Dialogs) -> Dialogs:
        """The dialogs of a card interview: what steers, each value of each choice as a meaning of
        its own, the commands; and the replies of card.toml, as `card_NAME`."""
        words = {key: dialogs.words[key] for key in _STEERS}
        # Nobody is in danger: a stop is one plain word, not a shout to be heard at any price.
        plain = {"phrases": ("stop", "stop now"), "anywhere": (), "in_hold": ()}
        words["stop"] = msgspec.structs.replace(words["stop"], **plain)
        for question in QUESTIONS:
            said = THREADS if question.kind == "thread" else self.questions[question.words].phrases
            for value, phrases in said.items():
                key = f"{question.key}={value}"
                words[key] = Meaning("any", phrases)
        for name, phrases in self.commands.items():
            words[name] = Meaning("any", phrases, anytime=name == "start_over")
        replies = dialogs.replies | {
            f"card_{name}": Both(text) for name, text in self.replies.items()
        }
        return replace(dialogs, words=words, replies=replies)


def load_card_words(folder: Path | None = None, language: str = "en") -> CardWords:
    """Load and check card.toml.

    Raises:
        DialogError: one line naming the entry to mend.
    """
    file, _ = toml_of((folder or dialogs_folder()) / language / "card.toml")
    raw = dict(file.tables)
    replies, commands = raw.pop("replies", {}), raw.pop("commands", {})
    choices = {q.words: q.choices for q in QUESTIONS} | {REVIEW: ()}
    for name in choices:
        if not isinstance(raw.get(name), dict):
            raise _problem("", f"[{name}] is missing; add it")
    for name in raw.keys() - choices:
        raise _problem("", f"[{name}] is asked nowhere; remove it")
    for name, blanks in REPLIES.items():
        _text(f"replies, {name}", replies.get(name), blanks)
    for name in replies.keys() - REPLIES:
        raise _problem("replies", f"{name} is unknown; remove it")
    return CardWords(
        {name: _asked(name, raw[name], values) for name, values in choices.items()},
        {name: _phrases(f"commands, {name}", commands.get(name)) for name in COMMANDS},
        replies,
    )


def _asked(name: str, entry: dict[str, Any], choices: Iterable[str]) -> Asked:
    say = _text(f"{name}, say", entry.get("say"), "quantity" if name.startswith("figure_") else "")
    if len(say.split()) > MAX_WORDS:
        raise _problem(name, f"say has over {MAX_WORDS} words; shorten it")
    phrases = entry.get("phrases", {})
    if not isinstance(phrases, dict) or set(phrases) != set(choices):
        raise _problem(name, f"phrases must be for {', '.join(choices) or 'nothing'}")
    said = {value: _phrases(f"{name}, {value}", words) for value, words in phrases.items()}
    return Asked(say, _text(f"{name}, why", entry.get("why"), ""), said)


def _phrases(where: str, said: Any) -> tuple[str, ...]:
    if not isinstance(said, list) or not said or not all(isinstance(p, str) for p in said):
        raise _problem(where, "write phrases in quotes, in a list")
    return tuple(phrase.lower() for phrase in said)


def _text(where: str, text: Any, blanks: str) -> str:
    if not isinstance(text, str):
        raise _problem(where, "write a text in quotes")
    try:
        names = {name for _, name, _, _ in string.Formatter().parse(text) if name is not None}
    except ValueError as error:
        raise _problem(where, f"{error}; braces in pairs") from None
    if names - set(blanks.split()):
        can = f"one of {', '.join(blanks.split())}" if blanks else "allowed here"
        raise _problem(where, f"a blank is not {can}")
    return text


def _problem(where: str, what: str) -> DialogError:
    return DialogError(f"dialogs: card.toml{', ' if where else ''}{where}: {what}")


# --- Unit numbers and threads as people say them.

_LETTERS = (
    "alfa bravo charlie delta echo foxtrot golf hotel india juliett kilo lima mike november oscar "
    "papa quebec romeo sierra tango uniform victor whiskey xray yankee zulu"
).split()
"""The spelling alphabet of radio telephony, as everybody says it."""
_DIGITS = [number_words(digit) for digit in range(10)]
_SAID = {
    **{word: word[0].upper() for word in _LETTERS},
    **{word: str(i) for i, word in enumerate(_DIGITS)},
    **{"oh": "0", "alpha": "A", "juliet": "J", "x-ray": "X"},
    **{"dash": "-", "hyphen": "-", "slash": "/", "point": "."},
}
_UNIT = re.compile(r"\w[\w./-]{0,15}")


def unit_said(words: str) -> str:
    """`T-104` from "T-104", "t 104", "tango one oh four", "tee" is not known; "" if it is none."""
    tokens = [t.strip(".") for t in re.split(r"[\s,]+", words.strip()) if t.strip(".")]
    if len(tokens) == 1 and _UNIT.fullmatch(tokens[0]):
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
    return out if _UNIT.fullmatch(out) else ""


def _threads() -> dict[str, tuple[str, ...]]:
    """Each published thread as it is said: "one half twenty", "m twelve by one point five"."""
    out: dict[str, tuple[str, ...]] = {}
    for size, (_, coarse, fine) in UNIFIED.items():
        number = size.removeprefix("#")
        spoken = read(f"{size} in", "gap").readback if number == size else ""
        said = spoken or f"number {number_words(int(number))}"
        for count in (coarse, fine):
            by = f"{said.replace('one half', 'a half')} by {number_words(count)}"
            name = f"{size}-{count}"
            out[name] = (name, f"{said} {number_words(count)}", by)
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
