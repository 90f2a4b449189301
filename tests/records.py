"""Records for tests: those of the demo, sound chains made of any data, a session at a step."""

import json
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from assistant.conversation import Session
from assistant.record import read_events
from assistant.record.events import GENESIS, seal_event
from tests.conversation.test_session import answer
from tests.demo import DEMO

DEMOS = sorted((DEMO / "records").glob("*.jsonl"))
HARD = DEMO / "records" / "hard_day.jsonl"


def sealed(lines: Iterable[tuple[str, str, dict[str, Any]]]) -> bytes:
    """A record with a sound chain of these lines: when, kind, data."""
    prev, content = GENESIS, b""
    for n, (at, kind, data) in enumerate(lines):
        event, line = seal_event(n, at, kind, data, prev)
        prev, content = event.hash, content + line
    return content


def events_of(path: Path) -> list[dict[str, Any]]:
    """The lines of a record, as JSON has them."""
    return [json.loads(line) for line in path.read_text("utf-8").splitlines()]


def reach(session: Session, step: str) -> Session:
    """The job played up to a step, typed."""
    for _ in range(200):
        if session.job.at == step and session.job.pending is None:
            return session
        who, _, words = answer(session.job).partition(": ")
        session.hear(who, words)
    raise AssertionError(f"{step} was not reached")


def last(session: Session) -> Any:
    return read_events(session.journal.path)[0][-1]
