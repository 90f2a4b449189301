"""The table of causes, as `load` reads it from `dialogs/`."""

from __future__ import annotations

import string
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

from assistant.card import Card
from assistant.readings import QUANTITIES
from assistant.sentences import DialogError, dialogs_folder


@dataclass(frozen=True, slots=True)
class Complaint:
    """What a driver says. `heard`: sets of word beginnings, any one set names it."""

    id: str
    name: str
    heard: tuple[tuple[str, ...], ...]
    elsewhere: float


@dataclass(frozen=True, slots=True)
class Finding:
    """What can be read or asked. `usual`: share of any trucks in each state, summing to 1.

    `instead`: for which trucks it is asked for in other words, and these.
    """

    id: str
    name: str
    states: tuple[str, ...]
    usual: tuple[float, ...]
    ask: str
    readings: tuple[str, ...]
    only: tuple[tuple[str, str], ...]
    instead: tuple[tuple[tuple[tuple[str, str], ...], str], ...] = ()


@dataclass(frozen=True, slots=True)
class Cause:
    """What may be behind it: its chances, all between 0 and 1 but for the prior's weight."""

    id: str
    say: str
    fix: str
    why: str
    kind: str
    prior: float
    complaints: Mapping[str, float]
    findings: Mapping[str, tuple[float, ...]]
    only: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Table:
    """Everything of one language.

    `marks`: whose the numbers are, each once; `reasons`: words that ask why it is that cause.
    """

    complaints: dict[str, Complaint]
    findings: dict[str, Finding]
    causes: dict[str, Cause]
    replies: dict[str, str]
    marks: tuple[str, ...]
    reasons: frozenset[str]

    def of(self, card: Card) -> Table:
        """The part of it that counts for this truck."""

        def fits(only: tuple[tuple[str, str], ...]) -> bool:
            return all(getattr(card, key) == value for key, value in only)

        def judged(finding: Finding) -> bool:  # a reading without a limit is neither low nor high
            return not finding.readings or any(card.figures.get(q) for q in finding.readings)

        def worded(finding: Finding) -> Finding:
            asks = [ask for only, ask in finding.instead if fits(only)]
            return replace(finding, ask=asks[0]) if asks else finding

        return Table(
            self.complaints,
            {k: worded(f) for k, f in self.findings.items() if fits(f.only) and judged(f)},
            {k: c for k, c in self.causes.items() if fits(c.only)},
            self.replies,
            self.marks,
            self.reasons,
        )

    def say(self, reply: str, **fields: object) -> str:
        """A reply with its blanks filled in."""
        return self.replies[reply].format_map(fields)

    def heard_in(self, text: str) -> list[str]:
        """Ids of the complaints named in lower-case words without punctuation."""
        words = text.split()
        return [
            c.id
            for c in self.complaints.values()
            if any(all(any(w.startswith(b) for w in words) for b in set_) for set_ in c.heard)
        ]


# --- The table of causes from `dialogs/<language>/causes.toml`, checked before a number is used.

KINDS = ("adjustment", "parts", "repair", "use", "look")
READ_STATES = ("low", "in", "high")
ASKED_STATES = ("no", "yes")
_ONLY = ("transmission", "linkage", "clutch")
REPLIES: dict[str, tuple[str, ...]] = {
    "likely": ("share", "cause", "fix"),
    "parts": ("share", "cause", "fix"),
    "unsure": ("cause", "other"),
    "parts_unsure": ("cause", "other"),
    "next_reading": ("reading",),
    "nothing_more": (),
    "which": ("examples",),
    "answer_how": (),
    "answer_yes": (),
    "no_state": ("reading",),
    "ended": (),
    "why_for": ("share", "cause", "why"),
    "why_told": ("found",),
    "why_against": ("found",),
    "why_marks": ("marks",),
}
"""Reply -> the blanks it may use."""


def load_table(language: str = "en", folder: Path | None = None) -> Table:
    """Load and check the causes of one language.

    Raises:
        DialogError: one line naming the entry to mend.
    """
    return _load((folder or dialogs_folder()) / language / "causes.toml")


@lru_cache(maxsize=2)
def _load(path: Path) -> Table:
    try:
        raw = tomllib.loads(path.read_bytes().decode("utf-8"))
    except OSError as error:
        raise DialogError(f"dialogs: {path} cannot be read: {error.strerror}") from None
    except ValueError as error:
        raise DialogError(f"dialogs: {path.name}: not valid TOML: {error}") from None
    try:
        return _checked(raw)
    except (KeyError, TypeError, AttributeError) as error:
        what = str(error).strip("'\"")
        raise DialogError(f"dialogs: causes.toml: {what} is missing or of a wrong kind") from None


def _checked(raw: dict[str, Any]) -> Table:
    marks: dict[str, None] = {}
    complaints = {
        key: Complaint(
            key,
            str(entry["name"]),
            tuple(tuple(str(words).lower().split()) for words in entry["heard"]),
            _share(f"complaint.{key}.elsewhere", _marked(entry, "elsewhere", key, marks)["share"]),
        )
        for key, entry in raw["complaint"].items()
    }
    findings = {key: _finding(key, entry, marks) for key, entry in raw["finding"].items()}
    causes = {
        key: _cause(key, entry, complaints, findings, marks) for key, entry in raw["cause"].items()
    }
    if not causes:
        raise _wrong("cause", "there is none; add one")
    replies = {key: _reply(key, raw["replies"][key], REPLIES[key]) for key in REPLIES}
    reasons = frozenset(str(words).lower() for words in raw["reasons"])
    return Table(complaints, findings, causes, replies, tuple(marks), reasons)


def _finding(key: str, entry: dict[str, Any], marks: dict[str, None]) -> Finding:
    where = f"finding.{key}"
    states = tuple(entry["states"])
    readings = tuple(entry.get("reading", ()))
    if states != (READ_STATES if readings else ASKED_STATES):
        raise _wrong(
            where, "states must be low, in, high for a reading, and no, yes for a question"
        )
    for quantity in readings:
        if quantity not in QUANTITIES:
            raise _wrong(where, f"there is no quantity {quantity!r}")
    usual = _shares(where, _marked(entry, "usual", where, marks)["share"], len(states))
    ask = "" if entry.get("derived") else str(entry["ask"])
    other = entry.get("instead")
    instead = () if other is None else ((_only(where, other), str(other["ask"])),)
    return Finding(
        key, str(entry["name"]), states, usual, ask, readings, _only(where, entry), instead
    )


def _cause(
    key: str,
    entry: dict[str, Any],
    complaints: dict[str, Complaint],
    findings: dict[str, Finding],
    marks: dict[str, None],
) -> Cause:
    where = f"cause.{key}"
    if entry["kind"] not in KINDS:
        raise _wrong(where, f"kind must be one of {', '.join(KINDS)}")
    weight = _marked(entry, "prior", where, marks)["weight"]
    if isinstance(weight, bool) or not isinstance(weight, int | float) or not 0 < weight < 1e6:
        raise _wrong(where, "the prior's weight must be a number above zero")
    named = {k: v for k, v in _marked(entry, "complaints", where, marks).items() if k != "mark"}
    shown = {k: v for k, v in _marked(entry, "findings", where, marks).items() if k != "mark"}
    for name in (*named, *shown):
        if name not in complaints and name not in findings:
            raise _wrong(where, f"{name!r} is neither a complaint nor a finding")
    return Cause(
        key,
        str(entry["say"]),
        str(entry["fix"]),
        str(entry["why"]),
        entry["kind"],
        float(weight),
        {k: _share(f"{where}.{k}", v) for k, v in named.items()},
        {k: _shares(f"{where}.{k}", v, len(findings[k].states)) for k, v in shown.items()},
        _only(where, entry),
    )


def _marked(entry: dict[str, Any], key: str, where: str, marks: dict[str, None]) -> dict[str, Any]:
    """A group of numbers, which must say whose they are."""
    group: dict[str, Any] = entry[key]
    mark = group.get("mark")
    if not isinstance(mark, str) or not mark.strip():
        raise _wrong(where, f'{key} has no mark; add mark = "from memory", or its source')
    marks.setdefault(mark)
    return group


def _share(where: str, value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0.0 < value < 1.0:
        raise _wrong(where, f"{value!r} must be above 0 and below 1: nothing is certain")
    return float(value)


def _shares(where: str, values: Any, count: int) -> tuple[float, ...]:
    shares = tuple(_share(where, v) for v in values)
    if len(shares) != count or abs(sum(shares) - 1.0) > 1e-6:
        raise _wrong(where, f"give {count} shares that sum to 1")
    return shares


def _only(where: str, entry: dict[str, Any]) -> tuple[tuple[str, str], ...]:
    only = entry.get("only", {})
    for key in only:
        if key not in _ONLY:
            raise _wrong(where, f"only can name {', '.join(_ONLY)}, not {key!r}")
    return tuple((str(k), str(v)) for k, v in only.items())


def _reply(key: str, text: str, allowed: tuple[str, ...]) -> str:
    names = {name for _, name, _, _ in string.Formatter().parse(text) if name is not None}
    if names - set(allowed):
        raise _wrong(f"replies.{key}", f"{{{sorted(names - set(allowed))[0]}}} is unknown here")
    return text


def _wrong(where: str, problem: str) -> DialogError:
    return DialogError(f"dialogs: causes.toml, {where}: {problem}")
