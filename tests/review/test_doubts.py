"""The index and a job's page put the same doubts before the lead, in the same words."""

from pathlib import Path
from typing import Any

from assistant.record.history import (
    JobHistory,
    JudgedKept,
    Line,
    Opened,
    ReadingKept,
    Turn,
    Understood,
)
from assistant.review.doubts import doubts_in_index, doubts_on_page
from assistant.review.rows import read_file

NOW_US = 1_900_000_000_000_000
SAME = {"accepted": "accepted", "out": "out", "skipped": "skipped", "long hold": "hold",
        "say-agains": "again", "edits": "edited"}  # fmt: skip
"""Kinds of the index, and of the page."""
ELSEWHERE = ("the pedal was let up", "the record ends with", "a torn last line")
"""What only the page tells under these kinds."""


def test_the_index_and_the_page_say_the_same(records: list[Path]) -> None:
    """Each doubt of these kinds: its words, and the line it leads to."""
    seen = set()
    for path in records:
        rows = read_file(path, NOW_US).rows["doubts"]
        index = {(SAME[d["kind"]], d["text"], d["n"] + 1) for d in rows if d["kind"] in SAME}
        page = {
            (d.kind, d.text, d.line)
            for d in doubts_on_page(JobHistory.read(path))
            if d.kind in SAME.values() and not d.text.startswith(ELSEWHERE)
        }
        assert index == page, path
        seen |= {kind for kind, _, _ in index}
    assert seen >= {"accepted", "skipped", "hold", "again", "edited"}


def told(*lines: Line) -> list[str]:
    history = JobHistory([Opened(kind="opened"), *lines])
    return [doubt.text for doubt in doubts_in_index(history, "", NOW_US) if doubt.kind != "clock"]


def turn(step: str, meaning: str = "done", after: str = "b", **more: Any) -> Turn:
    act = Understood(meaning, text=more.pop("text", "")) if meaning else None
    return Turn(
        kind="turn", who="tech", words="x", step=step, after=after, said=[], act=act, **more
    )


def left(decision: str, chance: float, accepted: str = "") -> Turn:
    judged = JudgedKept(decision=decision, probability=chance)
    kept = ReadingKept("final", "gap", figures="5/8 in", judged=judged, accepted=accepted)
    return turn("final_gap", taken=kept)


def test_rules_at_their_edges() -> None:
    for seconds, words in ((120, []), (121, ["the pedal was held for 2 min 1 s"])):
        up = turn("b", hold="up", us=seconds * 1_000_000, n=2)
        assert told(turn("a", hold="held", n=1), up) == words
    assert told(*[turn("found_gap", "")] * 2) == []
    assert told(*[turn("found_gap", "")] * 3) == ["3 times not understood at found gap"]
    assert told(*[turn("a", "back")] * 3) == []
    assert told(*[turn("a", "back")] * 4) == ["went back 4 times"]
    assert told(left("in", 0.99)) == told(left("", 0.0)) == []
    assert told(left("out", 0.0)) == ["gap left 5/8 in: out (0% in)"]
    close = "gap left 5/8 in: too close (50% in), accepted: new gauge"
    assert told(left("too close", 0.5, "new gauge")) == [close]
    skipped = "found odometer skipped"
    assert told(turn("found_odometer", "skip")) == [f"{skipped}, no reason given"]
    assert told(turn("found_odometer", "skip", text="broken")) == [f"{skipped}: broken"]
