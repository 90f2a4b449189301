"""Readings and their uncertainty, against the GUM and scipy."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from assistant.clutch.uncertainty import ONE_SIDED, TWO_SIDED, Measured, normal_cdf

QUICK = settings(max_examples=50, deadline=None, database=None)


def test_rectangular_interval_outside_check() -> None:
    """JCGM 100:2008, 4.3.7, example 1 (numbers from memory): half-width 0.40, u = 0.23."""
    reading = Measured.from_interval(16.52, 16.12, 16.92)
    assert reading.u_in == pytest.approx(0.40 / math.sqrt(3.0))
    assert round(reading.u_in, 2) == 0.23
    assert reading.u_in**2 == pytest.approx(53.3e-3, abs=5e-5)


@QUICK
@given(st.floats(-5, 5), st.floats(1e-6, 2))
def test_interval_matches_scipy_uniform(low: float, width: float) -> None:
    reading = Measured.from_interval(low, low, low + width)
    assert reading.u_in == pytest.approx(stats.uniform.std(0.0, width), abs=1e-12)


def test_normal_against_scipy_on_a_grid() -> None:
    """Outside check: scipy.stats.norm."""
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
