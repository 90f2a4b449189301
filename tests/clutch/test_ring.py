"""Ring plans: the geometry, the best count, and what the ring cannot fix."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from assistant.clutch.conformity import Limits
from assistant.clutch.ring import (
    COARSE_IN,
    FINE_IN,
    MAX_LUGS,
    RingBelief,
    RingState,
    landing_chance,
    plan_ring,
)
from assistant.clutch.uncertainty import Measured
from assistant.job import plan_words

QUICK = settings(max_examples=40, deadline=None, database=None)
GAP = Limits(0.5, 0.5625)


def pitch_chance(belief: RingBelief, pitch_in: float) -> float:
    return sum(s.weight for s in belief.states if s.pitch_in == pitch_in)


beliefs = st.sampled_from(
    [RingBelief.prior(None), RingBelief.prior(COARSE_IN), RingBelief.prior(FINE_IN)]
)


def certain(pitch_in: float, sense: int = 1) -> RingBelief:
    return RingBelief((RingState(pitch_in, sense, 1.0),))


@QUICK
@given(st.floats(0.2, 0.9), st.floats(0.0, 0.5), st.floats(0, 0.02), beliefs)
def test_ring_conserves_clearance_plus_gap(
    g: float, c: float, u: float, belief: RingBelief
) -> None:
    plan = plan_ring(Measured(g, u), Measured(c, u), GAP, belief)
    assert plan.clearance_after is not None
    g2, c2 = plan.gap_after.value_in, plan.clearance_after.value_in
    assert g2 + c2 == pytest.approx(g + c, abs=1e-12)
    moved = g - g2
    assert moved == pytest.approx(plan.lugs * belief.best.sense * plan.pitch_in, abs=1e-12)
    assert plan.gap_after.u_in >= u


@QUICK
@given(st.floats(0.3, 0.8), st.floats(1e-3, 0.02), beliefs, st.integers(-MAX_LUGS, MAX_LUGS))
def test_chance_is_the_scipy_integral(g: float, u: float, belief: RingBelief, lugs: int) -> None:
    """Outside check: scipy.stats.norm, mixed over the belief."""
    expected = 0.0
    for state in belief.states:
        at = g - state.sense * lugs * state.pitch_in
        spread = (u**2 + (lugs * 0.001) ** 2) ** 0.5
        low, high = stats.norm.cdf([0.5, 0.5625], at, spread)
        expected += state.weight * (high - low)
    assert landing_chance(Measured(g, u), GAP, belief, lugs) == pytest.approx(expected, abs=1e-9)


@QUICK
@given(st.floats(0.35, 0.75), st.floats(0, 0.02), beliefs)
def test_chosen_count_is_the_brute_force_best(g: float, u: float, belief: RingBelief) -> None:
    gap = Measured(g, u)
    plan = plan_ring(gap, None, GAP, belief)
    assert plan.clearance_after is None
    chances = {n: landing_chance(gap, GAP, belief, n) for n in range(-MAX_LUGS, MAX_LUGS + 1)}
    assert plan.chance == pytest.approx(chances[plan.lugs])
    best = max(chances.values())
    if plan.chance < best - 1e-8:
        # Given up only for a poor chance that the likeliest pitch would spoil, and then for a
        # count that is expected to end nearer, worked out here afresh.
        assert best < 0.25

        def miss(n: int) -> float:
            return sum(s.weight * GAP.miss_in(g - s.sense * n * s.pitch_in) for s in belief.states)

        assert miss(plan.lugs) <= min(miss(n) for n in chances) + 1e-8
    else:
        assert not [n for n in chances if abs(n) < abs(plan.lugs) and chances[n] > best + 1e-8]
    assert [n.lugs for n in plan.alternatives] == [
        n for n in (plan.lugs - 1, plan.lugs + 1) if abs(n) <= MAX_LUGS
    ]


def test_a_gap_already_in_moves_nothing() -> None:
    plan = plan_ring(Measured(0.53, 0.003), Measured(0.125, 0.003), GAP, RingBelief.prior(None))
    assert plan.lugs == 0
    assert plan.gap_after == Measured(0.53, 0.003)
    assert plan.misses == ""


def test_ties_take_the_fewest_lugs() -> None:
    wide = Limits(0.2, 0.9)
    assert plan_ring(Measured(0.5), None, wide, certain(COARSE_IN)).lugs == 0
    assert plan_ring(Measured(0.96), None, wide, certain(COARSE_IN)).lugs == 3
    assert plan_ring(Measured(0.14), None, wide, certain(COARSE_IN)).lugs == -3


def test_signs_tighten_closes_the_gap_and_a_reversed_ring_turns_the_other_way() -> None:
    wide_gap = Measured(0.62, 0.001)
    assert plan_ring(wide_gap, None, GAP, certain(COARSE_IN)).lugs > 0
    turned = plan_ring(wide_gap, None, GAP, certain(COARSE_IN, -1))
    assert turned.lugs < 0
    assert turned.gap_after.value_in < 0.5625
    assert plan_ring(Measured(0.45, 0.001), None, GAP, certain(COARSE_IN)).lugs < 0


def test_out_of_reach_still_gives_the_nearest_and_says_why() -> None:
    far = plan_ring(Measured(1.2, 0.003), None, GAP, RingBelief.prior(COARSE_IN))
    assert far.lugs == MAX_LUGS
    assert far.misses == "no more lugs" and "do not reach" in plan_words.ring_misses(far)
    tight = plan_ring(Measured(0.515), None, Limits(0.529, 0.531), certain(COARSE_IN))
    assert tight.lugs == -1  # 0.542 is 0.011 off, 0.515 is 0.014 off.
    assert tight.misses == "between lugs" and "whole lugs" in plan_words.ring_misses(tight)


def test_belief_prior() -> None:
    card = RingBelief.prior(FINE_IN)
    assert card.best.pitch_in == FINE_IN
    assert pitch_chance(card, COARSE_IN) == pytest.approx(0.1)
    assert pitch_chance(RingBelief.prior(None), COARSE_IN) == pytest.approx(0.75)
    odd = RingBelief.prior(0.020)
    assert odd.best.pitch_in == 0.020
    assert pitch_chance(odd, COARSE_IN) == pytest.approx(pitch_chance(odd, FINE_IN))
    assert sum(state.weight for state in odd.states) == pytest.approx(1.0)
    assert 0.0 < odd.reversed_chance < 0.1
