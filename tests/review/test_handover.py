"""What a shop takes out of the desk: the due list, a row a job, acts on many records, search."""

import csv
import io
import json
import re
from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from click.testing import Result
from icalendar import Calendar

from assistant.record import verify_file
from assistant.record.history import JobHistory
from assistant.review import open_review
from assistant.review.columns import ASKED
from assistant.review.handover.due_list import calendar, due_csv
from assistant.review.questions import WORK_ORDER
from assistant.review.wording import Row
from tests.records import DEMOS, HARD
from tests.review.jobs import Job, day, tell
from tests.review.test_pages import Page

UNIT = '=cmd, "T;9" \\ é' + "é" * 40
JOBS = [
    Job(UNIT, day(2025, 1, 10), miles=100_000),
    Job(UNIT, day(2025, 6, 10), miles=130_000, found=1.25),
    Job("T-2", day(2025, 2, 1), miles=50_000),
    Job("T-2", day(2025, 8, 1), miles=70_000, found=1.4),
    Job("T-3", day(2025, 8, 2), upto=30),
]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tell(tmp_path / "records", JOBS)[0].parent


@pytest.fixture
def trucks(folder: Path, home: Path) -> list[Row]:
    with open_review([folder], home) as desk:
        return desk.ask("units")


def test_a_due_list_is_a_calendar_by_the_letter(trucks: list[Row]) -> None:
    """RFC 5545: lines end in CR LF (3.1) and have no more than 75 octets, what parts text is
    escaped (3.3.11), each event has UID and DTSTAMP (3.6.1), and DTEND is after its last day
    (3.6.1)."""
    made = datetime(2025, 9, 1, 12, tzinfo=UTC)
    told = calendar(trucks, made)
    assert told.endswith(b"END:VCALENDAR\r\n") and b"\n" not in told.replace(b"\r\n", b"")
    lines = told.split(b"\r\n")
    assert all(len(line) <= 75 for line in lines) and any(line[:1] == b" " for line in lines)
    plain = told.replace(b"\r\n ", b"").decode()
    assert 'SUMMARY:=cmd\\, "T\\;9" \\\\ é' in plain
    assert plain.count("DTSTAMP:20250901T120000Z") == plain.count("UID:") == 2
    events = {str(one["summary"]): one for one in Calendar.from_ical(told).walk("VEVENT")}
    assert set(events) == {f"{unit}: clutch may be due" for unit in (UNIT, "T-2")}
    (row,) = [row for row in trucks if row["unit"] == "T-2"]
    event = events["T-2: clutch may be due"]
    assert event["dtstart"].dt == row["due_from_utc"].date()
    assert (event["dtend"].dt - row["due_to_utc"].date()).days == 1
    again = {str(one["uid"]) for one in Calendar.from_ical(calendar(trucks)).walk("VEVENT")}
    assert again == {str(one["uid"]) for one in events.values()}


def test_a_due_list_as_csv_has_the_same_days(trucks: list[Row]) -> None:
    """No cell is a formula; what is not known is empty."""
    rows = {row["unit"]: row for row in csv.DictReader(io.StringIO(due_csv(trucks)))}
    assert set(rows) == {"'" + UNIT, "T-2"}
    (row,) = [row for row in trucks if row["unit"] == "T-2"]
    assert rows["T-2"]["due_from"] == f"{row['due_from_utc']:%Y-%m-%d}"
    assert date.fromisoformat(rows["T-2"]["last_job"]) == date(2025, 8, 1)
    assert rows["T-2"]["lugs_left"] == "" and float(rows["T-2"]["odometer_miles"]) == 70_000


def test_a_check_told_by_distance_is_due_everywhere(
    tmp_path: Path, lugcall: Callable[..., Result]
) -> None:
    """Of trucks that were here once by the odometer only, in kilometres or miles; with days as soon
    as the truck's own pace is known."""
    shop, out = tmp_path / "shop", tmp_path / "out"
    tell(shop, [
        Job("K-1", day(2025, 1, 1), miles=210_000, due=240_000, distance="kilometres"),
        Job("K-2", day(2025, 1, 2), miles=400_000, due=430_000),
        Job("K-3", day(2025, 1, 3), miles=690_000, due=700_000),
    ])  # fmt: skip
    told = {"K-1": "240,000 kilometres", "K-2": "430,000 miles", "K-3": "700,000 miles"}
    lines = lugcall("review", shop).output.splitlines()
    due = lines.index(next(line for line in lines if "3 more trucks are due by their" in line))
    order = ("K-3", "K-1", "K-2")  # by the way that is left
    assert lines[due + 1 :] == [f"  {u}: at {told[u]}, by odometer only" for u in order]
    lugcall("pages", shop, "--out", out)
    page = Page((out / "fleet.html").read_text("utf-8")).words
    assert "known yet" not in page and "3 trucks due by odometer only" in page
    assert all(f"{unit} at {at}, by odometer only" in page for unit, at in told.items())
    events = Calendar.from_ical((out / "due.ics").read_bytes())
    todos = {str(one["summary"]): one for one in events.walk("VTODO")}
    assert set(todos) == {f"{u}: clutch due at {at}, by odometer only" for u, at in told.items()}
    assert not events.walk("VEVENT") and not any("due" in one for one in todos.values())
    rows = {row["unit"]: row for row in csv.DictReader(io.StringIO((out / "due.csv").read_text()))}
    assert set(rows) == set(told) and rows["K-2"]["check_miles"] == "430000.0"
    assert not any(row["due_from"] for row in rows.values())
    done = lugcall("due", shop)
    assert done.exit_code == 0, done.output
    for unit, at in told.items():
        assert f"{unit}: The check told at sign-off is at {at}, by odometer only." in done.output
    tell(shop / "later", [Job("K-2", day(2025, 2, 2), miles=410_000, due=440_000, found=1.5)])
    lines = lugcall("review", shop).output.splitlines()
    assert any(re.match(r"  K-2: at [\d,]+ .*miles, 2025-\d\d-\d\d to ", line) for line in lines), (
        lines
    )


def test_due_writes_both_files(
    folder: Path, tmp_path: Path, lugcall: Callable[..., Result]
) -> None:
    ics, table = tmp_path / "due.ics", tmp_path / "due.csv"
    done = lugcall("due", folder, "--unit", "T-2", "--calendar", ics, "--csv", table)
    assert done.exit_code == 0, done.output
    assert len(Calendar.from_ical(ics.read_bytes()).walk("VEVENT")) == 1
    assert [row["unit"] for row in csv.DictReader(table.open("r"))] == ["T-2"]
    done = lugcall("due", folder, "--calendar", tmp_path)
    assert done.exit_code == 1 and "name another file" in done.output


def test_each_job_is_one_documented_row(
    folder: Path, tmp_path: Path, lugcall: Callable[..., Result]
) -> None:
    """As CSV and as JSON alike; the seal is the one on paper, the notes are as they were said."""
    for demo in DEMOS:
        (folder / demo.name).write_bytes(demo.read_bytes())
    told = lugcall("review", folder, "--ask", "work_orders", "--json").output
    rows = [json.loads(line) for line in told.splitlines()]
    assert [tuple(row) for row in rows] == [tuple(WORK_ORDER)] * (len(JOBS) + len(DEMOS))
    (hard,) = [row for row in rows if row["record"].endswith(HARD.name)]
    history = JobHistory.read(HARD)
    assert hard["seal"] == verify_file(HARD).seal and hard["state"] == "signed off"
    assert "the lock plate bolt wants replacing next time" in hard["notes"]
    assert hard["gap_left_in"] == history.as_left()["gap"].value_in
    assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", hard["began_utc"])
    (open_one,) = [row for row in rows if row["unit"] == "T-3"]
    assert open_one["state"] == "open" and open_one["seal"] == ""
    table = [*csv.DictReader(io.StringIO(lugcall("review", folder, "--ask", "work_orders").output))]
    assert [row["opening"] for row in table] == [row["opening"] for row in rows]
    lugcall("review", folder, "--csv", tmp_path / "out")
    page = (tmp_path / "out" / "COLUMNS.md").read_text("utf-8").partition("## work_orders")[2]
    assert all(f"| `{name}` | {kind} |" in page for name, kind in WORK_ORDER.items())
    assert set(ASKED) <= set(re.findall(r"\w+", lugcall("review", "--help").output))


def test_a_row_has_figures_that_a_gauge_shows_and_their_unit(
    folder: Path, lugcall: Callable[..., Result]
) -> None:
    """In what the truck's card and odometer count; what is in inches has no more digits than a
    64th of an inch, and what is in miles none that no odometer shows."""
    for demo in DEMOS:
        (folder / demo.name).write_bytes(demo.read_bytes())
    tell(folder / "k", [Job("K-1", day(2025, 9, 1), miles=240_001, distance="kilometres")])
    told = lugcall("review", folder, "--ask", "work_orders").output
    assert not re.search(r"\d\.\d{7}", told), told
    rows = {Path(row["record"]).stem: row for row in csv.DictReader(io.StringIO(told))}
    metric, hard = rows["metric_job"], rows["hard_day"]
    gap = JobHistory.read(HARD.with_name("metric_job.jsonl")).as_left()["gap"].value_in
    assert metric["length_unit"] == "mm" and metric["gap_left"] == f"{gap * 25.4:.1f}"
    assert hard["length_unit"] == "inch" and hard["gap_left"] == hard["gap_left_in"] == "0.551"
    (km,) = [row for row in rows.values() if row["unit"] == "K-1"]
    assert (km["odometer"], km["distance_unit"]) == ("240001", "kilometres")
    assert km["next_check"] == "430000" and km["odometer_miles"] == "149129.7"


def test_an_act_is_added_to_many_records(folder: Path, lugcall: Callable[..., Result]) -> None:
    """Each takes it or not by itself; what was refused is told, and the others have it."""
    files = sorted(folder.glob("*.jsonl"))
    done = lugcall("lead", "accepted", *files, "seen", "in", "the", "bay", "--by", "L7")
    assert done.exit_code == 1 and "1 of 5 records did not take it" in done.output
    acts = [JobHistory.read(file).acts for file in files]
    assert [len(act) for act in acts] == [1, 1, 1, 1, 0]  # the last is not signed off
    assert {act[0].text for act in acts if act} == {"seen in the bay"}
    done = lugcall("lead", "reviewed", "--by", "L7", *files)
    assert done.exit_code == 0 and done.output.count("reviewed by L7") == 5
    assert all(verify_file(file).ok for file in files)


def test_words_are_found_in_all_jobs(folder: Path, lugcall: Callable[..., Result]) -> None:
    """Of what was said, understood or not, and of a lead; in any order, also of one truck alone."""
    (folder / HARD.name).write_bytes(HARD.read_bytes())
    lugcall("lead", "question", folder / HARD.name, "which", "bolt", "was", "it", "--by", "L7")

    def lines(*words: str) -> list[str]:
        return str(lugcall("review", folder, "--find", " ".join(words)).output).splitlines()

    told = lines("REPLACING", "bolt", "t-104")
    assert "T-104, TECH: note the lock plate bolt wants replacing next time" in told[1]
    (line,) = [one.line for one in JobHistory.read(HARD).turns if "wants replacing" in one.words]
    assert told[2].strip() == f"{folder / HARD.name}, line {line}"
    assert any("LEAD: which bolt was it" in line for line in lines("bolt"))
    assert "Nothing said or written" in lines("t-104")[0] + lines("bolt", "t-2")[0]


def test_an_audit_holds_the_seals_against_paper(
    folder: Path, tmp_path: Path, lugcall: Callable[..., Result]
) -> None:
    """What is on one side only is told, and ends with exit code 1; nothing else does."""
    files = sorted(folder.glob("*.jsonl"))[:4]  # all but the one that is not signed off
    seals = [verify_file(file).seal for file in files]
    lugcall("lead", "reviewed", files[0], "--by", "L7")
    paper, out = tmp_path / "paper.txt", tmp_path / "audit.html"

    def audit(told: str, *more: str) -> Result:
        paper.write_text(told, "utf-8")
        days = ("--since", "2025-01-01", "--until", "2025-08-01", *more)
        return lugcall("audit", folder, *days, "--seals", paper, "--out", out)

    done = audit("\n".join(f"WO 4711, {seal.lower()}, T-2" for seal in seals))
    assert done.exit_code == 0 and "4 jobs, 0 without" in done.output, done.output
    page = out.read_text("utf-8")
    assert "Every job bears a seal" in page and all(seal in page for seal in seals)
    done = audit("\n".join([*seals[1:], "1234-ABCD"]))
    assert done.exit_code == 1
    assert "1 without their seal on paper; 1 seal on paper without a record" in done.output
    page = out.read_text("utf-8")
    assert "1234-ABCD" in page and page.count('<b class="OUT">NO</b>') == 1
    files[1].write_bytes(files[1].read_bytes().replace(b"helper", b"halper", 1))
    assert "1 file damaged or gone" in audit("\n".join(seals)).output
    assert "holds no seal" in audit("none").output
    assert "turn them round" in audit("1234-ABCD", "--until", "2024-01-01").output
    done = lugcall("audit", folder, "--since", "2025-01-01", "--out", out)
    assert "seals not checked: no list from paper was given" in done.output
    assert "without" not in done.output and "without a seal" not in Page(out.read_text()).words
    done = lugcall("audit", folder, "--seals", tmp_path / "none.txt", "--out", out)
    assert done.exit_code == 1 and "name a text file" in done.output
