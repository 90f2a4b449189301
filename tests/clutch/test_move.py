"""What a ring move did: single cases, calibration, and convergence by simulation."""

from __future__ import annotations

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.clutch.conformity import Limits
from assistant.clutch.ring import (
    COARSE_IN,
    FINE_IN,
    MISREAD_SPREAD_IN,
    MISREAD_WEIGHT,
    RingBelief,
    compare_move,
    executions,
    plan_ring,
)
from assistant.clutch.uncertainty import Measured
from tests.clutch.test_ring import pitch_chance

QUICK = settings(max_examples=50, deadline=None, database=None)
GAP = Limits(0.5, 0.5625)
DIAL_U = 0.002


@pytest.mark.parametrize(
    ("after", "kind", "lugs"),
    [
        (0.600 - 4 * COARSE_IN, "as planned", 4),
        (0.600, "did not move", 0),
        (0.600 + 4 * COARSE_IN, "wrong way", -4),
        (0.600 - 5 * COARSE_IN, "other count", 5),
        (0.600 - 4 * FINE_IN, "other pitch", 4),
    ],
)
def test_plain_cases(after: float, kind: str, lugs: int) -> None:
    finding = compare_move(
        RingBelief.prior(COARSE_IN), Measured(0.6, DIAL_U), Measured(after, DIAL_U), 4
    )
    assert finding.kind == kind
    assert finding.lugs_moved == lugs
    assert finding.probability >= 0.5
    assert finding.predicted_in == pytest.approx(0.6 - 4 * COARSE_IN)
    assert finding.measured_in == after


def test_loosening_moves_are_read_the_same_way() -> None:
    finding = compare_move(
        RingBelief.prior(COARSE_IN), Measured(0.4, DIAL_U), Measured(0.481, DIAL_U), -3
    )
    assert finding.kind == "as planned"
    assert finding.lugs_moved == -3


def test_a_wild_reading_is_unclear_and_leaves_the_belief_alone() -> None:
    prior = RingBelief.prior(None)
    for wild in (0.2, 5.0, 1000.0):
        finding = compare_move(prior, Measured(0.6, DIAL_U), Measured(wild, DIAL_U), 3)
        assert finding.kind == "unclear"
        for old, new in zip(prior.states, finding.belief.states, strict=True):
            assert new.weight == pytest.approx(old.weight, abs=0.01)


def test_half_the_lugs_and_the_fine_ring_are_told_apart_by_a_second_move() -> None:
    """Two fine lugs move 0.028 in, one coarse lug 0.027: one move cannot be sure."""
    first = compare_move(
        RingBelief.prior(COARSE_IN), Measured(0.6, DIAL_U), Measured(0.572, DIAL_U), 2
    )
    assert first.weights["other pitch"] > 0.05
    assert first.weights["other count"] > 0.05
    second = compare_move(first.belief, Measured(0.572, DIAL_U), Measured(0.544, DIAL_U), 2)
    assert pitch_chance(second.belief, FINE_IN) > 0.97
    coarse = compare_move(first.belief, Measured(0.572, DIAL_U), Measured(0.518, DIAL_U), 2)
    assert pitch_chance(coarse.belief, COARSE_IN) > 0.85


@QUICK
@given(
    st.floats(0.4, 0.8),
    st.floats(-0.3, 0.3),
    st.floats(0, 0.02),
    st.integers(-8, 8).filter(bool),
)
def test_weights_are_probabilities_and_nothing_dies(
    before: float, moved: float, u: float, told: int
) -> None:
    prior = RingBelief.prior(None)
    snapshot = prior.states
    finding = compare_move(prior, Measured(before, u), Measured(before - moved, u), told)
    assert sum(finding.weights.values()) == pytest.approx(1.0)
    assert set(finding.weights) == {
        "as planned",
        "did not move",
        "wrong way",
        "other count",
        "other pitch",
        "unclear",
    }
    assert all(state.weight > 0.0 for state in finding.belief.states)
    assert prior.states is snapshot
    if finding.kind != "unclear":
        assert finding.weights[finding.kind] == finding.probability >= 0.5


def test_a_move_of_no_lugs_is_refused() -> None:
    with pytest.raises(ValueError, match="no move"):
        compare_move(RingBelief.prior(None), Measured(0.6), Measured(0.6), 0)


def simulate(
    rng: random.Random, before: float, told: int, pitch_in: float, sense: int, slips: bool
) -> tuple[float, bool]:
    """The true gap after one move, and whether it was carried out as told."""
    weights = executions(told)
    count = rng.choices(list(weights), list(weights.values()))[0] if slips else told
    pitch = rng.gauss(pitch_in, 0.001)
    return before - sense * count * pitch, count == told


def test_posterior_is_calibrated() -> None:
    """Truths drawn from the prior: stated probabilities match how often they are right."""
    rng = random.Random(20)
    prior = RingBelief.prior(None)
    stated: list[float] = []
    right: list[bool] = []
    for _ in range(1500):
        told = rng.choice([1, 2, 3, 4, 5])
        state = rng.choices(prior.states, [s.weight for s in prior.states])[0]
        before = rng.uniform(0.55, 0.8)
        if rng.random() < MISREAD_WEIGHT:
            after, as_told = rng.gauss(before - told * COARSE_IN, MISREAD_SPREAD_IN), False
        else:
            after, as_told = simulate(rng, before, told, state.pitch_in, state.sense, True)
        u = rng.choice([0.001, 0.009])
        finding = compare_move(
            prior, Measured(rng.gauss(before, u), u), Measured(rng.gauss(after, u), u), told
        )
        stated.append(finding.weights["as planned"])
        right.append(as_told and state.pitch_in == COARSE_IN and state.sense == 1)
    assert sum(stated) / len(stated) == pytest.approx(sum(right) / len(right), abs=0.03)
    for low, high in ((0.0, 0.2), (0.2, 0.8), (0.8, 1.01)):
        inside = [i for i, p in enumerate(stated) if low <= p < high]
        assert len(inside) > 60
        mean = sum(stated[i] for i in inside) / len(inside)
        share = sum(right[i] for i in inside) / len(inside)
        assert share == pytest.approx(mean, abs=0.09)


@pytest.mark.parametrize("pitch_in", [COARSE_IN, FINE_IN])
@pytest.mark.parametrize("sense", [1, -1])
@pytest.mark.parametrize("slips", [False, True])
def test_planning_with_the_posterior_reaches_tolerance(
    pitch_in: float, sense: int, slips: bool
) -> None:
    """Whatever the ring: within three clean moves (a few more with slips) the gap is in."""
    rng = random.Random(7)
    reached, learned, runs = 0, 0, 40
    for _ in range(runs):
        belief = RingBelief.prior(None)
        truth = rng.uniform(0.60, 0.66)
        reading = Measured(rng.gauss(truth, DIAL_U), DIAL_U)
        for _ in range(5 if slips else 3):
            plan = plan_ring(reading, None, GAP, belief)
            if plan.lugs == 0:
                break
            truth, _ = simulate(rng, truth, plan.lugs, pitch_in, sense, slips)
            after = Measured(rng.gauss(truth, DIAL_U), DIAL_U)
            belief = compare_move(belief, reading, after, plan.lugs).belief
            reading = after
        reached += GAP.miss_in(truth) <= 0.002
        learned += belief.best.pitch_in == pitch_in and belief.best.sense == sense
    assert reached >= 0.95 * runs
    assert learned >= 0.80 * runs
