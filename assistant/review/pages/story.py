"""One record as the job page tells it. Reads only; a record still being written is fine."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from assistant.record import Event, RecordError, read_events, seal_of
from assistant.record.clips import State, state
from assistant.review.acts import LeadAct, acts_in, standing
from assistant.review.pages.cautions import Caution, cautions_of
from assistant.review.pages.doubts import Doubt, doubts_of
from assistant.review.pages.holds import Hold, holds_of
from assistant.review.pages.moves import Move, moves_of
from assistant.review.pages.readings import Reading, closing_readings, readings_of
from assistant.review.pages.talk import Line, lines_of, misheard_by


@dataclass(frozen=True, slots=True)
class Clip:
    """The sound of one line: its file relative to the record's folder, and how that is now."""

    line: int
    file: str
    seconds: float
    state: State | str
    words: str


@dataclass(frozen=True, slots=True)
class Story:
    """Everything on the page. `problem` is None for a good chain; `lines_good` hold in any case.

    `closed` is the data of the closing line, or None; `paper_seal` what stands on the work order.
    """

    path: Path
    events: list[Event]
    problem: str | None
    unit: str
    opened: dict[str, Any]
    closed: dict[str, Any] | None
    closed_line: int
    closed_at: str
    paper_seal: str
    seal: str
    readings: list[Reading]
    found: dict[str, Reading]
    left: dict[str, Reading]
    moves: list[Move]
    holds: list[Hold]
    lines: list[Line]
    cautions: list[Caution]
    doubts: list[Doubt]
    clips: list[Clip]
    acts: list[LeadAct]
    standing: str
    misheard: list[tuple[str, int]] = field(default_factory=list)

    @property
    def minutes(self) -> float:
        """From the first line to the sign-off, or to the last line."""
        events = [e for e in self.events if not e.kind.startswith("lead-")]
        return max(0.0, (events[-1].time - events[0].time).total_seconds() / 60.0)


def story_of(path: Path) -> Story:
    """Read a record.

    Raises:
        RecordError: not one good line is in it, or it holds what lugcall does not write.
    """
    events, problem = read_events(path)
    if not events:
        raise RecordError(f"{path.name}: {problem or 'it is empty'}")
    try:
        return _story(path, events, problem)
    except (KeyError, TypeError, ValueError, AttributeError, IndexError, OverflowError):
        raise RecordError(
            f"{path.name} holds what lugcall does not write. Do not rely on it."
        ) from None


def _story(path: Path, events: list[Event], problem: str | None) -> Story:
    closing = next((e for e in events if e.kind == "closed"), None)
    readings = readings_of(events)
    found = {r.quantity: r for r in readings if r.stage == "found"}
    final = {r.quantity: r for r in readings if r.stage == "final"}
    left = list(final.values())
    if closing is not None:
        left = closing_readings(closing.data, closing.n + 1, closing.at)
    moves, holds = moves_of(events, readings), holds_of(events)
    clips = [_clip(path.parent, e) for e in events if _has_clip(e)]
    return Story(
        path=path,
        events=events,
        problem=problem or _bad_clip(clips),
        unit=str(events[0].data.get("unit") or "") or "unit not named",
        opened=events[0].data,
        closed=None if closing is None else closing.data,
        closed_line=0 if closing is None else closing.n + 1,
        closed_at="" if closing is None else closing.at,
        paper_seal="" if closing is None else seal_of(closing.hash),
        seal=seal_of(events[-1].hash),
        readings=readings,
        found=found,
        left={r.quantity: r for r in left},
        moves=moves,
        holds=holds,
        lines=lines_of(events),
        cautions=cautions_of(events),
        doubts=doubts_of(events, readings, left, moves, holds),
        clips=clips,
        acts=acts_in(events),
        standing=standing(events),
        misheard=misheard_by(events, "step").most_common(),
    )


def _has_clip(event: Event) -> bool:
    return event.kind == "turn" and isinstance(event.data.get("clip"), dict)


def _clip(folder: Path, event: Event) -> Clip:
    kept = event.data["clip"]
    words = str(event.data.get("words", ""))
    if "lost" in kept:
        return Clip(event.n + 1, "", 0.0, f"not kept: {kept['lost']}", words)
    how = state(folder, kept)
    return Clip(event.n + 1, str(kept["file"]), float(kept.get("seconds", 0.0)), how, words)


def _bad_clip(clips: list[Clip]) -> str | None:
    for clip in clips:
        if clip.state == "changed":
            return f"the clip of line {clip.line} was changed: {clip.file}"
    return None
