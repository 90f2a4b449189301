"""One set of doubts, the gravest first, in the index, on the pages and in the terminal."""

import csv
import io
import os
import shutil
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from click.testing import Result

from assistant.conversation import Session
from assistant.record.history import (
    JobHistory,
    JudgedKept,
    Line,
    Opened,
    ReadingKept,
    Turn,
    Understood,
)
from assistant.review import acts, open_review
from assistant.review.doubts import KINDS, doubts_of
from assistant.review.pages.fleet_page import fleet_file, write_fleet, write_rest
from assistant.review.pages.job_page import job_page
from assistant.review.rows import read_file
from assistant.review.wording import summary
from assistant.sentences import sentences
from assistant.texts.dialogs import Dialogs
from tests.records import HARD, reach
from tests.review.jobs import Job, day, fleet, play, tell
from tests.review.test_pages import Page

NOW_US = 1_900_000_000_000_000


def test_the_index_and_the_page_say_the_same(records: list[Path], tmp_path: Path) -> None:
    """Every doubt: its words, the line it leads to, and its place among the others."""
    seen = set()
    for path in records:
        rows = read_file(path, NOW_US).rows["doubts"]
        page = [d for d in doubts_of(JobHistory.read(path), NOW_US)]
        assert [(d["kind"], d["text"], d["n"] + 1) for d in rows] == [
            (d.kind, d.text, d.line) for d in page
        ]
        places = [KINDS.index(d["kind"]) for d in rows]
        assert places == sorted(places), path
        words = Page(job_page(path, tmp_path)).words
        for doubt in page:
            heading = sentences("desk").texts[f"kinds.{doubt.kind}"]
            alone = doubt.text.lower().startswith(heading)  # then it is not said twice
            assert f"{'' if alone else heading + ': '}{doubt.text} line {doubt.line}" in words
            assert f"{heading}: {heading}" not in words.lower()
        seen |= {d.kind for d in page}
    assert seen >= {"pedal", "stop", "ring", "unsound", "accepted", "skipped", "hold", "again"}


def held_open(folder: Path, card: Any, dialogs: Dialogs) -> Path:
    """A job that was cut off with the pedal held."""
    session = Session.begin(card, dialogs, folder)[0]
    reach(session, "ring_turn")
    session.close()
    return session.journal.path


@pytest.mark.parametrize(
    ("kind", "says"),
    [
        ("hard", "the pedal was let up before it was asked for"),
        ("held", "the record ends with the pedal held"),
        ("ring", "ring told +7 lugs, moved +8 as called"),
        ("plan", "free travel left 2.750 in, planned "),
    ],
)
def test_what_is_grave_reaches_every_list(
    kind: str, says: str, card: Any, dialogs: Dialogs, tmp_path: Path,
    lugcall: Callable[..., Result],
) -> None:  # fmt: skip
    """The first in the terminal, with its file; in --ask; on the fleet page and the job's own."""
    shop = tmp_path / "shop"
    shop.mkdir()
    if kind == "held":
        path = held_open(shop, card, dialogs)
    elif kind == "plan":
        path = tell(shop, [Job("T-1", day(2025, 1, 1), left=2.75)])[0]
    else:
        source = HARD if kind == "hard" else HARD.with_name("hydraulic_job.jsonl")
        path = Path(shutil.copy(source, shop))
    lines = lugcall("review", shop).output.splitlines()
    eye = lines.index("Needs eyes first:") + 1
    assert says in lines[eye] and lines[eye + 1].strip() == str(path)
    began = JobHistory.read(path).opened.at[:16].replace("T", " ")
    assert lines[eye].strip().startswith(began)
    asked = csv.DictReader(io.StringIO(lugcall("review", shop, "--ask", "needs_eyes").output))
    (row,) = asked
    assert says in row["reason"] and Path(row["folder"], row["path"]) == path
    lugcall("pages", shop, "--out", tmp_path / "out")
    fleet = Page(fleet_file(tmp_path / "out").read_text("utf-8")).words
    assert fleet.index(says) < fleet.index("What is due?")
    assert says in Page(job_page(path, tmp_path)).words


def test_a_note_to_the_lead_is_not_buried(
    dialogs: Dialogs, card: Any, tmp_path: Path, home: Path, lugcall: Callable[..., Result]
) -> None:
    """Whole, as a line of its own below what is graver; alone it brings the job to the lead, who
    has seen it when he has looked at the job."""
    words = (
        "the left pad has a groove: I left it as it is, but it wants the lead to look at it soon"
    )
    shop, out = tmp_path / "shop", tmp_path / "out"
    for grave in (True, False):
        session = Session.begin(card, dialogs, shop / str(grave))[0]
        reach(session, "found_odometer")
        session.hear("tech", f"note {words}")
        session.hear("tech", "skip" if grave else "412000 miles")
        session.close()
    told = f"note of the technician: {words}"
    lines = lugcall("review", shop).output.splitlines()
    eyes = lines[lines.index("Needs eyes first:") + 1 :]
    assert "odometer skipped" in eyes[0] and eyes[2].strip() == told
    assert told in eyes[3] and eyes[4].strip().startswith(str(shop)), eyes[:6]
    lugcall("pages", shop, "--out", out)
    fleet = Page(fleet_file(out).read_text("utf-8")).words.partition("What is due?")[0]
    assert fleet.count(told) == 2 and "note : 1 job" in fleet
    for page in (out / "jobs").glob("*.html"):
        assert told in Page(page.read_text("utf-8")).words
    for path in shop.rglob("*.jsonl"):
        acts.add(path, "reviewed", "L7")
    assert "note of" not in lugcall("review", shop).output


def test_what_comes_after_an_act_is_open_again(
    card: Any, dialogs: Dialogs, tmp_path: Path, home: Path
) -> None:
    """Reviewed half-way, then gone on with: what the lead has seen stays seen, and no more."""
    session = Session.begin(card, dialogs, tmp_path / "shop")[0]
    reach(session, "found_odometer")
    session.hear("tech", "skip")
    session.close()
    path = session.journal.path

    def listed() -> list[str]:
        with open_review([path.parent], home) as desk:
            rows = desk.ask("needs_eyes")
            assert desk.ask("totals")[0]["doubtful"] == len(rows)
            return [row["reason"] for row in rows]

    assert listed() == ["odometer skipped, no reason given"]
    acts.add(path, "reviewed", "L7")
    assert listed() == []
    again = Session.resume(path, dialogs)[0]
    reach(again, "ring_turn")
    again.close()
    assert listed() == ["the record ends with the pedal held"]
    acts.add(path, "reviewed", "L7")
    assert listed() == []
    acts.add(path, "question", "L7", "who held the pedal?")
    with open_review([path.parent], home) as desk:
        assert [row["asked"] for row in desk.ask("needs_eyes")] == ["lead-question"]


def test_as_many_are_told_as_there_are(tmp_path: Path, lugcall: Callable[..., Result]) -> None:
    """Jobs that need eyes, and jobs not signed off: ten are shown, the others counted."""
    shop = tmp_path / "shop"
    jobs = [Job("T-1", day(2025, 1, n), again=4) for n in range(1, 14)]
    tell(shop, [*jobs, *(Job("T-2", day(2025, 2, n), upto=8) for n in range(1, 13))])
    lines = lugcall("review", shop).output.splitlines()
    assert "  ... and 3 more: --ask needs_eyes" in lines
    assert "  ... and 2 more: --ask unfinished" in lines
    assert any("13 signed off" in line and "12 not signed off" in line for line in lines)
    assert "      13: many say-agains" in lines
    assert sum(" T-2: at " in line for line in lines) == 10


def test_exceptions_stand_above_what_most_jobs_have(tmp_path: Path, home: Path) -> None:
    """Grave things first; then what few have, then what nearly all have, counted by cause."""
    shop = tmp_path / "shop"
    jobs = [Job("T-1", day(2025, 1, 1) + timedelta(n), left=2.75) for n in range(30)]
    jobs += [Job("T-2", day(2024, 2, n), again=4) for n in (1, 2)]
    tell(shop, jobs)
    shutil.copy(HARD, shop)
    with open_review([shop], home) as desk:
        units = [row["unit"] for row in desk.ask("needs_eyes")]
        assert units == ["T-104", "T-2", "T-2", *["T-1"] * 30]
        lines = list(summary(desk, 10))
    assert any(line.endswith("30: left far from the plan") for line in lines)


def test_what_is_new_since_the_last_look_is_marked(
    tmp_path: Path, lugcall: Callable[..., Result]
) -> None:
    """A job that came, and one that a lead wrote in; not what was only read again."""
    shop = tmp_path / "shop"
    paths = tell(shop, [Job("T-1", day(2025, 1, n), again=4) for n in (1, 2, 3)])
    assert "[new]" not in lugcall("review", shop).output
    assert "[new]" not in lugcall("review", shop, "--afresh").output
    later = tell(tmp_path / "x", [Job("T-2", day(2025, 2, 1), again=4)])[0]
    later.rename(shop / "later.jsonl")
    acts.add(paths[0], "question", "L7", "Why so often?")
    os.utime(paths[1], ns=(1, 1))
    lugcall("review", shop, "--ask", "needs_eyes")  # an answer is no look at all of it
    lines = lugcall("review", shop).output.splitlines()
    assert any(line.startswith("2 jobs are new or changed since this was last") for line in lines)
    marked = [line for line in lines if "[new]" in line and line.startswith("  ")]
    assert len(marked) == 2 and " T-2: " in marked[0] and "[new] [question]" in marked[1]
    assert "[new]" not in lugcall("review", shop).output


def test_an_odometer_that_runs_backwards_is_told(tmp_path: Path, home: Path) -> None:
    """At the later job, until a lead has looked at it; over folders as well."""
    first = tell(tmp_path / "a", [Job("T-1", day(2025, 1, 1), miles=100_000)])[0]
    jobs = [Job("T-1", day(2025, 6, 1), miles=96_000), Job("T-1", day(2025, 9, 1), miles=97_000)]
    later = tell(tmp_path / "b", jobs)[0]
    told = "odometer 96,000 miles after 100,000 miles on 2025-01-01"
    with open_review([first.parent, later.parent], home) as desk:
        (eye,) = desk.ask("needs_eyes")
        assert eye["reason"] == told and desk.record_path(eye["job"]) == later
        assert (eye["doubts"], eye["unseen"]) == (1, 1)
        assert desk.ask("totals")[0]["doubtful"] == 1
        write_rest(desk, tmp_path / "out", *write_fleet(desk, tmp_path / "out"), lambda todo: todo)
    assert told in Page(fleet_file(tmp_path / "out").read_text("utf-8")).words
    pages = (p.read_text("utf-8") for p in (tmp_path / "out" / "jobs").glob("*.html"))
    assert sum(f"odometer runs backwards: {told}" in Page(text).words for text in pages) == 1
    acts.add(later, "accepted", "L7", "the instrument was changed")
    with open_review([first.parent, later.parent], home) as desk:
        assert desk.ask("needs_eyes") == []


def test_simulated_jobs_are_in_doubt_of_nothing_but_what_is_put_into_them(
    card: Any, dialogs: Dialogs, tmp_path: Path
) -> None:
    """Told anew, or played: their readings are those of one truck, which agree with each other."""
    told = [read_file(path, NOW_US) for path in tell(tmp_path / "told", fleet(6, 30))]
    assert {d["kind"] for file in told for d in file.rows["doubts"]} <= {"again"}
    played = read_file(play(tmp_path / "played", card, dialogs, "", 0, 25), NOW_US)
    assert {d["kind"] for d in played.rows["doubts"]} <= {"edited", "default"}


def test_steps_have_names_that_people_know(dialogs: Dialogs) -> None:
    names = sentences("names").texts
    assert {step.id for step in dialogs.steps} <= {name.removeprefix("step.") for name in names}
    assert not any("_" in name for name in names.values())


def told(*lines: Line) -> list[str]:
    history = JobHistory([Opened(kind="opened"), *lines])
    return [doubt.text for doubt in doubts_of(history, NOW_US) if doubt.kind != "clock"]


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
    assert told(*[turn("found_gap", "")] * 3) == ["3 times not understood at: gap as found"]
    assert told(*[turn("a", "back")] * 3) == []
    assert told(*[turn("a", "back")] * 4) == ["went back 4 times"]
    assert told(left("in", 0.99)) == told(left("", 0.0)) == []
    assert told(left("out", 0.0)) == ["gap left 5/8 in: out (0% in)"]
    close = "gap left 5/8 in: too close (50% in), accepted: new gauge"
    assert told(left("too close", 0.5, "new gauge")) == [close]
    skipped = "odometer skipped"
    assert told(turn("found_odometer", "skip")) == [f"{skipped}, no reason given"]
    assert told(turn("found_odometer", "skip", text="broken")) == [f"{skipped}: broken"]
