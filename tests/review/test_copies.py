"""Two files of one job that tell otherwise are damage: told first, wherever the two lie."""

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import Result

from assistant.record import verify_file
from assistant.review import Review, open_review
from assistant.review.acts import add
from assistant.review.pages.fleet_page import fleet_file, write_fleet
from assistant.review.wording import summary
from tests.review.jobs import Job, day, tell
from tests.review.test_pages import Page


@pytest.fixture
def record(tmp_path: Path) -> Path:
    """One sound record, with another of another truck beside it."""
    return tell(tmp_path / "shop", [Job("T-1", day(2025, 1, 1)), Job("T-2", day(2025, 2, 1))])[0]


def tampered(path: Path, copy: Path) -> Path:
    """A copy with one figure changed: its first line is that of the sound one."""
    copy.parent.mkdir(exist_ok=True)
    copy.write_bytes(path.read_bytes().replace(b'"figures":"', b'"figures":"1', 1))
    assert not verify_file(copy).ok
    return copy


def gone_on(path: Path, copy: Path, code: str) -> Path:
    """A copy with a line of its own: its chain is sound."""
    shutil.copy(path, copy)
    add(copy, "reviewed", code)
    return copy


def states(review: Review) -> dict[str, str]:
    files = review.run("SELECT path, status FROM files")
    return {Path(row["path"]).name: row["status"] for row in files}


def damage(review: Review) -> list[str]:
    """What stands above all, a line each."""
    rows = review.ask("damaged")
    return [row["line"] for row in rows if row["status"] in ("BROKEN CHAIN", "DIFFERS")]


@pytest.mark.parametrize("name", ["aaa.jsonl", "zzz.jsonl"])
@pytest.mark.parametrize("first", [False, True])
@pytest.mark.parametrize("bay", [".", "bay"])
def test_a_tampered_copy_is_broken_and_never_the_original(
    name: str, first: bool, bay: str, record: Path, tmp_path: Path, home: Path
) -> None:
    """Whichever of the two is met first, by name or in time."""
    copy = record.parent / bay / name
    aside = tmp_path / "aside"
    if first:
        tampered(record, copy)
        record.rename(aside)
        with open_review([record.parent], home) as review:
            assert states(review)[name] == "BROKEN CHAIN"
        aside.rename(record)
    else:
        with open_review([record.parent], home):
            tampered(record, copy)
    with open_review([record.parent], home) as review:
        assert states(review)[name] == "BROKEN CHAIN"
        assert states(review)[record.name] == "record"
        (line,) = damage(review)
        assert verify_file(copy).problem in line and record.name in line
        assert review.ask("totals")[0]["jobs"] == 2
        job = review.ask("needs_eyes")[0]
        assert review.record_path(job["job"]) == record
        doubts = [d["text"] for d in review.of_jobs("doubts", [job["job"]])]
        assert any("BROKEN CHAIN" in text and name in text for text in doubts)
        assert str(copy.relative_to(record.parent)) in next(iter(summary(review, 10)))


def test_it_is_told_in_terminal_and_page_and_by_the_exit_code(
    record: Path, tmp_path: Path, home: Path, lugcall: Callable[..., Result]
) -> None:
    assert lugcall("review", record.parent).exit_code == 0
    copy = tampered(record, record.with_name("zzz.jsonl"))
    done = lugcall("review", record.parent)
    assert done.exit_code == 1 and "BROKEN CHAIN" in done.output.splitlines()[0]
    asked = lugcall("review", record.parent, "--ask", "damaged")
    assert asked.exit_code == 1 and "BROKEN CHAIN" in asked.output and "copy" not in asked.output
    done = lugcall("pages", record.parent, "--out", tmp_path / "out")
    page = Page(fleet_file(tmp_path / "out").read_text("utf-8"))
    assert "BROKEN CHAIN in 1 file" in page.words and copy.name in page.words
    box = next(a for tag, a in page.tags if tag == "div" and "bad" in (a.get("class") or ""))
    assert box["role"] == "status"
    pages = [p.read_text("utf-8") for p in (tmp_path / "out" / "jobs").glob("*.html")]
    assert sum("zzz.jsonl" in text and 'class="box bad"' in text for text in pages) == 1


@pytest.mark.parametrize("apart", [False, True])
def test_two_that_go_on_otherwise_differ(
    apart: bool, record: Path, tmp_path: Path, home: Path
) -> None:
    """Both chains are sound, and yet they cannot both be the job; in one folder or in two."""
    there = tmp_path / "other" if apart else record.parent
    there.mkdir(exist_ok=True)
    end = len(record.read_bytes().splitlines())
    copy = gone_on(record, there / "zzz.jsonl", "L8")
    add(record, "reviewed", "L7")
    with open_review([record.parent, there], home) as review:
        (line,) = damage(review)
        assert f"line {end + 1}" in line and "jsonl" in line
        assert sorted(states(review).values()) == ["DIFFERS", "record", "record"]
        assert review.ask("totals")[0]["jobs"] == 2
        eyes = review.ask("needs_eyes")[0]
        assert eyes["unit"] == "T-1" and eyes["doubts"] > 0
        write_fleet(review, tmp_path / "out")
    assert "DIFFERS" in Page(fleet_file(tmp_path / "out").read_text("utf-8")).words
    copy.unlink()
    with open_review([record.parent, there], home) as review:
        assert damage(review) == []


def test_a_broken_one_in_another_folder_is_told(record: Path, tmp_path: Path, home: Path) -> None:
    copy = tampered(record, tmp_path / "backup" / record.name)
    for folders in ([copy.parent, record.parent], [record.parent, copy.parent]):
        with open_review(folders, home) as review:
            (line,) = damage(review)
            assert line.startswith("BROKEN CHAIN")
            assert review.ask("totals")[0]["jobs"] == 2
            assert review.record_path(review.ask("needs_eyes")[0]["job"]) == record


def test_a_copy_takes_the_place_of_what_was_damaged_or_moved(record: Path, home: Path) -> None:
    """Good copies count once, a moved file is no loss, and damage done later is seen."""
    spare = Path(shutil.copy(record, record.with_name("spare.jsonl")))
    with open_review([record.parent], home) as review:
        assert states(review)["spare.jsonl"] == "copy" and damage(review) == []
    tampered(spare, record)
    with open_review([record.parent], home) as review:
        assert states(review) == {
            record.name: "BROKEN CHAIN", "spare.jsonl": "record",
            **{k: v for k, v in states(review).items() if k not in (record.name, "spare.jsonl")},
        }  # fmt: skip
        assert review.ask("totals")[0]["jobs"] == 2 and len(damage(review)) == 1
    record.unlink()
    spare.rename(spare.with_name("moved.jsonl"))
    with open_review([record.parent], home) as review:
        assert (
            states(review)["moved.jsonl"] == "record" and "missing" not in states(review).values()
        )
        assert review.ask("totals")[0]["jobs"] == 2 and review.ask("damaged") == []
        assert review.told == []
