"""Lugs left on the ring: as seen, as of a new clutch, or no more than supposed."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from assistant.act import Act
from assistant.card import default_card
from assistant.clutch.conformity import Measured
from assistant.conversation.session import closing
from assistant.conversation.understand import understand
from assistant.job.job import Job
from assistant.job.state import RingMove, Taken
from assistant.quantity import RING_LEFT
from assistant.readings import read
from assistant.review.pages import charts
from assistant.texts.dialogs import Dialogs
from assistant.wear import say
from assistant.wear.outlook import lugs_left, outlook
from assistant.wear.visits import Visit, intervals_of

START = datetime(2025, 1, 6, 8, 0, tzinfo=UTC)


def visits(*lugs: int, **of: dict[int, object]) -> list[Visit]:
    """Visits half a year apart with these lugs; `of` gives fields of single ones, by number."""
    out = []
    for i, moved in enumerate(lugs):
        free, gap = Measured(1.5, 0.02), Measured(0.5, 0.01)
        visit = Visit("A", START + timedelta(days=182 * i), 1e5 + 4e4 * i, free, free, gap, gap,
                      moved, 1.125, ("non-synchronized", "rod", "manual"), 0.027, "miles",
                      f"{i}.jsonl", 15)  # fmt: skip
        out.append(replace(visit, **{name: value[i] for name, value in of.items() if i in value}))  # type: ignore[arg-type]
    return out


def test_what_was_seen_comes_before_what_is_supposed() -> None:
    assert lugs_left(visits(1, 2, 1)) == 11
    seen = visits(1, 2, 1, ring_left={1: 4})
    assert lugs_left(seen) == 3
    look = outlook(seen, "A")
    assert look is not None and look.looked and look.lugs_left == 3
    assert ("due_lugs", {"lugs": "3 lugs"}) in say.replies(look)


def test_without_a_look_it_is_at_most() -> None:
    look = outlook(visits(1, 2), "A")
    assert look is not None and not look.looked
    assert say.replies(look)[-1] == ("due_lugs_most", {"lugs": "12 lugs"})
    assert "at most 12 lugs" in say.for_command(look, "")[-1] or look.lining is not None


def test_a_new_clutch_starts_it_over() -> None:
    mine = visits(5, 6, 2, 1, fitted={2: ("clutch",)})
    look = outlook(mine, "A")
    assert look is not None and look.looked
    assert (look.lugs_used, look.lugs_left) == (3, 12)
    assert look.since == mine[2].at.date()
    spans, notes = intervals_of(mine)
    assert len(spans["A"]) == 2 and "wear begins anew" in notes[0]


def test_a_new_brake_is_seen_at_the_gap_alone() -> None:
    mine = visits(0, 0, fitted={1: ("brake",)})
    assert len(intervals_of(mine)[0]["A"]) == 1
    assert not intervals_of(mine, by_gap=True)[0]["A"]


def test_said_in_the_job_and_kept(dialogs: Dialogs) -> None:
    job = Job(replace(default_card(), ring_lugs=15), dialogs)
    assert job.facts.ring_left is None
    told = read("nine", RING_LEFT)
    assert (told.count, told.kind) == (9.0, "lugs")
    seen = Taken(job.at, "found", RING_LEFT, "tech", None, None, None, 9.0, "lugs", "9", "9 lugs")
    job.facts.readings.append(seen)
    job.facts.moves.append(RingMove(4, 4, 1))
    assert job.facts.ring_left == closing(job)["ring_left"] == 5


@pytest.mark.parametrize("said, what", [("new clutch", "clutch"), ("new clutch brake", "brake")])
def test_what_is_new_is_said_at_any_step(dialogs: Dialogs, said: str, what: str) -> None:
    job = Job(replace(default_card(), ring_lugs=15), dialogs)
    act = understand(said, "tech", job)
    assert act == Act("fitted", "tech", text=what)
    assert isinstance(act, Act)
    job.apply(act)
    assert closing(job)["fitted"] == [what]
    assert closing(job).get("ring_left") == (15 if what == "clutch" else None)


def test_a_new_clutch_wears_at_a_rate_of_its_own() -> None:
    """What the old one lost is no interval of the new one, of free travel or by the gap."""
    worn = {i: Measured(1.3, 0.02) for i in (1, 2, 3)}
    old = outlook(visits(1, 1, 1, 1, found=worn), "A")
    new = outlook(visits(1, 1, 1, 1, found=worn, fitted={2: ("clutch",)}), "A")
    brake = outlook(visits(1, 1, 1, 1, found=worn, fitted={2: ("brake",)}), "A")
    assert old is not None and new is not None and brake is not None
    assert (old.own, new.own, brake.own) == (3, 1, 3)


@pytest.mark.parametrize("read", [True, False])
def test_no_line_of_its_curve_leads_from_the_old_clutch_to_the_new_one(read: bool) -> None:
    new = visits(1, 1, 1, 1, fitted={2: ("clutch",)}, miles={} if read else {2: None})
    cell = charts.cell_of("A", new)
    assert cell is not None and charts.curve(cell, charts.scale_of([cell])).count("M") == 2
    same = charts.cell_of("A", visits(1, 1, 1, 1, fitted={2: ("brake",)}))
    assert same is not None and charts.curve(same, charts.scale_of([same])).count("M") == 1
