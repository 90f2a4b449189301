"""One truck's whole life on a page, and why it came back, told from its records."""

import re
from collections.abc import Callable
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from assistant.review import open_review
from assistant.review.acts import add
from assistant.review.pages.fleet_page import fleet_file, write_fleet, write_rest
from assistant.review.pages.returns import Came, headline, why_back
from assistant.review.pages.truck_page import truck_file
from assistant.review.wording import summary
from assistant.wear.outlook import Range
from tests.records import HARD
from tests.review.jobs import Job, day, tell
from tests.review.test_fleet_page import changed
from tests.review.test_pages import NASTY, Page, nothing_from_elsewhere

BEGAN = datetime(2025, 1, 10, 8)
USUAL = Range(0.1, 0.2)


def came(after_days: int = 0, miles: float | None = 100_000, **other: Any) -> Came:
    """A visit signed off with free travel found 1.25 and left 1.5 in, limit 1.125."""
    at = BEGAN + timedelta(days=after_days)
    doubts = [{"kind": kind, "text": text} for kind, text in other.pop("doubts", ())]
    job = {
        "began_utc": at, "ended_utc": at, "signed_off": True, "unfinished": "",
        "odometer_miles": miles, "next_due_miles": None, "free_found_in": 1.25,
        "free_left_in": 1.5, "free_limit_in": 1.125, **other,
    }  # fmt: skip
    return Came(job, doubts, other.get("due"))


@pytest.mark.parametrize(
    "before, now, says",
    [
        ({"unfinished": "ring seized", "signed_off": False}, {}, "closed unfinished: ring seized"),
        ({"next_due_miles": 121_000.0}, {}, "check told at the last sign-off was at 121,000"),
        ({}, {"free_found_in": 1.14}, "at its limit: found 1.140 in, limit 1.125 in"),
        ({}, {}, "wore as usual for it: 0.125 in per 10,000 miles"),
        ({}, {"free_found_in": 0.9}, "wore faster than usual for it: 0.300"),
        ({}, {"free_found_in": 1.48}, "wore slower than usual for it: 0.010"),
        ({}, {"free_found_in": 1.7}, "grew from 1.500 in to 1.700 in"),
        ({"doubts": [("ratio", "ratios"), ("ring", "told 5, moved 3")]}, {}, "told 5, moved 3"),
        ({}, {"doubts": [("unsound", "not sound: pins")]}, "somebody found: not sound: pins"),
        ({"free_left_in": None}, {}, "The records do not tell"),
    ],
)  # fmt: skip
def test_why_it_came_back(before: dict[str, Any], now: dict[str, Any], says: str) -> None:
    told = why_back(came(0, **before), came(90, 120_000, **now), USUAL)
    assert any(says in line for line in told), told
    assert len(told) == len(set(told))


@pytest.mark.parametrize(
    ("after", "then", "right"),
    [
        (timedelta(hours=3), {"miles": 100_000}, False),
        (timedelta(days=1), {"miles": 100_020}, False),
        (timedelta(days=200), {"miles": 124_000}, False),  # of 30,000 to the check told
        (timedelta(days=200), {"miles": 128_000}, True),
        (timedelta(days=30), {"miles": 99_000}, False),
        (timedelta(hours=3), {"miles": 100_000, "upto": 1}, True),  # nothing was read
    ],
)
def test_a_truck_that_came_back_was_not_right_the_first_time(
    after: timedelta, then: dict[str, Any], right: bool, tmp_path: Path, home: Path
) -> None:
    """The same day as well as much later, where it was to come later still; in the tables, on the
    pages and in the shares."""
    first = Job("T-1", day(2025, 1, 10), miles=100_000, due=130_000)
    second = Job("T-1", first.day + after, **{"due": 160_000, **then})
    other = Job("T-2", first.day + after, miles=100_000)
    tell(tmp_path / "records", [first, second, other])
    with open_review([tmp_path / "records"], home) as desk:
        rows = desk.rows(desk.tables.jobs.order_by(["began_utc", "unit"]))
        jobs = [row["first_time_right"] for row in rows if row["signed_off"]]
        assert jobs == [right, True, True][: len(jobs)]
        assert desk.ask("totals")[0]["first_time_right"] == pytest.approx(sum(jobs) / len(jobs))
        words = write_fleet(desk, tmp_path / "out") and fleet_file(tmp_path / "out")
    assert (" NO " in Page(words.read_text("utf-8")).words) == (not right)


def test_a_return_is_told_by_the_day() -> None:
    same, next_day = came(0, 100_000), came(1, 100_000)
    assert headline(came(), same) == "within the day, after 0 miles."
    assert headline(came(), next_day) == "after 1 day and 0 miles."


def test_whether_it_came_as_it_was_due() -> None:
    first, now = came(), came(90, 120_000)
    assert headline(first, now) == "after 90 days and 20,000 miles."
    for days, word in ((80, "while it was due"), (95, "before it was due")):
        due = (BEGAN.date() + timedelta(days=days), None)
        assert word in headline(first, now._replace(due=due))
    late = now._replace(due=(date(2025, 2, 1), date(2025, 3, 1)))
    assert headline(first, late).endswith("after it was due, from 2025-02-01 to 2025-03-01.")


def test_a_life_is_on_one_page(tmp_path: Path) -> None:
    """Every visit with its page, the wear, what a lead asked, notes, causes; escaped throughout."""
    jobs = [
        Job(NASTY, day(2025, 1, 10), "12", 100_000),
        Job(NASTY, day(2025, 5, 10), "15", 130_000, left=1.5, found=1.3125),
        Job(NASTY, day(2025, 9, 10), "12", 160_000, left=1.5, found=1.12),
    ]
    paths = tell(tmp_path / "records", jobs)
    (tmp_path / "records" / HARD.name).write_bytes(HARD.read_bytes())
    add(paths[1], "question", "L7", "why so soon?")

    def made() -> int:
        with open_review([tmp_path / "records"], tmp_path / "index") as desk:
            out = tmp_path / "out"
            return write_rest(desk, out, *write_fleet(desk, out), lambda todo: todo)[0]

    assert made() == len(jobs) + 1 + 2 and made() == 0
    page = Page((tmp_path / "out" / truck_file(NASTY)).read_text("utf-8"))
    nothing_from_elsewhere(page)
    assert not [tag for tag, _ in page.tags if tag in ("script", "img")]
    for text in (
        NASTY,
        "Visits 3 since 2025-01-10",
        "L7 asked: why so soon? open",
        "Free travel was at its limit: found 1.120 in, limit 1.125 in",
    ):
        assert text in page.words, text
    for _, attributes in page.tags:
        href = attributes.get("href") or ""
        if href and not href.startswith("#"):
            assert (tmp_path / "out" / "trucks" / href).exists(), href
    hard = Page((tmp_path / "out" / truck_file("T-104")).read_text("utf-8")).words
    assert "note the lock plate bolt wants replacing" in hard and "not sound" in hard
    add(paths[2], "reviewed", "L7")
    assert made() == 2  # the job's page, and its truck's


def in_mm(kind: str, data: dict[str, Any]) -> dict[str, Any]:
    """The record with a card that has lengths in mm."""
    if kind != "opened":
        return data
    text = data["card"]["text"].replace('units = "inch"', 'units = "mm"')
    return {**data, "card": {**data["card"], "text": text}}


@pytest.mark.parametrize("distance", ["miles", "kilometres"])
def test_a_distance_is_told_in_what_the_odometer_counts(
    tmp_path: Path, home: Path, distance: str
) -> None:
    """On the truck's page, in the terminal's list and in the calendar, and in nothing else; its
    lengths are in what its card says, whatever the odometer counts."""
    visits = [
        Job("K-4", day(2025, 1, 1), miles=100_000, found=1.5, due=130_000, distance=distance),
        Job("K-4", day(2025, 6, 1), miles=131_000, found=1.25, due=160_000, distance=distance),
    ]
    for path in tell(tmp_path / "records", visits):
        if distance != "miles":
            changed(path, in_mm)
    with open_review([tmp_path / "records"], home) as desk:
        jobs, trucks = write_fleet(desk, tmp_path / "out")
        write_rest(desk, tmp_path / "out", jobs, trucks, lambda todo: todo)
        (listed,) = (line for line in summary(desk, 10) if line.startswith("  K-4: at "))
    words = Page((tmp_path / "out" / truck_file("K-4")).read_text("utf-8")).words
    calendar = (tmp_path / "out" / "due.ics").read_text("utf-8").replace("\r\n ", "")
    other = {"miles": "kilometres", "kilometres": "miles"}[distance]
    assert f"131,000 {distance} " in words and f"31,000 {distance}." in words
    assert f"was at 130,000 {distance}." in words and f" per 10,000 {distance}" in words
    assert f" {distance}, " in listed and f"sign-off: 160\\,000 {distance}." in calendar
    assert not any(other in told for told in (words, listed, calendar))
    lengths = {form: len(re.findall(rf"\d {form}\b", words)) for form in ("in", "mm")}
    assert (lengths["in"] > 4, lengths["mm"] > 4) == (distance == "miles", distance != "miles")
    assert min(lengths.values()) == 0, words
    days = next(truck.due for truck in trucks)
    fleet = Page(fleet_file(tmp_path / "out").read_text("utf-8")).words
    assert all(re.sub(" +", " ", told).count(days) == 1 for told in (words, fleet))
    shown = {"miles": "1.562 / 1.125 in", "kilometres": "39.7 / 28.6 mm"}
    assert fleet.count(shown[distance]) == 2, fleet


def test_a_truck_in_mm_with_an_odometer_in_miles_is_shown_in_mm(tmp_path: Path) -> None:
    (path,) = tell(tmp_path / "records", [Job("M-3", day(2025, 1, 1))])
    changed(path, in_mm)
    with open_review([path.parent], tmp_path / "index") as desk:
        jobs, trucks = write_fleet(desk, tmp_path / "out")
        write_rest(desk, tmp_path / "out", jobs, trucks, lambda todo: todo)
    for file in (fleet_file(tmp_path / "out"), tmp_path / "out" / truck_file("M-3")):
        words = Page(file.read_text("utf-8")).words
        assert re.search(r"\b39\.7\b", words) and not re.search(r"\d in\b", words), words


def skipped_odometer(kind: str, data: dict[str, Any]) -> dict[str, Any]:
    if kind == "closed":
        found = {k: v for k, v in data["as_found"].items() if k != "odometer"}
        return {**data, "as_found": found, "next_due": None}
    taken = data.get("taken") or {}
    return data | {"taken": None} if taken.get("quantity") == "odometer" else data


def unfinished(kind: str, data: dict[str, Any]) -> dict[str, Any]:
    left = {"why": "shift over", "at": "signoff", "rest": "", "pedal": "up"}
    return data | {"unfinished": left, "next_due": None} if kind == "closed" else data


@pytest.mark.parametrize("change", [skipped_odometer, unfinished], ids=lambda one: one.__name__)
def test_the_latest_as_left_counts_by_date(tmp_path: Path, change: Callable[..., Any]) -> None:
    """Also of a job whose odometer was skipped, or that was closed unfinished: on every page, and
    for the day when it is due."""
    jobs = [
        Job("T-9", day(2025, 1, 1), miles=100_000),
        Job("T-9", day(2025, 5, 1), miles=130_000, found=1.375),
        Job("T-9", day(2025, 6, 1), miles=131_000, left=1.25),
    ]
    paths = tell(tmp_path / "records", jobs)
    changed(paths[2], change)
    with open_review([paths[0].parent], tmp_path / "index") as desk:
        (row,) = desk.ask("units")
        listed, trucks = write_fleet(desk, tmp_path / "out")
        write_rest(desk, tmp_path / "out", listed, trucks, lambda todo: todo)
    assert row["free_left_in"] == 1.25
    assert row["worn_from_miles"] < 160_000 < 175_000
    truck = Page((tmp_path / "out" / truck_file("T-9")).read_text("utf-8")).words
    assert "Free travel as left, limit 1.250 in / 1.125 in" in truck, truck
    fleet = Page(fleet_file(tmp_path / "out").read_text("utf-8")).words
    assert "1.250 / 1.125 in" in fleet and "1.562 / 1.125" not in fleet
