"""A job in few words: what needs no "check", what is taken over, short cautions; and with full
checks none of it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from assistant.act import Said
from assistant.card import Card, card_from_text
from assistant.conversation import Session
from assistant.quantity import CLEARANCE, FREE_TRAVEL, GAP
from assistant.record.history import JobHistory
from assistant.texts.dialogs import Dialogs
from tests import demo
from tests.conftest import CARD
from tests.job.test_hold import BACK, FOUND, GOOD, HOLE, PLAN, SET, TO_COVER, TO_SIGN, TURN, text

Play = Callable[[Session, str], list[Said]]
MOST = 50
"""Utterances of the demo job, whose ring and rod are moved once."""
SAFE = (
    "skip / wheels chocked, brakes set, out of gear, key's in my pocket, on the ground, glasses on"
)


def test_the_demo_job_is_short(tmp_path: Path) -> None:
    turns = list(demo.played("first_job", tmp_path))
    assert len(turns) - 1 <= MOST and turns[-1][0].job.finished
    assert len(turns[-1][0].job.facts.moves) == len(turns[-1][0].job.facts.linkage) == 1


@pytest.mark.parametrize(
    ("before", "reading", "checked"),
    [
        (FOUND, "0.530", False),  # in, by thousandths
        (FOUND, "0.660", True),  # out: the ring moves by it
        (FOUND, "17/32", True),  # in, read too coarsely for its limits
        (FOUND, "between a half and 9/16", True),
        (f"{FOUND} / 0.530", "0.125", False),
        (f"{FOUND} / 0.530", "0.040", True),
        (FOUND.removesuffix(f" / h: foot off / {HOLE}"), "", False),  # as found, at the pedal
        (f"{GOOD} / {SET} / done", "0.531", False),  # as it was read before
        (f"{GOOD} / {SET} / done", "0.510", True),  # in, and not what it was before
        (GOOD, "h: 1.5 in", True),  # not as foretold
        (FOUND.removesuffix(" / skip"), "nine lugs", True),
        (TURN, "five lugs", True),
    ],
)
def test_what_waits_for_its_check(
    session: Session, play: Play, before: str, reading: str, checked: bool
) -> None:
    play(session, before)
    if reading:
        said = play(session, reading)
        assert ("Check?" in text(said)) == checked
    assert (session.job.pending is not None) == checked


def test_who_reads_at_the_pedal_is_the_helper(session: Session, play: Play) -> None:
    """The technician may read it too; then it is read back."""
    play(session, FOUND.split(" / h: 8.5")[0])
    assert session.job.whose() == "helper"
    play(session, "8.5 in")
    assert session.job.pending is not None
    play(session, "check / h: 8.25 in")
    assert session.job.pending is None and session.job.at == "found_free"


@pytest.mark.parametrize("wrong", ["no", "wrong", "correct that", "why / no"])
def test_what_was_not_checked_is_put_right_at_once(
    session: Session, play: Play, wrong: str
) -> None:
    play(session, f"{FOUND} / 0.530")
    said = play(session, wrong)
    assert "gap" in text(said) and session.job.correcting == GAP
    play(session, "0.525 / check")
    gap = session.job.facts.latest(GAP)
    assert gap is not None and gap.figures == "0.525 in"


def test_no_with_the_value_puts_it_right(session: Session, play: Play) -> None:
    said = play(session, f"{FOUND} / 0.530 / no, 0.525")
    assert "Check?" in text(said) and "0.525" in text(said)


def test_a_check_from_habit_answers_no_other_step(session: Session, play: Play) -> None:
    """After the last reading comes the cover: "check" is of the reading, not of the cover."""
    play(session, TO_COVER.removesuffix(" / done"))
    assert session.job.at == "cover_on"
    play(session, "check")
    assert session.job.at == "cover_on" and session.job.facts.hazards.cover_open


def test_what_stands_is_taken_over_and_said_so(session: Session, play: Play) -> None:
    said = play(session, GOOD)
    assert "Not moved since: fork clearance 0.125 in, pedal height 8.5 in" in text(said)
    said = play(session, f"{SET} / done / 0.530 / 0.125")
    assert session.job.at == "cover_on" and "free travel 1.5 in" in text(said)
    assert not session.job.foot_wanted, "nobody pressed since the foot was off"
    play(session, TO_SIGN.removeprefix(f"{GOOD} / {SET} / done / 0.530 / 0.125 / "))
    play(session, "sign off 12")
    assert session.job.finished
    history = JobHistory.read(session.journal.path)
    left, over = history.as_left(), [r for turn in history.turns for r in turn.over]
    assert left["pedal-height"].figures == "8.5 in" and len(over) == 8
    assert history.last_read("final").keys() == left.keys()


@pytest.mark.parametrize("moved", ["ring", "rod"])
def test_what_a_move_changes_is_read_again(session: Session, play: Play, moved: str) -> None:
    lugs = "check / done / done / clear / h: holding / five lugs / check / done / done / clear"
    move = f"{PLAN} / {lugs} / h: released / 0.525"
    rod = " / 11/64 / check / done / 0.155"
    play(
        session,
        f"{move}{rod}" if moved == "rod" else f"{move.replace('525', '535')} / 0.152 / check",
    )
    assert session.job.at == "set_free"
    assert session.job.facts.latest(FREE_TRAVEL) is None


def test_one_foot_off_for_the_whole_run(session: Session, play: Play) -> None:
    """After all readings at the pedal it is asked for once, before the hand goes to the hole."""
    asked = []
    for line in TO_SIGN.split(" / "):
        asked += [s for s in play(session, line) if s.key == "reply:foot_asked"]
    assert len(asked) == 3  # after the chain, as found, as set


def test_cautions_are_whole_once_and_then_short(session: Session, play: Play) -> None:
    told: list[Said] = []
    lugs = "check / done / done / clear / h: holding / five lugs / check / done / done"
    for line in f"{PLAN} / {lugs}".split(" / "):
        told += [s for s in play(session, line) if s.key == "caution:stored_force"]
    first, again = told
    assert "crush fingers" in first.text and len(again.text.split()) <= 4
    assert first.signal == again.signal == "DANGER"


@pytest.mark.parametrize("by_card", [True, False])
def test_a_shop_may_want_all_of_it(
    dialogs: Dialogs, tmp_path: Path, play: Play, by_card: bool
) -> None:
    """By its card or by the command; the record keeps it, and the job goes on alike."""
    card = card_from_text(CARD + ('[shop]\nchecks = "full"\n' if by_card else ""), "c")
    session, _ = Session.begin(card, dialogs, tmp_path, full=not by_card)
    play(session, f"{FOUND.replace('h: 5/8 in', 'h: 5/8 in / check')} / 0.530")
    assert session.job.pending is not None
    play(session, "check / 0.125 / check")
    assert session.job.at == "fork_clearance" and session.job.facts.latest(CLEARANCE) is not None
    path = session.journal.path
    session.close()
    again, _ = Session.resume(path, dialogs)
    assert again.job.full and again.job.at == "fork_clearance"
    said = play(again, f"{BACK} / h: foot off / 0.125 / check / h: 8.5 in / check")
    assert again.job.at == "set_total" and "Hands and gauges out of the hole" in text(said)
    said = play(again, "h: 8.25 in / check")
    assert "Hands and gauges out of the hole" in text(said)
    assert JobHistory.read(path).opened.full
    again.close()


def test_steps_named_in_one_breath_need_their_own_words(session: Session, play: Play) -> None:
    play(session, TO_COVER)
    play(session, "I'm out, and he gets the key when he wants it")
    assert not session.job.facts.hazards.key_above
    play(session, "back" if session.job.at == "hand_key" else "where are we")
    play(session, "I'm out, helper has the key")
    assert session.job.at == "function_release" and session.job.facts.hazards.key_above
    play(session, "h: it releases, no grinding")
    assert session.job.at == "function_brake"


def test_all_safety_items_in_one_breath(session: Session, play: Play) -> None:
    play(session, SAFE)
    assert session.job.at == "helper_ready"


# --- the look inside, and the trial ---------------------------------------------------------------

INSIDE = FOUND.removesuffix(" / all good / skip")


@pytest.mark.parametrize("words", ["bearing is blue", "oil everywhere", "not sound"])
def test_what_is_wrong_inside_leads_somewhere(session: Session, play: Play, words: str) -> None:
    said = play(session, f"{INSIDE} / {words}")
    assert session.job.at == "repair" and "unfinished" in text(said)
    said = play(session, "accept")
    assert session.job.at == "repair" and "why" in text(said)
    play(session, "accept the lead has seen it")
    play(session, "all good")  # the rest in there
    assert session.job.at == "found_ring_left"
    doubts = session.job.facts.doubts
    assert any(words in d for d in doubts) and any("the lead has seen it" in d for d in doubts)


def test_what_is_wrong_inside_is_repaired(session: Session, play: Play) -> None:
    play(session, f"{INSIDE} / bearing is blue / repaired")
    assert session.job.at == "chain_pedal" and session.job.faulty == ""


def test_elsewhere_nothing_unsound_is_accepted(session: Session, play: Play) -> None:
    play(session, "skip / done / done / done / done / done / done / h: ready / h: not sound")
    play(session, "accept the lead has seen it")
    assert session.job.at == "repair"


def test_the_key_is_back_before_the_sign_off(session: Session, play: Play) -> None:
    said = play(session, TO_SIGN.removesuffix(" / done / skip"))
    assert "Neutral, engine off, key back" in text(said)
    assert session.job.facts.hazards.key_above
    play(session, "key's on me")
    assert session.job.facts.hazards.key_below and session.job.at == "next_due"
    play(session, "back / back")
    assert session.job.at == "engine_off", "nothing is tried without the key"


def test_a_grind_leads_first_to_neutral(session: Session, play: Play) -> None:
    said = play(session, f"{TO_COVER} / done / done / h: sound / h: it grinds")
    assert said[0].text.startswith("Neutral, engine off, key back") and said[0].signal == "DANGER"
    assert session.job.at == "repair"


def test_without_a_brake_none_is_tried(dialogs: Dialogs, card: Card) -> None:
    own = dialogs.for_truck({**card.traits, "transmission": "synchronized"})
    assert "function_brake" not in own.by_id and "function_slip" in own.by_id
