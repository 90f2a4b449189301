"""The pictures of a job page: pedal and chain, each move against its limits, holds along the clock.

SVG that stands inside the page: no scripts, nothing from elsewhere, nothing told by colour alone.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from assistant.card import Card
from assistant.card.arithmetic import stops_kept
from assistant.clutch.uncertainty import Measured
from assistant.pictures import plain as say
from assistant.pictures.snapshot import (
    PictureError,
    Snapshot,
    figures_of,
    stroke_of,
    today_and_after,
)
from assistant.pictures.svg import Sheet, chain_svg, stroke_svg
from assistant.record.history import LimitsKept, Move, PedalHold, ReadingKept

_LEFT, _WIDE = 60, 1480
_SMALL = 30


def measured(readings: dict[str, ReadingKept]) -> dict[str, Measured]:
    """The lengths among them, with their uncertainty."""
    return {
        name: Measured.from_interval(*kept.interval)
        for name, kept in readings.items()
        if kept.interval is not None
    }


def planned(card: Card, found: dict[str, ReadingKept]) -> Snapshot | None:
    """Where the whole plan, worked out from the as-found readings, should have led."""
    try:
        read = measured(found)
        shots = today_and_after(card, read, locked=stops_kept(card, read))
    except (PictureError, ValueError):
        return None
    return shots[1] if len(shots) > 1 else None


def pictures(
    card: Card, heading: str, found: dict[str, ReadingKept], left: dict[str, ReadingKept]
) -> list[str]:
    """Pedal strip and chain, as found above as left; none while gap or clearance is not known."""
    was, now = measured(found), measured(left)
    try:
        shots = today_and_after(card, was, now, stops_kept(card, was))
    except (PictureError, ValueError):
        return []
    if not now:
        shots = shots[:1]
    shots = [
        replace(shot, title=title)
        for shot, title in zip(shots, ("AS FOUND", "AS LEFT"), strict=False)
    ]
    spoken = " ".join(say.spoken(shot, card) for shot in shots)
    sure = shots[0].brake_known or card.transmission == "synchronized"
    note = "" if sure else "; where the brake is, not known"
    strip = stroke_svg([stroke_of(s, card) for s in shots], heading, spoken, card.units, note)
    high = 520 if len(shots) == 1 else 900
    return [_inside(strip, "strip", high), _inside(chain_svg(shots, card, heading, spoken), "chain",
            500 if len(shots) == 1 else 900)]  # fmt: skip


def _inside(svg: str, name: str, high: float) -> str:
    """As part of a page: no XML header, width from the page, patterns named apart."""
    svg = svg.split("?>", 1)[-1].strip()
    svg = re.sub(r'(viewBox="0 0 1600 )900"', rf'\g<1>{high:.0f}"', svg, count=1)
    svg = re.sub(r' width="1600" height="900"', f' class="{name}"', svg, count=1)
    svg = svg.replace('height="900" fill="#ffffff"', f'height="{high:.0f}" fill="#ffffff"', 1)
    for pattern in ("release", "brake"):
        svg = svg.replace(f'id="{pattern}"', f'id="{name}-{pattern}"')
        svg = svg.replace(f"url(#{pattern})", f"url(#{name}-{pattern})")
    return svg


def move_svg(move: Move, title: str, units: str) -> str:
    """Before, expected and after on one scale with the limits; "" when there is nothing to show."""
    before = move.before.kept if move.before is not None else None
    after = move.after.kept if move.after is not None else None
    known = [r for r in (before, after) if r is not None and r.value_in is not None]
    if not known:
        return ""
    limits = known[0].judged or LimitsKept()
    low, high = limits.low_in, limits.high_in
    predicted = move.turn.ring.predicted_in if move.turn.ring is not None else None
    values = [r.value_in for r in known if r.value_in is not None]
    values += [v for v in (low, high, predicted) if v is not None]
    start, end = min(values), max(values)
    room = max(0.25 * (end - start), 1 / 32)
    start, end = max(0.0, start - room), end + room

    def x(value: float) -> float:
        return _LEFT + (value - start) / (end - start) * _WIDE

    sheet = Sheet(title, "")
    if low is not None or high is not None:
        a, b = x(start if low is None else low), x(end if high is None else high)
        sheet.rect(a, 84, b - a, 52, "release", 3)
        for value, at in ((low, "end"), (high, "start")):
            if value is not None:
                shift = -12 if at == "end" else 12
                sheet.text(x(value) + shift, 34, figures_of(value, units), _SMALL, at)
                sheet.line(x(value), 14, x(value), 136, 3, dashed=True)
    sheet.line(_LEFT, 136, _LEFT + _WIDE, 136, 4)
    if predicted is not None:
        p = x(predicted)
        sheet.polygon([(p, 92), (p + 18, 110), (p, 128), (p - 18, 110)], "#ffffff")
    for reading, fill in ((before, "#ffffff"), (after, "#111111")):
        if reading is None or reading.value_in is None:
            continue
        if reading.low_in is not None and reading.high_in is not None:
            sheet.line(x(reading.low_in), 110, x(reading.high_in), 110, 5)
        sheet.circle(x(reading.value_in), 110, 15, fill)
    _labels(sheet, before, after, x)
    return _inside(sheet.svg, f"move{move.turn.line}", 200)


def _labels(sheet: Sheet, before: ReadingKept | None, after: ReadingKept | None, x: object) -> None:
    """Figures under the marks, apart where they would run into each other."""
    put = []
    for reading, word in ((before, "before"), (after, "after")):
        if reading is not None and reading.value_in is not None and callable(x):
            put.append((x(reading.value_in), f"{word} {reading.figures}"))
    for i, (at, words) in enumerate(put):
        other = put[1 - i][0] if len(put) == 2 else None
        right = other is None or at > other or (at == other and i)
        anchor = ("start" if at < 800 else "end") if other is None else "start" if right else "end"
        wide = 0.62 * _SMALL * len(words)
        if anchor == "start":
            at = min(at - 15, 1590 - wide)
        else:
            at = max(at + 15, 10 + wide)
        sheet.text(at, 180, words, _SMALL, anchor, bold=True)


def holds_svg(holds: Sequence[PedalHold]) -> str:
    """Asked, held and let up along the clock, one bar a hold; "" when there was none."""
    if not holds:
        return ""
    start = holds[0].asked.us
    last = max((h.ended or h.told or h.held or h.asked).us for h in holds)
    scale = (_WIDE - 520) / max(last - start, 1_000_000)
    sheet = Sheet("Pedal holds", "")
    for i, hold in enumerate(holds):
        y = 20 + 64 * i
        down, up = hold.held or hold.ended, hold.ended.us if hold.ended else last
        asked = _LEFT + 200 + (hold.asked.us - start) * scale
        ended = _LEFT + 200 + (up - start) * scale
        held = _LEFT + 200 + (down.us - start) * scale if down is not None else None
        sheet.text(_LEFT, y + 32, hold.asked.clock, _SMALL)
        if held is not None:
            sheet.line(asked, y + 22, held, y + 22, 5, dashed=True)
        if hold.held is not None and held is not None:
            sheet.rect(held, y, max(ended - held, 6), 44, "release" if hold.end == "released"
                       else "brake", 3)  # fmt: skip
        edge = max(asked, ended, held or 0.0) + 16
        length = "" if hold.seconds is None else f"{hold.seconds:.0f} s "
        sheet.text(edge, y + 32, f"{length}{hold.end.upper()}", _SMALL, bold=True)
    return _inside(sheet.svg, "holds", 64 * len(holds) + 30)
