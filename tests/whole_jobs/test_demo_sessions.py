"""The invented shop: every script ends signed off and agrees with the truck behind its numbers."""

from __future__ import annotations

from pathlib import Path

import pytest

from assistant.card import load_card
from assistant.conversation import Session, split_speaker
from assistant.record import read_events, verify_file
from assistant.texts.dialogs import load_dialogs

DEMO = Path(__file__).parents[2] / "demo_sessions"
DIALOGS = load_dialogs()

# As left, worked out by hand from the brief's geometry and the numbers at the head of each script
# (inches): c' = c + n*p + y, g' = g - n*p, F = R*c + l, h = H - R*(c + g) - l.
TRUTH = {
    ("first_job.txt", "truck_t104.toml"): {
        "gap": 0.660 - 5 * 0.027,
        "clearance": 0.040 + 5 * 0.027 - 1 / 20,
        "free-travel": 12 * (0.040 + 5 * 0.027 - 1 / 20) + 1 / 16,
        "brake-contact": 8.5 - 12 * (0.040 + 0.660 - 1 / 20) - 1 / 16,
    },
    ("metric_job.txt", "truck_m31.toml"): {
        "gap": (15.9 - 4 * 0.69) / 25.4,
        "clearance": (0.9 + 4 * 0.69) / 25.4,
        "free-travel": 12 * (0.9 + 4 * 0.69) / 25.4,
        "brake-contact": (216 - 12 * (0.9 + 15.9)) / 25.4,
    },
}


@pytest.mark.parametrize(("script", "card"), list(TRUTH))
def test_script_ends_as_its_truck(script: str, card: str, tmp_path: Path) -> None:
    session, _ = Session.begin(load_card(DEMO / card), DIALOGS, tmp_path)
    for line in (DEMO / script).read_text(encoding="utf-8").splitlines():
        if line and not line.startswith("#"):
            session.hear(*split_speaker(line))
    assert session.job.signed_off, session.job.state
    session.close()
    events, problem = read_events(session.journal.path)
    assert problem is None
    left = events[-1].data["as_left"]
    for quantity, truth in TRUTH[script, card].items():
        taken = left[quantity]
        slack = 0.003  # what was called out was rounded
        assert taken["low_in"] - slack <= truth <= taken["high_in"] + slack, (quantity, taken)
        assert taken["judged"]["decision"] == "in"
    assert events[-1].data["doubts"] == []


@pytest.mark.parametrize("path", sorted((DEMO / "records").glob("*.jsonl")), ids=lambda p: p.name)
def test_finished_records_verify(path: Path) -> None:
    verdict = verify_file(path)
    assert verdict.ok and verdict.closed, verdict.problem


def test_there_are_finished_records() -> None:
    assert len(list((DEMO / "records").glob("*.jsonl"))) >= 3
