"""The invented shop: every script, on its card, ends signed off and as the truck behind it.

What must be read at the end is worked out here by hand from the numbers at the head of each script
(inches): c' = c + n*p + y, g' = g - n*p, F = R*c + l, h = H - R*(c + g) - l.
"""

import re
from pathlib import Path

import pytest

from assistant.act import Act
from assistant.card import Card
from assistant.conversation import Session, split_speaker
from assistant.conversation.understand import understand
from assistant.job.job import Job
from assistant.record import read_events, verify_file
from assistant.texts.dialogs import Dialogs
from assistant.voice.recognition.expected import expected
from tests import demo
from tests.records import DEMOS

FLAT = 1.25 / 25.4 / 6
"""Travel of one flat of an M8x1.25 thread."""
ROD = 0.040 + 5 * 0.027 - 1 / 20
METRIC = (0.9 + 4 * 0.69) / 25.4
CABLE = 0.056 + 4 * 0.027 - 5 * FLAT
HYDRAULIC = 0.027 + 8 * 0.014

DIGITS = "zero one two three four five six seven eight nine".split()
REFUSED = ("move it",)
"""Said at a step that does not take it."""

JOBS = {
    "first_job": {
        "gap": 0.660 - 5 * 0.027,
        "clearance": ROD,
        "free-travel": 12 * ROD + 1 / 16,
        "brake-contact": 8.5 - 12 * (ROD + 0.660 - 5 * 0.027) - 1 / 16,
    },
    "metric_job": {
        "gap": (15.9 - 4 * 0.69) / 25.4,
        "clearance": METRIC,
        "free-travel": 12 * METRIC,
        "brake-contact": (216 - 12 * (0.9 + 15.9)) / 25.4,
    },
    "synchronized_job": {
        "gap": 0.860 - 4 * 0.027,
        "clearance": 0.040 + 4 * 0.027,
        "free-travel": 12 * (0.040 + 4 * 0.027) + 1 / 16,
    },
    "self_adjusting_job": {
        "gap": 0.600 - 0.070,
        "clearance": 0.050 + 0.070,
        "free-travel": 12 * 0.120 + 1 / 16,
        "brake-contact": 8.5 - 12 * 0.650 - 1 / 16,
    },
    "cable_job": {
        "gap": 0.640 - 4 * 0.027,
        "clearance": CABLE,
        "free-travel": 12 * CABLE + 1 / 16,
        "brake-contact": 8.5 - 12 * (CABLE + 0.640 - 4 * 0.027) - 1 / 16,
    },
    "hydraulic_job": {
        "gap": 0.640 - 8 * 0.014,
        "clearance": HYDRAULIC,
        "free-travel": 12 * HYDRAULIC,
        "brake-contact": 8.75 - 12 * (0.027 + 0.640),
    },
    "all_new_job": {
        "gap": (22.0 - 1.9) / 25.4,
        "clearance": (1.4 + 1.9) / 25.4,
        "free-travel": 12 * (1.4 + 1.9) / 25.4,
    },
}
"""Script -> what the truck behind its numbers is left at."""
OTHER_KINDS = list(JOBS)[2:]


def lines(name: str) -> list[tuple[str, str]]:
    return [split_speaker(line) for line in demo.script(name)]


def truck(name: str) -> Card:
    return demo.card(demo.CARDS[name])


@pytest.mark.parametrize("script", JOBS)
def test_signed_off_as_its_truck(script: str, dialogs: Dialogs, tmp_path: Path) -> None:
    truth = JOBS[script]
    session, _ = Session.begin(truck(script), dialogs, tmp_path)
    hold, clear = "up", False
    for who, words in lines(script):
        said = session.hear(who, words)
        hold = session.job.facts.hold
        clear = clear or words in ("clear", "hands clear")
        for one in said:
            if one.key == "prompt:ring_turn":
                assert hold == "held"
                clear = False
            assert one.cue != "RELEASE" or clear
    assert session.job.finished, session.job.at
    session.close()
    assert verify_file(session.journal.path).ok
    events, problem = read_events(session.journal.path)
    assert problem is None
    left = events[-1].data["as_left"]
    assert set(left) == {*truth, "pedal-height", "total-travel"}
    for quantity, value in truth.items():
        taken = left[quantity]
        slack = 0.003  # what was called out was rounded
        assert taken["low_in"] - slack <= value <= taken["high_in"] + slack, (quantity, taken)
        assert taken["judged"]["decision"] == "in"
    doubts = events[-1].data["doubts"]
    assert all(d.startswith("not sound at chain") and script in OTHER_KINDS for d in doubts)


@pytest.mark.parametrize("script", OTHER_KINDS)
def test_killed_anywhere_it_resumes(script: str, dialogs: Dialogs, tmp_path: Path) -> None:
    session, _ = Session.begin(truck(script), dialogs, tmp_path)
    for i, (who, words) in enumerate(lines(script)):
        session.hear(who, words)
        if i % 10 == 9 and not session.job.finished and session.job.facts.hold == "up":
            step = session.job.step_id
            session.close()
            session, said = Session.resume(session.journal.path, dialogs)
            assert session.job.step_id == step and said[0].key == "reply:resumed"
            if session.job.at == "halted":
                session.hear("tech", "carry on")
    assert session.job.finished
    session.close()


@pytest.mark.parametrize("script", OTHER_KINDS)
def test_every_word_of_it_can_be_heard(script: str, dialogs: Dialogs) -> None:
    job = Job(truck(script), dialogs)
    for who, words in lines(script):
        spoken = re.sub(r"\d", lambda m: f"{DIGITS[int(m[0])]} ", words.lower()).strip()
        if not words.startswith("note ") and words not in REFUSED:
            assert expected(job, who).accepts(spoken), (job.at, words)
        act = understand(words, who, job)
        assert isinstance(act, Act), (job.at, words, act)
        job.apply(act)
    assert job.finished


def test_finished_records_verify() -> None:
    assert len(DEMOS) >= 3
    for path in DEMOS:
        verdict = verify_file(path)
        assert verdict.ok and verdict.closed, (path.name, verdict.problem)
