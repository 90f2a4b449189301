"""The chain from pedal to brake, today and after: pedal and bearing to scale, each in its own.

The spaces at the bearing are drawn much larger than the pedal's travel, and the linkage between
is only indicated where the card gives no geometry; the picture says both.
"""

from __future__ import annotations

from collections.abc import Sequence

from assistant.card import Card
from assistant.pictures.sheet import LARGE, SMALL, Sheet, text_width
from assistant.pictures.snapshot import VERDICT, Snapshot, figures_of, limits_text
from assistant.readings import speak

_ROWS = (110, 500)
_FLOOR = 330
"""Depth of the floor below the top of a row."""
_PEDAL = 200
"""Height of the tallest pedal."""
_FACE = 1400
"""Where the brake's face is."""
_BODY = 120
"""Width of the bearing: not to scale."""
_SPACE = 560
"""Length of gap and clearance together, at most."""


def chain_svg(shots: Sequence[Snapshot], card: Card, heading: str, spoken: str) -> str:
    """The sheet as SVG text: up to two rows to the same scales.

    Args:
        shots: today, and after if it is known.
        card: the truck's card, for limits and units.
        heading: whose truck it is.
        spoken: the picture in one sentence, for those who cannot see it.
    """
    sheet = Sheet(heading, spoken)
    sheet.head(heading, f"linkage not to scale, {shots[0].ratio:.1f} to 1")
    span = max((s.get("gap") or 0.0) + max(0.0, s.get("clearance") or 0.0) for s in shots)
    tall = max((s.get("pedal-height") or 0.0) for s in shots)
    for shot, top in zip(shots, _ROWS, strict=False):
        sheet.text(60, top + 50, shot.title, LARGE, bold=True)
        fork = _bearing(sheet, shot, card, top, _SPACE / max(span, 1e-3))
        _pedal(sheet, shot, card, top, _PEDAL / tall if tall else 0.0, fork)
    return sheet.svg


def _bearing(sheet: Sheet, shot: Snapshot, card: Card, top: float, scale: float) -> float:
    """Fork, bearing and brake along the shaft; returns where the fork stands."""
    gap, clearance = shot.get("gap") or 0.0, shot.get("clearance") or 0.0
    y, tall = top + 130, 120
    pad = _FACE - gap * scale - _BODY
    fork = pad - max(0.0, clearance) * scale
    sheet.line(fork - 90, y + tall / 2, 1590, y + tall / 2, 16)  # the input shaft
    has_brake = card.transmission == "non-synchronized"
    if has_brake:
        sheet.rect(_FACE, y - 10, 60, tall + 20, "brake")
        sheet.text(_FACE + 54, y + tall + 56, "BRAKE", SMALL, "end", True)
    sheet.rect(_FACE + (60 if has_brake else 0), y - 40, 110, tall + 80, "metal")
    sheet.rect(pad, y, _BODY, tall, "metal")
    sheet.text(pad + _BODY / 2, y + tall / 2 + 14, "BRG", SMALL, "middle", True, boxed=True)
    sheet.rect(fork - 44, y + 14, 44, _FLOOR - 160, "#ffffff", 6)
    sheet.circle(fork - 22, top + _FLOOR - 16, 18)
    sheet.span(pad + _BODY, _FACE, y - 26)
    words = _label("GAP", shot, "gap", card)
    middle = min((pad + _BODY + _FACE) / 2, 1590 - text_width(words, SMALL) / 2)
    sheet.text(middle, y - 50, words, SMALL, "middle", True)
    sheet.span(fork, pad, y + tall + 36)
    sheet.text(1590, y + tall + 128, _label("FORK", shot, "clearance", card), SMALL, "end",
               True)  # fmt: skip
    figure = card.figures.get("gap")
    if figure is not None:
        low, high = figure.limits.low_in, figure.limits.high_in
        for limit in (low, high):  # where the bearing's face should be
            if limit is not None:
                at = _FACE - limit * scale
                sheet.line(at, y - 8, at, y + tall + 8, 5, dashed=True)
    return fork - 22


def _label(name: str, shot: Snapshot, quantity: str, card: Card) -> str:
    """`GAP 21/32 in OUT (1/2 to 9/16 in)`."""
    value, judged = shot.get(quantity) or 0.0, shot.judged(quantity, card)
    figure = card.figures.get(quantity)
    words = f"{name} {figures_of(value, card.units)}"
    if judged is None or figure is None:
        return words
    low, high = figure.limits.low_in, figure.limits.high_in
    return f"{words} {VERDICT[judged.decision]} ({limits_text(low, high, card.units)})"


def _pedal(sheet: Sheet, shot: Snapshot, card: Card, top: float, scale: float, fork: float) -> None:
    """The pedal above the floor, where it touches the brake, and the linkage as a dashed line."""
    floor = top + _FLOOR
    sheet.line(60, floor, 400, floor, 10)
    sheet.text(60, floor + 44, "FLOOR", SMALL, bold=True)
    height, contact = shot.get("pedal-height"), shot.get("brake-contact")
    up = floor - (height or 0.0) * scale if height else top + 130
    sheet.rect(200, up - 14, 130, 28, "metal")
    sheet.line(330, up, 480, top + 70, 14)
    sheet.circle(480, top + 70, 18)
    sheet.line(480, top + 70, 540, top + 170, 14)
    sheet.line(540, top + 170, 540, floor - 16, 5, dashed=True)
    sheet.line(540, floor - 16, fork - 18, floor - 16, 5, dashed=True)
    words = figures_of(height, card.units) if height else "height ?"
    sheet.text(330, up - 26, words, SMALL, "end", True)
    if height and contact is not None and card.transmission == "non-synchronized":
        low = floor - max(0.0, contact) * scale
        sheet.line(200, low, 330, low, 6, dashed=True)
        text = f"at {speak.near_figures(contact, card.units)}" if contact >= 0 else "below it"
        sheet.text(230, floor + 44, f"brake {text}", SMALL, "start", True)
