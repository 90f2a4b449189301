"""The card's `[linkage]`: geometry of rods, cable or fluid, as a model; nothing when left out."""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING, Any

from assistant.card.card import LONGER
from assistant.clutch.linkage.cable import CABLE_MODULUS_PSI, Cable, cable_stiffness_lbf_in
from assistant.clutch.linkage.hydraulic import Hydraulic
from assistant.clutch.linkage.levers import FourBar, LeverChain, Stage
from assistant.clutch.linkage.protocol import Linkage, LinkageError
from assistant.clutch.linkage.stroke import Load
from assistant.clutch.thread import MM_PER_IN, lead_in

if TYPE_CHECKING:
    from assistant.card.load import _Card

_ANY = ("load", "load_rate")
KEYS: dict[str, tuple[str, ...]] = {
    "rod": (*_ANY, "pedal", "fork", "tip", "bar"),
    "cable": (
        *_ANY,
        "pedal_lever",
        "fork_lever",
        "stiffness",
        "diameter",
        "length",
        "modulus",
        "thread",
    ),
    "hydraulic": (
        *_ANY,
        "pedal_lever",
        "fork_lever",
        "master_bore",
        "slave_bore",
        "master_stroke",
        "slave_stroke",
        "port",
        "fluid",
        "air",
        "self_filling",
    ),
}
_BAR_KEYS = ("name", "arm", "rod", "lever", "pivots", "angle", "moves", "crossed", "adjusts")
_MOST_BARS = 8
"""More than any chain has; it keeps a slip of the pen from becoming a machine."""
_LEAST_PER_ROD = 0.05
"""Fork travel per rod travel; no adjuster is geared down more than twenty to one. From memory."""


class _Table:
    """One table of the section, and how its keys are named in an error."""

    def __init__(self, card: _Card, table: dict[str, Any], full: str, who: str, units: str) -> None:
        self.card, self.table, self.full, self.who, self.units = card, table, full, who, units

    def _missing(self, key: str, like: str) -> Exception:
        return self.card.fail(self.full, f"{self.who}{key} is missing; write it like {like}")

    def length(self, key: str, default: float | None = None) -> float:
        """A length above zero, inches."""
        if key not in self.table:
            if default is not None:
                return default
            raise self._missing(key, f'{key} = "2-1/2 in"')
        value = self.card.length(self.table[key], f"{self.full}.{key}", "", self.units)
        if not value > 0.0:
            raise self.card.fail(f"{self.full}.{key}", "must be above zero; measure it again")
        return value

    def long(self, key: str) -> float:
        """A length that may be longer than any reading, as of a cable; inches."""
        if key not in self.table:
            raise self._missing(key, f'{key} = "60 in"')
        value = self.table[key]
        m = re.fullmatch(
            r"\s*(\d+(?:\.\d+)?)\s*(in|mm)\s*", value if isinstance(value, str) else ""
        )
        if not m or not float(m[1]) > 0.0:
            raise self.card.fail(
                f"{self.full}.{key}", f'{value!r} will not do; write it like "60 in" or "1500 mm"'
            )
        return float(m[1]) / (MM_PER_IN if m[2] == "mm" else 1.0)

    def number(
        self, key: str, low: float, high: float, default: float | None = None, like: str = "5"
    ) -> float:
        """A plain number; with its unit in the manual's table of keys."""
        value = self.card.number(self.table, f"{self.full}.{key}", low, high)
        if value is None:
            if default is None:
                raise self._missing(key, f"{key} = {like}")
            return default
        return value

    def flag(self, key: str) -> bool:
        """true or false; false when left out."""
        value = self.table.get(key, False)
        if not isinstance(value, bool):
            raise self.card.fail(
                f"{self.full}.{key}", f"{value!r} will not do; write true or false"
            )
        return value


def geometry_of(card: _Card, kind: str, units: str) -> tuple[Linkage | None, Load]:
    """The model of `[linkage]` and the load at the fork, or None and no load without the section.

    Raises:
        CardError: a key is missing or wrong, or parts that cannot move.
    """
    raw = card.tables.get("linkage")
    if raw is None:
        return None, Load()
    if not isinstance(raw, dict):
        raise card.fail("linkage", "is a section; write [linkage] on a line of its own")
    for key in raw:
        card.known(f"linkage.{key}", key, KEYS[kind])
    table = _Table(card, raw, "linkage", "", units)
    load = Load(table.number("load", 0, 5000, 0.0), table.number("load_rate", 0, 20000, 0.0))
    build = {"rod": _rods, "cable": _cable, "hydraulic": _hydraulic}[kind]
    try:
        return build(table), load
    except LinkageError as error:
        raise card.fail("linkage", str(error)) from None


def adjuster_of(card: _Card, geometry: Linkage | None) -> tuple[float | None, str]:
    """What the geometry makes of the adjuster: its travel per fork travel, and what longer gives.

    Of rods the bar marked `adjusts`; of a cable or fluid the threaded end at the fork's lever, of
    which only the card can say which way is longer. None and "" where geometry does not tell.

    Raises:
        CardError: more than one bar adjusts, or its rod does not move the fork.
    """
    if isinstance(geometry, Cable | Hydraulic):
        return geometry.fork_lever, ""
    if not isinstance(geometry, LeverChain):
        return None, ""
    bars = card.tables["linkage"]["bar"]
    marked = [i for i, bar in enumerate(bars) if bar.get("adjusts")]
    if len(marked) > 1:
        raise card.fail("linkage.bar", "two bars have adjusts = true; mark the one that is turned")
    if not marked:
        return None, ""
    per_rod = geometry.clearance_per_rod(marked[0])
    if abs(per_rod) < _LEAST_PER_ROD:
        raise card.fail("linkage.bar", f"bar {marked[0] + 1}: its rod hardly moves the fork")
    return 1.0 / abs(per_rod), LONGER[0] if per_rod > 0.0 else LONGER[1]


def _rods(table: _Table) -> Linkage:
    bars = table.table.get("bar")
    if not isinstance(bars, list) or not 1 <= len(bars) <= _MOST_BARS:
        raise table.card.fail(
            "linkage.bar", f"write [[linkage.bar]] for each rod, 1 to {_MOST_BARS} of them"
        )
    return LeverChain(
        table.length("pedal"),
        tuple(_stage(table, bar, i) for i, bar in enumerate(bars, 1)),
        table.length("fork"),
        math.radians(table.number("tip", -60, 60, 0.0)),
    )


def _stage(table: _Table, bar: Any, number: int) -> Stage:
    full = "linkage.bar"
    if not isinstance(bar, dict):
        raise table.card.fail(full, "write [[linkage.bar]] on a line of its own")
    for key in bar:
        table.card.known(f"{full}.{key}", key, _BAR_KEYS)
    one = _Table(table.card, bar, full, f"bar {number}: ", table.units)
    moves = table.card.choice(bar, f"{full}.moves", ("push", "pull"))
    if moves is None:
        raise table.card.fail(full, f'bar {number}: moves is missing; write "push" or "pull"')
    one.flag("adjusts")
    return Stage(
        FourBar(
            one.length("arm"),
            one.length("rod"),
            one.length("lever"),
            one.length("pivots"),
            one.flag("crossed"),
        ),
        math.radians(one.number("angle", 1, 179, like="85")),
        moves == "pull",
        table.card.text_of(bar, f"{full}.name") or f"rod {number}",
    )


def _cable(table: _Table) -> Linkage:
    if "stiffness" in table.table:
        stiffness = table.number("stiffness", 10, 1e6)
    else:
        modulus = table.number("modulus", 1e6, 3.2e7, CABLE_MODULUS_PSI)
        stiffness = cable_stiffness_lbf_in(table.length("diameter"), table.long("length"), modulus)
    thread = table.card.text_of(table.table, "linkage.thread")
    try:
        lead = lead_in(thread) if thread else 1 / 20
    except ValueError as error:
        raise table.card.fail("linkage.thread", str(error)) from None
    return Cable(
        table.number("pedal_lever", 0.5, 30), table.number("fork_lever", 0.1, 30), stiffness, lead
    )


def _hydraulic(table: _Table) -> Linkage:
    return Hydraulic(
        table.number("pedal_lever", 0.5, 30),
        table.number("fork_lever", 0.1, 30, like="1.8"),
        table.length("master_bore"),
        table.length("slave_bore"),
        table.length("master_stroke"),
        table.length("slave_stroke"),
        table.number("fluid", 0, 200, 0.0),
        table.number("air", 0, 20, 0.0),
        table.length("port", 0.0),
        table.flag("self_filling"),
    )
