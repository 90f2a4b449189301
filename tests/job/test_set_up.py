"""What was fitted new is set up first: wedges counted, brake seen, the pedal worked, then read."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from assistant import interlocks
from assistant.act import Act, Said
from assistant.card import card_from_text
from assistant.causes.table import load_table
from assistant.conversation import Session
from assistant.job.job import Job
from assistant.job.machine import transitions
from assistant.quantity import FREE_TRAVEL
from assistant.record import verify_file
from assistant.record.history import JobHistory
from assistant.review.pages.job_page import job_page
from assistant.review.transcript import transcript
from assistant.texts.dialogs import Dialogs
from tests import demo
from tests.job.test_hold import FOUND, PLAN, text

Play = Callable[[Session, str], list[Said]]
SAFE = "skip / chocked, brakes set, in neutral, key's on me, on the ground, glasses on / h: ready"
TO_WEDGES = f"new clutch / {SAFE} / cover off"
TO_SEAT = f"{TO_WEDGES} / four wedges and three bolts / check / clear"


def test_a_new_clutch_is_worked_before_anything_is_read(session: Session, play: Play) -> None:
    said = play(session, TO_WEDGES)
    assert session.job.at == "new_wedges" and "Say how many" in text(said)
    said = play(session, "done / four wedges and three bolts")
    assert "7 out. All that it came with?" in text(said) and session.job.facts.wedges is None
    play(session, "check")
    assert session.job.at == "new_ready" and session.job.facts.wedges == 7
    said = play(session, "clear")
    assert session.job.at == "new_seat"
    assert "five times" in text(said, "helper") and "out of the hole" in text(said, "tech")
    play(session, "done")
    assert session.job.at == "new_seat", "only who worked it can say so"
    play(session, "h: done")
    assert session.job.at == "chain_pedal" and session.job.facts.seated


@pytest.mark.parametrize(
    "words", ["h: four out", "two still in", "four out but one stuck", "four or five", "many"]
)
def test_only_a_count_of_the_technician_counts(session: Session, play: Play, words: str) -> None:
    play(session, f"{TO_WEDGES} / {words} / check")
    assert session.job.at == "new_wedges" and session.job.facts.wedges is None


def test_no_drops_the_count(session: Session, play: Play) -> None:
    play(session, f"{TO_WEDGES} / four out / no / check")
    assert session.job.at == "new_wedges"
    play(session, "all five out / check")
    assert session.job.facts.wedges == 5


def test_the_pedal_stays_up_while_wedges_may_be_in(session: Session, play: Play) -> None:
    """Every way into a step that presses it is guarded: the interlock, not the order, keeps it."""
    play(session, TO_WEDGES)
    steps = session.job.dialogs.steps
    presses = {s.id for s in steps if interlocks.presses(s) or s.kind == "hold"}
    assert {"new_seat", "chain_pedal", "found_total", "ring_hold"} <= presses
    ways = [e for e in transitions(steps) if e["dest"] in presses]
    assert ways and all("wedges_out" in e["conditions"] for e in ways)
    seats = [e for e in ways if e["dest"] == "new_seat"]
    assert all({"hands_clear", "helper_there", "key_below"} <= {*e["conditions"]} for e in seats)
    said = play(session, "stop")
    assert "SHIPPING WEDGES IN" in text(said)
    play(session, "carry on")
    assert session.job.at == "new_wedges"


def test_a_stop_while_it_is_worked_leads_through_clear_again(session: Session, play: Play) -> None:
    play(session, f"{TO_SEAT} / stop / carry on")
    assert session.job.at == "new_ready"
    play(session, "clear / h: done")
    assert session.job.at == "chain_pedal"


def test_nobody_at_the_pedal_works_nothing(session: Session, play: Play) -> None:
    said = play(session, f"{TO_WEDGES} / i'm alone / carry on / four out / check / clear")
    assert session.job.at == "new_ready" and "without a helper" in text(said)
    play(session, "h: ready")
    while session.job.asking:
        play(session, "h: code 7" if session.job.asking == "code" else "h: foot off")
    play(session, "clear")
    assert session.job.at == "new_seat"


def test_a_new_brake_is_seen_before_the_pedal_moves(session: Session, play: Play) -> None:
    said = play(session, f"new brake / {SAFE} / cover off")
    assert session.job.at == "new_brake" and "seated" in text(said)
    play(session, "not sound")
    assert session.job.at == "repair"
    said = play(session, "repaired")
    assert session.job.at == "new_brake" and "from the first" in text(said)
    play(session, "sound / clear")
    assert session.job.at == "new_seat"


def test_told_at_the_look_inside_all_is_read_again(session: Session, play: Play) -> None:
    """What was read before new parts had settled is not as found, nor held against them."""
    play(session, FOUND.rpartition(" / all good")[0])
    assert session.job.at == "look_inside"
    said = play(session, "new clutch went in")
    assert session.job.at == "new_wedges" and "how many" in text(said)
    assert session.job.facts.latest(FREE_TRAVEL) is None
    play(session, "four out / check / clear / h: done / h: sound / lever moves / h: foot off")
    play(session, "all tight, nothing binding / h: 8 1/2 / h: 8 1/4")
    said = play(session, "h: 1 1/4")
    assert "does not fit" not in text(said), "it is not the free travel of before"
    play(session, "h: 3/4 / h: foot off")
    assert session.job.at == "look_inside", "the cover is off already"


def test_hands_wait_for_the_foot_in_the_new_steps_too(session: Session, play: Play) -> None:
    play(session, FOUND.rpartition(" / h: foot off")[0])
    assert session.job.at == "cover_off" and session.job.foot_wanted
    said = play(session, "new clutch brake")
    assert session.job.at == "new_cover" and session.job.foot_wanted
    assert "foot off" in text(said, "helper")
    play(session, "done")
    assert session.job.at == "new_cover"


def test_told_once_something_was_moved_it_is_for_the_lead(session: Session, play: Play) -> None:
    play(session, f"{PLAN} / check / i see it / plate's out / clear / h: holding / 5 / check")
    play(session, "tool's out / plate's in / clear / h: released")
    assert session.job.at == "ring_gap"
    said = play(session, "new clutch")
    assert session.job.at == "ring_gap" and "Too late" in text(said)
    assert "new clutch: told too late, no first set-up done" in session.job.facts.doubts


def test_a_truck_without_a_brake_has_no_new_one(dialogs: Dialogs) -> None:
    card = card_from_text('[truck]\ntransmission = "synchronized"\n', "s.toml")
    job = Job(card, dialogs)
    said = job.apply(Act("fitted", "tech", text="brake"))
    assert "no clutch brake" in text(said) and not job.facts.fitted


def test_by_the_older_rules_it_is_only_noted(dialogs: Dialogs) -> None:
    """A record of then goes on as it was begun."""
    job = Job(demo.card(), dialogs, rules=1)
    job.apply(Act("fitted", "tech", text="clutch"))
    assert "new_wedges" not in job.dialogs.by_id and [*job.facts.fitted] == ["clutch"]


def test_killed_in_the_set_up_it_goes_on_there(
    session: Session, play: Play, dialogs: Dialogs
) -> None:
    play(session, TO_WEDGES)
    session.close()
    again, _ = Session.resume(session.journal.path, dialogs)
    assert again.job.at == "new_wedges" and not again.job.facts.hazards.wedges_out
    again.close()


def test_left_unfinished_the_wedges_are_told(session: Session, play: Play) -> None:
    play(
        session,
        f"{TO_WEDGES} / unfinished / clear / shift over / in / off / marked / tagged / skip",
    )
    play(session, "sign off 12")
    session.close()
    closed = JobHistory.read(session.journal.path).closed
    assert closed is not None and closed.unfinished is not None
    assert "SHIPPING WEDGES IN" in closed.unfinished.wedges
    assert any(
        "SHIPPING WEDGES IN" in line for line in transcript(JobHistory.read(session.journal.path))
    )


def test_the_record_says_that_it_was_a_first_set_up(tmp_path: Path) -> None:
    *_, (session, *_) = demo.played("new_clutch_job", tmp_path)
    path = session.journal.path
    history = JobHistory.read(path)
    assert verify_file(path).closed and history.closed is not None
    done = history.closed.first_set_up
    assert done is not None and (done.new, done.wedges) == ("both", 4)
    assert history.closed.fitted == ["brake", "clutch"] and history.closed.ring_left == 13
    told = "FIRST SET-UP: new clutch and clutch brake; shipping wedges and holding bolts out: 4"
    assert told in [*transcript(history)]
    assert "FIRST SET-UP" in job_page(path, tmp_path)


def test_free_travel_is_read_once_more_and_the_check_comes_early(tmp_path: Path) -> None:
    said = [s.key for *_, said in demo.played("new_clutch_job", tmp_path) for s in said]
    assert {"prompt:final_gap", "prompt:final_free", "reply:due_first"} <= {*said}
    *_, (session, *_) = demo.played("first_job", tmp_path / "other")
    keys = [s.key for t in JobHistory.read(session.journal.path).turns for s in t.said]
    assert "prompt:final_free" not in keys and "reply:due_first" not in keys


def test_without_a_next_check_the_lead_sees_it(tmp_path: Path) -> None:
    turns = demo.played("new_clutch_job", tmp_path)
    session = next(session for session, *_ in turns if session.job.at == "next_due")
    session.hear("tech", "skip")
    assert "first set-up: no next check told" in session.job.facts.doubts


@pytest.mark.parametrize("how", ["takes over", "helper", "resumed"])
def test_over_a_clear_of_somebody_else_nothing_is_worked(
    session: Session, play: Play, dialogs: Dialogs, how: str
) -> None:
    play(session, TO_SEAT)
    if how == "resumed":
        session.close()
        session, _ = Session.resume(session.journal.path, dialogs)
    else:
        play(session, "i take over" if how == "takes over" else "h: i take over")
    assert session.job.at == "new_ready" and session.job.asking == "code"
    whose = "h: " if how == "helper" else ""
    said = play(session, f"{whose}code 31 / h: foot off")
    if session.job.asking == "key":
        said = play(session, "key's on me")
    assert session.job.at == "new_ready" and "Say clear" in text(said)
    play(session, "clear")
    assert session.job.at == "new_seat"
    session.close()


def test_what_is_new_has_not_worn(dialogs: Dialogs, tmp_path: Path) -> None:
    """Neither asked of a cause at the truck, nor on its page, do new facings come first."""
    facings, brake = "facings wore", "a worn clutch brake"
    for new, told in ((None, True), ("clutch", False)):
        job = Job(demo.card(), dialogs)
        if new:
            job.apply(Act("fitted", "tech", text=new))
        said = text(job.apply(Act("complaint", "tech", text="slips")))
        assert (facings in said) == told, said
    table = load_table()
    for card, fitted in ((demo.card(), ["brake"]), (demo.card(), [])):
        known = [cause.say for cause in table.of(card, fitted).causes.values()]
        assert (brake in known) == (not fitted) and any(facings in one for one in known)


@pytest.mark.parametrize("words", ["new brake fitted", "we put a new brake in", "new clutch in it"])
def test_ways_to_say_what_is_new(session: Session, words: str) -> None:
    meant = session.understood(words, "tech")
    assert isinstance(meant, Act) and meant.meaning == "fitted"
    assert meant.text == ("brake" if "brake" in words else "clutch")


def test_no_clear_is_asked_anew_before_the_pedal_is_known_to_be_up(
    session: Session, play: Play
) -> None:
    play(session, f"{TO_SEAT} / wait, my hand's in / carry on")
    assert session.job.at == "halted"
    play(session, "clear / let it up / h: released / carry on")
    assert session.job.at == "new_ready" and session.job.facts.hazards.pedal_up


def test_told_again_to_press_his_foot_is_asked_for_again(session: Session, play: Play) -> None:
    """Told once more of a new brake, the step is told once more, and with it to press."""
    play(session, f"new brake / {SAFE} / cover off / sound / clear / h: done / h: foot off")
    assert session.job.at == "chain_pedal"
    play(session, "new brake")
    said = play(session, "new clutch")
    assert session.job.at == "new_wedges" and session.job.foot_wanted
    assert "foot off" in text(said, "helper") and "how many" not in text(said)


@pytest.mark.parametrize(
    "act",
    [
        Act("note", "helper", text="both hands back in the hole"),
        Act("note", "tech", text="my arm is in the hole"),
        Act("unsure", "tech"),
        Act("released", "helper"),
        Act("lost", "helper"),
        Act("holding", "helper"),
    ],
    ids=lambda act: f"{act.who} {act.meaning}",
)
def test_hands_may_be_in_again_clear_comes_again(session: Session, play: Play, act: Act) -> None:
    """Nobody is told once more to work new parts over a clear that something was said since."""
    play(session, TO_SEAT)
    job = session.job
    said = job.apply(act)
    assert job.at == "new_ready" and "prompt:new_seat" not in [one.key for one in said]
    assert "prompt:new_seat" not in [one.key for one in job.apply(Act("repeat", "helper"))]


def test_a_note_of_other_things_goes_on(session: Session, play: Play) -> None:
    play(session, TO_SEAT)
    session.job.apply(Act("note", "helper", text="the seat creaks"))
    assert session.job.at == "new_seat"
