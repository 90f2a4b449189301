"""JobHistory: what a record tells, read once and typed."""

from pathlib import Path

import pytest

from assistant.record import Event, RecordError, read_events
from assistant.record.history import JobHistory, line_of
from tests.records import DEMOS


@pytest.mark.parametrize("path", DEMOS, ids=lambda path: path.stem)
def test_the_demo_records_are_told_whole(path: Path) -> None:
    """Nothing in them is odd, and what is worked out is what the closing line says."""
    events, _ = read_events(path)
    history = JobHistory.of(events)
    assert history.state == "finished" and len(history.lines) == len(events)
    left = {q: r.figures for q, r in history.closed.as_left.items()}
    assert left == {q: r.figures for q, r in history.last_read("final").items()}
    rings = [m for m in history.moves if m.turn.ring is not None and not m.recount]
    assert len(rings) == len(history.closed.ring_moves)


def _turn(**members: object) -> Event:
    data = {"who": "tech", "words": "done", "step": "a", "after": "b", "said": [], **members}
    return Event(0, "2026-11-26T10:00:00.000+00:00", "turn", data, "", "")


@pytest.mark.parametrize("member", [True, 7, "x", [1], {"mic": 3}, {"meaning": None}])
@pytest.mark.parametrize("name", ["ear", "taken", "clip", "hold", "ring", "act", "said"])
def test_what_is_odd_is_told_or_left_out(name: str, member: object) -> None:
    """For people it is refused; a reader that must go on leaves the member out and knows which."""
    event, odd = _turn(**{name: member}), list[str]()
    try:
        line = line_of(event, odd)
    except RecordError:
        odd.append("refused")
    else:
        assert (line.step, line.after) == ("a", "b")
    if odd:
        assert odd == ["refused"] or odd[0].startswith(f"line 1, {name}")
        with pytest.raises(RecordError, match="does not write"):
            JobHistory.of([event])
    else:
        JobHistory.of([event])


def test_kinds_of_later_versions_are_kept() -> None:
    said = [{"key": "reply:new", "text": "Hear, hear.", "to": "both"}]
    event = Event(0, "2026-11-26T10:00:00.000+00:00", "sung", {"said": said, "step": 3}, "", "")
    line = JobHistory.of([event]).lines[0]
    assert line.kind == "sung" and line.said[0].text == "Hear, hear." and line.step == ""
