"""The words of the card interview, loaded from `dialogs/` and checked; units, threads as said."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Annotated, Any

import msgspec

from assistant.card.draft import QUESTIONS, REVIEW
from assistant.clutch.thread import METRIC, UNIFIED, lead_in
from assistant.readings import read
from assistant.readings.speak import number_words
from assistant.resources import data_folder
from assistant.sentences import Both, DialogError, blanks_of, dialogs_folder, toml_of
from assistant.texts.dialogs import Dialogs, Meaning
from assistant.toml_file import TomlError

_FILE = "en/card.toml"
MAX_WORDS = 12
"""Words of a question: one breath."""
_STEERS = (
    *("stop", "pause", "carry_on", "back", "repeat", "where", "why", "help", "correct", "note"),
    *("skip", "done", "check", "no", "sign_off"),
)
"""Meanings of words.toml that steer here; the words of pedal and truck would only be misheard."""


_Phrases = Annotated[
    tuple[str, ...],
    msgspec.Meta(min_length=1, extra={"hint": "write phrases in quotes, in a list"}),
]


class Asked(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """The words of one question; `phrases` by the value they mean, for a choice."""

    say: str
    why: str
    phrases: dict[str, _Phrases] = {}


class Commands(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """What may be said beside the answers, and beside words.toml."""

    start_over: _Phrases
    replace: _Phrases


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
                words[key] = Meaning("any", tuple(p.lower() for p in phrases))
        for name, phrases in self.commands.items():
            small = tuple(p.lower() for p in phrases)
            words[name] = Meaning("any", small, anytime=name == "start_over")
        replies = dialogs.texts | {
            f"card_{name}": Both(text) for name, text in self.replies.items()
        }
        return replace(dialogs, words=words, texts=replies)


_CHOICES = {q.words: q.choices for q in QUESTIONS} | {REVIEW: ()}
"""Entry of card.toml -> the values that its phrases mean."""
_CardToml = msgspec.defstruct(
    "_CardToml",
    [("commands", Commands), ("replies", dict[str, str])]
    + [(name, Asked | None, None) for name in _CHOICES],
    forbid_unknown_fields=True,
)


def load_card_words(folder: Path | None = None, language: str = "en") -> CardWords:
    """Load and check card.toml. Raises DialogError: one line naming the entry to mend."""
    path = (folder or dialogs_folder()) / language / "card.toml"
    file, shipped = (toml_of(p)[0] for p in (path, data_folder("dialogs", _FILE) / _FILE))
    ours, own = shipped.tables["replies"], file.tables.get("replies", {})
    # A reply that a shop's own file leaves out is said as it is in ours.
    file.tables["replies"] = {**ours, **own} if isinstance(own, dict) else own
    try:
        words: Any = file.to(_CardToml, "a card's questions")
    except TomlError as error:
        raise DialogError(f"dialogs: {error}") from None
    questions = {name: getattr(words, name) for name in _CHOICES}
    for key, problem in _problems(questions, words.replies, ours):
        raise DialogError(f"dialogs: {file.problem(key, problem)}")
    said = msgspec.structs.asdict(words.commands)
    return CardWords(questions, said, words.replies)


def _problems(
    questions: dict[str, Asked | None], replies: dict[str, str], ours: dict[str, str]
) -> Iterator[tuple[str, str]]:
    """What the types cannot say: key, and what is wrong with it."""
    for name, asked in questions.items():
        if asked is None:
            yield name, f"[{name}] is missing; add it"
            continue
        if len(asked.say.split()) > MAX_WORDS:
            yield f"{name}.say", f"has over {MAX_WORDS} words; shorten it"
        if set(asked.phrases) != set(_CHOICES[name]):
            yield f"{name}.phrases", f"must be for {', '.join(_CHOICES[name]) or 'nothing'}"
        blanks = "{quantity}" if name.startswith("figure_") else ""
        yield from _wrong_blanks(f"{name}.say", asked.say, blanks)
        yield from _wrong_blanks(f"{name}.why", asked.why, "")
    for name, text in replies.items():
        if name not in ours:
            yield f"replies.{name}", "is unknown; remove it"
        else:
            yield from _wrong_blanks(f"replies.{name}", text, ours[name])


def _wrong_blanks(key: str, text: str, like: str) -> Iterator[tuple[str, str]]:
    try:
        wrong = blanks_of(text) - blanks_of(like)
    except ValueError as error:
        yield key, f"{error}; write braces in pairs"
    else:
        yield from ((key, f"{{{blank}}} is unknown here; use {like!r}") for blank in wrong)


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
    tokens = [t.strip(".") for t in re.split(r"[\s,]+", words.lower().strip()) if t.strip(".")]
    if len(tokens) == 1 and _UNIT.fullmatch(tokens[0]):
        return tokens[0].upper()
    out = ""
    for i, token in enumerate(tokens):
        spelled = all(t in _SAID or len(t) == 1 or t.isdigit() for t in tokens[i:])
        if token in _SAID and (spelled or token not in _DIGITS):
            out += _SAID[token]
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
