"""The card's `[linkage]`: geometry of rods, cable or fluid, as a model; nothing when left out."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import replace
from typing import Annotated, cast

import msgspec
from msgspec import Meta, Struct

from assistant.card.card import LONGER
from assistant.clutch.linkage.cable import CABLE_MODULUS_PSI, Cable, cable_stiffness_lbf_in
from assistant.clutch.linkage.hydraulic import Hydraulic
from assistant.clutch.linkage.levers import FourBar, LeverChain, Stage
from assistant.clutch.linkage.stroke import Linkage, LinkageError, Load
from assistant.clutch.thread import MM_PER_IN, lead_in
from assistant.toml_file import TomlFile, one_of

_MOST_BARS = 8
"""More than any chain has; it keeps a slip of the pen from becoming a machine."""
_LEAST_PER_ROD = 0.05
"""Fork travel per rod travel; no adjuster is geared down more than twenty to one. From memory."""

Length = Annotated[
    str,
    Meta(
        extra={
            "hint": 'has no unit; write it in quotes, like "9/16 in"',
            "like": '"2-1/2 in"',
        }
    ),
]
Long = Annotated[
    str, Meta(extra={"hint": 'will not do; write it like "60 in" or "1500 mm"', "like": '"60 in"'})
]
"""A length that may be longer than any reading, as of a cable."""
PedalLever = Annotated[float, Meta(ge=0.5, le=30)]
ForkLever = Annotated[float, Meta(ge=0.1, le=30, extra={"like": "1.8"})]
LengthIn = Callable[[str, str], float]
"""A length as written, and its key, to inches."""


class _Linkage(Struct, forbid_unknown_fields=True):
    load: Annotated[float, Meta(ge=0, le=5000)] = 0.0
    load_rate: Annotated[float, Meta(ge=0, le=20000)] = 0.0


class _Bar(Struct, forbid_unknown_fields=True):
    arm: Length
    rod: Length
    lever: Length
    pivots: Length
    angle: Annotated[float, Meta(ge=1, le=179, extra={"like": "85"})]
    moves: one_of(("push", "pull"))  # type: ignore[valid-type]
    name: str = ""
    crossed: bool = False
    adjusts: bool = False


class _Rods(_Linkage, kw_only=True):
    bar: Annotated[list[_Bar], Meta(min_length=1, max_length=_MOST_BARS)]
    pedal: Length
    fork: Length
    tip: Annotated[float, Meta(ge=-60, le=60)] = 0.0


class _CableTable(_Linkage, kw_only=True):
    pedal_lever: PedalLever
    fork_lever: ForkLever
    stiffness: Annotated[float, Meta(ge=10, le=1e6)] | None = None
    diameter: Length | None = None
    length: Long | None = None
    modulus: Annotated[float, Meta(ge=1e6, le=3.2e7)] = CABLE_MODULUS_PSI
    thread: str = ""


class _Fluid(_Linkage, kw_only=True):
    pedal_lever: PedalLever
    fork_lever: ForkLever
    master_bore: Length
    slave_bore: Length
    master_stroke: Length
    slave_stroke: Length
    fluid: Annotated[float, Meta(ge=0, le=200)] = 0.0
    air: Annotated[float, Meta(ge=0, le=20)] = 0.0
    port: Length | None = None
    self_filling: bool = False


class _Section(Struct):
    linkage: _Linkage


_SECTIONS: dict[str, type[_Section]] = {
    kind: cast("type[_Section]", msgspec.defstruct(f"_{kind}", [("linkage", table)]))
    for kind, table in (("rod", _Rods), ("cable", _CableTable), ("hydraulic", _Fluid))
}


def geometry_of(file: TomlFile, kind: str, length_in: LengthIn) -> tuple[Linkage | None, Load]:
    """The model of `[linkage]` and the load at the fork, or None and no load without the section.

    Raises:
        TomlError: a key is missing or wrong, or parts that cannot move.
    """
    if "linkage" not in file.tables:
        return None, Load()
    section = replace(file, tables={"linkage": file.tables["linkage"]})
    table = section.to(_SECTIONS[kind]).linkage
    try:
        return _model(_Builder(file, length_in), table), Load(table.load, table.load_rate)
    except LinkageError as error:
        raise file.problem("linkage", str(error)) from None


def adjuster_of(file: TomlFile, geometry: Linkage | None) -> tuple[float | None, str]:
    """What the geometry makes of the adjuster: its travel per fork travel, and what longer gives.

    Of rods the bar marked `adjusts`; of a cable or fluid the threaded end at the fork's lever, of
    which only the card can say which way is longer. None and "" where geometry does not tell.

    Raises:
        TomlError: more than one bar adjusts, or its rod does not move the fork.
    """
    if isinstance(geometry, Cable | Hydraulic):
        return geometry.fork_lever, ""
    if not isinstance(geometry, LeverChain):
        return None, ""
    bars = file.tables["linkage"]["bar"]
    marked = [i for i, bar in enumerate(bars) if bar.get("adjusts")]
    if len(marked) > 1:
        raise file.problem(
            "linkage.bar", "two bars have adjusts = true; mark the one that is turned"
        )
    if not marked:
        return None, ""
    per_rod = geometry.clearance_per_rod(marked[0])
    if abs(per_rod) < _LEAST_PER_ROD:
        raise file.problem("linkage.bar", f"bar {marked[0] + 1}: its rod hardly moves the fork")
    return 1.0 / abs(per_rod), LONGER[0] if per_rod > 0.0 else LONGER[1]


class _Builder:
    """Lengths of the section, checked."""

    def __init__(self, file: TomlFile, length_in: LengthIn) -> None:
        self.file, self._length_in = file, length_in

    def length(self, value: str | None, key: str) -> float:
        """A length above zero, inches; zero where it may be left out and was."""
        if value is None:
            return 0.0
        found = self._length_in(value, f"linkage.{key}")
        if not found > 0.0:
            raise self.file.problem(f"linkage.{key}", "must be above zero; measure it again")
        return found

    def long(self, value: str, key: str) -> float:
        """A length that may be longer than any reading; inches."""
        m = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*(in|mm)\s*", value)
        if not m or not float(m[1]) > 0.0:
            raise self.file.problem(
                f"linkage.{key}", f'{value!r} will not do; write it like "60 in" or "1500 mm"'
            )
        return float(m[1]) / (MM_PER_IN if m[2] == "mm" else 1.0)


def _model(of: _Builder, table: _Linkage) -> Linkage:
    if isinstance(table, _Rods):
        return LeverChain(
            of.length(table.pedal, "pedal"),
            tuple(_stage(of, bar, i) for i, bar in enumerate(table.bar, 1)),
            of.length(table.fork, "fork"),
            math.radians(table.tip),
        )
    if isinstance(table, _CableTable):
        return Cable(
            table.pedal_lever, table.fork_lever, _stiffness(of, table), _lead_in(of, table.thread)
        )
    assert isinstance(table, _Fluid)
    return Hydraulic(
        table.pedal_lever,
        table.fork_lever,
        of.length(table.master_bore, "master_bore"),
        of.length(table.slave_bore, "slave_bore"),
        of.length(table.master_stroke, "master_stroke"),
        of.length(table.slave_stroke, "slave_stroke"),
        table.fluid,
        table.air,
        of.length(table.port, "port"),
        table.self_filling,
    )


def _stage(of: _Builder, bar: _Bar, number: int) -> Stage:
    arm, rod, lever, pivots = (
        of.length(getattr(bar, key), f"bar.{key}") for key in ("arm", "rod", "lever", "pivots")
    )
    return Stage(
        FourBar(arm, rod, lever, pivots, bar.crossed),
        math.radians(bar.angle),
        bar.moves == "pull",
        bar.name.strip() or f"rod {number}",
    )


def _stiffness(of: _Builder, table: _CableTable) -> float:
    """Pounds an inch: as given, or from the cable's wires."""
    if table.stiffness is not None:
        return table.stiffness
    for key, like in (("diameter", '"1/4 in"'), ("length", '"60 in"')):
        if getattr(table, key) is None:
            raise of.file.problem("linkage", f"{key} is missing; write it like {key} = {like}")
    diameter = of.length(table.diameter, "diameter")
    return cable_stiffness_lbf_in(diameter, of.long(table.length or "", "length"), table.modulus)


def _lead_in(of: _Builder, thread: str) -> float:
    try:
        return lead_in(thread.strip()) if thread else 1 / 20
    except ValueError as error:
        raise of.file.problem("linkage.thread", str(error)) from None
