"""The demo's jobs, as tests and benchmarks play them.

    python -m tests.demo

writes the finished records in `demo_sessions/records` again, after the job or its words changed.
"""

import os
import subprocess
import tempfile
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from functools import cache
from itertools import count
from pathlib import Path

from assistant.act import Said
from assistant.card import Card, load_card
from assistant.conversation import Session, split_speaker
from assistant.texts.dialogs import Dialogs, load_dialogs
from tests import warm

ROOT = Path(__file__).parents[1]
DEMO, DIALOGS = ROOT / "demo_sessions", ROOT / "dialogs"
CARDS = {
    "first_job": "t104",
    "hard_day": "t104",
    "cable_job": "c15",
    "hydraulic_job": "h9",
    "metric_job": "m31",
    "self_adjusting_job": "a7",
    "synchronized_job": "s22",
    "all_new_job": "k40",
    "new_clutch_job": "n8",
}
"""Script -> the truck it is played on."""


def lugcall(
    *args: str, stdin: bytes = b"", cwd: Path = ROOT, limit_s: float = 120.0, **env: str
) -> subprocess.CompletedProcess[str]:
    """A command as a shell runs it: its exit code, and what it prints as text."""
    done = warm.asked(args, cwd, {**os.environ, **env}, stdin, limit_s)
    assert "Traceback" not in done.stderr and "Exception ignored" not in done.stderr, done.stderr
    return done


@cache
def shipped() -> Dialogs:
    """The English dialogs as they are shipped, loaded once for all tests."""
    return load_dialogs(DIALOGS)


@cache
def card(truck: str = "t104") -> Card:
    return load_card(DEMO / f"truck_{truck}.toml")


def script(name: str) -> list[str]:
    """The lines of a script, without remarks."""
    lines = (DEMO / f"{name}.txt").read_text(encoding="utf-8").splitlines()
    return [line for line in lines if line.strip() and not line.startswith("#")]


def played(
    name: str, folder: Path, now: Callable[[], datetime] = datetime.now
) -> Iterator[tuple[Session, str, str, list[Said]]]:
    """A script typed into a session that is recorded in `folder`, turn by turn: the session, who
    said what, and the replies; before the first turn nobody said nothing."""
    session, said = Session.begin(card(CARDS[name]), shipped(), folder, now)
    yield session, "", "", said
    for line in script(name):
        who, words = split_speaker(line)
        yield session, who, words, session.hear(who, words)
    session.close()


def finish(name: str, begun: datetime) -> None:
    """The finished record of a script, somebody speaking every 20 s."""
    ticks = count()

    def now() -> datetime:
        return begun + next(ticks) * timedelta(seconds=20, milliseconds=1)

    with tempfile.TemporaryDirectory() as folder:
        *_, (session, *_) = played(name, Path(folder), now)
        done = session.journal.path.read_bytes()
    (DEMO / "records" / f"{name}.jsonl").write_bytes(done)


if __name__ == "__main__":
    for hour, job in enumerate(CARDS, 9):
        finish(job, datetime(2026, 11, 27, hour, microsecond=1000, tzinfo=UTC))
