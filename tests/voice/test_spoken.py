"""What the tests' own speakers say is read right or not at all; other talk is no reading."""

import pytest

from assistant.act import Act
from assistant.card import Card
from assistant.conversation.understand import understand
from assistant.job.job import Job
from assistant.readings import QUANTITIES, read
from assistant.texts.dialogs import Dialogs
from tests.spoken import chatter, phrases
from tests.spoken.commands import put


@pytest.mark.parametrize("split", ["tuning", "test"])
def test_the_reader_never_contradicts_the_figures(split: str) -> None:
    """Whatever is drawn, also what `readings` would leave out: not read, or read right."""
    rng = phrases.random.Random(7)
    left_out = 0
    for quantity in phrases.QUOTA:
        for _ in range(150):
            said = phrases.drawn(quantity, split, rng)
            reading = read(phrases.plain(said.text), quantity)
            left_out += reading.status != "read"
            assert reading.status != "read" or phrases.true(said, reading), said
    assert left_out < 0.02 * 150 * len(phrases.QUOTA)


def test_off_topic_talk_is_no_reading_and_no_command(card: Card, dialogs: Dialogs) -> None:
    job = put(Job(card, dialogs), "found_gap")
    for texts in (chatter.BABBLE, *chatter.SHOP.values(), *chatter.RADIO.values()):
        for text in texts:
            assert all(read(text, q).status != "read" for q in QUANTITIES), text
            for who in ("tech", "helper"):
                act = understand(phrases.plain(text), who, job)
                assert not isinstance(act, Act) or act.meaning == "unclear", (text, act)
