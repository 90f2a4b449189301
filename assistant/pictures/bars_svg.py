"""Rods and levers to scale, from the card's geometry: at rest, and with the brake touched.

Each rod with its two levers is one panel, driving side left, all in one scale. Where the shafts
stand in the truck is not on the card, so the panels are side by side and not joined. What a rod is
turned by in an adjustment is too little to be seen here: what shows is how far the chain has to go.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from assistant.card import Card
from assistant.clutch.linkage.levers import LeverChain, Stage
from assistant.clutch.linkage.protocol import LinkageError
from assistant.pictures.sheet import LARGE, SMALL, WIDTH, Sheet, text_width
from assistant.pictures.snapshot import PictureError, Snapshot, geometry_strokes
from assistant.readings import speak

Point = tuple[float, float]
_ROWS = (90, 490)
_ROOM = 250
"""Height for the levers in a row."""
_MOST = 3
"""More panels in a row could not be told apart from two metres."""


@dataclass(frozen=True)
class _Panel:
    """One rod: pivot, arm's end, lever's end, pivot; at rest and pressed; inches, y upward."""

    name: str
    rest: tuple[Point, ...]
    pressed: tuple[Point, ...]
    moves_in: float

    @property
    def box(self) -> tuple[float, float, float, float]:
        """Left, bottom, right, top."""
        xs, ys = zip(*self.rest, *self.pressed, strict=True)
        return min(xs), min(ys), max(xs), max(ys)


def bars_svg(shots: Sequence[Snapshot], card: Card, heading: str, spoken: str) -> str:
    """The sheet as SVG text: up to two rows of panels.

    Raises:
        PictureError: the card has no rods and levers, more than fit, or they do not reach.
    """
    chain = card.geometry
    if not isinstance(chain, LeverChain):
        raise PictureError("the card has no [[linkage.bar]] to draw; lugcall picture chain does")
    if len(chain.stages) > _MOST:
        raise PictureError(f"more than {_MOST} rods do not fit; lugcall picture chain does")
    rows = [_panels(chain, shot, card) for shot in shots[:2]]
    sheet = Sheet(heading, spoken)
    sheet.head(heading, "solid: at rest, dashed: brake touched")
    room = (WIDTH - 120) / len(chain.stages)
    boxes = [p.box for row in rows for p in row]
    scale = min(
        min((room - 80) / max(r - x, 1e-6), _ROOM / max(t - b, 1e-6)) for x, b, r, t in boxes
    )
    for shot, row, top in zip(shots, rows, _ROWS, strict=False):
        sheet.text(60, top + 60, shot.title, LARGE, bold=True)
        for i, panel in enumerate(row):
            _draw(sheet, panel, 60 + i * room, top + 75, room, scale, card.units)
    return sheet.svg


def _panels(chain: LeverChain, shot: Snapshot, card: Card) -> list[_Panel]:
    clearance, gap = shot.get("clearance") or 0.0, shot.get("gap") or 0.0
    _, touch = geometry_strokes(card, clearance, gap)
    if touch is None:
        raise PictureError("by the card's geometry the brake is not reached; measure it again")
    turned = (touch - card.lash_in) / chain.pedal_arm_in
    panels = []
    for stage in chain.stages:
        on = stage.turn(turned)
        try:
            rest, pressed = _points(stage, 0.0), _points(stage, turned)
        except LinkageError as error:
            raise PictureError(str(error)) from None
        panels.append(_Panel(stage.name, rest, pressed, stage.bar.lever_in * abs(on)))
        turned = on
    return panels


def _points(stage: Stage, turned: float) -> tuple[Point, ...]:
    """Pivot, arm's end, lever's end, pivot."""
    bar = stage.bar
    drive = stage.rest + turned if stage.pull else stage.rest - turned
    driven = bar.driven(drive)
    arm = (bar.arm_in * math.cos(drive), bar.arm_in * math.sin(drive))
    x = bar.pivots_in + bar.lever_in * math.cos(driven)
    return (0.0, 0.0), arm, (x, bar.lever_in * math.sin(driven)), (bar.pivots_in, 0.0)


def _draw(
    sheet: Sheet, panel: _Panel, left: float, top: float, room: float, scale: float, units: str
) -> None:
    low_x, low_y, high_x, high_y = panel.box
    shift = left + (room - (high_x - low_x) * scale) / 2
    foot = top + (_ROOM + (high_y - low_y) * scale) / 2

    def at(point: Point) -> Point:
        return shift + (point[0] - low_x) * scale, foot - (point[1] - low_y) * scale

    for points, dashed in ((panel.pressed, True), (panel.rest, False)):
        for start, end, thick in zip(points, points[1:], (14, 6, 14), strict=False):
            sheet.line(*at(start), *at(end), 5 if dashed else thick, dashed)
    for pivot in (panel.rest[0], panel.rest[3]):
        sheet.circle(*at(pivot), 16, "#111111")
    for pin in panel.rest[1:3]:
        sheet.circle(*at(pin), 12)
    words = f"{panel.name} {speak.near_figures(panel.moves_in, units)}"
    if text_width(words, SMALL) > room - 20:
        words = speak.near_figures(panel.moves_in, units)
    sheet.text(left + room / 2, top + _ROOM + 56, words, SMALL, "middle", True)
