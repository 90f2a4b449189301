"""Old sound goes, records stay: nothing else is ever removed."""

import os
import shutil
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from click.testing import Result

from assistant.card import Card
from assistant.conversation import Session
from assistant.record import Journal, RecordError, read_events, verify_file
from assistant.record.clips import REMOVED
from assistant.review import acts, open_review
from assistant.review.acts import LeadError
from assistant.review.evidence.retention import look, remove
from assistant.texts.dialogs import Dialogs
from tests.heard import heard
from tests.records import HARD, reach

NOW = datetime(2026, 6, 1, 12, 0, tzinfo=UTC)


@pytest.fixture
def records(card: Card, dialogs: Dialogs, tmp_path: Path) -> list[Path]:
    """Three records with a clip each, 100, 50 and 10 days old."""
    out = []
    for i, days in enumerate((100, 50, 10)):
        at = NOW - timedelta(days=days)
        session = Session.begin(card, dialogs, tmp_path, lambda at=at: at, keep_audio=True)[0]
        reach(session, "found_height")
        sound = np.sin(np.arange(16_000) / (9.0 + i)).astype(np.float32)
        heard(session, "helper", "eight and a half", None, sound)
        session.close()
        out.append(session.journal.path)
    return out


def tree(folder: Path) -> dict[str, bytes]:
    return {str(p): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def test_a_look_removes_nothing_and_names_what_is_old(records: list[Path]) -> None:
    folder = records[0].parent
    before = tree(folder)
    for days, many in ((30, 2), (60, 1), (200, 0)):
        assert len(look([folder], days, NOW).old) == many
    assert tree(folder) == before


def test_only_old_clips_go_and_every_record_still_verifies(records: list[Path]) -> None:
    """No line of a record changes; those that lost a clip note it, and `verify` counts them."""
    folder = records[0].parent
    before = tree(folder)
    found = look([folder], 30, NOW)
    assert remove(found, "l7", lambda: NOW) == (2, []) and found.size > 0
    after = tree(folder)
    assert before.keys() - after.keys() == {str(o.path) for o in found.old}
    for path in records:
        was, now = before[str(path)], after[str(path)]
        assert now.startswith(was) and now[len(was) :].count(b"\n") == (path in records[:2])
    said = [verify_file(path) for path in records]
    assert [v.ok for v in said] == [True] * 3
    assert [v.about_clips for v in said] == ["0 clips good, 1 removed"] * 2 + ["1 clip good"]
    assert look([folder], 30, NOW).old == []


def test_a_record_notes_which_clips_were_removed(records: list[Path]) -> None:
    """Kind, code, line and file of the clip, in its own chain; once, and by no name."""
    folder = records[0].parent
    clip = next((folder / f"{records[0].stem}.clips").iterdir()).name
    before = read_events(records[0])[0]
    line = next(e.n + 1 for e in before if "clip" in e.data)
    with pytest.raises(LeadError, match="no lead's code"):
        remove(look([folder], 60, NOW), "Jo Smith")
    assert verify_file(records[0]).about_clips == "1 clip good"
    assert remove(look([folder], 60, NOW), "L7", lambda: NOW) == (1, [])
    assert remove(look([folder], 60, NOW), "L7", lambda: NOW) == (0, [])
    events, problem = read_events(records[0])
    assert problem is None and events[:-1] == before
    assert events[-1].kind == REMOVED and events[-1].data == {
        "lead": "L7",
        "text": "1 clip removed",
        "about": f"line {line}",
        "clips": [clip],
    }


def test_a_record_in_use_keeps_its_clips(records: list[Path]) -> None:
    folder = records[0].parent
    found = look([folder], 60, NOW)
    with Journal.open(records[0]):
        gone, left = remove(found)
    assert gone == 0 and found.old[0].path.exists()
    assert len(left) == 1 and "in use" in left[0]
    assert remove(found) == (1, [])


def test_the_index_knows_acceptance_and_is_not_misled_by_removal(
    records: list[Path], tmp_path: Path
) -> None:
    """Clips removed after a review do not bring a job back; a reason to accept is a column."""
    folder = tmp_path / "shop"
    folder.mkdir()
    path = Path(shutil.copy(HARD, folder / "job.jsonl"))

    def asked() -> tuple[list[str], str]:
        with open_review([folder], home=tmp_path / "index") as desk:
            (job,) = desk.rows(desk.tables.jobs)
            eyes = [r["asked"] for r in desk.ask("needs_eyes")]
            return eyes, job["lead_accepted"]

    assert asked() == ([""], "")
    acts.add(path, "accepted", "L7", "worn shaft, replaced next week")
    assert asked() == ([], "worn shaft, replaced next week")
    with Journal.open(path) as journal:
        journal.append(REMOVED, {"lead": "", "text": "1 clip removed", "about": "line 9"})
    assert asked() == ([], "worn shaft, replaced next week")
    acts.add(path, "reopened", "L7", "came back")
    assert asked() == (["lead-reopened"], "")


def test_evidence_is_kept(records: list[Path]) -> None:
    folder = records[0].parent
    clips = [next((folder / f"{p.stem}.clips").iterdir()) for p in records]
    clips[0].write_bytes(b"something else")
    raw = records[1].read_bytes()
    records[1].write_bytes(raw[:200] + b"X" + raw[201:])
    other = clips[0].parent / "notes.txt"
    other.write_text("mine")
    os.utime(other, (0, 0))
    found = look([folder], 30, NOW)
    assert found.old == [] and remove(found) == (0, [])
    assert len(found.kept) == 2 and "changed and is kept" in " ".join(found.kept)
    assert "damaged: its clips are kept" in " ".join(found.kept)
    assert all(p.exists() for p in (*clips[:2], other))


def test_clips_without_a_record_go_by_their_own_age(records: list[Path], tmp_path: Path) -> None:
    """The record was thrown away: its sound must not stay for ever. A link leads nowhere."""
    folder = records[0].parent
    records[0].unlink()
    orphan = next((folder / f"{records[0].stem}.clips").iterdir())
    assert orphan not in {o.path for o in look([folder], 30, NOW).old}
    past = (NOW - timedelta(days=99)).timestamp()
    os.utime(orphan, (past, past))
    outside = tmp_path / "outside"
    shutil.copytree(orphan.parent, outside)
    os.utime(next(outside.iterdir()), (past, past))
    (folder / "x.clips").symlink_to(outside)
    old = {o.path for o in look([folder], 60, NOW).old}
    assert old == {orphan}
    with pytest.raises(RecordError, match="no folder"):
        look([folder / "none"], 30)


def test_who_removes_is_named(records: list[Path], lugcall: Callable[..., Result]) -> None:
    folder = records[0].parent
    before = tree(folder)
    done = lugcall("retention", folder, "--days", "30", "--remove")
    assert done.exit_code == 1 and done.output.count("\n") == 1 and "--by L7" in done.output
    assert tree(folder) == before
    done = lugcall("retention", folder, "--days", "0", "--remove", "--by", "L7")
    assert done.exit_code == 0 and ": 3 removed" in done.output
