"""The pedal stroke, today and after, as two strips on one sheet."""

from __future__ import annotations

from collections.abc import Sequence

from assistant.pictures.sheet import LARGE, MIDDLE, SMALL, WIDTH, Sheet, text_width
from assistant.pictures.snapshot import figures_of
from assistant.pictures.stroke import Band, Stretch, Stroke

_LEFT, _RIGHT = 60, 1500
_STRIP = 110
_TOPS = (150, 560)


def stroke_svg(
    strokes: Sequence[Stroke], heading: str, spoken: str, units: str, note: str = ""
) -> str:
    """The sheet as SVG text: up to two strips to the same scale.

    Args:
        strokes: today, and after if it is known.
        heading: whose truck it is.
        spoken: the picture in one sentence, for those who cannot see it.
        units: "inch" or "mm", for the figures.
        note: what else must be said beside "to scale".
    """
    sheet = Sheet(heading, spoken)
    sheet.head(heading, f"to scale{note}")
    scale = (_RIGHT - _LEFT) / max(s.length_in for s in strokes)
    for stroke, top in zip(strokes, _TOPS, strict=False):
        _strip(sheet, stroke, top, scale, units)
    return sheet.svg


def _strip(sheet: Sheet, stroke: Stroke, top: float, scale: float, units: str) -> None:
    def x(travel_in: float) -> float:
        return _LEFT + travel_in * scale

    sheet.text(_LEFT, top, stroke.title, LARGE, bold=True)
    y = top + 80
    for stretch in stroke.stretches:
        sheet.rect(x(stretch.start_in), y, (stretch.end_in - stretch.start_in) * scale, _STRIP,
                   stretch.name)  # fmt: skip
    if stroke.floor_in is not None:
        sheet.rect(x(stroke.end_in), y + _STRIP - 20, x(stroke.floor_in) - x(stroke.end_in), 20,
                   "free")  # fmt: skip
        sheet.rect(x(stroke.floor_in), y - 40, 30, _STRIP + 40, "#111111")
        sheet.text(x(stroke.floor_in) + 30, y - 52, "FLOOR", SMALL, "end", True)
    if stroke.brake_missed:
        sheet.text(x(stroke.end_in) - 110, y - 14, "BRAKE NOT REACHED", SMALL, "end", True)
    _names(sheet, stroke.stretches, x(0), scale, y, units)
    for band in stroke.bands:
        _band(sheet, band, x(band.low_in), x(band.high_in), x(max(0.0, band.at_in)), y + _STRIP)


def _names(
    sheet: Sheet, stretches: Sequence[Stretch], left: float, scale: float, y: float, units: str
) -> None:
    """Name and length of each stretch, inside it, or above where it is too narrow."""
    for stretch in stretches:
        start, wide = left + stretch.start_in * scale, (stretch.end_in - stretch.start_in) * scale
        length = figures_of(stretch.end_in - stretch.start_in, units)
        words = f"{stretch.name.upper()} {length}" if stretch.name != "brake" else "BRAKE"
        middle = start + wide / 2
        if text_width(words, MIDDLE) + 30 < wide:
            sheet.text(middle, y + _STRIP / 2 + 18, words, MIDDLE, "middle", True, boxed=True)
            continue
        at = "start" if middle < WIDTH / 2 else "end"
        shift = 0 if at == "start" else -150
        sheet.text(max(start, 60) + shift if at == "start" else middle + shift, y - 14, words,
                   SMALL, at, True)  # fmt: skip
        if at == "end":
            sheet.line(middle + shift + 8, y - 26, middle, y - 26, 4)
            sheet.line(middle, y - 26, middle, y + 8, 4)


def _band(sheet: Sheet, band: Band, low: float, high: float, at: float, y: float) -> None:
    """The tolerance as a measure under the strip, and where the truck is, with a verdict."""
    sheet.pointer(at, y + 6)
    sheet.span(low, high, y + 58)
    name = "free" if band.name == "free" else "brake"
    left = band.name == "free"
    edge = _LEFT if left else _RIGHT + 30
    anchor = "start" if left else "end"
    sheet.text(edge, y + 116, f"{band.verdict}: {name} {band.limits}", SMALL, anchor, bold=True)
