"""The fleet page: true figures, every number leads to its jobs, and it works in a browser."""

import csv
import io
import json
import re
import shutil
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any
from urllib.parse import unquote

import pytest
from click.testing import Result

from assistant.record import read_events, verify_file
from assistant.review import Review, open_review
from assistant.review.acts import add
from assistant.review.pages import charts
from assistant.review.pages.fleet_page import (
    ListedTruck,
    due_word,
    fleet_file,
    write_fleet,
    write_rest,
)
from assistant.review.pages.job_page import job_page
from assistant.review.pages.questions import FleetAnswers, joined, narrowed, tokens_of
from assistant.review.wording import short, summary
from assistant.wear.visits import by_unit
from tests.records import HARD, sealed
from tests.review.jobs import Job, day, tell
from tests.review.test_pages import NASTY, Page, nothing_from_elsewhere

JOBS = (
    Job("T-1", day(2025, 1, 10), "12", 100_000, left=1.5625),
    Job("T-1", day(2025, 5, 10), "15", 130_000, left=1.5, found=1.3125),
    Job("T-1", day(2025, 9, 10), "12", 160_000, left=1.5, found=1.25, again=4),
    Job("T-2", day(2025, 2, 1), "15", 50_000, left=1.75),
    Job("T-2", day(2025, 8, 1), "21", 70_000, left=1.75, found=1.5, mic="Cab <b>mic</b>", again=1),
    Job(NASTY, day(2025, 3, 3), "21"),
    Job("T-3", day(2025, 4, 4), upto=30),
)


@pytest.fixture(autouse=True)
def own_index(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("LUGCALL_INDEX", str(tmp_path / "index"))


@pytest.fixture
def records(tmp_path: Path) -> list[Path]:
    """The jobs above, with one line changed in the last but one of T-1."""
    paths = tell(tmp_path / "records", JOBS)
    raw = paths[1].read_bytes().splitlines(keepends=True)
    raw[40] = raw[40].replace(b"tech", b"tach", 1)
    paths[1].write_bytes(b"".join(raw))
    return paths


@pytest.fixture
def desk(records: list[Path], tmp_path: Path) -> Review:
    return open_review([records[0].parent], tmp_path / "index")


def written(desk: Review, folder: Path) -> Page:
    write_fleet(desk, folder)
    return Page(fleet_file(folder).read_text(encoding="utf-8"))


def tokens_on(page: Page) -> list[set[str]]:
    """The tokens of each listed job, as they stand in the page."""
    return [set((a["data-tokens"] or "").split(" ")) for _, a in page.tags if "data-tokens" in a]


def test_a_question_on_a_job_without_doubts_needs_eyes(tmp_path: Path) -> None:
    """It is on the page and in the terminal, behind all others, until the lead does another act,
    and among his questions until it is answered or withdrawn."""
    folder = tmp_path / "records"
    path = tell(folder, [*JOBS, Job("T-9", day(2025, 10, 1))])[-1]

    def eyes(open_question: bool) -> list[tuple[str, str]]:
        with open_review([folder], tmp_path / "index") as desk:
            found = desk.ask("needs_eyes")
            page = "".join(written(desk, tmp_path / "out").text)
            lines = list(summary(desk, most=50))
        asked = [r["unit"] for r in found if r["asked"] == "lead-question"]
        assert ("which of the two rods" in page) == open_question
        assert any("T-9: [question]" in line for line in lines) == ("T-9" in asked)
        return [(r["unit"], r["asked"]) for r in found]

    before = eyes(False)
    assert "T-9" not in {unit for unit, _ in before}
    add(path, "question", "L7", "which of the two rods was it")
    assert eyes(True) == [*before, ("T-9", "lead-question")]
    add(path, "reviewed", "L7")
    assert eyes(True) == before
    add(path, "withdrawn", "L7")
    assert eyes(False) == before


def test_the_page_is_whole_and_escaped(desk: Review, tmp_path: Path) -> None:
    page = written(desk, tmp_path / "out")
    nothing_from_elsewhere(page)
    assert len(page.ids()) == len(set(page.ids()))
    assert len(tokens_on(page)) == len(JOBS)
    assert [t for t, _ in page.tags].count("script") == 1
    assert not [t for t, a in page.tags if t == "img" or "onerror" in a]
    assert NASTY in page.text and "Cab <b>mic</b>" in page.text
    assert "BROKEN CHAIN in 1 file" in page.words and "OPEN at" in page.words


def test_every_number_leads_to_as_many_jobs(desk: Review, tmp_path: Path) -> None:
    """A link of figures or charts names tokens; the jobs that have them all are what it counts."""
    page = written(desk, tmp_path / "out")
    jobs = tokens_on(page)
    wanted = {a["href"] for _, a in page.tags if (a.get("href") or "").startswith("#jobs=")}
    assert len(wanted) >= 15
    for href in wanted:
        named = set(str(href).removeprefix("#jobs=").split("&"))
        found = sum(named <= tokens for tokens in jobs)
        of_none = any(token.startswith(("time:", "doubt:")) for token in named)
        assert found > 0 or of_none, href
    answers = FleetAnswers(desk, desk.tables)
    signed = sum("signed:yes" in tokens for tokens in jobs)
    assert signed == answers.totals["signed_off"]
    assert sum("doubt:any" in tokens for tokens in jobs) == answers.totals["doubtful"]
    for row in answers.months:
        both = {f"month:{row['month_utc']:%Y-%m}", "signed:yes"}
        assert sum(both <= tokens for tokens in jobs) == row["jobs"]
    for one in answers.bins:
        assert sum(f"time:{one.low}" in tokens for tokens in jobs) == one.jobs
    for row in answers.by_mic:
        mic = joined([f"mic:{row['microphone']}"])
        assert any(mic in tokens for tokens in jobs), mic


def test_say_agains_are_counted_by_step_and_microphone(desk: Review) -> None:
    """Five at the found gap: four by one microphone, one by the other; a change of none is lost."""
    answers = FleetAnswers(desk, desk.tables)
    by_step = {row["step"]: row["again"] for row in answers.by_step}
    by_mic = {row["microphone"]: row["again"] for row in answers.by_mic}
    assert by_step["found_gap"] == 5
    assert by_mic["Headset A"] == 4 and by_mic["Cab <b>mic</b>"] == 1
    heard = next(row for row in answers.jobs if row["code"] == "21" and row["unit"] == "T-2")
    assert "step:found_gap" in tokens_of(heard, answers)


def test_due_soon_is_a_range_from_the_truck_itself(desk: Review) -> None:
    """T-2 loses free travel at 0.125 in per 10,000 miles: 1.75 less 1.125 lasts some 50,000."""
    due = desk.due.outlooks(["T-2"], ring_lugs=40)
    miles = due["T-2"].miles
    assert miles is not None and miles.high is not None
    assert miles.low < 70_000 + 50_000 < miles.high
    assert due["T-2"].dates is not None and due["T-2"].lugs_left == 40 - 10


def test_when_a_truck_is_due_is_told_alike_everywhere(
    records: list[Path], tmp_path: Path, lugcall: Callable[..., Result]
) -> None:
    """In the terminal, as an answer, on the page and by `due`: one range of days, and its word."""
    folder = records[0].parent
    with open_review([folder]) as desk:
        (row,) = [row for row in desk.ask("units") if row["unit"] == "T-2"]
    days = f"{row['due_from_utc']:%Y-%m-%d} to {row['due_to_utc']:%Y-%m-%d}"
    state = row["state"]
    assert state == "may be due" and row["due_from_utc"] < row["due_to_utc"]
    told = lugcall("review", folder).output
    assert re.search(rf"T-2: at [\d, to]+ miles, {days}: MAY BE DUE", told), told
    asked = csv.DictReader(io.StringIO(lugcall("review", folder, "--ask", "units").output))
    (answer,) = [one for one in asked if one["unit"] == "T-2"]
    assert answer["state"] == state and answer["due_from_utc"][:10] == days[:10]
    lugcall("pages", folder, "--out", tmp_path / "out")
    assert f"MAY BE DUE {days}" in Page(fleet_file(tmp_path / "out").read_text("utf-8")).words
    done = lugcall("due", folder, "--unit", "T-2", "--json")
    assert json.loads(done.stdout)["first_dates"] == days.split(" to ")
    assert lugcall("due", folder, "--unit", "T-2").stdout.startswith("T-2: MAY BE DUE. By its wear")


def test_due_reads_no_record_that_it_knows(
    records: list[Path], lugcall: Callable[..., Result], monkeypatch: pytest.MonkeyPatch
) -> None:
    """What similar trucks say is kept as well: one truck's visits are all that is looked at."""
    folder = records[0].parent
    first = lugcall("due", folder, "--unit", "T-2").output
    monkeypatch.setattr("assistant.review.refresh.read_file", lambda *_: pytest.fail("read"))
    monkeypatch.setattr("assistant.review.due.rates_of", lambda *_: pytest.fail("worked out"))
    done = lugcall("due", folder, "--unit", "T-2")
    assert done.exit_code == 0 and done.output == first


def test_lugs_left_are_those_of_the_card_less_those_moved(desk: Review) -> None:
    """A ring of 40 by the card, 10 lugs moved in two jobs; without such a card: not known."""
    (row,) = [row for row in desk.ask("units") if row["unit"] == "T-2"]
    assert row["ring_lugs"] is None and row["clutch"] == "manual"

    def told(given: int | None, **other: object) -> tuple[int | None, str]:
        truck = ListedTruck({**row, **other}, date(2025, 9, 1), given)
        return truck.left, truck.ring

    assert told(None) == (None, "not known; +10 since 2025-02-01")
    assert told(None, ring_lugs=40, lugs_left=30) == (30, "at most 30 of 40")
    assert told(6, lugs_left=7, looked=True) == (7, "7")  # somebody looked
    assert told(6, ring_lugs=40) == (0, "NONE")
    assert told(12, clutch="self-adjusting") == (None, "")


def changed(path: Path, change: Callable[[str, dict[str, Any]], dict[str, Any]]) -> None:
    events, _ = read_events(path)
    path.write_bytes(sealed((e.at, e.kind, change(e.kind, e.data)) for e in events))


def test_the_lugs_of_a_card_come_to_the_page(tmp_path: Path) -> None:
    """From `[ring] lugs` of the card kept in the record, through the index."""

    def with_lugs(kind: str, data: dict[str, Any]) -> dict[str, Any]:
        if kind != "opened":
            return data
        text = data["card"]["text"].replace("[ring]", "[ring]\nlugs = 18", 1)
        assert "lugs = 18" in text
        return {**data, "card": {**data["card"], "text": text}}

    path = tell(tmp_path / "records", [Job("T-9", day(2025, 1, 1))])[0]
    changed(path, with_lugs)
    with open_review([path.parent], tmp_path / "index") as desk:
        assert [row["ring_lugs"] for row in desk.rows(desk.tables.jobs)] == [18]
        page = written(desk, tmp_path / "out")
    assert re.search(r"T-9\s+at most 13 of 18\s+2025-01-01\s+\+5", page.words), page.words


def test_a_reading_no_gauge_can_show_does_not_stop_the_page(tmp_path: Path) -> None:
    """A whole chain may hold it, by another program's hand: the fleet is shown all the same."""

    def upside_down(kind: str, data: dict[str, Any]) -> dict[str, Any]:
        taken = data.get("taken") or {}
        if kind != "turn" or taken.get("quantity") != "free-travel":
            return data
        return {**data, "taken": {**taken, "low_in": 9.0, "high_in": 1.0}}

    paths = tell(tmp_path / "records", JOBS[:2])
    changed(paths[0], upside_down)
    with open_review([paths[0].parent], tmp_path / "index") as desk:
        assert len(tokens_on(written(desk, tmp_path / "out"))) == 2


def test_times_are_counted_in_bars_that_tell() -> None:
    """Three bars or more where times differ, however far away the quickest and slowest are."""
    rows = [{"minute": m, "jobs": n} for m, n in ((0, 4), (21, 60), (22, 300), (25, 90), (300, 2))]
    found = charts.bins(rows)
    assert 3 <= sum(one.jobs > 0 for one in found) <= charts.MOST_BINS
    assert sum(one.jobs for one in found) == 456
    assert found[0].low == 0 and found[-1].high == 0
    for row in rows:
        (one,) = [b for b in found if b.low == charts.bin_of(row["minute"], found)]
        assert one.low <= row["minute"] and (not one.high or row["minute"] < one.high)
    assert charts.bins([]) == [] and len(charts.bins(rows[:1])) == 1


def test_a_doubt_in_the_list_is_short() -> None:
    assert short("gap left 0.55 in: too close (60% in)") == "gap left 0.55 in: too close (60% in)"
    long = "pedal ratios disagree as found: " + "look for worn pins " * 5
    assert short(long) == "pedal ratios disagree as found"
    assert len(short("x" * 90)) == 60
    broken = "BROKEN CHAIN: line 31 was changed or damaged: its hash does not fit what it says"
    assert short(broken) == "BROKEN CHAIN: line 31 was changed or damaged"


def test_due_is_said_in_words() -> None:
    low, high = date(2026, 3, 1), date(2026, 5, 1)
    days = (date(2026, 2, 28), low, high, date(2026, 5, 2))
    assert [due_word((low, high), day) for day in days] == [
        "", "MAY BE DUE", "MAY BE DUE", "OVERDUE",
    ]  # fmt: skip
    assert due_word((low, None), date(2030, 1, 1)) == "MAY BE DUE" and due_word(None, low) == ""


def test_narrowed_to_a_truck_or_to_days(desk: Review) -> None:
    one = FleetAnswers(desk, narrowed(desk.tables, "t-2"))
    assert {row["unit"] for row in one.jobs} == {"T-2"} and one.totals["jobs"] == 2
    assert {row["unit"] for row in one.units} == {"T-2"}
    assert [row["microphone"] for row in one.by_mic] == ["Cab <b>mic</b>"]
    late = FleetAnswers(desk, narrowed(desk.tables, since=date(2025, 8, 1)))
    assert sorted(row["unit"] for row in late.jobs) == ["T-1", "T-2"]


def test_charts_do_not_speak_by_colour_alone(desk: Review, tmp_path: Path) -> None:
    """Bars carry their figure; marks are open or full. Each link says where it leads."""
    page = written(desk, tmp_path / "out")
    assert "gap as found 5 (" in page.words and "T-2 1.750 / 1.125" in page.words
    (cell,) = [
        cell
        for _, visits in by_unit(v for _, v in desk.due.visits(["T-2"])).items()
        if (cell := charts.cell_of("T-2", visits)) is not None
    ]
    svg = charts.curve(cell, charts.scale_of([cell]))
    assert svg.count('class="found"') == 2 and svg.count('class="left"') == 2
    assert "<line" in svg and "fill" not in svg and "#" not in svg


@pytest.mark.parametrize("unit", ["離合器", "مخلب", "🚚7", "ไทย"])
def test_charts_hold_any_alphabet_and_warn_of_nothing(
    unit: str, tmp_path: Path, recwarn: pytest.WarningsRecorder
) -> None:
    jobs = [Job(unit, day(2025, n, 1), miles=100_000 + 20_000 * n, found=1.3) for n in (1, 5)]
    folder = tell(tmp_path / "records", jobs)[0].parent
    with open_review([folder], tmp_path / "index") as desk:
        page = written(desk, tmp_path / "out")
    assert unit in page.words and unit in (tmp_path / "out" / "find.js").read_text("utf-8")
    assert [tag for tag, _ in page.tags if tag == "bdi"][:3] == ["bdi"] * 3
    assert not [warning for warning in recwarn if "Glyph" in str(warning.message)]


def test_the_count_tells_of_jobs_that_are_not_listed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("assistant.review.pages.questions.MOST_JOBS", 3)
    folder = tell(tmp_path / "records", [Job("T-1", day(2025, 1, n)) for n in range(1, 8)])[
        0
    ].parent
    with open_review([folder], tmp_path / "index") as desk:
        page = written(desk, tmp_path / "out")
    (listed,) = [a for tag, a in page.tags if a.get("id") == "list"]
    assert listed["data-all"] == "7" and len(tokens_on(page)) == 3


def test_an_empty_folder_is_a_page_as_well(tmp_path: Path) -> None:
    (tmp_path / "none").mkdir()
    with open_review([tmp_path / "none"], tmp_path / "index") as desk:
        page = written(desk, tmp_path / "out")
    assert "0 jobs" in page.words and "No job yet" in page.words
    assert "No job is signed off yet" in page.words


def test_only_what_changed_is_made_again(records: list[Path], tmp_path: Path) -> None:
    """A lead's act makes one page old; a page taken away comes back; damage gets a page as well."""
    out, index = tmp_path / "out", tmp_path / "index"

    def run() -> tuple[int, list[str]]:
        with open_review([records[0].parent], index) as desk:
            return write_rest(desk, out, *write_fleet(desk, out), lambda todo: todo)

    trucks = 3  # of one no job is signed off
    assert run() == (len(JOBS) + trucks, []) and run() == (0, [])
    add(records[0], "reviewed", "L7")
    assert run() == (2, [])  # the job's and its truck's
    next((out / "jobs").glob("*.html")).unlink()
    assert run() == (1, [])
    pages = {p.name: p.read_text(encoding="utf-8") for p in (out / "jobs").glob("*.html")}
    assert sum("Chain BROKEN" in text for text in pages.values()) == 1
    fleet = Page(fleet_file(out).read_text(encoding="utf-8"))
    for _, attributes in fleet.tags:
        href = attributes.get("href") or ""
        if href and not href.startswith("#"):
            assert (out / unquote(href)).exists(), href


def test_the_commands(records: list[Path], tmp_path: Path, lugcall: Callable[..., Result]) -> None:
    folder, out = records[0].parent, tmp_path / "out"
    none = tmp_path / "none.jsonl"

    def fails(says: str, *words: object) -> None:
        done = lugcall(*words)
        assert done.exit_code == 1 and says in done.output, done.output
        assert done.output.count("\n") == 1

    for says, *words in (
        (f"{len(JOBS)} jobs on it", "pages", folder, "--out", out),
        ("", "page", records[0], "--out", tmp_path / "one.html"),
        ("question by L7", "lead", "question", records[0], "why", "so", "wide?", "--by", "l7"),
        ("nothing removed", "retention", folder, "--days", "30"),
    ):
        done = lugcall(*words)
        assert done.exit_code == 0 and str(says) in done.output, done.output
    assert "VERIFIED" in (tmp_path / "one.html").read_text()
    assert verify_file(records[0]).ok
    fails("BROKEN", "lead", "accepted", records[1], "fine", "--by", "L7")
    fails("", "page", none)
    fails("none.jsonl is not there: check the name", "lead", "reviewed", none, "--by", "L7")
    before = (out / "fleet.html").read_bytes()
    fails("no job of T-99", "pages", folder, "--out", out, "--unit", "T-99")
    assert (out / "fleet.html").read_bytes() == before
    for command in (["review"], ["pages", "--out", out]):
        fails("it is not there", *command, tmp_path / "away")


def test_the_review_in_a_terminal_says_it_short(tmp_path: Path) -> None:
    jobs = [Job("T-5", day(2025, 1, 1), miles=400_000), Job("T-5", day(2025, 7, 1), miles=425_000)]
    folder = tmp_path / "records"
    broken = tell(folder, [*jobs, Job("T-6", day(2025, 1, 1))])[2]
    broken.write_bytes(broken.read_bytes().replace(b"helper", b"halper", 1))
    hard = folder / HARD.name
    shutil.copy(HARD, hard)
    add(hard, "question", "L7", "why so wide?")
    with open_review([folder], tmp_path / "index") as desk:
        lines = list(summary(desk, 10))
    assert any(" T-104: " in line and line.endswith(" [question]") for line in lines), lines
    assert any(line.startswith("  T-5: at 430,000") and line.endswith("OVERDUE") for line in lines)
    assert any(": BROKEN CHAIN: line " in line and " T-6" in line for line in lines), lines


def test_clocks_set_wrong_are_told_on_both_pages(tmp_path: Path) -> None:
    """Begun in 1970, as a clock does that lost its battery; in the index as on the job's page."""
    path = tell(tmp_path / "records", [Job("T-8", day(1970, 4, 24))])[0]
    with open_review([path.parent], tmp_path / "index") as desk:
        assert "line 1 is dated 1970" in written(desk, tmp_path / "out").words
    assert "line 1 is dated 1970-04-24" in Page(job_page(path, tmp_path)).words


def test_safety_is_told_over_all_jobs(tmp_path: Path) -> None:
    """Each time, on the day, with its line; also what a lead has looked at."""
    folder = tmp_path / "records"
    tell(folder, [Job("T-1", day(2025, 1, 1))])
    hard = Path(shutil.copy(HARD, folder))
    add(hard, "reviewed", "L7")
    with open_review([folder], tmp_path / "index") as desk:
        write_fleet(desk, tmp_path / "out")
        months = desk.ask("safety_months")
        events = desk.ask("safety")
    assert [(m["jobs"], m["pedal"], m["stop"], m["skipped"], m["alone"]) for m in months] == [
        (1, 1, 1, 2, 0), (1, 0, 0, 0, 0),
    ]  # fmt: skip
    assert len(events) == 5 and all(row["seen"] for row in events)
    page = Page((tmp_path / "out" / "safety.html").read_text("utf-8"))
    nothing_from_elsewhere(page)
    told = r"Pedal not held as asked: 1 T-104 [-0-9]{10} by 12: the pedal was let up"
    assert re.search(told, page.words)
    assert "Nobody at the pedal: 0 Never." in page.words
    lines = {str(row["n"] + 1) for row in events}
    links = {(a.get("href") or "").partition("#line-")[2] for _, a in page.tags}
    assert lines <= links
