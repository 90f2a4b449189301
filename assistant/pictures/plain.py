"""Both pictures in plain characters, 78 columns wide."""

from __future__ import annotations

from collections.abc import Sequence

from assistant.card import Card
from assistant.pictures.snapshot import (
    SHOWN,
    Snapshot,
    Stroke,
    figures_of,
    limits_text,
    ratio_text,
    say,
)
from assistant.quantity import BRAKE_CONTACT, CLEARANCE, FREE_TRAVEL, GAP, PEDAL_HEIGHT
from assistant.readings import speak

WIDTH = 70
"""Characters for the longest stroke, or for gap and clearance together."""
_FILL = {"free": "_", "release": "/", "brake": "#"}


def stroke_lines(shots: Sequence[Snapshot], card: Card) -> list[str]:
    """The strips, one below the other, to one scale."""
    strokes = [Stroke(shot, card) for shot in shots]
    per_in = WIDTH / max(s.length_in for s in strokes)
    lines = []
    for stroke in strokes:
        lines += [*_strip(stroke, per_in, card.units), ""]
    return [*lines, say("stroke_key")]


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
        length = speak.near_figures(found, units)
        texts.append(
            say("told", what=band.name, length=length, verdict=band.verdict, limits=band.limits)
        )
    missed = f"  {say('not_reached')}" if stroke.brake_missed else ""
    rows = [f"{stroke.title}{missed}", "".join(bar), "".join(at), "".join(should)]
    return [row.rstrip() for row in rows] + ["  ".join(texts)]


def chain_lines(shots: Sequence[Snapshot], card: Card) -> list[str]:
    """Fork, bearing and brake along the shaft, to one scale."""
    longest = max(sum(shot.spaces_in) for shot in shots)
    per_in = (WIDTH - 14) / max(longest, 1e-3)
    lines = []
    for shot in shots:
        before, after = (round(space * per_in) for space in shot.spaces_in)
        lead = " " * (round(longest * per_in) - after - before)
        row = f"{lead}Y{'.' * before}[BRG]{'-' * after}|"
        lines += [shot.title, row + ("BRAKE" if card.transmission == "non-synchronized" else "")]
        lines += [f"{shot.told('fork', CLEARANCE, card)}  {shot.told('gap', GAP, card)}", ""]
    return [*lines, say("chain_key", one=f"{1 / per_in:.3f}")]


# --- The picture in words: one breath for the ear, and the longer why.

_SPOKEN = ((FREE_TRAVEL, "free"), (BRAKE_CONTACT, "brake"), (GAP, "gap"))


def spoken(shot: Snapshot, card: Card) -> str:
    """`Today: free 17/32 in is out; brake 1/32 in is out; gap 21/32 in is out.`"""
    parts = []
    for quantity, name in _SPOKEN:
        value = shot.get(quantity)
        if value is None or (name == "brake" and card.transmission != "non-synchronized"):
            continue
        judged = shot.judged(quantity, card)
        figures = figures_of if quantity == GAP else speak.near_figures
        key = "part" if judged is None else judged.decision
        parts.append(say(f"spoken.{key}", what=name, length=figures(value, card.units)))
    return say("spoken.shot", when=say(f"spoken.{shot.title}"), parts="; ".join(parts))


def why(shots: Sequence[Snapshot], card: Card) -> list[str]:
    """Each limit with whose it is, and what was worked out instead of read."""
    lines = [say("why.ratio", ratio=ratio_text(shots[0]))]
    for quantity in SHOWN:
        figure = card.figures.get(quantity)
        if figure is not None:
            limits, source = limits_text(figure, card.units), figure.source
            lines.append(say("why.limits", quantity=quantity, limits=limits, source=source))
    derived = sorted(set(shots[0].values) - shots[0].read)
    if derived:
        lines.append(say("why.derived", names=", ".join(derived)))
    if PEDAL_HEIGHT not in shots[0].values:
        lines.append(say("why.no_floor"))
    if len(shots) > 1 and not shots[1].read:
        lines.append(say("why.planned"))
    return lines
