"""Old sound goes, records stay: nothing else is ever removed."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from assistant.card import Card
from assistant.conversation import Session
from assistant.procedure.dialog import Dialogs
from assistant.procedure.said import Said
from assistant.record import RecordError, verify_file
from assistant.review.retention import look, remove

NOW = datetime(2026, 6, 1, 12, 0, tzinfo=UTC)
Play = Callable[[Session, str], list[Said]]


@pytest.fixture
def records(card: Card, dialogs: Dialogs, tmp_path: Path, play: Play) -> list[Path]:
    """Three records with a clip each, 100, 50 and 10 days old."""
    out = []
    for i, days in enumerate((100, 50, 10)):
        at = NOW - timedelta(days=days)
        session = Session.begin(card, dialogs, tmp_path, lambda at=at: at, keep_audio=True)[0]
        play(session, "done / done / done / done / done / done / h: ready / h: sound / sound")
        play(session, "sound / sound / h: skip")
        sound = np.sin(np.arange(16_000) / (9.0 + i)).astype(np.float32)
        session.hear("tech", "eight and a half", None, sound)
        session.close()
        out.append(session.journal.path)
    return out


def tree(folder: Path) -> dict[str, bytes]:
    """Every file and what is in it."""
    return {str(p): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def test_a_look_removes_nothing_and_names_what_is_old(records: list[Path]) -> None:
    """Older than 30 days: two; older than 60: one; older than 200: none."""
    folder = records[0].parent
    before = tree(folder)
    for days, many in ((30, 2), (60, 1), (200, 0)):
        assert len(look([folder], days, NOW).old) == many
    assert tree(folder) == before


def test_only_old_clips_go_and_every_record_still_verifies(records: list[Path]) -> None:
    """The records' bytes are the same, `verify` says how many clips were removed."""
    folder = records[0].parent
    before = tree(folder)
    found = look([folder], 30, NOW)
    assert remove(found) == (2, []) and found.size > 0
    after = tree(folder)
    assert {p: c for p, c in before.items() if p not in {str(o.path) for o in found.old}} == after
    said = [verify_file(path) for path in records]
    assert [v.ok for v in said] == [True] * 3
    assert [v.about_clips for v in said] == ["0 clips good, 1 removed"] * 2 + ["1 clip good"]
    assert look([folder], 30, NOW).old == ()


def test_evidence_is_kept(records: list[Path]) -> None:
    """A changed clip, the clips of a damaged record, and what is not a clip stay."""
    folder = records[0].parent
    clips = [next((folder / f"{p.stem}.clips").iterdir()) for p in records]
    clips[0].write_bytes(b"something else")
    raw = records[1].read_bytes()
    records[1].write_bytes(raw[:200] + b"X" + raw[201:])
    other = clips[0].parent / "notes.txt"
    other.write_text("mine")
    os.utime(other, (0, 0))
    found = look([folder], 30, NOW)
    assert found.old == () and remove(found) == (0, [])
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
