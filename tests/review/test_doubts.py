"""The index and a job's page put the same doubts before the lead, in the same words."""

from __future__ import annotations

from pathlib import Path

import pytest

from assistant.record.history import JobHistory
from assistant.review import wording
from assistant.review.pages.doubts import doubts_of
from assistant.review.rows import read_file
from assistant.texts.dialogs import Dialogs
from tests.fleet.played import play
from tests.fleet.truth import visits
from tests.review.jobs import Job, day, tell

DEMOS = sorted((Path(__file__).parents[2] / "demo_sessions" / "records").glob("*.jsonl"))
NOW_US = 1_900_000_000_000_000
SAME = {"accepted": "accepted", "out": "out", "skipped": "skipped", "long hold": "hold",
        "say-agains": "again", "edits": "edited"}  # fmt: skip
"""Kinds of the index, and of the page."""
ELSEWHERE = ("the pedal was let up", "the record ends with", "a torn last line")
"""What only the page tells under these kinds."""


@pytest.fixture(scope="module")
def records(dialogs: Dialogs, tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """The demo jobs, thirty played visits with what goes wrong in them, and much not heard."""
    folder = tmp_path_factory.mktemp("records")
    played = [play(visit, folder / "played", dialogs) for visit in visits(9, 30, 4)]
    told = tell(folder / "told", [Job("A-1", day(2025, 3, 1), again=n) for n in (2, 3, 7)])
    return [*DEMOS, *played, *told]


def test_the_index_and_the_page_say_the_same(records: list[Path]) -> None:
    """Each doubt of these kinds: its words, and the line it leads to."""
    seen = set()
    for path in records:
        rows = read_file(path, NOW_US).rows["doubts"]
        index = {(SAME[d["kind"]], d["text"], d["n"] + 1) for d in rows if d["kind"] in SAME}
        page = {
            (d.kind, d.text, d.line)
            for d in doubts_of(JobHistory.read(path))
            if d.kind in SAME.values() and not d.text.startswith(ELSEWHERE)
        }
        assert index == page, path
        seen |= {kind for kind, _, _ in index}
    assert seen >= {"accepted", "skipped", "hold", "again", "edited"}


def test_rules_at_their_edges() -> None:
    """On the limit: nothing to look at; just beyond: something."""
    assert wording.long_hold(None) is wording.long_hold(120.0) is None
    assert wording.long_hold(121.0) == "the pedal was held for 2 min 1 s"
    assert wording.many_again("found_gap", 2) is None
    assert wording.many_again("found_gap", 3) == "3 times not understood at found gap"
    assert wording.gone_back(3) is None and wording.gone_back(4) == "went back 4 times"
    assert wording.left("gap", "1/2 in", "in", 0.99, "") is None
    assert wording.left("gap", "1/2 in", "", None, "") is None
    assert wording.left("gap", "5/8 in", "out", 0.0, "") == (
        "out",
        "gap left 5/8 in: out (0% in)",
    )
    assert wording.left("clearance", "0.1 in", "too close", 0.5, "new gauge") == (
        "accepted",
        "fork clearance left 0.1 in: too close (50% in), accepted: new gauge",
    )
    assert wording.skipped("found_odometer", "") == "found odometer skipped, no reason given"
    assert wording.skipped("found_odometer", "broken") == "found odometer skipped: broken"
