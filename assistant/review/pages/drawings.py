"""The pictures of a job page: pedal and chain, each move against its limits, holds along the clock.

SVG that stands inside the page: no scripts, nothing from elsewhere, nothing told by colour alone.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from assistant.card import Card
from assistant.card.arithmetic import lengths_kept, stops_kept
from assistant.pictures.snapshot import PictureError, figures_of, recorded, today_and_after
from assistant.pictures.svg import Sheet, chain_svg, stroke_svg
from assistant.record.history import LimitsKept, Move, PedalHold, ReadingKept

_LEFT, _WIDE = 60, 1480
_SMALL = 30


def pictures(
    card: Card | None, heading: str, found: dict[str, ReadingKept], left: dict[str, ReadingKept]
) -> list[str]:
    """Pedal strip and chain, as found above as left; none while gap or clearance is not known."""
    if card is None:
        return []
    was, now = lengths_kept(found), lengths_kept(left)
    try:
        shots = today_and_after(card, was, now, stops_kept(card, was))
    except (PictureError, ValueError):
        return []
    # What is only planned is no picture of this job.
    shots = [recorded(shots[0]), *(shot for shot in shots[1:] if shot.read)]
    high = 500 if len(shots) == 1 else 900
    return [
        stroke_svg(shots, card, heading, inside="strip", high=max(high, 520)),
        chain_svg(shots, card, heading, inside="chain", high=high),
    ]


def move_svg(move: Move, title: str, units: str) -> str:
    """Before, expected and after on one scale with the limits; "" when there is nothing to show."""
    marks = [
        (taken.kept, taken.kept.value_in, word, fill)
        for taken, word, fill in (
            (move.before, "before", "#ffffff"),
            (move.after, "after", "#111111"),
        )
        if taken is not None and taken.kept.value_in is not None
    ]
    if not marks:
        return ""
    limits = marks[0][0].judged or LimitsKept()
    predicted = move.turn.ring.predicted_in if move.turn.ring is not None else None
    also = [v for v in (limits.low_in, limits.high_in, predicted) if v is not None]
    x = _along([value for _, value, *_ in marks] + also)
    sheet = Sheet(title, "", f"move{move.turn.line}", 200)
    _limits(sheet, limits, x, units)
    sheet.line(_LEFT, 136, _LEFT + _WIDE, 136, 4)
    if predicted is not None:
        p = x(predicted)
        sheet.polygon([(p, 92), (p + 18, 110), (p, 128), (p - 18, 110)], "#ffffff")
    for kept, value, _, fill in marks:
        if kept.interval is not None:
            sheet.line(x(kept.interval[1]), 110, x(kept.interval[2]), 110, 5)
        sheet.circle(x(value), 110, 15, fill)
    _labels(sheet, [(x(v), f"{word} {kept.figures}") for kept, v, word, _ in marks])
    return sheet.svg


def _along(values: Sequence[float]) -> Callable[[float], float]:
    """Where lengths are along a sheet, with room on either side of `values`; not below zero."""
    room = max(0.25 * (max(values) - min(values)), 1 / 32)
    start, end = max(0.0, min(values) - room), max(values) + room
    return lambda value: _LEFT + (value - start) / (end - start) * _WIDE


def _limits(sheet: Sheet, limits: LimitsKept, x: Callable[[float], float], units: str) -> None:
    low, high = limits.low_in, limits.high_in
    if low is None and high is None:
        return
    left = _LEFT if low is None else x(low)
    right = _LEFT + _WIDE if high is None else x(high)
    sheet.rect(left, 84, right - left, 52, "release", 3)
    for value, at, shift in ((low, "end", -12), (high, "start", 12)):
        if value is not None:
            sheet.text(x(value) + shift, 34, figures_of(value, units), _SMALL, at)
            sheet.line(x(value), 14, x(value), 136, 3, dashed=True)


def _labels(sheet: Sheet, put: list[tuple[float, str]]) -> None:
    """Figures under the marks, one or two, apart where they would run into each other."""
    for i, (at, words) in enumerate(put):
        other = put[1 - i][0] if len(put) == 2 else None
        right = at < 800 if other is None else at > other or (at == other and i == 1)
        wide = 0.62 * _SMALL * len(words)
        x = min(at - 15, 1590 - wide) if right else max(at + 15, 10 + wide)
        sheet.text(x, 180, words, _SMALL, "start" if right else "end", bold=True)


def holds_svg(holds: Sequence[PedalHold]) -> str:
    """Asked, held and let up along the clock, one bar a hold; "" when there was none."""
    if not holds:
        return ""
    start = holds[0].asked.us
    last = max(hold.last.us for hold in holds)
    scale = (_WIDE - 520) / max(last - start, 1_000_000)

    def x(us: int) -> float:
        return _LEFT + 200 + (us - start) * scale

    sheet = Sheet("Pedal holds", "", "holds", 64 * len(holds) + 30)
    for i, hold in enumerate(holds):
        y = 20 + 64 * i
        down, up = hold.held or hold.ended, hold.ended.us if hold.ended else last
        asked, ended = x(hold.asked.us), x(up)
        held = x(down.us) if down is not None else None
        sheet.text(_LEFT, y + 32, hold.asked.clock, _SMALL)
        if held is not None:
            sheet.line(asked, y + 22, held, y + 22, 5, dashed=True)
        if hold.held is not None and held is not None:
            fill = "release" if hold.end == "released" else "brake"
            sheet.rect(held, y, max(ended - held, 6), 44, fill, 3)
        edge = max(asked, ended, held or 0.0) + 16
        length = "" if hold.seconds is None else f"{hold.seconds:.0f} s "
        sheet.text(edge, y + 32, f"{length}{hold.end.upper()}", _SMALL, bold=True)
    return sheet.svg
