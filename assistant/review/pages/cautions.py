"""The cautions given, and the words that answered each.

A caution comes before an act; it is acknowledged by the first words after it, of the one it was
said to, that take the job on. A stop, a question, or words not understood do not count.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from assistant.record import Event
from assistant.review.pages.talk import WHO

_OFF_WAY = ("halted", "repair")
_NO_ANSWER = ("stop", "carry_on", "resumed", "back", "unclear")


@dataclass(frozen=True, slots=True)
class Caution:
    """One caution: where it was given and, unless None, by which line it was answered."""

    line: int
    at: str
    signal: str
    text: str
    to: str
    by: str
    answer_line: int | None
    answer: str


def cautions_of(events: Sequence[Event]) -> list[Caution]:
    """All of them, in order."""
    out = []
    for i, event in enumerate(events):
        for said in event.data.get("said", ()):
            if not str(said.get("key", "")).startswith("caution:"):
                continue
            reply = _answer(events[i + 1 :], str(said["to"]))
            out.append(
                Caution(
                    line=event.n + 1,
                    at=event.at,
                    signal=str(said.get("signal", "")),
                    text=str(said["text"]),
                    to=WHO.get(said["to"], str(said["to"])),
                    by=WHO.get(str(reply.data.get("who")), "") if reply else "",
                    answer_line=reply.n + 1 if reply else None,
                    answer=str(reply.data.get("words", "")) if reply else "",
                )
            )
    return out


def _answer(after: Sequence[Event], to: str) -> Event | None:
    for event in after:
        data = event.data
        if event.kind != "turn" or not data.get("words") or not data.get("act"):
            continue
        if to in ("tech", "helper") and data.get("who") != to:
            continue
        moved = data.get("after") != data.get("step") and data.get("after") not in _OFF_WAY
        if moved and data["act"].get("meaning") not in _NO_ANSWER:
            return event
    return None
