"""One plan, followed: on trucks of plain geometry, played by the simulator's crew."""

import random
from pathlib import Path

import pytest

from assistant.act import Act, Said
from assistant.card import card_from_text, default_card
from assistant.card.arithmetic import truck_for
from assistant.cli.plan import plan_report
from assistant.clutch.conformity import Measured
from assistant.clutch.equations import lash_by, used_ratio
from assistant.clutch.possible import Interval, contradiction, unlike
from assistant.conversation import Session
from assistant.job.job import Job
from assistant.job.plan import MOST_IDLE, most_alike
from assistant.job.state import LinkageMove
from assistant.readings import read
from assistant.texts.dialogs import Dialogs
from tests.clutch.test_settings_job import FINE_RING, START, Play
from tests.job.test_hold import HOLE, LAST
from tests.simulator.judge import signed
from tests.simulator.kinds import Job as Simulated
from tests.simulator.people import CAREFUL, Crew
from tests.simulator.truck import Setting, Truck

LIMITS = {
    "gap": (0.5, 0.5625), "clearance": (3 / 32, 5 / 32), "free-travel": (1.125, 2.0),
    "pedal-height": (7.5, 8.0), "total-travel": (7.0, 9.0), "brake-contact": (0.5, 1.0),
}  # fmt: skip


def rod_truck(gap: float) -> Simulated:
    """Pedal too high, ring to be tightened, rod to follow: 11.5 to 1, 0.09 in of lash."""
    ratio = (8.5 - 1.125 - 0.5) / gap
    parts = Truck(
        brake_face=10.0 + gap, bearing=10.0, tips=10.0 - 0.035, ratio=ratio, curve=0.0,
        lash=0.5 - 0.035 * ratio, give=0.0, lug=0.014, lugs_left=20, lugs_back=20, flat=1 / 120,
        flats_free=180, brake=True, fluid=False, set=Setting(0, 0.0, 8.5, 0.375),
    )  # fmt: skip
    job = Simulated("rod-card-fine", parts, dict(LIMITS), FINE_RING)
    job.rest_turn, job.longer_gives = 0.375, "more clearance"
    return job


@pytest.mark.parametrize("gap", [0.600, 0.610, 0.620])
def test_the_rod_truck_ends_in_tolerance_whatever_its_gap(
    gap: float, dialogs: Dialogs, tmp_path: Path
) -> None:
    """Lugs, stop and rod in the job as in `plan`; each turned once, and the brake is reached."""
    job = rod_truck(gap)
    session, _ = Session.begin(card_from_text(job.card, "c"), dialogs, tmp_path)
    crew = Crew(job, session, random.Random(4), CAREFUL)
    assert crew.work() == "signed"
    assert signed(job, crew) == ("in tolerance", "")
    assert crew.moves["ring"] == crew.moves["rod"] == crew.moves["rest"] == 1
    said = "\n".join(crew.lines)
    assert "No setting can" not in said and "Planned, not done" not in said
    assert "Done as planned" in said
    called = {
        "gap": f"{gap:.3f}", "clearance": "0.035", "free-travel": "1/2", "pedal-height": "8-1/2",
        "total-travel": "8-1/8", "brake-contact": "1-1/8",
    }  # fmt: skip
    report = plan_report(called, card_from_text(job.card, "c"))
    assert report["settings"]["possible"]
    first = session.job.facts.first
    assert first is not None
    assert (report["lugs"] > 0, report["height_change_in"] < 0, report["rod_total_flats"] > 0) == (
        first.lugs > 0, first.height_steps < 0, first.flats > 0
    )  # fmt: skip


# --- readings that cannot all be true


def within(**lengths: float) -> dict[str, tuple[float, float, float]]:
    return {q.replace("_", "-"): (v, v - 1 / 64, v + 1 / 64) for q, v in lengths.items()}


def test_total_travel_reaches_where_the_brake_is_touched() -> None:
    figures = default_card().figures
    impossible = within(pedal_height=8.5, total_travel=7.0, brake_contact=0.25)
    odd = contradiction(impossible, figures)
    assert odd is not None
    assert (odd.again, odd.at_least, odd.bound_in) == ("total-travel", True, 8.25)
    second = contradiction(impossible, figures, {"total-travel"})
    assert second is not None and second.again == "brake-contact"
    assert contradiction(impossible, figures, set(impossible)) is None
    assert (
        contradiction(within(pedal_height=8.5, total_travel=8.5, brake_contact=0.25), figures)
        is None
    )
    outside = within(free_travel=0.1, clearance=0.3)
    assert contradiction(outside, figures) is not None


def pedal(job: Job, quantity: str, words: str) -> list[Said]:
    kept = read(words, quantity)
    data = {
        "value_in": kept.value_in, "low_in": kept.low_in, "high_in": kept.high_in,
        "count": None, "kind": "length", "readback": words, "figures": words,
    }  # fmt: skip
    said = job.apply(Act("reading", "tech", reading=data))
    return job.apply(Act("check", "tech")) if job.pending is not None else said


def test_an_impossible_total_travel_is_asked_for_again(session: Session, play: Play) -> None:
    play(session, START)
    job = session.job
    for quantity, words in (
        ("pedal-height", "8-1/2"),
        ("total-travel", "7"),
        ("free-travel", "1/2"),
    ):
        pedal(job, quantity, words)
    said = [s.text for s in pedal(job, "brake-contact", "1/4")]
    assert any("cannot all be true" in text for text in said)
    assert any("total travel is at least 8-1/4 in. Read it again." in text for text in said)
    assert job.expects() == "total-travel"
    pedal(job, "total-travel", "8-1/2")
    assert job.at == "cover_off"
    assert job.facts.as_found("total-travel").value_in == 8.5  # type: ignore[union-attr]


# --- lash that nobody measured


def test_lash_that_is_not_known_is_carried() -> None:
    """Ratio 12, lash 1/4 in: free travel alone would say 18."""
    card, c, g = default_card(), 0.05, 0.6
    lengths = {"gap": g, "clearance": c, "free-travel": 12 * c + 0.25}
    rough = truck_for(card, {q: Measured(v, 0.005) for q, v in lengths.items()})
    assert rough.ratio.u > 1.0 and abs(rough.ratio.value - 12.0) < 2.5 * rough.ratio.u
    lengths |= {"pedal-height": 8.5, "brake-contact": 8.5 - 12 * (c + g) - 0.25}
    told = truck_for(card, {q: Measured(v, 0.005) for q, v in lengths.items()})
    assert told.ratio.value == pytest.approx(12.0, abs=0.3) and told.ratio.u < 0.4
    assert told.slack.value_in == pytest.approx(0.25, abs=2 * told.slack.u_in)
    assert lash_by(told.readings, used_ratio(told.readings)).u_in < told.readings.lash_u_in


def test_without_a_card_the_missing_reading_is_asked_for() -> None:
    called = {"gap": "0.6", "clearance": "0.05", "free-travel": "0.85", "pedal-height": "8-1/2"}
    report = plan_report(called, default_card())
    assert any("read brake contact height, it would tell" in note for note in report["notes"])
    assert not any("worn" in note for note in report["notes"])
    assert "Suspect" not in report["spoken"]["plan"]
    assert any(note.startswith("Read total travel") for note in report["notes"])


# --- a gap at its nominal, a stop that does nothing


def test_half_an_inch_moves_no_ring(session: Session, play: Play) -> None:
    said = play(
        session,
        f"{START} / h: 8-1/2 / h: 8-1/2 / h: 1-9/16 / h: 15/16 / h: foot off / {HOLE}"
        " / half inch / check",
    )
    texts = [s.text for s in said]
    assert any("is the nominal" in text and "go, or no go" in text for text in texts)
    assert not any("dial" in text for text in texts)
    said = play(session, "1/8 / check")
    assert any("Not moved since: fork clearance 1/8 in" in s.text for s in said)
    assert session.job.at == "lubricate" and not session.job.facts.moves


def test_a_stop_that_changes_nothing_is_told_after_one_turn(session: Session, play: Play) -> None:
    play(
        session,
        f"{START} / h: 9-3/8 / h: 9-3/8 / h: 1-9/16 / h: 1-13/16 / h: foot off / {HOLE}"
        " / 0.530 / 1/8 / check / h: 9-3/8 / check / h: foot off",
    )
    assert session.job.at == "height_stop"
    said = play(session, "done / h: 9-3/8 / check")
    assert any("The stop changed nothing" in s.text for s in said)
    assert session.job.at == "set_height" and session.job.choice == "out"


@pytest.mark.parametrize(
    ("one", "other", "small", "differ"),
    [
        ((0.5, 0.484, 0.516), (0.5625, 0.547, 0.578), True, True),  # two marks of a rule to 1/32
        ((0.5, 0.484, 0.516), (0.53125, 0.516, 0.547), True, False),  # the next mark
        ((0.53, 0.5295, 0.5305), (0.5, 0.484, 0.516), True, False),  # a dial, and a rule
        ((0.53, 0.5295, 0.5305), (0.55, 0.5495, 0.5505), True, True),
        ((8.5, 8.46875, 8.53125), (8.625, 8.59375, 8.65625), False, False),  # carpet
        ((8.5, 8.469, 8.531), (8.75, 8.719, 8.781), False, True),
    ],
)
def test_when_two_readings_of_one_length_differ(
    one: Interval, other: Interval, small: bool, differ: bool
) -> None:
    assert unlike(one, other, small) is unlike(other, one, small) is differ


HIGH = (
    f"{START} / h: 9-3/8 / h: 9-3/8 / h: 1-9/16 / h: 1-13/16 / h: foot off / {HOLE}"
    " / 0.530 / 0.125 / check / h: 9-3/8 / check / h: foot off"
)
"""A pedal too high: its stop is to be turned, which draws a clearance of 1/8 along."""


def test_a_stop_that_a_correction_leaves_nothing_to_do_for_is_left(
    session: Session, play: Play
) -> None:
    play(session, HIGH)
    assert session.job.at == "height_stop"
    play(session, "correct the pedal height to 8-1/2 / check")
    assert session.job.at == "set_total" and not session.job.facts.linkage


LOW = (
    f"{START} / h: 7-5/8 / h: 7-5/8 / h: 1-3/16 / h: 11/16 / h: foot off / {HOLE}"
    " / 0.530 / 0.100 / h: 7-5/8 / check / h: foot off / done / h: 8-1/16 / check / h: 8-1/16"
    " / h: 1-5/8 / h: 11/16 / h: foot off / done / 0.530"
)
"""A pedal too low, whose stop is turned."""


@pytest.mark.parametrize(
    ("clearance", "again"), [("0.062", True), ("0.212", True), ("0.135", False), ("0.104", False)]
)
def test_a_clearance_that_the_stop_cannot_have_made_is_read_again(
    session: Session, play: Play, clearance: str, again: bool
) -> None:
    """The pedal rests 7/16 in higher: the fork is drawn by as much as that, or not at all."""
    play(session, LOW)
    assert session.job.at == "final_clearance"
    play(session, f"{clearance} / check")
    assert (session.job.correcting == "clearance") is again


def changes(*steps_and_travels: tuple[int, float]) -> list[LinkageMove]:
    return [
        LinkageMove("fork_rod", "", steps * travel, 0, steps=steps, other=True)
        for steps, travel in steps_and_travels
    ]


@pytest.mark.parametrize(
    ("told", "kept"),
    [
        ([(-15, 0.0079)], [0]),  # all that is known
        ([(-15, 0.0079), (12, 0.0037)], [1]),  # the card's 0.004 has it
        ([(-15, 0.0079), (12, 0.0083), (3, 0.0037)], [0, 1]),
        ([(12, 0.0022), (4, 0.0021)], [0, 1]),
        ([(3, 0.0015), (4, 0.0079)], []),  # the card lies between them
    ],
)
def test_one_misread_change_is_outvoted(told: list[tuple[int, float]], kept: list[int]) -> None:
    some = changes(*told)
    assert most_alike(some, 0.004) == [some[i] for i in kept]


TURNED = (
    f"{START} / h: 8 / h: 8 / h: 2 / h: 3/16 / h: foot off / {HOLE} / 0.550 / 0.190 / check"
    " / 0.190 / check / done"
)
"""Too much clearance, and the rod turned for it."""


def test_what_a_misreading_made_of_the_rod_is_forgotten_where_it_is_read_again(
    session: Session, play: Play
) -> None:
    play(session, f"{TURNED} / 0.190 / check")
    assert session.job.facts.idle["fork_rod"] == MOST_IDLE and session.job.choice == "out"
    play(session, "0.138 / check")
    facts = session.job.facts
    assert facts.idle["fork_rod"] == 0 and facts.linkage[-1].clearance_in == pytest.approx(-0.052)


def test_a_rod_that_works_was_idle_before_by_a_misreading(session: Session) -> None:
    """Two changes of little effect count together only where none between them had its own."""
    facts = session.job.facts
    early, late = (LinkageMove(f"{at}_rod", "", 0.01, 0, steps=1) for at in ("fork", "free"))
    early.idle = facts.idle["fork_rod"] = 1
    facts.linkage[:] = [early, late]
    facts.works(late)
    assert early.idle == facts.idle["fork_rod"] == 0


def test_the_ring_moves_no_brake_contact_whatever_the_gauges_read(
    session: Session, play: Play
) -> None:
    """Gap and clearance add up to 0.014 in less than before: that is in the gauges."""
    play(session, f"{LAST} / clear / h: released / 0.540 / check / 0.146 / check")
    truck = session.job.facts.plans.truck()
    assert session.job.facts.lugs_total and truck is not None
    assert truck.readings.brake_contact is not None
    assert truck.readings.brake_contact.value_in == 3 / 4


AT_END = (
    f"{START} / h: 8.5 / h: 8.5 / h: 2-1/8 / h: 5/8 / h: foot off / {HOLE} / 0.530 / 0.150"
    " / h: 2-1/8 / check / h: foot off / done / h: 1-7/8 / h: 7/8 / h: foot off / done / 0.530"
)
"""The rod turned for the free travel, which says that it did as told; clearance is read last."""


def test_a_final_clearance_that_is_out_against_all_else_is_read_again(
    session: Session, play: Play
) -> None:
    said = play(session, f"{AT_END} / 0.200 / check")
    assert session.job.correcting == "clearance"
    assert any("By the others, fork clearance is at most" in one.text for one in said)
    play(session, "0.127 / check")
    assert session.job.at == "cover_on" and not session.job.facts.moves


def test_what_reads_so_twice_is_believed_against_all_else(session: Session, play: Play) -> None:
    play(session, f"{AT_END} / 0.200 / check / 0.200 / check")
    taken = session.job.facts.latest("clearance")
    assert not session.job.correcting and session.job.at != "cover_on"
    assert taken is not None and taken.value_in == 0.2
