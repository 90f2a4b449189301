"""Looks and trials: answered by who was asked; what is found inside, taken back or left so."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from assistant.act import Said
from assistant.conversation import Session
from assistant.quantity import CLEARANCE, GAP
from tests.job.test_hold import FOUND, PLAN, TURN, text

Play = Callable[[Session, str], list[Said]]
SAFE = "skip / done / done / done / done / done / done / h: ready"
LOOK = FOUND.removesuffix(" / all good / skip")


@pytest.mark.parametrize(
    ("before", "words", "at"),
    [
        (SAFE, "sound", "chain_pedal"),
        (SAFE, "h: lever moves", "chain_pedal"),  # it speaks of another step
        (f"{SAFE} / h: sound", "h: sound", "chain_lever"),
        (f"{SAFE} / h: sound", "h: it moves every time", "chain_lever"),
        (LOOK, "h: all good", "look_inside"),
        (LOOK, "h: not sound", "look_inside"),
    ],
)
def test_a_look_is_answered_by_who_was_asked(
    session: Session, play: Play, before: str, words: str, at: str
) -> None:
    play(session, before)
    play(session, words)
    assert session.job.at == at


def test_a_fault_counts_whoever_tells_it(session: Session, play: Play) -> None:
    assert "Repair first" in text(play(session, f"{SAFE} / h: sound / h: lever not moving"))


@pytest.mark.parametrize(
    "words", ["crack was only grease", "it's fine", "false alarm", "that was just a shadow"]
)
def test_a_fault_inside_is_taken_back(session: Session, play: Play, words: str) -> None:
    play(session, f"{LOOK} / bearing looks cracked / {words}")
    facts = session.job.facts
    assert session.job.at == "look_inside" and not facts.remarks
    assert any("bearing looks cracked" in note for _, note in facts.notes)


def test_a_fault_accepted_leaves_the_rest_to_be_looked_at(session: Session, play: Play) -> None:
    said = play(session, f"{LOOK} / bearing looks cracked / accept")
    assert "accept and why" in text(said)
    play(session, "bearing is blue too / accept it, customer knows")
    assert session.job.at == "look_inside"
    assert "bearing looks cracked; bearing is blue too" in session.job.facts.remarks[0]
    play(session, "all good")
    assert session.job.at == "found_ring_left" and len(session.job.facts.remarks) == 2


def test_no_confirming_word_is_offered(session: Session, play: Play) -> None:
    said = text(play(session, f"{SAFE} / h: lever moves"), "helper")
    assert "Did you mean" not in said and "Press once" in said


def test_a_value_of_before_is_corrected_while_another_waits(session: Session, play: Play) -> None:
    said = play(session, f"{FOUND} / 0.660 / check / forty thou / that gap was three eighths")
    assert "Gap 3/8 in" in text(said)
    play(session, "check / forty thou / check")
    facts = session.job.facts
    gap, clearance = facts.latest(GAP), facts.latest(CLEARANCE)
    assert gap is not None and gap.value_in == 0.375
    assert clearance is not None and clearance.value_in == 0.040


def test_a_corrected_gap_tells_anew_what_the_move_did(session: Session, play: Play) -> None:
    moved = f"{PLAN} / check / done / done / clear / h: holding / five lugs / check / done / done"
    play(session, f"{moved} / clear / h: released / five twenty five / check")
    assert "did not move" in text(play(session, "correct the gap, 0.660 / check"))


def test_a_pedal_back_down_is_no_guess(session: Session, play: Play) -> None:
    said = text(play(session, f"{TURN} / h: oh it came up / h: it is back down"))
    assert "Did you mean" not in said and "stays down" in said


def test_safety_items_in_a_breath_with_blocks_and_a_denial(session: Session, play: Play) -> None:
    play(session, "skip / wheels blocked both ends, brakes set… not raised")
    assert session.job.at == "neutral" and "stands" in session.job.ahead


@pytest.mark.parametrize(
    "words",
    [
        "that free travel's wrong, it's seven sixteenths",
        "oh shoot, the free travel was seven sixteenths, I read the wrong line",
        "now fix the free travel, that was seven sixteenths",
    ],
)
def test_a_correction_is_of_the_quantity_it_names(session: Session, play: Play, words: str) -> None:
    """Said after the brake's contact was read: that one stays as it is."""
    play(session, FOUND.split(" / h: foot off / done / all good")[0])
    said = text(play(session, f"h: {words}"))
    assert "Brake contact" not in said and session.job.correcting in ("", "free-travel")
    assert "Free travel 7/16 in" in said or "free travel" in said or "get that" in said
