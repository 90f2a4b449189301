"""The card's `[linkage]`: geometry of rods, cable or fluid, as a model; nothing when left out."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import fields, replace
from typing import Annotated, Any, cast

import msgspec
from msgspec import Meta, Struct

from assistant.card.card import CHOICES
from assistant.card.ranges import RANGES, within
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

_LONG = 'will not do; write it like "60 in" or "1500 mm"'

_WRITTEN = {"hint": 'has no unit; write it in quotes, like "9/16 in"', "like": '"2-1/2 in"'}
Length = Annotated[str, Meta(extra=_WRITTEN)]
Long = Annotated[str, Meta(extra={"hint": _LONG, "like": '"60 in"'})]
"""A length that may be longer than any reading, as of a cable."""
PedalLever = Annotated[float, within("linkage.pedal_lever")]
ForkLever = Annotated[float, within("linkage.fork_lever", like="1.8")]
LengthIn = Callable[[str, str], float]
"""A length as written, and its key, to inches."""


class _Linkage(Struct, forbid_unknown_fields=True):
    load: Annotated[float, within("linkage.load")] = 0.0
    load_rate: Annotated[float, within("linkage.load_rate")] = 0.0


class _Bar(Struct, forbid_unknown_fields=True):
    arm: Length
    rod: Length
    lever: Length
    pivots: Length
    angle: Annotated[float, within("linkage.bar.angle", like="85")]
    moves: one_of(("push", "pull"))  # type: ignore[valid-type]
    name: str = ""
    crossed: bool = False
    adjusts: bool = False


class _Rods(_Linkage, kw_only=True):
    bar: Annotated[list[_Bar], Meta(min_length=1, max_length=_MOST_BARS)]
    pedal: Length
    fork: Length
    tip: Annotated[float, within("linkage.tip")] = 0.0


class _CableTable(_Linkage, kw_only=True):
    pedal_lever: PedalLever
    fork_lever: ForkLever
    stiffness: Annotated[float, within("linkage.stiffness")] | None = None
    diameter: Length | None = None
    length: Long | None = None
    modulus: Annotated[float, within("linkage.modulus")] = CABLE_MODULUS_PSI
    thread: str = ""


class _Fluid(_Linkage, kw_only=True):
    pedal_lever: PedalLever
    fork_lever: ForkLever
    master_bore: Length
    slave_bore: Length
    master_stroke: Length
    slave_stroke: Length
    fluid: Annotated[float, within("linkage.fluid")] = 0.0
    air: Annotated[float, within("linkage.air")] = 0.0
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
    if isinstance(table, _CableTable) and table.stiffness is not None:
        table.diameter = None  # the wires are not asked: whatever the card says of them may stand
    says = _inches(file, table, length_in, "linkage")
    try:
        return _MODELS[type(table)](file, says), Load(table.load, table.load_rate)
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
    return 1.0 / abs(per_rod), CHOICES["rod.longer"][per_rod < 0.0]


def _inches(file: TomlFile, table: Struct, length_in: LengthIn, at: str) -> dict[str, Any]:
    """What a table says by key, its lengths in inches, above zero; what it leaves out is left."""
    says: dict[str, Any] = {}
    for field in msgspec.structs.fields(table):
        value, key = getattr(table, field.name), f"{at}.{field.name}"
        if field.type in (Length, Length | None) and value is not None:
            value = length_in(value, key)
        elif isinstance(value, list):
            value = [_inches(file, bar, length_in, key) for bar in value]
        if value is not None:
            says[field.name] = value
    return says


def _made(kind: type[Any], says: Mapping[str, Any]) -> Any:
    """A part of the model from its keys on the card, where those have no unit: `rod`, `rod_in`."""
    keys = {field.name: re.sub(r"_in3?$", "", field.name) for field in fields(kind)}
    return kind(**{name: says[key] for name, key in keys.items() if key in says})


def _chain(file: TomlFile, says: Mapping[str, Any]) -> LeverChain:
    stages = [
        Stage(
            _made(FourBar, bar),
            math.radians(bar["angle"]),
            bar["moves"] == "pull",
            bar["name"].strip() or f"rod {number}",
        )
        for number, bar in enumerate(says["bar"], 1)
    ]
    return LeverChain(says["pedal"], tuple(stages), says["fork"], math.radians(says["tip"]))


def _cable(file: TomlFile, says: Mapping[str, Any]) -> Cable:
    """Its stiffness as given, or from its wires."""
    stiffness = says.get("stiffness")
    if stiffness is None:
        for key, like in (("diameter", '"1/4 in"'), ("length", '"60 in"')):
            if key not in says:
                raise file.problem("linkage", f"{key} is missing; write it like {key} = {like}")
        length_in = _long_in(file, says["length"])
        stiffness = cable_stiffness_lbf_in(says["diameter"], length_in, says["modulus"])
    thread = says["thread"].strip()
    try:
        lead = {"lead_in": lead_in(thread)} if says["thread"] else {}
    except ValueError as error:
        raise file.problem("linkage.thread", str(error)) from None
    return Cable(says["pedal_lever"], says["fork_lever"], stiffness, **lead)


def _long_in(file: TomlFile, value: str) -> float:
    """A cable's length, which may be longer than any reading; inches."""
    m = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*(in|mm)\s*", value)
    if not m or not float(m[1]) > 0.0:
        raise file.problem("linkage.length", f"{value!r} {_LONG}")
    length_in, of = float(m[1]) / (MM_PER_IN if m[2] == "mm" else 1.0), RANGES["linkage.length"]
    if not of.holds(length_in):
        ends = " to ".join(of.ends())
        raise file.problem("linkage.length", f"{value!r} cannot be; it is {ends}: measure it again")
    return length_in


_MODELS: Mapping[type[_Linkage], Callable[[TomlFile, Mapping[str, Any]], Linkage]] = {
    _Rods: _chain,
    _CableTable: _cable,
    _Fluid: lambda file, says: cast("Hydraulic", _made(Hydraulic, says)),
}
