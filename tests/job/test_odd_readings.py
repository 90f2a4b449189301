"""Readings that are no plain value: a bound, a brake that is never touched, a distance from now."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from assistant.act import Said
from assistant.conversation import Session
from assistant.quantity import BRAKE_CONTACT, CLEARANCE, FREE_TRAVEL, GAP, ODOMETER
from assistant.record.history import JobHistory
from tests.job.test_hold import FOUND, GOOD, HOLE, SET, TO_SIGN, text
from tests.records import last

Play = Callable[[Session, str], list[Said]]
TO_CONTACT = FOUND.removesuffix(f" / h: 3/4 in / h: foot off / {HOLE}")


@pytest.mark.parametrize("words", ["less than an eighth", "eighth gauge won't go"])
def test_a_bound_of_the_fork_clearance_is_kept(session: Session, play: Play, words: str) -> None:
    play(session, f"{TO_CONTACT} / h: 3/4 in / h: foot off / {HOLE} / 0.530")
    assert session.job.expects() == CLEARANCE
    said = play(session, words)
    assert "under 1/8 in" in text(said)  # it drives a move, so it is read back
    play(session, "check")
    kept = session.job.facts.latest(CLEARANCE)
    assert kept is not None and (kept.low_in, kept.high_in) == (0.0, 0.125)


def test_a_brake_that_is_never_touched_is_out_and_tells_no_ratio(
    session: Session, play: Play
) -> None:
    play(session, TO_CONTACT)
    said = play(session, "h: it never touches")
    assert "never touches is out" in text(said)
    facts = session.job.facts
    assert facts.latest(BRAKE_CONTACT) is not None and facts.decided(BRAKE_CONTACT) == "out"
    assert BRAKE_CONTACT not in facts.lengths()
    said = play(session, f"h: foot off / {HOLE} / 0.530 / 0.125")
    assert facts.staged(CLEARANCE, "found") is not None and "ratio" not in text(said).lower()


def test_a_distance_from_now_asks_for_the_odometer_and_is_added_to_it(
    session: Session, play: Play
) -> None:
    play(session, TO_SIGN.removesuffix(" / skip"))
    assert session.job.at == "next_due"
    said = play(session, "fifteen thousand from now")
    assert "What does it show now" in text(said)
    said = play(session, "412,350")
    assert "427,350 miles" in text(said)
    assert last(session).data["taken"]["count"] == 412350.0
    play(session, "check")
    due, found = (session.job.facts.staged(ODOMETER, stage) for stage in ("due", "found"))
    assert due is not None and found is not None
    assert (due.count, found.count) == (427350.0, 412350.0)


def test_a_distance_from_now_may_be_left_without_an_odometer(session: Session, play: Play) -> None:
    play(session, TO_SIGN.removesuffix(" / skip"))
    play(session, "fifteen thousand from now / skip")
    assert session.job.at == "sign_off"
    assert session.job.facts.staged(ODOMETER, "due") is None


@pytest.mark.parametrize("words", ["0.5.5", "½½", "8_1/2", "12. 7 mm", "12\u200b.7 mm", "1²"])
def test_a_number_that_cannot_be_read_is_asked_for_again(
    session: Session, play: Play, words: str
) -> None:
    play(session, FOUND)
    assert text(play(session, words)) == "I cannot read that number. Say it again."
    assert session.job.pending is None
    assert "9/16 in" in text(play(session, "9/16"))


def test_a_decimal_comma_in_a_correction_is_a_comma(session: Session, play: Play) -> None:
    play(session, f"{FOUND} / 0.530 / check")
    assert "12.7 mm" in text(play(session, "correct the gap to 12,7 mm"))
    assert "21.5 mm" in text(play(session, "correct the gap to 21．5 mm"))


def test_a_new_clutch_is_a_first_set_up(session: Session, play: Play) -> None:
    """Little free travel as found is no wear of it; the record says what is new."""
    worn = play(session, "done / done / done / skip")
    found = FOUND.removeprefix("done / done / done / skip / ").replace("5/8 in", "3/8 in")
    said = text(play(session, f"new clutch / {found}"))
    keys = [s.key for t in JobHistory.read(session.journal.path).turns for s in t.said]
    assert worn and said and "reply:internal_due" not in keys
    assert [*session.job.facts.fitted] == ["clutch"]
    assert ("tech", "new clutch") in session.job.facts.notes


def test_what_nothing_moved_and_reads_otherwise_is_read_again(session: Session, play: Play) -> None:
    """The second reading that the third one repeats was right; the plan forgets the first."""
    said = play(session, f"{GOOD} / h: 1.5 in / check")
    assert "1.5 in does not fit 5/8 in before" in text(said, "helper")
    assert session.job.at == "set_free" and session.job.expects() == FREE_TRAVEL
    play(session, "h: 1.5 in / check")
    facts = session.job.facts
    found = facts.plans.found()
    assert session.job.at != "set_free" and found is not None
    assert found.readings.free_travel is not None and found.readings.free_travel.value_in == 1.5
    kept = facts.staged(FREE_TRAVEL, "found")
    assert kept is not None and kept.value_in == 5 / 8, "the record keeps what was read"


def test_the_first_reading_stands_where_the_third_one_repeats_it(
    session: Session, play: Play
) -> None:
    play(session, f"{GOOD} / {SET} / done / 0.590 / check")
    assert session.job.at == "final_gap" and session.job.correcting == GAP
    play(session, "0.530 / check")
    gap = session.job.facts.latest(GAP)
    assert gap is not None and gap.value_in == 0.530 and session.job.at == "final_clearance"
    assert session.job.facts.moves == []


def test_two_gauges_that_differ_within_their_steps_are_no_misreading(
    session: Session, play: Play
) -> None:
    play(session, f"{GOOD} / {SET} / done / 17/32 / check")
    assert session.job.at == "final_clearance" and not session.job.correcting


def test_it_is_read_again_until_two_agree(session: Session, play: Play) -> None:
    """A third reading that repeats neither the first nor the second settles nothing."""
    play(session, f"{GOOD} / h: 1.5 in / check")
    said = play(session, "h: 1.1 in / check")
    assert "1.1 in does not fit 5/8 in before" in text(said, "helper")
    assert session.job.correcting == FREE_TRAVEL
    play(session, "h: 5/8 in / check")
    facts = session.job.facts
    kept, free = facts.staged(FREE_TRAVEL, "found"), facts.latest(FREE_TRAVEL)
    assert kept is not None and kept.instead is None and not session.job.correcting
    assert free is not None and free.value_in == 5 / 8


def test_of_four_the_two_that_agree_count(session: Session, play: Play) -> None:
    play(session, f"{GOOD} / h: 1.5 in / check / h: 1.1 in / check / h: 1.5 in / check")
    kept = session.job.facts.as_found(FREE_TRAVEL)
    assert kept is not None and kept.value_in == 1.5 and not session.job.correcting


def test_a_length_that_never_repeats_is_not_asked_for_without_end(
    session: Session, play: Play
) -> None:
    play(session, f"{GOOD} / h: 1.5 in / check / h: 1.1 in / check / h: 2 in / check")
    assert not session.job.correcting


def test_a_finer_reading_means_the_length_that_stands(session: Session, play: Play) -> None:
    """ "One sixty-four": 0.164, or 1/64? Where 5/32 is to be read finer, it is no question, and a
    following "accept" is not about the coarse reading."""
    play(session, f"{GOOD} / {SET} / done / 0.530 / five thirty-seconds / check")
    assert session.job.choosing
    said = play(session, "one sixty-four")
    assert session.job.pending is not None and "0.164 in" in text(said)
    play(session, "check")
    taken = session.job.facts.latest(CLEARANCE)
    assert taken is not None and taken.value_in == 0.164 and not taken.accepted


def test_a_length_in_two_meanings_is_asked_for_where_none_stands(
    session: Session, play: Play
) -> None:
    play(session, f"{FOUND} / 0.530")
    assert "or one sixty-fourth" in text(play(session, "one sixty-four"))
    assert session.job.pending is None


def test_what_is_told_at_the_end_opens_no_accepted_reading(session: Session, play: Play) -> None:
    """Only a reading of the clutch tells that it can be put in after all, not the odometer."""
    play(session, TO_SIGN.removesuffix(" / skip"))
    free = session.job.facts.latest(FREE_TRAVEL)
    assert free is not None
    free.value_in, free.low_in, free.high_in, free.accepted = 1.0, 0.99, 1.01, "worn"
    said = play(session, "500,000")
    assert free.accepted == "worn" and "after all" not in text(said)


def test_what_is_turned_after_the_trial_opens_the_cover_again(session: Session, play: Play) -> None:
    """It was greased before; gap and clearance are read once more, and nothing is a dead end."""
    play(session, f"{TO_SIGN} / correct free travel to 1 inch / check")
    assert session.job.at == "final_free"
    play(session, "h: 1 inch / check / h: foot off")
    assert session.job.at == "free_rod"
    play(session, "done / h: 1-3/16 / check / h: 19/32 / check / h: foot off")
    assert session.job.at == "reopen_cover"
    play(session, "done")
    assert session.job.at == "final_gap"


def test_what_was_too_close_and_accepted_is_not_taken_further_out(
    session: Session, play: Play
) -> None:
    play(session, f"{GOOD} / {SET} / done / 0.530 / five thirty-seconds / check / accept")
    truck = session.job.facts.plans.truck()
    figure = None if truck is None else truck.figures[CLEARANCE]
    assert figure is not None and figure.ends_in == pytest.approx((3 / 32, 5 / 32 + 1 / 64))
