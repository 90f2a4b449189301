"""Readings with their uncertainty and judging against limits: the GUM, JCGM 106 and scipy."""

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from assistant.clutch.conformity import (
    DEFAULT_FIGURES,
    ONE_SIDED,
    TWO_SIDED,
    Limits,
    Measured,
    conformance_probability,
    judge,
    normal_cdf,
)
from tests.examples import examples

QUICK = examples(60)
GAP = Limits(0.5, 0.5625)
lengths = st.floats(-2, 3)
spreads = st.floats(0, 0.5)


# Outside checks: JCGM 106:2012, clause 7. The R package propagate reproduces the same table and
# clauses (rdrr.io/cran/propagate/src/demo/JCGM106.R, "7.3 Table 1: z for one-sided tolerance
# intervals and normal PDFs"); only its opening could be read, so the numbers here are from memory.
@pytest.mark.parametrize(
    ("p", "z"), [(0.80, 0.84), (0.90, 1.28), (0.95, 1.64), (0.99, 2.33), (0.999, 3.09)]
)
def test_jcgm_106_table_1(p: float, z: float) -> None:
    # A value z*u inside one limit conforms with p.
    on_the_guard = conformance_probability(Measured(-z, 1.0), Limits(None, 0.0))
    assert on_the_guard == pytest.approx(p, abs=0.003)


@pytest.mark.parametrize(
    ("value", "u", "low", "high", "published"),
    [
        (-5.47, 0.05, None, -5.40, "0.92"),  # 7.3: breakdown voltage, upper limit
        (509.7, 8.6, 490.0, None, "0.99"),  # 7.3: bursting strength, lower limit
        (13.6, 1.8, 12.5, 16.3, "0.66"),  # 7.4: oil viscosity, two limits
    ],
)
def test_jcgm_106_clause_7_examples(
    value: float, u: float, low: float | None, high: float | None, published: str
) -> None:
    found = conformance_probability(Measured(value, u), Limits(low, high))
    assert found == pytest.approx(float(published), abs=0.0051)


@QUICK
@given(lengths, st.floats(1e-3, 0.5), lengths, st.floats(0, 2))
def test_probability_matches_scipy(y: float, u: float, low: float, width: float) -> None:
    """Outside check: scipy.stats.norm."""
    from scipy import stats

    both = conformance_probability(Measured(y, u), Limits(low, low + width))
    assert both == pytest.approx(
        stats.norm.cdf(low + width, y, u) - stats.norm.cdf(low, y, u), abs=1e-9
    )
    lower = conformance_probability(Measured(y, u), Limits(low, None))
    assert lower == pytest.approx(stats.norm.sf(low, y, u), abs=1e-9)
    upper = conformance_probability(Measured(y, u), Limits(None, low))
    assert upper == pytest.approx(stats.norm.cdf(low, y, u), abs=1e-9)


@QUICK
@given(lengths, spreads)
def test_decision_agrees_with_its_guard_and_probability(y: float, u: float) -> None:
    from scipy import stats

    judgement, guard, conf = judge(Measured(y, u), GAP), stats.norm.ppf(0.95) * u, 0.95
    if judgement.decision == "in":
        assert 0.5 + guard - 1e-12 <= y <= 0.5625 - guard + 1e-12
        assert judgement.probability >= 2 * conf - 1 - 1e-9
    elif judgement.decision == "out":
        assert judgement.probability <= 1 - conf + 1e-9
    else:
        assert u > 0


@QUICK
@given(lengths, st.sampled_from([GAP, Limits(0.5, None), Limits(None, 1)]))
def test_it_is_decided_so_far_from_a_limit(y: float, limits: Limits) -> None:
    needed = min(abs(y - end) for end in limits.ends_in) / ONE_SIDED
    assume(needed > 1e-9)
    assert judge(Measured(y, needed * 0.999), limits).decision != "too close"
    assert judge(Measured(y, needed * 1.001), limits).decision == "too close"


def test_exactly_on_a_limit_it_is_too_close() -> None:
    assert judge(Measured(0.5, 0.01), GAP).decision == "too close"


def test_without_uncertainty_the_limit_itself_is_in() -> None:
    assert judge(Measured(0.5), GAP).decision == "in"
    assert judge(Measured(0.5625), GAP).decision == "in"
    assert judge(Measured(0.5626), GAP).decision == "out"
    assert judge(Measured(0.4), GAP).probability == 0.0


def test_one_sided_limits() -> None:
    at_least = Limits(0.5, None)
    assert judge(Measured(0.7, 0.01), at_least).decision == "in"
    assert judge(Measured(0.505, 0.01), at_least).decision == "too close"
    assert judge(Measured(0.4, 0.01), at_least).decision == "out"


def test_refusals_say_what_to_do() -> None:
    with pytest.raises(ValueError, match="low one first"):
        Limits(0.6, 0.5)
    with pytest.raises(ValueError, match="give a low one"):
        Limits(None, None)


def test_default_figures_are_the_briefs_and_say_so() -> None:
    names = "gap clearance free-travel pedal-height total-travel brake-contact bearing-travel"
    assert set(DEFAULT_FIGURES) == set(names.split())
    assert DEFAULT_FIGURES["pedal-height"] is None
    assert DEFAULT_FIGURES["total-travel"] is None
    for figure in DEFAULT_FIGURES.values():
        if figure is not None:
            assert "common practice, no source" in figure.source
            assert figure.target_in is None or figure.miss_in(figure.target_in) == 0
    gap = DEFAULT_FIGURES["gap"]
    assert gap is not None and "from memory" in gap.source
    assert (gap.low_in, gap.high_in) == (0.5, 9 / 16)
    bearing = DEFAULT_FIGURES["bearing-travel"]
    assert bearing is not None and bearing.high_in is None


# --- uncertainty ---


def test_rectangular_interval_outside_check() -> None:
    """JCGM 100:2008, 4.3.7, example 1 (numbers from memory): half-width 0.40, u = 0.23."""
    reading = Measured.from_interval(16.52, 16.12, 16.92)
    assert reading.u_in == pytest.approx(0.40 / math.sqrt(3.0))
    assert round(reading.u_in, 2) == 0.23
    assert reading.u_in**2 == pytest.approx(53.3e-3, abs=5e-5)


@QUICK
@given(st.floats(-5, 5), st.floats(1e-6, 2))
def test_interval_matches_scipy_uniform(low: float, width: float) -> None:
    from scipy import stats

    reading = Measured.from_interval(low, low, low + width)
    assert reading.u_in == pytest.approx(stats.uniform.std(0.0, width), abs=1e-12)


def test_normal_against_scipy_on_a_grid() -> None:
    """Outside check: scipy.stats.norm."""
    from scipy import stats

    for i in range(-80, 81):
        z = i / 10
        assert normal_cdf(z) == pytest.approx(stats.norm.cdf(z), rel=1e-9)
    assert pytest.approx(stats.norm.ppf(0.95), abs=1e-9) == ONE_SIDED
    assert pytest.approx(stats.norm.ppf(0.975), abs=1e-9) == TWO_SIDED


def test_impossible_readings_are_refused() -> None:
    with pytest.raises(ValueError, match="read it again"):
        Measured(math.nan)
    with pytest.raises(ValueError, match="zero or more"):
        Measured(0.5, -0.001)
    with pytest.raises(ValueError, match="low bound first"):
        Measured.from_interval(0.5, 0.6, 0.4)
    with pytest.raises(ValueError, match="between the bounds"):
        Measured.from_interval(0.7, 0.4, 0.6)
