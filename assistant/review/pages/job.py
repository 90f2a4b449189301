"""One job as a page to read in a minute and to print."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from assistant.pictures.snapshot import figures_of, limits_text
from assistant.record import RecordError
from assistant.review.doubtful import NAMES
from assistant.review.pages import drawings
from assistant.review.pages.doubts import KINDS
from assistant.review.pages.readings import Reading
from assistant.review.pages.render import drawn, link, page
from assistant.review.pages.story import Story, story_of
from assistant.review.worded import span

ORDER = tuple(NAMES)
_SAME_IN = 0.001
"""Nearer than this, planned and measured are told as the same: no gauge here reads finer."""
_SAME_MM = 0.05
"""Likewise on a truck in millimetres, which are shown to a tenth."""


@dataclass(frozen=True, slots=True)
class Row:
    """As found and as left of one quantity, its limits and whose figure they are."""

    name: str
    found: Reading | None
    left: Reading | None
    limits: str
    source: str


@dataclass(frozen=True, slots=True)
class Expected:
    """What the plan from the as-found readings led to expect, and what was read at the end."""

    name: str
    planned: str
    measured: str
    differs: str


def job_page(path: Path, page_folder: Path, fleet: Path | None = None) -> str:
    """The page of a record.

    Args:
        path: the record.
        page_folder: where the page will be, for its links to clips and to the record.
        fleet: the fleet page to lead back to, if there is one.

    Raises:
        RecordError: nothing of the record can be read.
    """
    story = story_of(path)
    try:
        return _page(story, page_folder, fleet)
    except (KeyError, TypeError, ValueError, AttributeError, IndexError, OverflowError):
        raise RecordError(
            f"{path.name} holds what lugcall does not write. Do not rely on it."
        ) from None


def _page(story: Story, page_folder: Path, fleet: Path | None) -> str:
    path = story.path
    card = drawings.card_of(story.opened)
    units = card.units if card is not None else "inch"
    pictures = drawings.pictures(card, story.unit, story.found, story.left) if card else []
    return page(
        "job.html",
        s=story,
        chain=_chain(story),
        ring=card is None or card.clutch != "self-adjusting",
        state=_state(story),
        rows=_rows(story, units),
        pictures=[drawn(p) for p in pictures],
        expected=_expected(story, card, units) if card else [],
        moves=[(m, drawn(drawings.move_svg(m, units)), _error(m, units)) for m in story.moves],
        inches=lambda v: "" if v is None else figures_of(v, units),
        holds=drawn(drawings.holds_svg(story.holds)),
        kinds=KINDS,
        lasted=span(story.minutes * 60),
        clip_links={c.line: link(path.parent / c.file, page_folder) for c in story.clips if c.file},
        record_link=link(path, page_folder),
        fleet_link=link(fleet, page_folder) if fleet else "",
        made=datetime.now(UTC).strftime("%Y-%m-%d %H:%M UTC"),
    )


def _chain(story: Story) -> tuple[str, str]:
    """How the chain is ("good", "torn" or "bad"), and that in words."""
    if story.problem is None:
        return (
            "good",
            f"VERIFIED: all {len(story.events)} lines follow one from the other, unchanged",
        )
    if " is torn (" in story.problem:
        return "torn", f"VERIFIED, but for a torn end: {story.problem}"
    return "bad", f"BROKEN: {story.problem}"


_STATES = {
    "reopened": "REOPENED by the lead",
    "question": "QUESTION of the lead open",
    "accepted": "ACCEPTED by the lead",
    "reviewed": "REVIEWED by the lead",
}


def _state(story: Story) -> list[str]:
    """Where the job stands, most important first."""
    signed = "SIGNED OFF" if story.closed is not None else "NOT SIGNED OFF"
    if story.closed is None and _chain(story)[0] == "bad":
        signed = "SIGN-OFF NOT PROVEN"
    lead = _STATES.get(story.standing, "not looked at by a lead yet")
    return [signed, lead]


def _rows(story: Story, units: str) -> list[Row]:
    figures: dict[str, Any] = story.opened.get("figures") or {}
    names = [q for q in ORDER if q in story.found or q in story.left or q in figures]
    names += [q for q in {**story.found, **story.left} if q not in ORDER]
    out = []
    for quantity in names:
        figure = figures.get(quantity) or {}
        low, high = figure.get("low_in"), figure.get("high_in")
        found, left = story.found.get(quantity), story.left.get(quantity)
        if found is None and left is None and quantity == "bearing-travel":
            continue
        limits = "" if low is None and high is None else limits_text(low, high, units)
        source = str(figure.get("source", ""))
        out.append(Row(NAMES.get(quantity, quantity), found, left, limits, source))
    return out


def _expected(story: Story, card: Any, units: str) -> list[Expected]:
    if card.clutch == "self-adjusting":  # the maker's procedure sets it; lugcall plans nothing
        return []
    shot = drawings.planned(card, story.found)
    if shot is None or not story.left:
        return []
    out = []
    for quantity in ("gap", "clearance", "free-travel", "brake-contact"):
        value, left = shot.get(quantity), story.left.get(quantity)
        if value is None or left is None or left.value_in is None:
            continue
        u = shot.values[quantity].u_in
        off = f"{2 * u * 25.4:.1f} mm" if units == "mm" else f"{2 * u:.3f} in"
        planned = f"{figures_of(value, units)} ± {off}"
        out.append(
            Expected(NAMES[quantity], planned, left.figures, _apart(left.value_in - value, units))
        )
    return out


def _apart(difference: float, units: str) -> str:
    if abs(difference) < (_SAME_MM / 25.4 if units == "mm" else _SAME_IN):
        return "as planned"
    return f"{figures_of(abs(difference), units)} {'more' if difference > 0 else 'less'}"


def _error(move: Any, units: str) -> str:
    """Measured less expected of a ring move."""
    if move.predicted_in is None or move.after is None or move.after.value_in is None:
        return ""
    return _apart(move.after.value_in - move.predicted_in, units)
