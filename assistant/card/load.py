"""Read and check a truck card; every error names the line and the key."""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from assistant.card.card import (
    CLUTCHES,
    COVERS,
    DISTANCES,
    LINKAGES,
    LOCKS,
    LONGER,
    RINGS,
    TRANSMISSIONS,
    UNITS,
    Card,
    Left,
)
from assistant.card.linkage import adjuster_of, geometry_of
from assistant.clutch.conformity import Limits
from assistant.clutch.figures import DEFAULT_FIGURES, Figure
from assistant.clutch.ring import COARSE_IN, FINE_IN
from assistant.clutch.thread import lead_in
from assistant.readings import QUANTITIES, read

MAX_BYTES = 100_000
"""A card is a page of text; anything larger is some other file."""

_KEYS: dict[str, tuple[str, ...]] = {
    "": ("unit", "truck", "shop", "ring", "rod", "pedal", "stops", "linkage", "figures", "left"),
    "truck": ("transmission", "linkage", "clutch", "cover"),
    "shop": ("units", "distance"),
    "ring": ("lug", "lugs", "type", "lock", "source", "set_by"),
    "rod": ("thread", "longer", "per_fork", "source", "set_by"),
    "pedal": ("ratio", "lash", "source", "set_by"),
    "stops": ("height", "total"),
    "figures": ("source", "set_by", *DEFAULT_FIGURES),
    "left": ("record", "by", "lugs", *DEFAULT_FIGURES),
}
MOST_LUGS = 200
"""More than any ring has, from new to its end: from memory."""
_FIGURE_KEYS = ("low", "high", "target", "source", "set_by")


class CardError(Exception):
    """One clear line: file, line, key, what is wrong, what to write instead."""


@dataclass
class _Card:
    """The card being read: its tables, and where each key stands."""

    path: Path
    text: str
    tables: dict[str, Any]

    def fail(self, key: str, problem: str) -> CardError:
        line = self._line(key)
        place = f"{self.path.name}, line {line}" if line else self.path.name
        return CardError(f"{place}: {key}: {problem}")

    def _line(self, key: str) -> int:
        """The line that defines a dotted key, as well as a person would find it; 0 if nowhere."""
        parts = key.split(".")
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
            if key.startswith(full + ".") and len(parts) > 1:
                best = number
        return best

    def table(self, name: str) -> dict[str, Any]:
        value = self.tables.get(name, {})
        if not isinstance(value, dict):
            raise self.fail(name, f"is a section; write [{name}] on a line of its own")
        for key in value:
            self.known(f"{name}.{key}", key, _KEYS[name])
        return value

    def known(self, full: str, key: str, allowed: tuple[str, ...]) -> None:
        if key in allowed:
            return
        near = get_close_matches(key, allowed, 1)
        hint = f"did you mean {near[0]}?" if near else f"use one of {', '.join(allowed)}"
        raise self.fail(full, f"is no key of a card; {hint}")

    def choice(self, table: dict[str, Any], full: str, allowed: tuple[str, ...]) -> str | None:
        value = table.get(full.split(".")[-1])
        if value is None:
            return None
        if value not in allowed:
            raise self.fail(full, f"{value!r} will not do; write one of {', '.join(allowed)}")
        return str(value)

    def text_of(self, table: dict[str, Any], full: str) -> str | None:
        value = table.get(full.split(".")[-1])
        if value is None:
            return None
        if not isinstance(value, str) or not value.strip():
            raise self.fail(full, f'{value!r} will not do; write it in quotes, like "T-104"')
        return value.strip()

    def number(self, table: dict[str, Any], full: str, low: float, high: float) -> float | None:
        value = table.get(full.split(".")[-1])
        if value is None:
            return None
        if (
            isinstance(value, bool)
            or not isinstance(value, int | float)
            or not low <= value <= high
        ):
            raise self.fail(full, f"{value!r} will not do; write a number from {low:g} to {high:g}")
        return float(value)

    def length(self, value: Any, full: str, quantity: str, units: str) -> float:
        """A length written as people write them; inches."""
        if not isinstance(value, str):
            raise self.fail(full, f'{value!r} has no unit; write it in quotes, like "9/16 in"')
        if units == "inch" and re.fullmatch(r"[\d.,\s]+", value):
            raise self.fail(full, f'{value!r} has no unit; write it like "9/16 in" or "12.7 mm"')
        got = read(value, quantity, units)
        if got.status != "read" or got.value_in is None:
            why = got.why or "no length"
            raise self.fail(
                full,
                f"{value!r} will not do ({why.rstrip('.')}); write it like "
                '"9/16 in", "0.485 in" or "12.7 mm"',
            )
        return got.value_in


def load_card(path: Path) -> Card:
    """The card in a TOML file.

    Raises:
        CardError: one line that names the file, the line and the key, and says what to write.
    """
    text = _text(path)
    return _build(_Card(path, text, _toml(text, path.name)))


def _build(card: _Card) -> Card:
    for key in card.tables:
        card.known(key, key, _KEYS[""])
    truck, shop = card.table("truck"), card.table("shop")
    ring, rod, pedal = card.table("ring"), card.table("rod"), card.table("pedal")
    units = card.choice(shop, "shop.units", UNITS) or "inch"
    defaulted: list[str] = []

    transmission = card.choice(truck, "truck.transmission", TRANSMISSIONS) or TRANSMISSIONS[0]
    ring_type = card.choice(ring, "ring.type", RINGS) or ""
    lug_in = {"coarse": COARSE_IN, "fine": FINE_IN}.get(ring_type)
    if "lug" in ring:
        lug_in = card.length(ring["lug"], "ring.lug", "", units)
        if not 0.003 <= lug_in <= 0.1:
            raise card.fail(
                "ring.lug", f"{ring['lug']!r} a lug cannot be; common rings move 0.014 or 0.027 in"
            )
        nearest = "fine" if lug_in < (COARSE_IN + FINE_IN) / 2 else "coarse"
        if ring_type and ring_type != nearest:
            raise card.fail("ring.lug", f"{ring['lug']!r} is no {ring_type} ring; mend lug or type")
        ring_type = nearest
    elif truck.get("clutch") != "self-adjusting":  # that one has no ring to move
        defaulted.append("ring.lug")
    thread = card.text_of(rod, "rod.thread")
    if thread is None:
        defaulted.append("rod.thread")
    else:
        try:
            lead_in(thread)
        except ValueError as error:
            raise card.fail("rod.thread", str(error)) from None
    longer = card.choice(rod, "rod.longer", LONGER)
    if longer is None:
        defaulted.append("rod.longer")
    per_fork = card.number(rod, "rod.per_fork", 0.1, 20)
    if per_fork is None:
        defaulted.append("rod.per_fork")
    ratio = card.number(pedal, "pedal.ratio", 2, 60)
    if ratio is None:
        defaulted.append("pedal.ratio")
    lash = card.length(pedal["lash"], "pedal.lash", "", units) if "lash" in pedal else 0.0
    stops = card.table("stops")
    height = _stop(card, stops, "stops.height", units)
    total = _stop(card, stops, "stops.total", units)
    linkage = card.choice(truck, "truck.linkage", LINKAGES) or LINKAGES[0]
    geometry, load = geometry_of(card, linkage, units)
    by_geometry, way = adjuster_of(card, geometry)
    if longer and way and longer != way:
        raise card.fail("rod.longer", f"by this card's [linkage] a longer rod gives {way}")
    longer, per_fork = longer or way or None, per_fork or by_geometry
    told = {"rod.longer": longer, "rod.per_fork": per_fork, "pedal.ratio": ratio or geometry}
    defaulted = [key for key in defaulted if told.get(key) is None]
    figures = _figures(card, units, transmission, defaulted)
    return Card(
        unit=card.text_of(card.tables, "unit") or "",
        transmission=transmission,
        linkage=linkage,
        clutch=card.choice(truck, "truck.clutch", CLUTCHES) or CLUTCHES[0],
        units=units,
        distance=card.choice(shop, "shop.distance", DISTANCES) or "miles",
        lug_in=lug_in,
        ring_lugs=_ring_lugs(card, ring),
        longer=longer or "",
        per_fork=per_fork or 1.0,
        ratio=ratio,
        lash_in=lash,
        height_turn_in=height,
        total_turn_in=total,
        geometry=geometry,
        load=load,
        figures=figures,
        defaulted=tuple(defaulted),
        text=card.text,
        name=card.path.name,
        cover=card.choice(truck, "truck.cover", COVERS) or COVERS[0],
        lock=card.choice(ring, "ring.lock", LOCKS) or LOCKS[0],
        ring=ring_type,
        sources={
            name: whose
            for name, table in (("ring", ring), ("rod", rod), ("pedal", pedal))
            if (whose := _whose(card, table, name))
        },
        left=_left(card, units),
        **({"thread": thread} if thread else {}),
    )


def _whose(card: _Card, table: dict[str, Any], full: str, source: str = "", by: str = "") -> str:
    """`manual page 4, set by 12`: the document, and who took it from there; or ""."""
    source = card.text_of(table, f"{full}.source") or source
    by = card.text_of(table, f"{full}.set_by") or by
    return ", ".join(part for part in (source, f"set by {by}" if by else "") if part)


def _left(card: _Card, units: str) -> Left | None:
    table = card.table("left")
    if not table:
        return None
    return Left(
        card.text_of(table, "left.record") or "",
        card.text_of(table, "left.by") or "",
        {
            name: card.length(table[name], f"left.{name}", name, units)
            for name in DEFAULT_FIGURES
            if name in table
        },
        int(card.number(table, "left.lugs", -1000, 1000) or 0),
    )


def _stop(card: _Card, stops: dict[str, Any], full: str, units: str) -> float | None:
    """Pedal travel by one turn of a stop's bolt, inches."""
    value = stops.get(full.split(".")[-1])
    if value is None:
        return None
    turn_in = card.length(value, full, "", units)
    if not 0.01 <= turn_in <= 1.0:
        raise card.fail(full, f"{value!r} a turn cannot be; give the pedal's travel, like 1/8 in")
    return turn_in


def card_from_text(text: str, name: str) -> Card:
    """The card kept in a record, read again exactly as it was. Raises CardError."""
    return _build(_Card(Path(name), text, _toml(text, name)))


def _text(path: Path) -> str:
    try:
        if path.exists() and not path.is_file():
            raise CardError(f"{path} is no file; name the card's TOML file")
        with path.open("rb") as stream:
            data = stream.read(MAX_BYTES + 1)
    except FileNotFoundError:
        raise CardError(f"there is no card {path}; check the name") from None
    except OSError as error:
        raise CardError(f"{path} cannot be read: {error.strerror}; check the name") from None
    if len(data) > MAX_BYTES:
        raise CardError(f"{path.name} is too large for a card; name a TOML file like the demo card")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise CardError(f"{path.name} is not text; a card is a TOML file in UTF-8") from None


def _toml(text: str, name: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        raise CardError(f"{name}: not valid TOML: {error}") from None


_BRAKED = ("gap", "brake-contact")
"""Figures whose common practice speaks of the clutch brake."""


def _ring_lugs(card: _Card, ring: dict[str, Any]) -> int | None:
    lugs = ring.get("lugs")
    if lugs is None:
        return None
    if isinstance(lugs, bool) or not isinstance(lugs, int) or not 1 <= lugs <= MOST_LUGS:
        problem = f"{lugs!r} will not do; write how many, like 18; the travel of one is ring.lug"
        raise card.fail("ring.lugs", problem)
    return lugs


def _figures(
    card: _Card, units: str, transmission: str, defaulted: list[str]
) -> dict[str, Figure | None]:
    table = card.table("figures")
    source = card.text_of(table, "figures.source") or "truck card"
    by = card.text_of(table, "figures.set_by") or ""
    figures: dict[str, Figure | None] = {}
    braked = transmission != "synchronized"
    for name, default in DEFAULT_FIGURES.items():
        if name == "brake-contact" and name in table and not braked:
            raise card.fail(
                f"figures.{name}",
                "a synchronized transmission has no clutch brake; remove this, "
                'or write transmission = "non-synchronized"',
            )
        if name not in table and name in _BRAKED and not braked:
            figures[name] = None
        elif name not in table:
            figures[name] = default
            defaulted.append(f"figures.{name}")
        else:
            figures[name] = _figure(card, name, table[name], (source, by), units)
    return figures


def _figure(card: _Card, name: str, value: Any, whose: tuple[str, str], units: str) -> Figure:
    full = f"figures.{name}"
    source = _whose(card, {}, full, *whose)
    if isinstance(value, str):
        got = read(value, name, units)
        if (
            got.status != "read"
            or got.low_in is None
            or got.high_in is None
            or not got.readback.startswith("between")
        ):
            raise card.fail(
                full,
                f"{value!r} is no pair of limits; write it like "
                '"1/2 to 9/16", or { low = "1/2", high = "9/16" }',
            )
        return Figure(Limits(got.low_in, got.high_in, source), None, source)
    if not isinstance(value, dict):
        raise card.fail(full, 'write it like "1/2 to 9/16", or { low = "1/2", high = "9/16" }')
    for key in value:
        card.known(f"{full}.{key}", key, _FIGURE_KEYS)
    source = _whose(card, value, full, *whose)
    got_in = {
        key: card.length(value[key], f"{full}.{key}", name, units)
        for key in ("low", "high", "target")
        if key in value
    }
    low, high, target = (got_in.get(k) for k in ("low", "high", "target"))
    if low is None and high is None:
        raise card.fail(full, "has neither low nor high; give at least one")
    if low is not None and high is not None and low > high:
        raise card.fail(full, f"low {value['low']!r} is above high {value['high']!r}")
    if target is not None and (
        (low is not None and target < low) or (high is not None and target > high)
    ):
        raise card.fail(full, f"target {value['target']!r} is outside low and high")
    assert name in QUANTITIES
    return Figure(Limits(low, high, source), target, source)
