"""What was read before a job stopped is shown as read: not as left, and not as unread."""

from collections.abc import Callable
from pathlib import Path

import pytest

from assistant.act import Said
from assistant.conversation import Session
from assistant.record.history import JobHistory
from assistant.review import open_review
from assistant.review.pages.fleet_page import write_fleet, write_rest
from assistant.review.pages.truck_page import truck_file
from assistant.review.rows import read_file
from assistant.review.transcript import transcript
from tests.job.test_hold import GOOD, PLAN, SET, TURN
from tests.review.jobs import Job, day, tell
from tests.review.test_pages import Page, made

Play = Callable[[Session, str], list[Said]]

CLOSE = "unfinished / clear / in / on / tagged / two more lugs / sign off 12"
MOVED = f"{TURN} / five lugs / check / done / done / clear / h: released"
STOPS = {
    "before a move": (f"{PLAN} / shift's over / {CLOSE[13:]}", "last read 0.660 in, not as left"),
    "after a move": (f"{MOVED} / 0.530 / check / time's up / {CLOSE[13:]}",
                     "last read 0.530 in, not as left"),
    "unread since": (f"{MOVED} / thread's gone / {CLOSE}",
                     "last read 0.660 in, moved since, not as left"),
    "still open": (PLAN, "last read 0.660 in, not as left"),
}  # fmt: skip


@pytest.mark.parametrize("stops", STOPS)
def test_the_last_gap_of_an_unfinished_job_is_told(
    session: Session, play: Play, stops: str
) -> None:
    """On its page, in the transcript, and in the row that the desk has of it."""
    script, told = STOPS[stops]
    play(session, script)
    path = session.journal.path
    history = JobHistory.read(path)
    assert history.state == ("open" if stops == "still open" else "unfinished")
    assert told in made(path).words
    (line,) = [line for line in transcript(history) if line.startswith("gap ")]
    assert line.endswith(told)
    row = read_file(path, 1 << 60).rows["jobs"][0]
    assert row["gap_last_in"] == float(told.split()[2]) and "gap_left_in" not in row


def test_what_was_read_as_left_is_that(session: Session, play: Play) -> None:
    """A job closed unfinished after its last readings has them as left."""
    play(session, f"{GOOD} / {SET} / done / 0.530 / 0.125 / shift's over / {CLOSE[13:]}")
    row = read_file(session.journal.path, 1 << 60).rows["jobs"][0]
    assert row["gap_left_in"] == 0.53 and "gap_last_in" not in row
    assert "last read 0.530" not in made(session.journal.path).words


def test_the_desk_knows_what_was_fitted_and_read(
    session: Session, play: Play, tmp_path: Path
) -> None:
    """Of a job closed unfinished, on the page of its truck and in the row of its work order."""
    play(session, f"{MOVED} / 0.530 / check / new brake / time's up / {CLOSE[13:]}")
    unit = JobHistory.read(session.journal.path).opened.unit
    tell(session.journal.path.parent, [Job(unit, day(2025, 1, 1))])
    with open_review([session.journal.path.parent], tmp_path / "index") as desk:
        row, _ = desk.ask("work_orders")
        listed, trucks = write_fleet(desk, tmp_path / "out")
        write_rest(desk, tmp_path / "out", listed, trucks, lambda todo: todo)
    assert (row["technician"], row["fitted"], row["state"]) == ("12", "brake", "unfinished")
    assert (row["gap_left_in"], row["gap_last_in"], row["gap_last"]) == (None, 0.53, 0.53)
    truck = Page((tmp_path / "out" / truck_file(unit)).read_text("utf-8")).words
    assert "0.660 in / 0.530 in last read" in truck and "new brake" in truck
