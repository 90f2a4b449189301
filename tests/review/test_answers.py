"""What the review answers, against the simulated fleet's truth; and the same from Spark."""

import csv
import shutil
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator
from datetime import timedelta
from itertools import pairwise
from pathlib import Path
from typing import Any

import pyarrow.parquet as pq
import pytest
from click.testing import Result

from assistant.record import read_events
from assistant.review import Review, acts, open_review
from assistant.review.columns import COLUMNS
from assistant.review.export import on_spark
from assistant.review.wording import summary
from assistant.sentences import sentences
from tests.review.jobs import INTERVAL_MILES, Job, day, fleet, tell

TRUCKS, JOBS = 6, 30
ASKED_OF_SPARK = ("totals", "by_finding", "units", "as_found_left")
"""Joins, windows, times and spreads among them; all of them would take minutes."""
FLEET = fleet(TRUCKS, JOBS)


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("shop")
    tell(folder, FLEET, bays=10)
    return folder


@pytest.fixture(scope="module")
def review(shop: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Review]:
    with open_review([shop], home=tmp_path_factory.mktemp("index")) as desk:
        yield desk


def test_wear_comes_back_from_free_travel(review: Review) -> None:
    """Lost over the miles since the visit before: each truck's true rate, as called out."""
    rates = {job.unit: job.rate_in for job in FLEET}
    curves = defaultdict(list)
    for row in review.ask("free_travel"):
        curves[row["unit"]].append(row)
    assert curves.keys() == rates.keys()
    for unit, rows in curves.items():
        assert len(rows) == JOBS // TRUCKS
        way = sum((b["odometer_miles"] - a["odometer_miles"]) / 10_000 for a, b in pairwise(rows))
        lost = sum(FLEET[0].left - b["found_in"] for b in rows[1:])
        assert lost / way == pytest.approx(rates[unit], rel=0.05)


def test_trucks_are_due_by_their_own_miles_a_day(review: Review) -> None:
    """Last odometer, next check, and miles a day from first and last visit; overdue ones first."""
    visits: dict[str, list[Job]] = defaultdict(list)
    for job in FLEET:
        visits[job.unit].append(job)
    rows = review.ask("units")
    order = [(row["state"] != "overdue", row["due_from_utc"]) for row in rows]
    assert order == sorted(order) and len(rows) == TRUCKS
    for row in rows:
        first, last = visits[row["unit"]][0], visits[row["unit"]][-1]
        a_day = (last.miles - first.miles) / ((last.day - first.day).total_seconds() / 86_400)
        assert row["jobs"] == len(visits[row["unit"]])
        assert row["a_day_miles"] == pytest.approx(a_day, rel=1e-3)
        assert row["check_miles"] - row["odometer_miles"] == INTERVAL_MILES
        check = last.day.replace(tzinfo=None) + timedelta(days=INTERVAL_MILES / a_day)
        near = timedelta(days=1)
        assert row["due_from_utc"] <= check + near
        if row["worn_from_miles"] > row["check_miles"]:  # then it is the check that counts
            assert row["due_from_utc"] - near <= check <= row["due_to_utc"] + near
    states = Counter(row["state"] for row in rows)
    (counted,) = review.ask("due_count")
    assert counted["overdue"] == states["overdue"] and counted["dated"] == TRUCKS


def test_totals_and_shares_are_those_of_the_rows(review: Review) -> None:
    t = review.tables
    jobs, hearing = review.rows(t.jobs), review.rows(t.hearing)
    total = review.ask("totals")[0]
    assert (total["jobs"], total["units"]) == (JOBS, TRUCKS)
    right = [j["first_time_right"] for j in jobs if j["signed_off"]]
    assert total["first_time_right"] == pytest.approx(sum(right) / len(right))
    months = review.ask("first_time_right")
    assert sum(m["jobs"] for m in months) == JOBS and sum(m["right"] for m in months) == sum(right)
    again = Counter((h["step"], h["microphone"]) for h in hearing if h["again"])
    said = Counter((h["step"], h["microphone"]) for h in hearing)
    for row in review.ask("misheard"):
        where = row["step"], row["microphone"]
        assert (row["said"], row["again"]) == (said[where], again[where])
    assert sum(j["say_agains"] for j in jobs) == sum(again.values())
    assert sum(j["doubts"] for j in jobs) == len(review.rows(t.doubts))


def test_as_found_and_as_left_are_those_of_the_closing_line(review: Review) -> None:
    left_found = review.ask("as_found_left")
    rows = {(r["job"], r["quantity"]): r for r in left_found}
    seen = 0
    for job in review.rows(review.tables.jobs):
        events, _ = read_events(review.record_path(job["job"]))
        closed = events[-1].data
        for quantity in closed["as_found"].keys() | closed["as_left"].keys():
            row = rows[job["job"], quantity]
            found, left = closed["as_found"].get(quantity), closed["as_left"].get(quantity)
            assert row["found_figures"] == (found and found["figures"])
            assert row["left_figures"] == (left and left["figures"])
            if left and "judged" in left:
                assert row["left_decision"] == left["judged"]["decision"]
                assert row["limit_source"] == left["judged"]["source"]
            seen += 1
    assert seen == len(rows)


def test_what_the_lead_did_takes_a_job_off_the_list(shop: Path, tmp_path: Path) -> None:
    bay = tmp_path / "bay"
    shutil.copytree(shop / "bay-3", bay)

    def eyes() -> dict[int, str]:
        with open_review([bay], home=tmp_path / "index") as desk:
            return {r["job"]: r["asked"] for r in desk.ask("needs_eyes")}

    before = eyes()
    job = next(iter(before))
    with open_review([bay], home=tmp_path / "index") as desk:
        path = desk.record_path(job)
    acts.add(path, "question", "L7", "why was it held so long")
    assert eyes() == {**before, job: "lead-question"}
    acts.add(path, "reviewed", "L7")
    assert job not in eyes()
    acts.add(path, "reopened", "L7", "came back")
    assert eyes()[job] == "lead-reopened"


def test_exports_hold_every_row_and_say_what_columns_mean(
    review: Review, shop: Path, tmp_path: Path, lugcall: Callable[..., Result]
) -> None:
    result = lugcall("review", shop, "--csv", tmp_path / "c", "--parquet", tmp_path / "p")
    assert result.exit_code == 0, result.output
    page = (tmp_path / "c" / "COLUMNS.md").read_text("utf-8")
    for table, columns in COLUMNS.items():
        count = len(review.rows(getattr(review.tables, table)))
        with (tmp_path / "c" / f"{table}.csv").open(encoding="utf-8", newline="") as file:
            rows = list(csv.reader(file))
        assert rows[0] == [*columns] and len(rows) == count + 1
        parquet = pq.read_table(tmp_path / "p" / f"{table}.parquet")
        assert (parquet.column_names, parquet.num_rows) == (rows[0], count)
        assert f"## {table}\n" in page
        texts = sentences("columns").texts
        for name, kind in columns.items():
            assert f"| `{name}` | {kind} | {texts[f'{table}.{name}']}" in page


NASTY = ('=HYPERLINK("http://x")', "+1", "-2+3", "@SUM(A1)", "\t=1", "a\x1b[2J\rb", "plain - text")
HARMLESS = ("'=HYPERLINK(\"http://x\")", "'+1", "'-2+3", "'@SUM(A1)", "' =1", "a [2J b",
            "plain - text")  # fmt: skip


def test_no_cell_is_a_formula(tmp_path: Path, lugcall: Callable[..., Result]) -> None:
    """A truck's number may be anything: in CSV, and in an answer; Parquet is exact."""
    shop = tmp_path / "shop"
    tell(shop, [Job(name, day(2025, 1, n + 1), again=4) for n, name in enumerate(NASTY)])
    lugcall("review", shop, "--csv", tmp_path / "c", "--parquet", tmp_path / "p")
    with (tmp_path / "c" / "jobs.csv").open(encoding="utf-8", newline="") as file:
        units = [row["unit"] for row in csv.DictReader(file)]
    assert sorted(units) == sorted(HARMLESS)
    for question in ("needs_eyes", "units"):
        asked = csv.DictReader(lugcall("review", shop, "--ask", question).output.splitlines())
        assert sorted(row["unit"] for row in asked) == sorted(HARMLESS)
    exact = pq.read_table(tmp_path / "p" / "jobs.parquet")["unit"].to_pylist()
    assert sorted(exact) == sorted(NASTY)
    assert "begins with = + - or @ has" in (tmp_path / "c" / "COLUMNS.md").read_text("utf-8")


def test_an_answer_names_the_file_of_each_job(shop: Path, lugcall: Callable[..., Result]) -> None:
    for question in ("as_found_left", "predicted_measured", "free_travel", "units"):
        lines = lugcall("review", shop, "--ask", question).output.splitlines()
        rows = list(csv.DictReader(lines))
        assert rows and all(Path(row["file"]).is_file() for row in rows), question


def test_lengths_and_times_have_their_unit_in_the_name() -> None:
    for columns in COLUMNS.values():
        for name, kind in columns.items():
            if kind == "float" and not name.startswith("p_"):
                assert name == "count" or name.endswith(("_in", "_s", "_miles"))
            if kind == "time":
                assert name.endswith("_utc")


def test_the_command_says_it_in_lines(
    shop: Path, tmp_path: Path, lugcall: Callable[..., Result]
) -> None:
    """A folder and one that is not there; chains broken in line 1 and later, in words."""
    bay = tmp_path / "bay"
    shutil.copytree(shop / "bay-2", bay)
    path, other, _ = sorted(bay.iterdir())
    path.write_bytes(path.read_bytes().replace(b"Or say skip", b"Or say slip", 1))
    other.write_bytes(other.read_bytes().replace(b'"taken"', b'"token"', 1))
    result = lugcall("review", bay, tmp_path / "gone")
    assert result.exit_code == 1, result.output
    lines = result.output.splitlines()
    assert lines[0].startswith(f"{path}: BROKEN CHAIN: line 1 ")
    assert lines[1].startswith(f"{other}: BROKEN CHAIN: line ")
    assert lines[2] == f"{tmp_path / 'gone'}: it is not there; nothing of it was read before"
    assert any(line.startswith("2 jobs on ") for line in lines)
    assert "BROKEN CHAIN" in lines[lines.index("Needs eyes first:") + 1]


@pytest.fixture
def spark() -> None:
    pytest.importorskip("pyspark.sql", reason="pyspark is not installed: the extra `spark`")
    if shutil.which("java") is None:
        pytest.skip("Spark needs a Java runtime, and there is none")


def test_spark_gives_the_same_answers(review: Review, spark: None) -> None:
    """The very same expressions over the very same rows, and the same lines in a terminal."""
    with on_spark(review) as answers:
        for name in ASKED_OF_SPARK:
            found, duck = answers.ask(name), review.ask(name)
            assert duck, name
            assert _sorted(found) == _rounded(_sorted(duck)), name
        assert list(summary(answers, 10)) == list(summary(review, 10))


def test_a_question_is_answered_as_csv(shop: Path, lugcall: Callable[..., Result]) -> None:
    result = lugcall("review", shop, "--ask", "totals")
    assert result.output.splitlines()[0].startswith("jobs,signed_off,units,")
    assert result.output.splitlines()[1].startswith(f"{JOBS},")
    result = lugcall("review", shop, "--ask", "total")
    assert result.exit_code == 1 and "ask one of needs_eyes" in result.output


def _sorted(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Rows that may come in any order, by what two engines agree in to the last digit."""
    exact = (int, str)
    return sorted(
        rows, key=lambda r: repr([i for i in sorted(r.items()) if isinstance(i[1], exact)])
    )


def _rounded(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """With floats to what two engines' sums agree in."""
    return [
        {k: pytest.approx(v, rel=1e-8) if isinstance(v, float) else v for k, v in r.items()}
        for r in rows
    ]
