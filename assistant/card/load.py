"""Read and check a truck card; every error names the line and the key."""

from __future__ import annotations

import math
import re
from pathlib import Path
from typing import Annotated, Any

import msgspec
from msgspec import Meta, Struct

from assistant import named_file
from assistant.card.card import CHOICES, DEFAULT_THREAD, Card, Left
from assistant.card.linkage import Length, adjuster_of, geometry_of
from assistant.card.ranges import (
    LEAST_BAND_IN,
    MOST_SIGNS,
    MOST_SIGNS_ELSE,
    RANGES,
    range_of,
    within,
)
from assistant.clutch.conformity import DEFAULT_FIGURES, Limits
from assistant.clutch.linkage.stroke import Linkage
from assistant.clutch.ring import COARSE_IN, FINE_IN
from assistant.clutch.thread import lead_in
from assistant.readings import read
from assistant.sentences import printable
from assistant.toml_file import TomlError, TomlFile, one_of

CardError = TomlError
"""One clear line: file, line, key, what is wrong, what to write instead."""
MAX_BYTES = 100_000
"""A card is a page of text; anything larger is some other file."""
_BRAKED = ("gap", "brake-contact")
"""Figures whose common practice speaks of the clutch brake."""
_LIMITS = 'write it like "1/2 to 9/16", or { low = "1/2", high = "9/16" }'

Words = Annotated[
    str, Meta(pattern=r"\S", extra={"hint": 'will not do; write it in quotes, like "T-104"'})
]
_COUNTED = "will not do; write how many, like 18; the travel of one is ring.lug"
LugCount = Annotated[int, within("ring.lugs", hint=_COUNTED)]


class _Table(Struct, forbid_unknown_fields=True):
    """A section of a card."""


class _Sourced(_Table):
    """A section that may say from what document its values are, and who took them from there."""

    source: Words = ""
    set_by: Words = ""


def _chosen(section: str) -> type[Any]:
    """A section of choices alone, the first of each where it is left out."""
    keys = {key.split(".")[1]: every for key, every in CHOICES.items() if key.startswith(section)}
    fields = [(name, one_of(every), every[0]) for name, every in keys.items()]
    return msgspec.defstruct(f"_{section}", fields, bases=(_Table,))


_Truck = _chosen("truck")


class _Shop(_chosen("shop")):  # type: ignore[misc]
    holds_pedal: Words = ""


class _Ring(_Sourced):
    lug: Length | None = None
    lugs: LugCount | None = None
    type: one_of(CHOICES["ring.type"]) | None = None  # type: ignore[valid-type]
    lock: one_of(CHOICES["ring.lock"]) = CHOICES["ring.lock"][0]  # type: ignore[valid-type]


class _Rod(_Sourced):
    thread: Words | None = None
    longer: one_of(CHOICES["rod.longer"]) | None = None  # type: ignore[valid-type]
    per_fork: Annotated[float, within("rod.per_fork")] | None = None


class _Pedal(_Sourced):
    ratio: Annotated[float, within("pedal.ratio")] | None = None
    lash: Length | None = None


class _Stops(_Table):
    height: Length | None = None
    total: Length | None = None


class _Figure(_Sourced):
    low: Length | None = None
    high: Length | None = None
    target: Length | None = None


def _by_quantity(name: str, kind: Any, base: type[Struct]) -> type[Any]:
    """A section with an optional key for each quantity that has a figure."""
    fields = [(q.replace("-", "_"), kind | None, None) for q in DEFAULT_FIGURES]
    return msgspec.defstruct(
        name, fields, bases=(base,), rename=lambda field: field.replace("_", "-")
    )


class _LeftHead(_Table):
    record: Words = ""
    by: Words = ""
    lugs: Annotated[float, within("left.lugs")] = 0


_Limits = Annotated[str | _Figure, Meta(extra={"hint": _LIMITS})]
_Figures = _by_quantity("_Figures", _Limits, _Sourced)
_Left = _by_quantity("_Left", Length, _LeftHead)


class _File(Struct, forbid_unknown_fields=True):
    """A whole card, but for `[linkage]`, whose keys depend on what linkage it is."""

    unit: Words = ""
    truck: _Truck = msgspec.field(default_factory=_Truck)  # type: ignore[valid-type]
    shop: _Shop = msgspec.field(default_factory=_Shop)
    ring: _Ring = msgspec.field(default_factory=_Ring)
    rod: _Rod = msgspec.field(default_factory=_Rod)
    pedal: _Pedal = msgspec.field(default_factory=_Pedal)
    stops: _Stops = msgspec.field(default_factory=_Stops)
    linkage: dict[str, Any] | None = None
    figures: _Figures = msgspec.field(default_factory=_Figures)  # type: ignore[valid-type]
    left: _Left | None = None  # type: ignore[valid-type]


def load_card(path: Path) -> Card:
    """The card in a TOML file.

    Raises:
        CardError: one line that names the file, the line and the key, and says what to write.
    """
    return card_from_text(_text(path), path.name)


def card_from_text(text: str, name: str) -> Card:
    """A card's text, also the one kept in a record, read exactly as it was. Raises CardError."""
    file = TomlFile.of(text, name)
    for key, value in file.values():
        most = MOST_SIGNS.get(key.rpartition(".")[2], MOST_SIGNS_ELSE)
        if isinstance(value, str) and len(value) > most:
            raise file.problem(key, f"is longer than {most} signs; shorten it")
        if isinstance(value, str) and printable(value) != value:
            raise file.problem(key, "holds signs that are not seen, or a line's end; type it again")
    return _Loading(file).card()


def ring_of(lug_in: float) -> str:
    """Which ring moves the bearing so far a lug, "" for none: from memory what none can."""
    if not RANGES["ring.lug"].holds(lug_in):
        return ""
    return "fine" if lug_in < (COARSE_IN + FINE_IN) / 2 else "coarse"


class _Loading:
    """One card being read: its file, and what it says."""

    def __init__(self, file: TomlFile) -> None:
        self.file = file
        self.says: Any = file.to(_File)
        self.defaulted: list[str] = []

    def length(self, value: str, key: str, quantity: str = "") -> float:
        """A length written as people write them; inches."""
        if self.says.shop.units == "inch" and re.fullmatch(r"[\d.,\s]+", value):
            raise self.file.problem(
                key, f'{value!r} has no unit; write it like "9/16 in" or "12.7 mm"'
            )
        got = read(value, quantity, self.says.shop.units)
        if got.status != "read" or got.value_in is None:
            why = (got.why or "no length").rstrip(".")
            raise self.file.problem(
                key,
                f'{value!r} will not do ({why}); write it like "9/16 in", "0.485 in" or "12.7 mm"',
            )
        if key != "ring.lug":  # which says what rings there are
            self.sensible(got.value_in, key, value)
        return got.value_in

    def sensible(self, value_in: float, key: str, said: str) -> None:
        """Raises CardError where no truck has such a figure."""
        of = range_of(key)
        if of is not None and not of.holds(value_in):
            ends = " to ".join(of.ends(self.says.shop.units))
            raise self.file.problem(key, f"{said!r} cannot be; it is {ends}: measure it again")

    def card(self) -> Card:
        says = self.says
        pedal, (ring, lug_in) = says.pedal, self._ring()
        geometry, load = geometry_of(self.file, says.truck.linkage, self.length)
        thread, longer, per_fork = self._rod(geometry)
        told = {
            "rod.thread": says.rod.thread,
            "rod.longer": longer,
            "rod.per_fork": per_fork,
            "pedal.ratio": pedal.ratio or geometry,
        }
        self.defaulted += [key for key, value in told.items() if value is None]
        lash_in = self.length(pedal.lash, "pedal.lash") if pedal.lash else 0.0
        figures = self._figures()
        whose = {name: _whose(getattr(says, name)) for name in ("ring", "rod", "pedal")}
        return Card(
            unit=says.unit.strip(),
            **msgspec.structs.asdict(says.truck),
            **msgspec.structs.asdict(says.shop),
            lug_in=lug_in,
            ring_lugs=says.ring.lugs,
            thread=thread,
            longer=longer or "",
            per_fork=per_fork or 1.0,
            ratio=pedal.ratio,
            lash_in=lash_in,
            lash_known=pedal.lash is not None,
            height_turn_in=self._stop("height", says.stops.height),
            total_turn_in=self._stop("total", says.stops.total),
            geometry=geometry,
            load=load,
            figures=figures,
            defaulted=tuple(self.defaulted),
            text=self.file.text,
            name=self.file.name,
            lock=says.ring.lock,
            ring=ring,
            sources={name: text for name, text in whose.items() if text},
            left=self._left(),
        )

    def _ring(self) -> tuple[str, float | None]:
        """Which ring it is, "" when not said, and the bearing's travel a lug, inches."""
        ring = self.says.ring
        lug_in = {"coarse": COARSE_IN, "fine": FINE_IN}.get(ring.type or "")
        if ring.lug is None:
            if self.says.truck.clutch != "self-adjusting":  # that one has no ring to move
                self.defaulted.append("ring.lug")
            return ring.type or "", lug_in
        lug_in = self.length(ring.lug, "ring.lug")
        nearest = ring_of(lug_in)
        if not nearest:
            raise self.file.problem(
                "ring.lug", f"{ring.lug!r} a lug cannot be; common rings move 0.014 or 0.027 in"
            )
        if ring.type and ring.type != nearest:
            raise self.file.problem(
                "ring.lug", f"{ring.lug!r} is no {ring.type} ring; mend lug or type"
            )
        return nearest, lug_in

    def _rod(self, geometry: Linkage | None) -> tuple[str, str | None, float | None]:
        """Thread, what a longer rod gives, and rod travel per fork travel; None where not said."""
        rod = self.says.rod
        thread = (rod.thread or DEFAULT_THREAD).strip()
        try:
            lead_in(thread)
        except ValueError as error:
            raise self.file.problem("rod.thread", str(error)) from None
        by_geometry, way = adjuster_of(self.file, geometry)
        if rod.longer and way and rod.longer != way:
            raise self.file.problem(
                "rod.longer", f"by this card's [linkage] a longer rod gives {way}"
            )
        return thread, rod.longer or way or None, rod.per_fork or by_geometry

    def _stop(self, name: str, value: str | None) -> float | None:
        """Pedal travel by one turn of a stop's bolt, inches."""
        if value is None:
            return None
        return self.length(value, f"stops.{name}")

    def _left(self) -> Left | None:
        left = self.says.left
        if left is None:
            return None
        lengths = ((name, getattr(left, name.replace("-", "_"))) for name in DEFAULT_FIGURES)
        readings = {q: self.length(said, f"left.{q}", q) for q, said in lengths if said is not None}
        return Left(left.record.strip(), left.by.strip(), int(left.lugs), readings)

    def _figures(self) -> dict[str, Limits | None]:
        figures: dict[str, Limits | None] = {}
        braked = self.says.truck.transmission != "synchronized"
        for name, default in DEFAULT_FIGURES.items():
            value = getattr(self.says.figures, name.replace("-", "_"))
            if name == "brake-contact" and value is not None and not braked:
                raise self.file.problem(
                    f"figures.{name}",
                    "a synchronized transmission has no clutch brake; remove this, "
                    'or write transmission = "non-synchronized"',
                )
            if value is not None:
                figures[name] = self._figure(name, value)
            elif name in _BRAKED and not braked:
                figures[name] = None
            else:
                figures[name] = default
                self.defaulted.append(f"figures.{name}")
        return figures

    def _pair(self, value: str, key: str, quantity: str) -> tuple[float, float]:
        """Both limits written as one: "1/2 to 9/16"; inches."""
        got = read(value, quantity, self.says.shop.units)
        if got.low_in is None or got.high_in is None or not got.readback.startswith("between"):
            raise self.file.problem(key, f"{value!r} is no pair of limits; {_LIMITS}")
        return got.low_in, got.high_in

    def _wide(self, low_in: float, high_in: float, key: str) -> None:
        if high_in - low_in < LEAST_BAND_IN - 1e-9:
            least = f"{LEAST_BAND_IN:.3f} in"
            raise self.file.problem(key, f"low and high are too near; give them {least} apart")

    def _figure(self, name: str, value: str | _Figure) -> Limits:
        key, every = f"figures.{name}", self.says.figures
        whose = _whose(every, "truck card")
        if isinstance(value, str):
            pair = self._pair(value, key, name)
            for end in pair:
                self.sensible(end, key, value)
            self._wide(*pair, key)
            return Limits(*pair, whose)
        whose = _whose(value, every.source or "truck card", every.set_by)
        given = {part: getattr(value, part) for part in ("low", "high", "target")}
        low, high, target = (
            None if words is None else self.length(words, f"{key}.{part}", name)
            for part, words in given.items()
        )
        if low is None and high is None:
            raise self.file.problem(key, "has neither low nor high; give at least one")
        lowest, highest = low or 0.0, math.inf if high is None else high
        if lowest > highest:
            raise self.file.problem(key, f"low {value.low!r} is above high {value.high!r}")
        self._wide(lowest, highest, key)
        if not lowest <= (lowest if target is None else target) <= highest:
            raise self.file.problem(key, f"target {value.target!r} is outside low and high")
        return Limits(low, high, whose, target)


def _whose(table: Any, source: str = "", by: str = "") -> str:
    """`manual page 4, set by 12`: the document, and who took it from there; or ""."""
    source, by = table.source.strip() or source, table.set_by.strip() or by
    return ", ".join(part for part in (source, f"set by {by}" if by else "") if part)


def _text(path: Path) -> str:
    try:
        return named_file.text_of(named_file.whole(path, MAX_BYTES))
    except FileNotFoundError:
        raise CardError(f"there is no card {path}; check the name") from None
    except OSError as error:
        raise CardError(f"{path} is no card: {error.strerror}; name the card's TOML file") from None
    except ValueError as error:
        raise CardError(f"{path.name}, {error}") from None
