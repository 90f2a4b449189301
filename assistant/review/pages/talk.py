"""Who said what when, what it was taken for, and where speech was not understood."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from assistant.record import Event
from assistant.record.transcript import findings, meant

WHO = {"tech": "TECH", "helper": "HELPER", "both": "BOTH"}


@dataclass(frozen=True, slots=True)
class Said:
    """What lugcall said: to whom, the signal word or "", the words."""

    to: str
    signal: str
    text: str


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the record as people read it.

    `n` counts from 1; `mark` is "", "misheard", "corrected", "stop", "lead", "repair"; `clip` is
    what the record holds of its sound, or None.
    """

    n: int
    at: str
    who: str
    words: str
    meant: str
    found: tuple[str, ...]
    said: tuple[Said, ...]
    mark: str
    step: str
    clip: dict[str, Any] | None = field(default=None)

    @property
    def clock(self) -> str:
        """Hours, minutes and seconds, local."""
        return self.at[11:19]


def lines_of(events: Iterable[Event]) -> list[Line]:
    """Every line of the record but the closing one."""
    return [_line(event) for event in events if event.kind != "closed"]


def _line(event: Event) -> Line:
    data = event.data
    act = data.get("act") or {}
    said = tuple(
        Said(WHO.get(s["to"], str(s["to"])), str(s.get("signal", "")), str(s["text"]))
        for s in data.get("said", ())
    )
    words, took = str(data.get("words", "")), ""
    if event.kind == "turn":
        took = meant(act) if words or act else ""
    elif event.kind == "unheard":
        words = " / ".join(_heard(data.get("ear") or {})) or "nothing clear"
        unsure = (data.get("ear") or {}).get("decision") == "choose"
        took = "unsure between" if unsure else "not understood"
    elif event.kind == "repaired":
        took = f"a torn last line of {data.get('cut_bytes', '?')} bytes was cut off"
    elif event.kind.startswith("lead-"):
        words = str(data.get("text", ""))
        about = f" ({data['about']})" if data.get("about") else ""
        took = f"{event.kind.removeprefix('lead-')}{about}"
    else:
        took = {"opened": "job begun", "notice": "notice"}.get(event.kind, event.kind)
    who = WHO.get(str(data.get("who", "")), "")
    if event.kind.startswith("lead-"):
        who = f"LEAD {data.get('lead', '?')}"
    clip = data.get("clip")
    found = tuple(f.strip() for f in findings(data)) if event.kind == "turn" else ()
    return Line(
        n=event.n + 1,
        at=event.at,
        who=who,
        words=words,
        meant=took,
        found=found,
        said=said,
        mark=_mark(event),
        step=str(data.get("step", "")),
        clip=clip if isinstance(clip, dict) else None,
    )


def _heard(ear: dict[str, Any]) -> list[str]:
    found = ear.get("alternatives", [])
    return [str(a["words"] if isinstance(a, dict) else a) for a in found]


def _mark(event: Event) -> str:
    if event.kind == "repaired":
        return "repair"
    if event.kind.startswith("lead-"):
        return "lead"
    if misunderstood(event):
        return "misheard"
    if "corrected" in event.data:
        return "corrected"
    meaning = (event.data.get("act") or {}).get("meaning")
    return "stop" if event.kind == "turn" and meaning == "stop" else ""


def misunderstood(event: Event) -> bool:
    """Whether words came and were not taken: not heard, not clear, or asked back."""
    if event.kind == "unheard":
        return True
    if event.kind != "turn" or not event.data.get("words"):
        return False
    act = event.data.get("act")
    return not act or act.get("meaning") == "unclear"


def misheard_by(events: Sequence[Event], key: str) -> Counter[str]:
    """How often by "step", or by "mic" (typed words have none)."""
    out: Counter[str] = Counter()
    for event in events:
        if misunderstood(event):
            value = event.data.get("step") if key == "step" else _mic(event)
            out[str(value or ("typed" if key == "mic" else "?"))] += 1
    return out


def _mic(event: Event) -> str:
    ear = event.data.get("ear")
    return str(ear.get("mic", "")) if isinstance(ear, dict) else ""
