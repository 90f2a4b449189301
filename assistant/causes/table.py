"""The table of causes, `dialogs/<language>/causes.toml`, checked before a number is used."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from functools import lru_cache
from pathlib import Path
from typing import Annotated, Any

from msgspec import Meta, Struct, field, structs

from assistant.card import Card
from assistant.quantity import QUANTITIES
from assistant.resources import data_folder
from assistant.sentences import DialogError, blanks_of, dialogs_folder, toml_of
from assistant.toml_file import TomlError, one_of

READ_STATES = ("low", "in", "high")
ASKED_STATES = ("no", "yes")
_FILE = "en/causes.toml"
_MARK = 'will not do; write whose the numbers are: "from memory", or the document'
_QUANTITIES = f"will not do; write one of {', '.join(QUANTITIES)}"
QuantityName = Annotated[
    str, Meta(pattern=f"^({'|'.join(QUANTITIES)})$", extra={"hint": _QUANTITIES})
]
Words = Annotated[str, Meta(pattern=r"\S")]
Marked = Annotated[str, Meta(pattern=r"\S", extra={"hint": _MARK, "like": '"from memory"'})]
Share = Annotated[
    float,
    Meta(gt=0, lt=1, extra={"hint": "must be above 0 and below 1: nothing is certain"}),
]
Shares = tuple[Share, ...]
Weight = Annotated[float, Meta(gt=0, lt=1e6, extra={"hint": "must be a number above zero"})]


class _FileTable(Struct, forbid_unknown_fields=True, frozen=True):
    """A table of the file; no other key may stand in it."""


class Trucks(_FileTable, frozen=True):
    """For which trucks something counts, by the words of a truck card; None: for all."""

    transmission: str | None = None
    linkage: str | None = None
    clutch: str | None = None

    def fits(self, card: Card) -> bool:
        asked = structs.asdict(self).items()
        return all(value is None or getattr(card, key) == value for key, value in asked)


class _Marked(_FileTable, frozen=True):
    """A group of numbers, which must say whose they are."""

    mark: Marked


class Often(_Marked, frozen=True):
    """How often something is seen on any truck."""

    share: Share


class Usual(_Marked, frozen=True):
    """Share of any trucks in each state, summing to 1."""

    share: Shares


class Prior(_Marked, frozen=True):
    """How often a cause is behind a complaint, against the others."""

    weight: Weight


class Complaint(_FileTable, frozen=True):
    """What a driver says. `heard`: sets of word beginnings, any one set names it."""

    id: str
    name: Words
    heard: tuple[Words, ...]
    elsewhere: Often

    def named_in(self, words: list[str]) -> bool:
        """Whether lower-case words name it."""
        sets = (beginnings.lower().split() for beginnings in self.heard)
        return any(all(any(w.startswith(b) for w in words) for b in each) for each in sets)


class AskedOtherwise(_FileTable, frozen=True):
    """For which trucks a finding is asked for in other words, and these."""

    only: Trucks
    ask: Words


class Finding(_FileTable, frozen=True):
    """What can be read or asked; one that is `derived` from other readings is never asked.

    `readings`: quantities judged by their limits, the first one known counts.
    """

    id: str
    name: Words
    states: tuple[str, ...]
    usual: Usual
    ask: str = ""
    derived: bool = False
    readings: tuple[QuantityName, ...] = field(default=(), name="reading")
    only: Trucks = Trucks()
    instead: AskedOtherwise | None = None


class Cause(_FileTable, frozen=True):
    """What may be behind it: by complaint and by finding, how often they come with it.

    The entry `mark` of both says whose the numbers are. `wears`: the part, "clutch" or "brake",
    that must have worn for it; where that was fitted new, it is none.
    """

    id: str
    say: Words
    fix: Words
    why: Words
    kind: one_of(("adjustment", "parts", "repair", "use", "look"))  # type: ignore[valid-type]
    prior: Prior
    complaints: dict[str, Share | str]
    findings: dict[str, Shares | str]
    only: Trucks = Trucks()
    wears: one_of(("clutch", "brake", "")) = ""  # type: ignore[valid-type]

    def brings(self, complaint: Complaint) -> float:
        """How often trucks with this cause come in with a complaint."""
        share = self.complaints.get(complaint.id, complaint.elsewhere.share)
        assert not isinstance(share, str)
        return share

    def shows(self, finding: Finding) -> Shares:
        """Chance of each state of a finding, given this cause."""
        shares = self.findings.get(finding.id, finding.usual.share)
        assert not isinstance(shares, str)
        return shares


class Table(_FileTable, frozen=True):
    """Everything of one language; `reasons`: words that ask why it is that cause."""

    replies: dict[str, Words]
    complaints: dict[str, Complaint] = field(name="complaint")
    findings: dict[str, Finding] = field(name="finding")
    causes: dict[str, Cause] = field(name="cause")
    reasons: tuple[Words, ...] = ()
    language: str = "en"

    def of(self, card: Card, fitted: Iterable[str] = ()) -> Table:
        """The part of it that counts for this truck, in which parts may have been `fitted` new."""
        new = frozenset(fitted)

        def judged(finding: Finding) -> bool:  # a reading without a limit is neither low nor high
            return not finding.readings or any(card.figures.get(q) for q in finding.readings)

        def worded(finding: Finding) -> Finding:
            other = finding.instead
            if other is None or not other.only.fits(card):
                return finding
            return structs.replace(finding, ask=other.ask)

        findings = [f for f in self.findings.values() if f.only.fits(card) and judged(f)]
        own = (c for c in self.causes.values() if c.only.fits(card) and c.wears not in new)
        causes = {c.id: c for c in own}
        return structs.replace(self, findings={f.id: worded(f) for f in findings}, causes=causes)

    @property
    def marks(self) -> list[str]:
        """Whose the numbers are, each once."""
        marks = [c.elsewhere.mark for c in self.complaints.values()]
        marks += [f.usual.mark for f in self.findings.values()]
        for cause in self.causes.values():
            of_both = (str(group["mark"]) for group in (cause.complaints, cause.findings))
            marks += [cause.prior.mark, *of_both]
        return list(dict.fromkeys(marks))

    def say(self, reply: str, **fields: object) -> str:
        return self.replies[reply].format_map(fields)

    def heard_in(self, text: str) -> list[str]:
        """Ids of the complaints named in lower-case words without punctuation."""
        words = text.split()
        return [c.id for c in self.complaints.values() if c.named_in(words)]


def load_table(folder: Path | None = None) -> Table:
    """Load and check the causes.

    Raises:
        DialogError: one line naming the entry to mend.
    """
    return _load((folder or dialogs_folder()) / _FILE)


@lru_cache(maxsize=2)
def _load(path: Path) -> Table:
    file, shipped = (toml_of(p)[0] for p in (path, data_folder("dialogs", _FILE) / _FILE))
    # A reply that a shop's own file leaves out is said as it is in ours.
    own = file.tables.get("replies", {})
    if isinstance(own, dict):
        file.tables["replies"] = {**shipped.tables["replies"], **own}
    for kind in ("complaint", "finding", "cause"):
        entries = file.tables.get(kind)
        for key, entry in entries.items() if isinstance(entries, dict) else ():
            if isinstance(entry, dict):
                entry["id"] = key
    try:
        table = file.to(Table, "the table of causes")
    except TomlError as error:
        raise DialogError(f"dialogs: {error}") from None
    for key, problem in _problems(table, shipped.tables):
        raise DialogError(f"dialogs: {file.problem(key, problem)}")
    return table


def _problems(table: Table, shipped: dict[str, Any]) -> Iterator[tuple[str, str]]:
    """What types cannot say: the key, and what is wrong with it."""
    if not table.causes:
        yield "cause", "there is none; add one"
    for finding in table.findings.values():
        where = f"finding.{finding.id}"
        if finding.states != (READ_STATES if finding.readings else ASKED_STATES):
            yield where, "states must be low, in, high for a reading, and no, yes for a question"
        if not finding.ask and not finding.derived:
            yield where, 'ask is missing; write it like ask = "Gap?"'
        yield from _unsummed(f"{where}.usual", finding.usual.share, finding)
    for cause in table.causes.values():
        for name in ("complaints", "findings"):
            yield from _misnamed(cause, name, getattr(table, name))
    for reply, ours in shipped["replies"].items():
        for blank in blanks_of(table.replies[reply]) - blanks_of(ours):
            yield f"replies.{reply}", f"{{{blank}}} is unknown here; write it like {ours!r}"


def _misnamed(cause: Cause, name: str, known: dict[str, Any]) -> Iterator[tuple[str, str]]:
    """Entries of a cause's complaints or findings that are none, or have no mark."""
    for key, value in {"mark": 0.0, **getattr(cause, name)}.items():
        where = f"cause.{cause.id}.{name}.{key}"
        if isinstance(value, str) != (key == "mark"):
            yield where, _MARK if key == "mark" else "must be a number"
        elif key != "mark" and key not in known:
            yield where, f"is none of the {name}; use one of {', '.join(known)}"
        elif isinstance(value, tuple):
            yield from _unsummed(where, value, known[key])


def _unsummed(where: str, shares: Shares, finding: Finding) -> Iterator[tuple[str, str]]:
    count = len(finding.states)
    if len(shares) != count or not math.isclose(sum(shares), 1.0, abs_tol=1e-6):
        yield where, f"give {count} shares that sum to 1"
