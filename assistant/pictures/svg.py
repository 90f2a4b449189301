"""A self-contained SVG sheet: no scripts, no fonts or images from elsewhere."""

from __future__ import annotations

import cmath
from collections.abc import Sequence
from typing import Any, NamedTuple
from xml.etree import ElementTree as Xml

from assistant.card import Card
from assistant.clutch.linkage.levers import LeverChain, Stage
from assistant.clutch.linkage.stroke import LinkageError
from assistant.pictures.plain import spoken
from assistant.pictures.snapshot import (
    Band,
    PictureError,
    Snapshot,
    Stroke,
    figures_of,
    geometry_strokes,
    say,
)
from assistant.quantity import BRAKE_CONTACT, CLEARANCE, GAP, PEDAL_HEIGHT
from assistant.readings import speak
from assistant.sentences import printable

WIDTH, HEIGHT = 1600, 900
"""Units of the sheet; 16:9, as screens are."""
SMALL, MIDDLE, LARGE = 38, 50, 64
"""Sizes of letters. On a screen 53 cm wide `SMALL` capitals are 9 mm high: 15 minutes of arc from
2 m, where normal sight reads letters of 5."""
INK, PAPER = "#111111", "#ffffff"
FILLS = {"free": PAPER, "metal": "#c9ced6"}
PATTERNS = {"release": ("#cfe3f7", 24, 5), "brake": ("#f2b134", 12, 7)}
"""Fills with stripes: the colour between, their distance and how thick they are."""


class Sheet:
    """Draw on it, then take its `svg`: a file, or, with a name for `inside`, a part of a page."""

    def __init__(self, title: str, description: str, inside: str = "", high: int = HEIGHT) -> None:
        self._inside = inside
        about = {
            "xmlns": "http://www.w3.org/2000/svg",
            "viewBox": f"0 0 {WIDTH} {high}",
            **({"class": inside} if inside else {"width": str(WIDTH), "height": str(high)}),
            "role": "img",
            "font-family": "DejaVu Sans, Verdana, Arial, sans-serif",
        }
        self.root = Xml.Element("svg", about)
        Xml.SubElement(self.root, "title").text = printable(title)
        Xml.SubElement(self.root, "desc").text = printable(description)
        defs = Xml.SubElement(self.root, "defs")
        for name, (back, step, thick) in PATTERNS.items():
            box = {"id": self._pattern(name), "width": str(step), "height": str(step)}
            units = {"patternUnits": "userSpaceOnUse", "patternTransform": "rotate(45)"}
            pattern = Xml.SubElement(defs, "pattern", box | units)
            Xml.SubElement(pattern, "rect", {"width": str(step), "height": str(step), "fill": back})
            Xml.SubElement(pattern, "rect", {"width": str(thick), "height": str(step), "fill": INK})
        self.rect(0, 0, WIDTH, high, PAPER, 0)

    def _pattern(self, name: str) -> str:
        """Its id; other drawings on the page have patterns of their own."""
        return f"{self._inside}-{name}" if self._inside else name

    def rect(
        self, x: float, y: float, width: float, height: float, fill: str, line: float = 4
    ) -> None:
        """A rectangle; `fill` is a colour or a key of `FILLS` or `PATTERNS`."""
        fill = f"url(#{self._pattern(fill)})" if fill in PATTERNS else FILLS.get(fill, fill)
        self._add("rect", x=x, y=y, width=max(width, 0.0), height=height,
                  fill=fill, stroke=INK, stroke_width=line)  # fmt: skip

    def line(
        self, x1: float, y1: float, x2: float, y2: float, thick: float = 4, dashed: bool = False
    ) -> None:
        dash = {"stroke_dasharray": "18 12"} if dashed else {"stroke_linecap": "butt"}
        self._add("line", x1=x1, y1=y1, x2=x2, y2=y2, stroke=INK, stroke_width=thick, **dash)

    def polygon(self, points: list[tuple[float, float]], fill: str = INK) -> None:
        text = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
        self._add("polygon", points=text, fill=fill, stroke=INK, stroke_width=4)

    def circle(self, x: float, y: float, radius: float, fill: str = PAPER) -> None:
        self._add("circle", cx=x, cy=y, r=radius, fill=fill, stroke=INK, stroke_width=4)

    def text(
        self, x: float, y: float, words: str, size: int = SMALL, at: str = "start",
        bold: bool = False, boxed: bool = False,
    ) -> None:  # fmt: skip
        """Words on one line, `y` the foot of the letters; `boxed` ones stay legible on hatching."""
        words = printable(words)
        if boxed:
            wide = text_width(words, size)
            left = {"start": x, "middle": x - wide / 2, "end": x - wide}[at]
            self.rect(left - 8, y - size * 0.86, wide + 16, size * 1.12, PAPER, 0)
        weight = {"font_weight": "bold"} if bold else {}
        node = self._add("text", x=x, y=y, font_size=size, text_anchor=at, fill=INK, **weight)
        node.text = words

    def head(self, heading: str, note: str) -> None:
        """The top line: whose truck, cut short where it would run into the note on the right."""
        heading = printable(heading)
        room = WIDTH - 140 - text_width(note, SMALL)
        fits = int(room / text_width("x", MIDDLE))
        words = heading if len(heading) <= fits else f"{heading[: max(1, fits - 1)]}…"
        self.text(60, 62, words, MIDDLE, bold=True)
        self.text(WIDTH - 60, 62, note, SMALL, "end")

    def span(self, x1: float, x2: float, y: float) -> None:
        """A measure from x1 to x2: a line with two end strokes."""
        self.line(x1, y, x2, y, 6)
        for x in (x1, x2):
            self.line(x, y - 16, x, y + 16, 6)

    def _add(self, tag: str, **attributes: object) -> Xml.Element:
        named = {k.replace("_", "-"): _number(v) for k, v in attributes.items()}
        return Xml.SubElement(self.root, tag, named)

    @property
    def svg(self) -> str:
        Xml.indent(self.root)
        head = "" if self._inside else '<?xml version="1.0" encoding="UTF-8"?>\n'
        return head + Xml.tostring(self.root, "unicode")


def _sheet(shots: Sequence[Snapshot], card: Card, heading: str, note: str, **how: Any) -> Sheet:
    """A sheet that is also told in one sentence, for those who cannot see it."""
    sheet = Sheet(heading, " ".join(spoken(shot, card) for shot in shots), **how)
    sheet.head(heading, note)
    return sheet


def text_width(words: str, size: float) -> float:
    """About how wide words are, on the wide side."""
    return 0.70 * size * len(words)


def _number(value: object) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".") if isinstance(value, float) else str(value)


# --- The pedal stroke, today and after, as two strips on one sheet.

_LEFT, _RIGHT = 60, 1500
_STRIP = 110
_TOPS = (150, 560)


def stroke_svg(shots: Sequence[Snapshot], card: Card, heading: str, **how: Any) -> str:
    """Up to two strips to the same scale: today, and after if it is known. `how`: see `Sheet`."""
    sure = shots[0].brake_known or card.transmission == "synchronized"
    note = "" if sure else say("brake_not_known")
    sheet = _sheet(shots, card, heading, say("to_scale", note=note), **how)
    strokes = [Stroke(shot, card) for shot in shots]
    scale = (_RIGHT - _LEFT) / max(s.length_in for s in strokes)
    for stroke, top in zip(strokes, _TOPS, strict=False):
        _strip(sheet, stroke, top, scale, card.units)
    return sheet.svg


def _strip(sheet: Sheet, stroke: Stroke, top: float, scale: float, units: str) -> None:
    def x(travel_in: float) -> float:
        return _LEFT + travel_in * scale

    sheet.text(_LEFT, top, stroke.title, LARGE, bold=True)
    y, end = top + 80, x(stroke.end_in)
    for name, first, last in stroke.stretches:
        sheet.rect(x(first), y, x(last) - x(first), _STRIP, name)
    if stroke.floor_in is not None:
        floor = x(stroke.floor_in)
        sheet.rect(end, y + _STRIP - 20, floor - end, 20, "free")
        sheet.rect(floor, y - 40, 30, _STRIP + 40, INK)
        sheet.text(floor + 30, y - 52, "FLOOR", SMALL, "end", True)
    if stroke.brake_missed:
        sheet.text(end - 110, y - 14, say("not_reached"), SMALL, "end", True)
    for name, first, last in stroke.stretches:
        length = figures_of(last - first, units)
        words = f"{name.upper()} {length}" if name != "brake" else "BRAKE"
        _name(sheet, words, x(first), x(last), y)
    for band in stroke.bands:
        _band(sheet, band, x(band.low_in), x(band.high_in), x(max(0.0, band.at_in)), y + _STRIP)


def _name(sheet: Sheet, words: str, left: float, right: float, y: float) -> None:
    """Name and length of a stretch, inside it, or above where it is too narrow."""
    middle = (left + right) / 2
    size = next((s for s in (MIDDLE, SMALL) if text_width(words, s) + 30 < right - left), 0)
    if size:
        sheet.text(middle, y + _STRIP / 2 + 18, words, size, "middle", True, boxed=True)
    elif middle < WIDTH / 2:
        sheet.text(max(left, 60), y - 14, words, SMALL, "start", True)
    else:
        sheet.text(middle - 150, y - 14, words, SMALL, "end", True)
        sheet.line(middle - 142, y - 26, middle, y - 26, 4)
        sheet.line(middle, y - 26, middle, y + 8, 4)


def _band(sheet: Sheet, band: Band, low: float, high: float, at: float, y: float) -> None:
    """The tolerance as a measure under the strip, and where the truck is, with a verdict."""
    sheet.polygon([(at, y + 6), (at - 15.6, y + 32), (at + 15.6, y + 32)])
    sheet.span(low, high, y + 58)
    edge, anchor = (_LEFT, "start") if band.name == "free" else (_RIGHT + 30, "end")
    words = f"{band.verdict}: {band.name} {band.limits}"
    sheet.text(edge, y + 116, words, SMALL, anchor, bold=True)


# --- The chain from pedal to brake, today and after: pedal and bearing to scale, each in its own.
#
# The spaces at the bearing are drawn much larger than the pedal's travel, and the linkage between
# is only indicated where the card gives no geometry; the picture says both.

_ROWS = (110, 500)
_FLOOR = 330  # depth of the floor below the top of a row
_PEDAL = 200  # height of the tallest pedal
_FACE = 1400  # where the brake's face is
_BODY = 120  # width of the bearing: not to scale
_SPACE = 560  # length of gap and clearance together, at most


def chain_svg(shots: Sequence[Snapshot], card: Card, heading: str, **how: Any) -> str:
    """Up to two rows to the same scales; limits and units are the card's. `how`: see `Sheet`."""
    ratio = f"{shots[0].ratio.value:.1f}"
    sheet = _sheet(shots, card, heading, say("not_to_scale", ratio=ratio), **how)
    span = max(sum(shot.spaces_in) for shot in shots)
    tall = max(shot.get(PEDAL_HEIGHT) or 0.0 for shot in shots)
    for shot, top in zip(shots, _ROWS, strict=False):
        sheet.text(60, top + 50, shot.title, LARGE, bold=True)
        fork = _bearing(sheet, shot, card, top, _SPACE / max(span, 1e-3))
        _pedal(sheet, shot, card, top, _PEDAL / tall if tall else 0.0, fork)
    return sheet.svg


def _bearing(sheet: Sheet, shot: Snapshot, card: Card, top: float, scale: float) -> float:
    """Fork, bearing and brake along the shaft; returns where the fork stands."""
    clearance, gap = shot.spaces_in
    y, tall = top + 130, 120
    pad = _FACE - gap * scale - _BODY
    fork = pad - clearance * scale
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
    words = shot.told("GAP", GAP, card)
    middle = min((pad + _BODY + _FACE) / 2, 1590 - text_width(words, SMALL) / 2)
    sheet.text(middle, y - 50, words, SMALL, "middle", True)
    sheet.span(fork, pad, y + tall + 36)
    words = shot.told("FORK", CLEARANCE, card)
    sheet.text(1590, y + tall + 128, words, SMALL, "end", True)
    figure = card.figures.get(GAP)
    for limit in () if figure is None else (figure.low_in, figure.high_in):
        if limit is not None:  # where the bearing's face should be
            at = _FACE - limit * scale
            sheet.line(at, y - 8, at, y + tall + 8, 5, dashed=True)
    return fork - 22


def _pedal(sheet: Sheet, shot: Snapshot, card: Card, top: float, scale: float, fork: float) -> None:
    """The pedal above the floor, where it touches the brake, and the linkage as a dashed line."""
    floor = top + _FLOOR
    sheet.line(60, floor, 400, floor, 10)
    sheet.text(60, floor + 44, "FLOOR", SMALL, bold=True)
    height, contact = shot.get(PEDAL_HEIGHT), shot.get(BRAKE_CONTACT)
    up = floor - (height or 0.0) * scale if height else top + 130
    sheet.rect(200, up - 14, 130, 28, "metal")
    sheet.line(330, up, 480, top + 70, 14)
    sheet.circle(480, top + 70, 18)
    sheet.line(480, top + 70, 540, top + 170, 14)
    sheet.line(540, top + 170, 540, floor - 16, 5, dashed=True)
    sheet.line(540, floor - 16, fork - 18, floor - 16, 5, dashed=True)
    words = figures_of(height, card.units) if height else say("height_unknown")
    sheet.text(330, up - 26, words, SMALL, "end", True)
    if height and contact is not None and card.transmission == "non-synchronized":
        low = floor - max(0.0, contact) * scale
        sheet.line(200, low, 330, low, 6, dashed=True)
        at = speak.near_figures(contact, card.units)
        words = say("brake_at", height=at) if contact >= 0 else say("brake_below")
        sheet.text(230, floor + 44, words, SMALL, "start", True)


# --- Rods and levers to scale, from the card's geometry: at rest, and with the brake touched.
#
# Each rod with its two levers is one panel, driving side left, all in one scale. Where the shafts
# stand in the truck is not on the card, so the panels are side by side and not joined. What a rod
# is turned by in an adjustment is too little to be seen here: what shows is how far the chain has
# to go.

_BAR_ROWS = (90, 490)
_ROOM = 250  # height for the levers in a row
_MOST = 3  # more panels in a row could not be told apart from two metres


class _Panel(NamedTuple):
    """One rod: pivot, arm's end, lever's end, pivot; at rest and pressed; inches, x + 1j*y."""

    name: str
    rest: tuple[complex, ...]
    pressed: tuple[complex, ...]
    moves_in: float

    @property
    def box(self) -> tuple[complex, complex]:
        """The lower left corner, and the size."""
        xs, ys = zip(*((p.real, p.imag) for p in (*self.rest, *self.pressed)), strict=True)
        return complex(min(xs), min(ys)), complex(max(xs) - min(xs), max(ys) - min(ys))


def bars_svg(shots: Sequence[Snapshot], card: Card, heading: str) -> str:
    """Up to two rows of panels.

    Raises:
        PictureError: the card has no rods and levers, more than fit, or they do not reach.
    """
    chain = card.geometry
    if not isinstance(chain, LeverChain):
        if (kind := card.traits["linkage"]) != "rod":
            raise PictureError(f"a {kind} linkage has no rods to draw; use lugcall picture chain")
        raise PictureError("the card has no [[linkage.bar]] to draw; lugcall picture chain does")
    if len(chain.stages) > _MOST:
        raise PictureError(f"more than {_MOST} rods do not fit; lugcall picture chain does")
    rows = [_panels(chain, shot, card) for shot in shots[:2]]
    sheet = _sheet(shots, card, heading, say("rest_and_touched"))
    room = (WIDTH - 120) / len(chain.stages)
    sizes = [panel.box[1] for row in rows for panel in row]
    scale = min(
        min((room - 80) / max(size.real, 1e-6), _ROOM / max(size.imag, 1e-6)) for size in sizes
    )
    for shot, row, top in zip(shots, rows, _BAR_ROWS, strict=False):
        sheet.text(60, top + 60, shot.title, LARGE, bold=True)
        for i, panel in enumerate(row):
            _draw(sheet, panel, 60 + i * room, top + 75, room, scale, card.units)
    return sheet.svg


def _panels(chain: LeverChain, shot: Snapshot, card: Card) -> list[_Panel]:
    strokes = geometry_strokes(card, *shot.spaces_in)
    if strokes is None:
        raise PictureError("by the card's geometry the brake is not reached; measure it again")
    turned, panels = (strokes[1] - card.lash_in) / chain.pedal_arm_in, []
    for stage in chain.stages:
        on = stage.turn(turned)
        try:
            rest, pressed = _points(stage, 0.0), _points(stage, turned)
        except LinkageError as error:
            raise PictureError(str(error)) from None
        panels.append(_Panel(stage.name, rest, pressed, stage.bar.lever_in * abs(on)))
        turned = on
    return panels


def _points(stage: Stage, turned: float) -> tuple[complex, ...]:
    """Pivot, arm's end, lever's end, pivot."""
    bar = stage.bar
    drive = stage.rest + turned if stage.pull else stage.rest - turned
    lever = cmath.rect(bar.lever_in, bar.driven(drive))
    return 0j, cmath.rect(bar.arm_in, drive), bar.pivots_in + lever, complex(bar.pivots_in)


def _draw(
    sheet: Sheet, panel: _Panel, left: float, top: float, room: float, scale: float, units: str
) -> None:
    low, size = panel.box
    shift = left + (room - size.real * scale) / 2
    foot = top + (_ROOM + size.imag * scale) / 2

    def at(point: complex) -> tuple[float, float]:
        return shift + (point - low).real * scale, foot - (point - low).imag * scale

    for points, dashed in ((panel.pressed, True), (panel.rest, False)):
        for start, end, thick in zip(points, points[1:], (14, 6, 14), strict=False):
            sheet.line(*at(start), *at(end), 5 if dashed else thick, dashed)
    for i, radius, fill in ((0, 16, INK), (3, 16, INK), (1, 12, PAPER), (2, 12, PAPER)):
        sheet.circle(*at(panel.rest[i]), radius, fill)
    words = f"{panel.name} {speak.near_figures(panel.moves_in, units)}"
    if text_width(words, SMALL) > room - 20:
        words = speak.near_figures(panel.moves_in, units)
    sheet.text(left + room / 2, top + _ROOM + 56, words, SMALL, "middle", True)
