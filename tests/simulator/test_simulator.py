"""The physics against the trade's own equations, and trucks of every kind through the whole job.

Twenty thousand are played by hand: `python -m tests.simulator 20000`, see benchmarks/FIGURES.md.
"""

import random
from dataclasses import replace
from types import SimpleNamespace
from typing import cast

import pytest

from tests.simulator import brute, gauges
from tests.simulator.judge import GOOD, Verdict, judged, possible, refused, signed
from tests.simulator.kinds import COMMON, KINDS, Job, make
from tests.simulator.people import Crew, Habits, Told
from tests.simulator.truck import Setting, Truck

R, LASH, LUG, FLAT = 12.0, 1 / 16, 0.027, 0.05 / 6


def truck(clearance: float = 0.040, gap: float = 0.660, fluid: bool = False) -> Truck:
    """Worn facings: the pedal at 8-1/2 in and its end 1/4 in above the floor."""
    return Truck(
        brake_face=gap, bearing=0.0, tips=-clearance, ratio=R, curve=0.0, lash=LASH, give=0.0,
        lug=LUG, lugs_left=20, lugs_back=20, flat=FLAT, flats_free=90, brake=True, fluid=fluid,
        set=Setting(0, 0, 8.5, 0.25),
    )  # fmt: skip


def read(of: Truck) -> tuple[float, ...]:
    return of.gap, of.clearance, of.free_travel, of.brake_contact, of.total_travel


def test_a_truck_as_it_stands() -> None:
    assert read(truck()) == pytest.approx((0.66, 0.04, R * 0.04 + LASH, 0.0, 8.25))
    assert truck(0.04, 0.6).brake_contact == pytest.approx(8.5 - R * 0.64 - LASH)


def test_the_ring_moves_no_contact_and_the_rod_does() -> None:
    start = truck(0.040, 0.600)
    ring = start.at(Setting(3, 0, 8.5, 0.25))
    assert ring.gap == pytest.approx(0.600 - 3 * LUG)
    assert ring.clearance == pytest.approx(0.040 + 3 * LUG)
    assert ring.brake_contact == pytest.approx(start.brake_contact)
    rod = start.at(Setting(0, -3, 8.5, 0.25))
    assert rod.brake_contact - start.brake_contact == pytest.approx(R * 3 * FLAT)
    assert start.free_travel - rod.free_travel == pytest.approx(R * 3 * FLAT)


def test_a_pedal_that_rests_higher() -> None:
    """Rods draw the fork along; fluid lets it rest, and the pedal has that much more slack."""
    higher = Setting(0, 0, 8.8, 0.25)
    for fluid, clearance in ((False, 0.040 + 0.3 / R), (True, 0.040)):
        start = truck(0.040, 0.600, fluid)
        moved = start.at(higher)
        assert moved.clearance == pytest.approx(clearance)
        assert moved.free_travel == pytest.approx(start.free_travel + 0.3)
        assert moved.brake_contact == pytest.approx(start.brake_contact)


def test_parts_that_want_one_place_push_the_bearing() -> None:
    pressed = truck(-0.020, 0.600)
    assert (pressed.clearance, pressed.free_travel) == (0.0, 0.0)
    assert pressed.gap == pytest.approx(0.600 - 0.020 + LASH / R)


def test_brute_force_knows_the_one_ring_move() -> None:
    job = Job("", truck(0.040, 0.600), dict(COMMON))
    found = brute.best(job, {})
    assert found is not None and found.moves == 1 and 2 <= found.setting.lugs <= 3
    job.limits |= {"brake-contact": (2.0, 2.1), "pedal-height": (8.4, 8.6)}
    assert brute.best(job, {}) is None


def test_what_a_gauge_shows_is_said_in_several_ways() -> None:
    assert gauges.RULE32.shows(0.54) == 17 / 32
    assert set(gauges.ways(17 / 32, gauges.RULE32)) >= {"17/32", "seventeen thirty-seconds"}
    assert "five twenty-six" in gauges.ways(0.526, gauges.DIAL)
    assert gauges.ways(13.5 / 25.4, gauges.CALIPER_MM)[0] == "13.5 mm"


def test_a_truck_that_brute_force_would_set_is_there_for_every_kind() -> None:
    for kind in KINDS:
        jobs = (make(kind, random.Random(seed)) for seed in range(12))
        assert any(possible(replace(job), {}) for job in jobs), kind


def crew(doubts: list[str], wrong: bool = False) -> Crew:
    """People who read the gap last, by a rule, and were told of these doubts."""
    told = {"gap": Told(17 / 32, gauges.RULE32, wrong)}
    return cast(Crew, SimpleNamespace(told=told, doubts=doubts))


def test_the_verdict_on_a_truck_that_was_signed_off() -> None:
    close, worn = "gap 9/16 in accepted: too close to call", "gap 5/8 in accepted: worn"
    for gap, people, end in (
        (0.530, crew([]), "in tolerance"),
        (0.575, crew([]), "in tolerance"),  # within the rule's half step
        (0.590, crew([]), "signed out"),
        (0.590, crew(["clearance accepted: worn"]), "signed out"),
        (0.590, crew([], wrong=True), "misread last"),
        (0.590, crew([close]), "accepted as too close"),
        (0.650, crew([close]), "signed out, doubt named"),
        (0.650, crew([worn]), "accepted"),
        (0.530, crew(["gap 17/32 in accepted: worn"]), "accepted"),
    ):
        job = Job("", truck(0.120, gap), {"gap": COMMON["gap"]})
        assert signed(job, people)[0] == end, (gap, people.doubts)


def test_a_gap_nearer_to_a_limit_than_the_gauge_tells_may_be_refused() -> None:
    """Only the maker's procedure moves it, and a rule to 1/32 may show it as outside."""
    limits = {q: COMMON[q] for q in ("gap", "clearance")}
    for half, end in ((1 / 64, "refused, on the edge"), (0.0, "wrongly refused")):
        job = Job("", truck(0.120, 0.505), dict(limits), manual=False)
        assert refused(job, Verdict(0, "", "left", best=1, gap_half=half)) == end


def test_a_rod_turned_after_the_trial_is_no_dead_end() -> None:
    """The cover was on, and greasing, done before, asked for it off."""
    assert judged(1002993, tuple(KINDS)).end == "honestly refused"


CARELESS = Habits(misread=0.04, wrong_way=0.04, wrong_count=0.08)


@pytest.mark.parametrize(
    "seed",
    [
        pytest.param(2001526, id="by fluid a higher pedal draws no fork along"),
        pytest.param(2003834, id="a misread effect of the rod, found out at the choice"),
        pytest.param(2005321, id="a final clearance against all else is read again"),
        pytest.param(3001499, id="what the gauges leave open moves no brake contact"),
        pytest.param(4001638, id="a gap that is out after the maker's procedure is read again"),
        pytest.param(4003693, id="a pedal that ended above the brake tells no height of it"),
        pytest.param(3003762, id="a rod that works was called idle by a misreading"),
    ],
)
def test_a_careless_crew_sets_the_truck(seed: int) -> None:
    assert judged(seed, tuple(KINDS), CARELESS).end == "in tolerance"


@pytest.mark.long
@pytest.mark.parametrize("part", range(4))
def test_two_trucks_of_every_kind(part: int) -> None:
    for seed in range(part, 2 * len(KINDS), 4):
        verdict = judged(seed)
        assert verdict.end in (*GOOD, "wrongly refused"), verdict.line


@pytest.mark.parametrize("seed", [62975, 67085])
def test_clearance_is_not_spent_for_a_brake_that_cannot_be_brought_in(seed: int) -> None:
    """Rods turned by nine turns to and fro till no reading was possible any more."""
    assert judged(seed, tuple(KINDS)).end in GOOD


@pytest.mark.parametrize(
    "seed",
    [
        pytest.param(200469, id="clearance foretold hid that the rod may still go on"),
        pytest.param(200592, id="a wrong way and a lug off leave one more ring move"),
        pytest.param(310135, id="a final reading is put right by the stops"),
        pytest.param(311071, id="the brake, touched at last, tells the ratio"),
        pytest.param(312638, id="a rod at its end leaves the stop"),
        pytest.param(409176, id="a gap that is out at the end goes to the ring"),
        pytest.param(412903, id="a pedal that ends above the brake has missed it"),
        pytest.param(511529, id="fluid: a pedal that rests higher is no part of the ratio"),
        pytest.param(407338, id="a coarse gauge hides what the rod did"),
        pytest.param(313610, id="a misread clearance is not carried into the contact"),
        pytest.param(611173, id="a clearance that the ring's own gap gives the lie is read again"),
        pytest.param(624213, id="what the rod did for a fork on the bearing is not seen"),
        pytest.param(624939, id="a misread effect of the rod is forgotten"),
        pytest.param(629781, id="what was accepted is open again once the gap was put right"),
        pytest.param(506313, id="a finer pair of readings tells the ratio"),
        pytest.param(508671, id="a travel that its stop did not make is read again"),
        pytest.param(419418, id="a misread gap, found out at the end, opens what was accepted"),
        pytest.param(406029, id="fluid: slack of a pedal that rests higher lowers the contact"),
        pytest.param(408226, id="after the ring the rod may be turned again"),
        pytest.param(408371, id="ring moves that the fork on the bearing hides do not count"),
        pytest.param(640786, id="three readings that differ settle nothing"),
        pytest.param(901616, id="a finer reading said in two meanings is the one that stands"),
        pytest.param(1115448, id="what coarse gauges leave open of the rod is as told"),
        pytest.param(901928, id="a clearance that the stop cannot have made is read again"),
    ],
)
def test_what_was_learned_sets_the_truck(seed: int) -> None:
    assert judged(seed, tuple(KINDS)).end == "in tolerance"
