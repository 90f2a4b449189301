"""The simulated fleet is made of true records: its readers may be judged by it."""

from __future__ import annotations

from pathlib import Path

import pytest

from assistant.record import verify_file
from assistant.review.rows import read_file
from assistant.texts.dialogs import Dialogs
from tests.fleet.stamped import Stamp, stamps, write

NOW_US = 1_900_000_000_000_000


@pytest.fixture(scope="module")
def made(dialogs: Dialogs, tmp_path_factory: pytest.TempPathFactory) -> list[Stamp]:
    """Four visits played through the session."""
    return stamps(tmp_path_factory.mktemp("played"), dialogs, 4)


def test_a_stamp_put_on_its_own_visit_gives_the_record_back(made: list[Stamp]) -> None:
    """Byte for byte: so nothing but what is put in differs in the others."""
    from assistant.record.events import line_of

    for stamp in made:
        played = b"".join(line_of(event) for event in stamp.events)
        assert stamp.bytes_for(stamp.visit, stamp.events[0].time) == played


def test_stamped_records_hold_by_the_strict_check(made: list[Stamp], tmp_path: Path) -> None:
    """Chain and canonical form, as `lugcall verify` sees them."""
    truth = write(made, 7, 40, tmp_path)
    paths = sorted(tmp_path.rglob("*.jsonl"))
    assert len(paths) == len(truth) == 40
    verdicts = [verify_file(p) for p in paths]
    assert [v.problem for v in verdicts if not v.ok] == []
    assert all(v.closed for v in verdicts)


def test_the_truth_is_what_the_records_say(made: list[Stamp], tmp_path: Path) -> None:
    """Unit, odometer, next check, and free travel as found to a thousandth."""
    truth = {(v.unit, v.miles): v for v in write(made, 7, 40, tmp_path)}
    for path in tmp_path.rglob("*.jsonl"):
        rows = read_file(path, NOW_US).rows
        job = rows["jobs"][0]
        visit = truth[job["unit"], round(job["odometer_miles"])]
        found = [r for r in rows["readings"] if r["as_found"] and r["quantity"] == "free-travel"]
        assert found[0]["value_in"] == pytest.approx(visit.free_in, abs=0.0016)
        assert job["next_due_miles"] == visit.miles + 30_000
        assert job["signed_off"] and job["chain"] == "good"


def test_what_went_wrong_in_a_played_visit_is_found(made: list[Stamp], tmp_path: Path) -> None:
    """Corrections, misheard utterances, long holds and the microphone, against the truth."""
    for number, stamp in enumerate(made):
        path = tmp_path / f"{number}.jsonl"
        path.write_bytes(stamp.bytes_for(stamp.visit))
        rows, visit = read_file(path, NOW_US).rows, stamp.visit
        job = rows["jobs"][0]
        assert job["corrections"] == visit.wrong
        assert job["say_agains"] == visit.misheard
        assert {h["microphone"] for h in rows["hearing"]} == {visit.mic or "typed"}
        assert job["code"] == visit.code
        for hold in rows["holds"]:
            assert hold["long"] == (visit.long_hold_s >= 120)
