"""Both pictures in plain characters, 78 columns wide."""

from __future__ import annotations

from collections.abc import Sequence

from assistant.card import Card
from assistant.pictures.snapshot import (
    VERDICT,
    Snapshot,
    Stroke,
    figures_of,
    limits_text,
    ratio_text,
)
from assistant.readings import speak

WIDTH = 70
"""Characters for the longest stroke, or for gap and clearance together."""
_FILL = {"free": "_", "release": "/", "brake": "#"}


def stroke_lines(strokes: Sequence[Stroke], units: str) -> list[str]:
    """The strips, one below the other, to one scale."""
    per_in = WIDTH / max(s.length_in for s in strokes)
    lines = []
    for stroke in strokes:
        lines += _strip(stroke, per_in, units)
        lines.append("")
    lines.append("_ free   / release   # on the brake   . not reached   | floor   <=> should be")
    return lines


def _strip(stroke: Stroke, per_in: float, units: str) -> list[str]:
    bar = [" "] * (WIDTH + 2)
    end = round((stroke.floor_in or stroke.end_in) * per_in)
    bar[:end] = "." * end
    for stretch in stroke.stretches:
        a, b = round(stretch.start_in * per_in), round(stretch.end_in * per_in)
        bar[a:b] = _FILL[stretch.name] * (b - a)
    if stroke.floor_in is not None:
        bar[end] = "|"
    should, at = [" "] * (WIDTH + 2), [" "] * (WIDTH + 2)
    texts = []
    for band in stroke.bands:
        a, b = round(band.low_in * per_in), round(band.high_in * per_in)
        should[a : b + 1] = "<" + "=" * max(0, b - a - 1) + ">"
        at[min(WIDTH, max(0, round(band.at_in * per_in)))] = "^"
        found = band.at_in if band.name == "free" else (stroke.floor_in or 0.0) - band.at_in
        shown = speak.near_figures(found, units)
        texts.append(f"{band.name} {shown} {band.verdict} ({band.limits})")
    missed = "  BRAKE NOT REACHED" if stroke.brake_missed else ""
    rows = [f"{stroke.title}{missed}", "".join(bar), "".join(at), "".join(should)]
    return [row.rstrip() for row in rows] + ["  ".join(texts)]


def chain_lines(shots: Sequence[Snapshot], card: Card) -> list[str]:
    """Fork, bearing and brake along the shaft, to one scale."""
    longest = max(max(0.0, s.get("clearance") or 0.0) + (s.get("gap") or 0.0) for s in shots)
    per_in = (WIDTH - 14) / max(longest, 1e-3)
    lines = []
    for shot in shots:
        gap, clearance = shot.get("gap") or 0.0, max(0.0, shot.get("clearance") or 0.0)
        after, before = round(gap * per_in), round(clearance * per_in)
        lead = " " * (round(longest * per_in) - after - before)
        row = f"{lead}Y{'.' * before}[BRG]{'-' * after}|"
        lines += [shot.title, row + ("BRAKE" if card.transmission == "non-synchronized" else "")]
        texts = [_told(name, shot, q, card) for name, q in (("fork", "clearance"), ("gap", "gap"))]
        lines += ["  ".join(texts), ""]
    lines.append(
        f"Y fork   . clearance   - gap   one sign is {1 / per_in:.3f} in; linkage not drawn"
    )
    return lines


def _told(name: str, shot: Snapshot, quantity: str, card: Card) -> str:
    value, judged, figure = shot.get(quantity) or 0.0, shot.judged(quantity, card), None
    figure = card.figures.get(quantity)
    words = f"{name} {figures_of(value, card.units)}"
    if judged is None or figure is None:
        return words
    limits = limits_text(figure.limits.low_in, figure.limits.high_in, card.units)
    return f"{words} {VERDICT[judged.decision]} ({limits})"


# --- The picture in words: one breath for the ear, and the longer why.

_SPOKEN = (("free-travel", "free"), ("brake-contact", "brake"), ("gap", "gap"))
_WHEN = {"TODAY": "Today", "AFTER": "After", "AS LEFT": "As left"}


def spoken(shot: Snapshot, card: Card) -> str:
    """`Today: free 17/32 in is out; brake 1/32 in is out; gap 21/32 in is out.`"""
    parts = []
    for quantity, name in _SPOKEN:
        value = shot.get(quantity)
        if value is None or (name == "brake" and card.transmission != "non-synchronized"):
            continue
        judged = shot.judged(quantity, card)
        decided = (
            "" if judged is None else f" is {judged.decision}".replace("close", "close to call")
        )
        if quantity == "gap":
            length = figures_of(value, card.units)
        else:
            length = speak.near_figures(value, card.units)
        parts.append(f"{name} {length}{decided}")
    return f"{_WHEN[shot.title]}: {'; '.join(parts)}."


def why(shots: Sequence[Snapshot], card: Card) -> list[str]:
    """Each limit with whose it is, and what was worked out instead of read."""
    lines = [f"Pedal ratio {ratio_text(shots[0])}."]
    for quantity in ("gap", "clearance", "free-travel", "brake-contact"):
        figure = card.figures.get(quantity)
        if figure is not None:
            limits = limits_text(figure.limits.low_in, figure.limits.high_in, card.units)
            lines.append(f"{quantity}: {limits}, {figure.limits.source}.")
    derived = sorted(set(shots[0].values) - shots[0].read)
    if derived:
        lines.append(f"Worked out, not read: {', '.join(derived)}.")
    if "pedal-height" not in shots[0].values:
        lines.append("Pedal height was not read: where the floor is, is not known.")
    if len(shots) > 1 and not shots[1].read:
        lines.append("After: as planned; the readings after each move decide.")
    return lines
