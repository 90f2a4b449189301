"""A self-contained SVG sheet: no scripts, no fonts or images from elsewhere."""

from __future__ import annotations

from xml.etree import ElementTree as Xml

WIDTH, HEIGHT = 1600, 900
"""Units of the sheet; 16:9, as screens are."""
SMALL, MIDDLE, LARGE = 38, 50, 64
"""Sizes of letters. On a screen 53 cm wide `SMALL` capitals are 9 mm high: 15 minutes of arc from
2 m, where normal sight reads letters of 5."""
INK, PAPER = "#111111", "#ffffff"
FILLS = {"free": PAPER, "release": "url(#release)", "brake": "url(#brake)", "metal": "#c9ced6"}


class Sheet:
    """Draw on it, then take its `text`."""

    def __init__(self, title: str, description: str) -> None:
        self.root = Xml.Element(
            "svg",
            {
                "xmlns": "http://www.w3.org/2000/svg",
                "viewBox": f"0 0 {WIDTH} {HEIGHT}",
                "width": str(WIDTH),
                "height": str(HEIGHT),
                "role": "img",
                "font-family": "DejaVu Sans, Verdana, Arial, sans-serif",
            },
        )
        Xml.SubElement(self.root, "title").text = title
        Xml.SubElement(self.root, "desc").text = description
        self._patterns()
        self.rect(0, 0, WIDTH, HEIGHT, PAPER, 0)

    def _patterns(self) -> None:
        defs = Xml.SubElement(self.root, "defs")
        for name, back, step, thick in (("release", "#cfe3f7", 24, 5), ("brake", "#f2b134", 12, 7)):
            box = {"id": name, "width": str(step), "height": str(step)}
            units = {"patternUnits": "userSpaceOnUse", "patternTransform": "rotate(45)"}
            pattern = Xml.SubElement(defs, "pattern", box | units)
            Xml.SubElement(pattern, "rect", {"width": str(step), "height": str(step), "fill": back})
            Xml.SubElement(pattern, "rect", {"width": str(thick), "height": str(step), "fill": INK})

    def rect(
        self, x: float, y: float, width: float, height: float, fill: str, line: float = 4
    ) -> None:
        """A rectangle; `fill` is a colour or a key of `FILLS`."""
        self._add("rect", x=x, y=y, width=max(width, 0.0), height=height,
                  fill=FILLS.get(fill, fill), stroke=INK, stroke_width=line)  # fmt: skip

    def line(
        self, x1: float, y1: float, x2: float, y2: float, thick: float = 4, dashed: bool = False
    ) -> None:
        """A straight line."""
        dash = {"stroke_dasharray": "18 12"} if dashed else {"stroke_linecap": "butt"}
        self._add("line", x1=x1, y1=y1, x2=x2, y2=y2, stroke=INK, stroke_width=thick, **dash)

    def polygon(self, points: list[tuple[float, float]], fill: str = INK) -> None:
        """A closed shape."""
        text = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
        self._add("polygon", points=text, fill=FILLS.get(fill, fill), stroke=INK, stroke_width=4)

    def circle(self, x: float, y: float, radius: float, fill: str = PAPER) -> None:
        """A pin."""
        self._add("circle", cx=x, cy=y, r=radius, fill=fill, stroke=INK, stroke_width=4)

    def text(
        self, x: float, y: float, words: str, size: int = SMALL, at: str = "start",
        bold: bool = False, boxed: bool = False,
    ) -> None:  # fmt: skip
        """Words on one line, `y` the foot of the letters; `boxed` ones stay legible on hatching."""
        if boxed:
            wide = text_width(words, size)
            left = {"start": x, "middle": x - wide / 2, "end": x - wide}[at]
            self.rect(left - 8, y - size * 0.86, wide + 16, size * 1.12, PAPER, 0)
        weight = {"font_weight": "bold"} if bold else {}
        node = self._add("text", x=x, y=y, font_size=size, text_anchor=at, fill=INK, **weight)
        node.text = words

    def head(self, heading: str, note: str) -> None:
        """The top line: whose truck, cut short where it would run into the note on the right."""
        room = WIDTH - 140 - text_width(note, SMALL)
        fits = int(room / text_width("x", MIDDLE))
        words = heading if len(heading) <= fits else f"{heading[: max(1, fits - 1)]}…"
        self.text(60, 62, words, MIDDLE, bold=True)
        self.text(WIDTH - 60, 62, note, SMALL, "end")

    def pointer(self, x: float, y: float, size: float = 26, up: bool = True) -> None:
        """A filled triangle whose tip is at (x, y)."""
        foot = y + size if up else y - size
        self.polygon([(x, y), (x - size * 0.6, foot), (x + size * 0.6, foot)])

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
        """The file."""
        Xml.indent(self.root)
        return '<?xml version="1.0" encoding="UTF-8"?>\n' + Xml.tostring(self.root, "unicode")


def text_width(words: str, size: float) -> float:
    """About how wide words are, on the wide side."""
    return 0.70 * size * len(words)


def _number(value: object) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".") if isinstance(value, float) else str(value)
