"""Where motion is lost, as far as the readings can tell, when the geometry is known.

Free travel and the stroke to the brake are worked out from geometry and compared with what was
read. Too much free travel, and the same in the stroke: slack before the fork. As much stroke too
much with the free travel right: the chain gives under load. Free travel too long and the stroke
right cannot both be: then free travel was misread. Neither says at which joint. For that a
joint's own travel must be read: with the pedal at brake contact, the first joint that falls short
of its geometry has the slack between it and the one before.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Literal, NamedTuple

from assistant.clutch.conformity import TWO_SIDED, Measured
from assistant.clutch.equations import Readings
from assistant.clutch.linkage.stroke import (
    NO_LOAD,
    Linkage,
    LinkageError,
    Load,
    brake_stroke_in,
    free_travel_in,
    pedal_force_lbf,
)

# Arms and rods are measured to about this share of the travel they give: from memory.
GEOMETRY_SHARE_U = 0.02

Kind = Literal[
    "agrees", "slack", "gives", "slack and gives", "free travel alone", "too short", "no readings"
]


class Between(NamedTuple):
    """The stretch of chain that loses motion; ``before`` is "" at the pedal, ``after`` "the fork".

    ``lost_in`` is in inches at ``after`` (at the last joint read, when ``after`` is the fork).
    """

    before: str
    after: str
    lost_in: float


class LostMotion(NamedTuple):
    """What geometry and readings say together; inches at the pedal.

    ``free_lost`` and ``stroke_lost`` are read less worked out, None where not read. ``at`` is the
    stretch found, or None. ``if_at`` gives each joint the slack it would have to show, if it were
    all there. ``air_in3`` is the trapped air that would explain the give, for a hydraulic chain.
    """

    kind: Kind
    free_lost: Measured | None
    stroke_lost: Measured | None
    at: Between | None
    if_at: tuple[tuple[str, float], ...]
    air_in3: float | None

    @property
    def slack_in(self) -> float:
        """Pedal travel lost before the fork moves."""
        if self.kind not in ("slack", "slack and gives") or self.free_lost is None:
            return 0.0
        return self.free_lost.value_in

    @property
    def give_in(self) -> float:
        """Pedal travel lost under load, beyond the slack."""
        if self.kind not in ("gives", "slack and gives") or self.stroke_lost is None:
            return 0.0
        return self.stroke_lost.value_in - self.slack_in


def find_lost_motion(
    linkage: Linkage,
    readings: Readings,
    load: Load = NO_LOAD,
    joints: Mapping[str, Measured] | None = None,
) -> LostMotion:
    """Compare geometry with readings. ``joints`` holds travels read with the brake touched.

    Raises:
        LinkageError: the chain cannot reach, or a joint's name is none of its own.
    """
    free, stroke = _free_lost(linkage, readings), _stroke_lost(linkage, readings, load)
    kind = _kind(free, stroke, readings)
    at = _between(linkage, readings, load, joints) if joints else None
    lost = LostMotion(kind, free, stroke, at, (), None)
    pedal, force = linkage.ratio(0.0) * 0.01, load.at(readings.gap.value_in)
    if lost.slack_in > 0.0:
        moved = linkage.joints(pedal)  # a hundredth of an inch at the fork
        shares = ((j.name, lost.slack_in * j.travel_in / pedal) for j in moved)
        lost = lost._replace(if_at=tuple(shares))
    air = getattr(linkage, "air_for", None)
    if lost.give_in > 0.0 and air is not None and force > 0.0:
        lost = lost._replace(air_in3=air(linkage.lost_in(force) + lost.give_in, force))
    return lost


def brake_force_lbf(linkage: Linkage | None, readings: Readings, load: Load) -> float | None:
    """Pounds at the pad with the brake touched; None without geometry or load, or out of reach."""
    if linkage is None or not any(load):
        return None
    c, g = readings.clearance.value_in, readings.gap.value_in
    try:
        slack = linkage.idle_in + readings.lash_in
        pedal = brake_stroke_in(linkage, c, g, slack, load)
        return pedal_force_lbf(linkage, min(pedal - slack, linkage.reach_in), load.at(g))
    except LinkageError:
        return None


def _free_lost(linkage: Linkage, r: Readings) -> Measured | None:
    if r.free_travel is None:
        return None
    way = free_travel_in(linkage, r.clearance.value_in, r.lash_in)
    per = 0.0 if linkage.follows else linkage.ratio(0.0)
    u = math.hypot(per * r.clearance.u_in, GEOMETRY_SHARE_U * way)
    return r.free_travel.shifted(-way, u)


def _stroke_lost(linkage: Linkage, r: Readings, load: Load) -> Measured | None:
    if r.pedal_height is None or r.brake_contact is None:
        return None
    way = brake_stroke_in(linkage, r.clearance.value_in, r.gap.value_in, r.lash_in, load)
    per = linkage.ratio(min(way, linkage.reach_in))
    spaces = r.gap.u_in if linkage.follows else math.hypot(r.gap.u_in, r.clearance.u_in)
    read = r.pedal_height.shifted(-r.brake_contact.value_in, r.brake_contact.u_in)
    return read.shifted(-way, per * spaces, GEOMETRY_SHARE_U * way)


def _kind(free: Measured | None, stroke: Measured | None, r: Readings) -> Kind:
    """What both differences say together.

    Their own difference is judged too: only what the stroke loses beyond the slack gives.
    """
    read = [x for x in (free, stroke) if x is not None]
    if not read:
        return "no readings"
    if any(x.value_in < -TWO_SIDED * x.u_in for x in read):
        return "too short"
    slack = free if free is not None and free.value_in > TWO_SIDED * free.u_in else None
    if stroke is None:
        return "slack" if slack else "agrees"
    if slack is None:
        if stroke.value_in <= TWO_SIDED * stroke.u_in:
            return "agrees"
        # Without free travel the two cannot be told apart.
        return "slack and gives" if free is None else "gives"
    more_in, u_in = stroke.value_in - slack.value_in, math.hypot(stroke.u_in, slack.u_in)
    if more_in < -TWO_SIDED * u_in:
        return "free travel alone"
    return "slack and gives" if more_in > TWO_SIDED * u_in else "slack"


def _between(
    linkage: Linkage, r: Readings, load: Load, read: Mapping[str, Measured]
) -> Between | None:
    """The first stretch whose joint falls short, pedal at brake contact."""
    if r.pedal_height is None or r.brake_contact is None:
        raise LinkageError("Joints are read with the brake touched: give both pedal heights too.")
    stroke = r.pedal_height.value_in - r.brake_contact.value_in
    worked = stroke - linkage.idle_in - r.lash_in
    expected = linkage.joints(min(worked, linkage.reach_in))
    names = [joint.name for joint in expected]
    for name in read:
        if name not in names:
            raise LinkageError(f"This chain has no joint {name!r}: use one of {', '.join(names)}.")
    stroke_u = math.hypot(r.pedal_height.u_in, r.brake_contact.u_in)
    before, share = "", 0.0
    for joint in expected:
        if joint.name not in read:
            continue
        got = read[joint.name]
        share = joint.travel_in / worked if worked > 0.0 else 0.0
        u = math.hypot(got.u_in, share * stroke_u, GEOMETRY_SHARE_U * joint.travel_in)
        missing = joint.travel_in - got.value_in
        if missing > TWO_SIDED * u:
            return Between(before, joint.name, missing)
        before = joint.name
    lost = _stroke_lost(linkage, r, load)
    if not before or lost is None or not lost.value_in > TWO_SIDED * lost.u_in:
        return None
    return Between(before, "the fork", lost.value_in * share)
