"""Nobody at the pedal: no ring move; the shop's own way only where its card has the line."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from assistant.act import Said
from assistant.card import CardError, card_from_text, default_card
from assistant.conversation import Session
from assistant.record import verify_file
from assistant.record.history import JobHistory
from assistant.texts.dialogs import Dialogs
from tests.conftest import CARD
from tests.job.test_hold import HOLD, PLAN, TURN, text
from tests.review.test_pages import made

Play = Callable[[Session, str], list[Said]]
WAY = "pedal prop, shop rule 7"
LINE = f'[shop]\nholds_pedal = "{WAY}"\n'
AT_RING = f"{PLAN} / i'm alone / carry on / check / done / done / clear"
HELD = "held and i looked"
ALONE_HELD = f"{AT_RING} / shop's way / clear / {HELD}"


@pytest.fixture
def allowed(dialogs: Dialogs, tmp_path: Path) -> Iterator[Session]:
    """A session with a card that names the shop's own way."""
    session = Session.begin(card_from_text(CARD + LINE, "c.toml"), dialogs, tmp_path)[0]
    yield session
    session.close()


def test_the_whole_ring_move_alone(allowed: Session, play: Play) -> None:
    job = allowed.job
    said = play(allowed, AT_RING)
    assert job.at == "ring_ready" and "NO RING MOVE" in text(said) and WAY in text(said)
    said = play(allowed, "shop's way")
    assert said[0].signal == "DANGER" and "can slip" in said[0].text
    said = play(allowed, "clear")
    assert job.at == "ring_hold" and WAY in said[-1].text and said[-1].to == "tech"
    assert not any(s.cue for s in said)
    for no in ("done", "check", "holding", "held", "yes", "it's held", "h: ready and waiting"):
        play(allowed, no)
        assert job.at != "ring_turn", no
    if job.at == "halted":
        play(allowed, "clear / let it up / up and i looked / carry on / clear")
    play(allowed, HELD)
    assert job.at == "ring_turn" and job.facts.hazards.known["pedal"][:2] == ("held", "tech")
    play(allowed, "five lugs / check / done / done / clear")
    assert job.at == "ring_release"
    play(allowed, "done / released")
    assert job.at == "ring_release"
    play(allowed, "up and i looked")
    assert job.at == "ring_gap" and job.facts.hazards.foot_off and job.facts.hazards.told_up


def test_the_record_and_its_page_say_so(allowed: Session, play: Play) -> None:
    play(allowed, f"{ALONE_HELD} / five lugs / check / done / done / clear / up and i looked")
    play(allowed, "0.530 / check / shift's over / clear / in / on / tagged / skip / sign off 12")
    path = allowed.journal.path
    assert verify_file(path).ok
    closed = JobHistory.read(path).closed
    assert closed is not None and f"no helper: pedal held by {WAY}" in closed.doubts
    assert WAY in made(path).words


@pytest.mark.parametrize("words", ["shop's way", HELD, "up and i looked", f"shop's way / {HELD}"])
@pytest.mark.parametrize("at", ["", PLAN, AT_RING, HOLD, TURN, f"{TURN} / stop"])
def test_without_the_line_it_is_never_so(session: Session, play: Play, at: str, words: str) -> None:
    """By default nothing of it does anything: no hold begins, none is confirmed, none ends."""
    assert not default_card().holds_pedal and not session.job.facts.card.holds_pedal
    play(session, at)
    before = session.job.facts.hazards["pedal"], session.job.at
    said = play(session, words)
    assert session.job.facts.hazards["pedal"] in (before[0], "doubted")
    assert session.job.at == before[1] and not session.job.facts.hazards.propped
    assert not any(s.cue == "RELEASE" for s in said)
    assert before[1] == "ring_hold" or not any(s.cue == "HOLD" and s.to == "tech" for s in said)


def test_with_a_helper_there_it_is_not_so(allowed: Session, play: Play) -> None:
    """The line alone does not do it: somebody must have said that nobody is there."""
    play(allowed, f"{HOLD} / shop's way / {HELD}")
    assert allowed.job.at in ("ring_hold", "halted")
    assert not allowed.job.facts.hazards.hold_confirmed


@pytest.mark.parametrize("words", ["holding", "released", "foot off", "ready", "still holding"])
def test_a_helper_who_speaks_while_it_is_propped_stops_everything(
    allowed: Session, play: Play, words: str
) -> None:
    play(allowed, ALONE_HELD)
    assert allowed.job.at == "ring_turn"
    said = play(allowed, f"h: {words}")
    assert allowed.job.at == "halted" and "STOP" in text(said, "tech")


def test_a_doubt_asks_him_to_look_with_hands_out(allowed: Session, play: Play) -> None:
    said = play(allowed, f"{ALONE_HELD} / ring won't budge")
    assert "HANDS OUT" in text(said, "tech") and "I looked" in text(said, "tech")
    assert not text([s for s in said if s.to == "helper"])
    play(allowed, "five lugs")
    assert allowed.job.pending is None, "nothing counts before he has looked"
    play(allowed, f"{HELD} / five lugs")
    assert allowed.job.pending is not None


def test_it_comes_out_in_the_hold(allowed: Session, play: Play) -> None:
    said = play(allowed, f"{ALONE_HELD} / up and i looked")
    assert "HANDS OUT" in text(said, "tech") and allowed.job.at == "halted"


def test_a_helper_who_comes_takes_over_the_pedal(allowed: Session, play: Play) -> None:
    play(allowed, f"{AT_RING} / shop's way / h: ready / clear")
    assert allowed.job.at == "ring_hold" and not allowed.job.facts.hazards.propped
    play(allowed, HELD)
    assert allowed.job.at != "ring_turn"
    said = play(allowed, "h: holding")
    assert allowed.job.at == "ring_turn" or "STOP" in text(said)


@pytest.mark.parametrize("value", ["true", "7", '""', '"  "', '"\\u0007"', f'"{"x" * 41}"'])
def test_a_line_that_names_nothing_is_refused(value: str) -> None:
    with pytest.raises(CardError, match="holds_pedal"):
        card_from_text(f"[shop]\nholds_pedal = {value}\n", "c.toml")


def test_alone_everything_is_told_to_the_technician(allowed: Session, play: Play) -> None:
    said = play(allowed, "done / done / skip / done / i'm alone / carry on / shop's way / repeat")
    assert said and not any(one.to == "helper" for one in said)
