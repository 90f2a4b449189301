"""A record as people read it: in the truck's own units, and how a job stands that nobody closed."""

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from click.testing import Result

from assistant.conversation import Session
from assistant.record import verify_file
from assistant.record.history import JobHistory
from assistant.review.rows import read_file
from assistant.review.transcript import transcript
from assistant.texts.dialogs import Dialogs
from tests.records import DEMOS, HARD, reach
from tests.review.test_pages import made

METRIC = HARD.with_name("metric_job.jsonl")


def lines(path: Path) -> list[str]:
    return list(transcript(JobHistory.read(path)))


def test_limits_are_in_the_units_of_the_truck() -> None:
    """Millimetres of a metric truck, and an inch rule's own sixteenths; on its page as well."""
    told = lines(METRIC)
    judged = [line for line in told if ": IN (" in line]
    assert judged and all(" mm" in line for line in judged)
    assert not any(re.search(r"\d in\b", line) for line in told)
    assert any("pedal height 216 mm: IN" in line and "205.0 to 225.0 mm" in line for line in told)
    assert "205.0 to 225.0 mm" in made(METRIC).words and "8.07" not in made(METRIC).words
    told = lines(HARD)
    assert any("3/32 to 5/32 in" in line for line in told)
    assert not any("0.1562" in line for line in told)


@pytest.fixture
def opened(card: Any, dialogs: Dialogs, tmp_path: Path) -> Callable[[str], Path]:
    """A job that was left at a step."""

    def left(step: str) -> Path:
        session = Session.begin(card, dialogs, tmp_path)[0]
        reach(session, step)
        session.close()
        return session.journal.path

    return left


@pytest.mark.parametrize(
    ("step", "stands"),
    [
        ("found_gap", {"Pedal": "up", "Lock plate": "in", "Cover": "OFF"}),
        ("ring_turn", {"Pedal": "HELD DOWN", "Lock plate": "OUT", "Cover": "OFF"}),
        ("ring_gap", {"Pedal": "up", "Lock plate": "in", "Cover": "OFF"}),
        ("out_from_under", {"Pedal": "up", "Lock plate": "in", "Cover": "on"}),
    ],
)
def test_a_job_that_nobody_closed_tells_how_it_stands(
    step: str, stands: dict[str, str], opened: Callable[[str], Path]
) -> None:
    """As found, the ring, and what is open or held; on the page too."""
    path = opened(step)
    told = lines(path)
    assert any("as found" in line and "as left" in line for line in told)
    assert any(line.startswith("pedal height ") and "8-1/2 in" in line for line in told)
    page = made(path).words
    for name, value in stands.items():
        assert f"{name}: {value}" in told and f"{name} {value}" in page
    moved = step in ("ring_gap", "out_from_under")
    count = "Ring: +5 lugs in 1 move" if moved else "Ring: 0 lugs in 0 moves"
    assert f"{count} (plus tightens)" in told
    if moved:
        row = read_file(path, 1 << 60).rows["jobs"][0]
        assert (row["lugs"], row["lugs_by_gap"]) == (5, 5)


@pytest.mark.parametrize("path", DEMOS, ids=lambda p: p.stem)
def test_a_closed_one_tells_its_seal(path: Path) -> None:
    told = lines(path)
    verdict = verify_file(path)
    seal = f"Seal on the work order {verdict.paper_seal}: it covers lines 1 to {verdict.events}"
    assert seal in told and any(line.startswith("SIGNED OFF by ") for line in told)


def test_one_of_a_kind_is_told_so(
    tmp_path: Path, lugcall: Callable[..., Result], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    path = tmp_path / "one.jsonl"
    path.write_bytes(HARD.read_bytes().splitlines(keepends=True)[0])
    assert "Chain VERIFIED: its 1 line is unchanged" in made(path).words
    assert ": 1 event, " in lugcall("verify", path).output
    lugcall("pages", tmp_path, "--out", tmp_path / "out")
    page = (tmp_path / "out" / "fleet.html").read_text("utf-8")
    assert "1 job, 1 truck, 0 signed off" in page and ">1 job<" in page
    path.write_text("milk\n")
    assert "name a file that lugcall wrote" in lugcall("verify", path).output
