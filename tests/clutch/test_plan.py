"""The whole adjustment: ring first, rod after, and what to expect."""

from __future__ import annotations

import random
import statistics
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.clutch.equations import (
    bearing_travel,
    brake_contact_after,
    brake_height_in,
    free_travel_after,
    free_travel_in,
)
from assistant.clutch.figures import DEFAULT_FIGURES, Figure, figure
from assistant.clutch.plan import AdjustmentPlan, Readings, plan_adjustment
from assistant.clutch.ratio import Ratio
from assistant.clutch.ring import COARSE_IN, RingBelief, plan_ring
from assistant.clutch.thread import choose_rod, margin
from assistant.clutch.uncertainty import Measured

QUICK = settings(max_examples=40, deadline=None, database=None)
LEAD = 1 / 20
CARD = RingBelief.prior(COARSE_IN)
HEIGHT, TOTAL, U = 8.75, 9.0, 0.003
ratios, clearances, gaps = st.floats(9, 15), st.floats(0.03, 0.2), st.floats(0.45, 0.75)


def truck(ratio: float = 12.0, c: float = 0.125, g: float = 0.53, lash: float = 0.0) -> Readings:
    """Every reading of a truck with this geometry."""
    return Readings(
        gap=Measured(g, U),
        clearance=Measured(c, U),
        free_travel=Measured(free_travel_in(ratio, c, lash), U),
        pedal_height=Measured(HEIGHT, U),
        brake_contact=Measured(brake_height_in(HEIGHT, ratio, c, g, lash), U),
        total_travel=Measured(TOTAL, U),
        lash_in=lash,
    )


def plan_for(readings: Readings, ratio: float | None = None) -> AdjustmentPlan:
    return plan_adjustment(readings, DEFAULT_FIGURES, CARD, LEAD, ratio)


@QUICK
@given(ratios, clearances, gaps, st.floats(0, 0.1))
def test_predictions_are_what_the_geometry_gives(
    ratio: float, c: float, g: float, lash: float
) -> None:
    """Forward model: move ring and rod on a truck of known ratio and read it again."""
    plan = plan_for(truck(ratio, c, g, lash))
    moved = plan.ring.lugs * COARSE_IN
    y = plan.rod.travel_in
    c2, g2 = c + moved + y, g - moved
    assert plan.clearance_after_ring.value_in == pytest.approx(c + moved)
    assert plan.clearance_after.value_in == pytest.approx(c2)
    assert plan.gap_after.value_in == pytest.approx(g2)
    assert plan.free_travel_after_in == pytest.approx(free_travel_in(ratio, c2, lash))
    assert plan.brake_contact_after_in == pytest.approx(
        brake_height_in(HEIGHT, ratio, c2, g2, lash)
    )
    assert plan.bearing_travel_after_in == pytest.approx(
        min(g2, (TOTAL - lash) / ratio - c2), abs=1e-9
    )
    assert plan.rod.travel_in == pytest.approx(plan.rod.total_flats * LEAD / 6)


@QUICK
@given(ratios, clearances, gaps)
def test_ring_alone_leaves_brake_contact_where_it_is(ratio: float, c: float, g: float) -> None:
    found = truck(ratio, c, g)
    plan = plan_adjustment(
        found, {"gap": DEFAULT_FIGURES["gap"]}, CARD, LEAD
    )  # No band for the rod.
    assert plan.rod.total_flats == 0
    assert found.brake_contact is not None
    assert plan.brake_contact_after_in == found.brake_contact.value_in


@QUICK
@given(ratios, clearances, gaps)
def test_rod_is_the_brute_force_best(ratio: float, c: float, g: float) -> None:
    # Without the brake's reading: with one, an out contact may draw the rod off this best.
    plan = plan_for(replace(truck(ratio, c, g), brake_contact=None))
    bands = [DEFAULT_FIGURES["clearance"], DEFAULT_FIGURES["free-travel"]]
    start = plan.clearance_after_ring.value_in

    def worst(flats: int) -> float:
        values = (start + flats * LEAD / 6, ratio * (start + flats * LEAD / 6))
        return min(margin(v, f) for v, f in zip(values, bands, strict=True) if f is not None)

    if plan.rod.total_flats:
        best = max(worst(flats) for flats in range(-80, 81))
        assert worst(plan.rod.total_flats) == pytest.approx(best, abs=1e-6)
    else:
        assert worst(0) > 0 or worst(0) >= max(worst(1), worst(-1))


def test_uncertainty_of_predictions_by_monte_carlo() -> None:
    """Outside check of the first-order propagation: a seeded Monte Carlo (as JCGM 101)."""
    rng = random.Random(5)
    c, g, t, h, r = Measured(0.06, 0.004), Measured(0.8, 0.005), 8.0, 9.0, Ratio(12.0, 0.3)
    lugs_in, ring_u, y = 0.081, 0.003, -0.02
    found = Readings(
        gap=g,
        clearance=c,
        free_travel=Measured(0.72, 0.03),
        pedal_height=Measured(h, 0.02),
        total_travel=Measured(t, 0.05),
    )
    after = c.shifted(lugs_in, ring_u).shifted(y)
    read, worked_out, brake, bearing = [], [], [], []
    for _ in range(20000):
        ratio, ring = rng.gauss(*r), rng.gauss(lugs_in, ring_u)
        cc, gg = rng.gauss(c.value_in, c.u_in), rng.gauss(g.value_in, g.u_in)
        read.append(rng.gauss(0.72, 0.03) + ratio * (ring + y))
        worked_out.append(ratio * (cc + ring + y))
        brake.append(rng.gauss(h, 0.02) - ratio * (cc + gg + y))
        bearing.append(rng.gauss(t, 0.05) / ratio - (cc + ring + y))
    not_read = replace(found, free_travel=None)
    for sample, predicted in (
        (read, free_travel_after(found, r, after)),
        (worked_out, free_travel_after(not_read, r, after)),
        (brake, brake_contact_after(found, r, True, y)),
        (bearing, bearing_travel(found, r, after, g)),
    ):
        assert predicted is not None
        assert predicted.value_in == pytest.approx(statistics.mean(sample), abs=0.01)
        assert predicted.u_in == pytest.approx(statistics.stdev(sample), rel=0.03)


def test_ring_comes_first_and_is_the_ring_modules_plan() -> None:
    found = truck(g=0.68, c=0.02)
    gap = DEFAULT_FIGURES["gap"]
    assert gap is not None
    assert plan_for(found).ring == plan_ring(found.gap, found.clearance, gap.limits, CARD)


def test_a_truck_that_is_right_is_left_alone() -> None:
    plan = plan_for(truck())
    assert plan.ring.lugs == 0
    assert plan.rod.total_flats == 0
    assert plan.free_travel_now.value_in == 1.5
    assert plan.notes == ()
    assert {(j.quantity, j.when) for j in plan.judgements} == {
        (q, w)
        for q in ("gap", "clearance", "free-travel", "brake-contact", "bearing-travel")
        for w in ("found", "after")
    }
    assert all(j.judgement.decision == "in" for j in plan.judgements)


def test_worn_truck_is_brought_in_by_ring_then_rod() -> None:
    plan = plan_for(truck(c=0.03, g=0.625, ratio=12))
    assert plan.ring.lugs == 4
    assert plan.clearance_after_ring.value_in == pytest.approx(0.138)
    after = {j.quantity: j.judgement.decision for j in plan.judgements if j.when == "after"}
    assert after["gap"] == after["clearance"] == after["free-travel"] == "in"
    assert any("under 1/2" in note for note in plan.notes)


def test_where_the_ratio_came_from() -> None:
    full = truck(ratio=11)
    assert plan_for(full, 12.5).ratio[::2] == (12.5, "card")
    both = plan_for(full).ratio
    assert both.source == "both" and both.value == pytest.approx(11)
    free_only = replace(full, brake_contact=None)
    assert plan_for(free_only).ratio.source == "free travel"
    brake_only = replace(full, free_travel=None)
    assert plan_for(brake_only).ratio.source == "brake contact"
    bare = replace(full, free_travel=None, brake_contact=None)
    common = plan_for(bare).ratio
    assert common.source == "common practice" and common.value == 12.0
    assert any("common practice" in note for note in plan_for(bare).notes)


def test_what_cannot_be_known_is_none() -> None:
    bare = Readings(Measured(0.53, U), Measured(0.125, U))
    plan = plan_for(bare)
    assert plan.brake_contact_after_in is None
    assert plan.bearing_travel_after_in is None
    with_height = replace(bare, pedal_height=Measured(HEIGHT, U))
    assert plan_for(with_height).brake_contact_after_in is None
    known = plan_for(with_height, 12.0)
    assert known.brake_contact_after_in == pytest.approx(HEIGHT - 12 * 0.655)


@QUICK
@given(ratios, clearances, gaps)
def test_rod_helps_brake_contact_only_inside_the_other_bands(
    ratio: float, c: float, g: float
) -> None:
    """Against brute force: a rod move that puts contact in, and keeps the others in, is found."""
    plan = plan_for(truck(ratio, c, g))
    bands = [DEFAULT_FIGURES[q] for q in ("clearance", "free-travel", "brake-contact")]
    found = truck(ratio, c, g).brake_contact
    assert found is not None
    start = plan.clearance_after_ring.value_in

    def worst(flats: int) -> float:
        y = flats * LEAD / 6
        values = (start + y, ratio * (start + y), found.value_in - ratio * y)
        return min(margin(v, f) for v, f in zip(values, bands, strict=True) if f is not None)

    contact = [j for j in plan.judgements if (j.quantity, j.when) == ("brake-contact", "after")]
    if contact[0].judgement.decision == "out":
        assert max(worst(flats) for flats in range(-60, 61)) < 0.05


def test_no_clutch_brake_stops_the_bearing() -> None:
    """A stroke of 12 in at 12 to 1 carries the bearing 7/8 in past the clearance, not the gap."""
    found = replace(truck(), brake_contact=None, total_travel=Measured(12.0, U))
    figures = {**DEFAULT_FIGURES, "brake-contact": None}
    belief = CARD
    braked = plan_adjustment(found, figures, belief, 1 / 20, 12.0)
    free = plan_adjustment(found, figures, belief, 1 / 20, 12.0, clutch_brake=False)
    assert braked.bearing_travel_after_in == pytest.approx(0.53)
    assert free.bearing_travel_after_in == pytest.approx(0.875)


def test_a_clutch_that_adjusts_itself_is_told_of_no_ring() -> None:
    for found in (truck(c=0.03, g=0.625), truck(c=-0.01, g=0.65)):
        usual = plan_adjustment(found, DEFAULT_FIGURES, CARD, 1 / 20).notes
        own = plan_adjustment(
            found, DEFAULT_FIGURES, CARD, 1 / 20, max_lugs=0, self_adjusting=True
        ).notes
        assert "Free travel is under 1/2 in: the ring is due." in usual
        assert "Free travel is under 1/2 in: the clutch is not keeping itself set." in own
        assert not any("ring" in note.split() for note in own)


def test_quarrelling_ratios_are_noted_and_not_averaged() -> None:
    found = truck()
    assert found.free_travel is not None
    plan = plan_for(replace(found, free_travel=Measured(2.3, U)))
    assert plan.ratio_finding is not None and not plan.ratio_finding.agree
    assert plan.ratio.source == "brake contact"
    assert any("disagree" in note for note in plan.notes)


def test_brake_contact_out_is_the_linkages_business() -> None:
    plan = plan_for(truck(g=0.53, c=0.25))
    found = next(j for j in plan.judgements if (j.quantity, j.when) == ("brake-contact", "found"))
    assert found.judgement.decision == "out"
    assert any("No ring move" in note for note in plan.notes)
    assert plan.rod.total_flats < 0
    assert plan.brake_contact_after_in is not None
    assert plan.brake_contact_after_in > found.value.value_in


def test_bands_that_cannot_both_be_met_are_noted() -> None:
    figures = {**DEFAULT_FIGURES, "free-travel": figure(2.2, 2.4, None, "card")}
    plan = plan_adjustment(truck(), figures, CARD, LEAD)
    assert any("both" in note for note in plan.notes)
    assert 0.125 < plan.clearance_after.value_in < 2.3 / 12


def test_a_guessed_ratio_does_not_move_the_rod_for_free_travel() -> None:
    figures = {**DEFAULT_FIGURES, "free-travel": figure(2.2, 2.4, None, "card")}
    plan = plan_adjustment(Readings(Measured(0.53, U), Measured(0.125, U)), figures, CARD, LEAD)
    assert plan.rod.total_flats == 0


@QUICK
@given(clearances, gaps, st.floats(0.001, 0.02))
def test_notes_are_short_and_uncertainty_never_shrinks(c: float, g: float, u: float) -> None:
    found = replace(truck(c=c, g=g), gap=Measured(g, u), clearance=Measured(c, u))
    plan = plan_for(found)
    assert all(len(note.split()) <= 15 and "\n" not in note for note in plan.notes)
    assert plan.gap_after.u_in >= u
    assert plan.clearance_after.u_in >= u
    assert found.free_travel is not None
    assert plan.free_travel_after.u_in >= found.free_travel.u_in


def test_no_gap_figure_or_an_impossible_number_is_refused() -> None:
    with pytest.raises(ValueError, match="figure for the gap"):
        plan_adjustment(truck(), {**DEFAULT_FIGURES, "gap": None}, CARD, LEAD)
    with pytest.raises(ValueError, match="pedal ratio"):
        plan_for(truck(), -1.0)
    with pytest.raises(ValueError, match="Lash"):
        replace(truck(), lash_in=-0.1)
    with pytest.raises(ValueError, match="over 30 turns"):
        choose_rod([3.0], lambda y: -abs(y - 3.0), LEAD)
    with pytest.raises(ValueError, match="per fork travel"):
        choose_rod([0.1], lambda y: -abs(y - 0.1), LEAD, rod_per_fork=0.0)


def test_lever_between_rod_and_fork() -> None:
    figures = {"gap": DEFAULT_FIGURES["gap"], "clearance": DEFAULT_FIGURES["clearance"]}
    found = truck(c=0.05)
    straight = plan_adjustment(found, figures, CARD, LEAD)
    levered = plan_adjustment(found, figures, CARD, LEAD, rod_per_fork=2.0)
    assert levered.rod.total_flats == 2 * straight.rod.total_flats
    assert levered.rod.travel_in == pytest.approx(straight.rod.travel_in)


@pytest.mark.parametrize(
    ("value", "band", "expected"),
    [
        (1.5, figure(1.125, 2.75, 1.5, ""), 1.0),
        (1.125, figure(1.125, 2.75, 1.5, ""), 0.0),
        (2.75, figure(1.125, 2.75, 1.5, ""), 0.0),
        (0.53125, figure(0.5, 0.5625, 0.5, ""), 1.0),
        (0.5, figure(0.5, None, None, ""), 0.0),
        (2.0, figure(0.5, None, None, ""), 1.0),
        (0.25, figure(None, 0.5, 0.25, ""), 1.0),
        (0.75, figure(None, 0.5, 0.25, ""), -1.0),
        (0.5, figure(0.5, 0.5, None, ""), 1.0),
    ],
)
def test_margin(value: float, band: Figure, expected: float) -> None:
    assert margin(value, band) == pytest.approx(expected)
