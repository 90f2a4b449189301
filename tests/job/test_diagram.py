"""The written diagram is the machine's; one machine moves all jobs of a kind."""

import gc
import weakref

from assistant.act import Act
from assistant.card import Card
from assistant.job import diagram
from assistant.job.job import Job
from assistant.texts.dialogs import Dialogs


def test_diagram_is_fresh() -> None:
    assert diagram.FILE.read_text(encoding="utf-8") == diagram.draw(), (
        "run: python -m assistant.job.diagram --write"
    )


def test_jobs_share_a_machine_that_keeps_none_of_them(card: Card, dialogs: Dialogs) -> None:
    one, other = Job(card, dialogs), Job(card, dialogs)
    assert one.machine is other.machine
    before = other.at
    one.apply(Act("skip", "tech"))
    assert one.at != before and other.at == before
    seen = weakref.ref(one)
    del one
    gc.collect()
    assert seen() is None
