"""Pedal geometry and the two estimates of the pedal ratio."""

from __future__ import annotations

import math
import random
import statistics

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from assistant.clutch.equations import (
    DEFAULT_RATIO,
    RatioFinding,
    bearing_travel_in,
    brake_height_in,
    brake_stroke_in,
    compare_ratios,
    free_travel_in,
    hydraulic_ratio,
    ratio_from_brake,
    ratio_from_free_travel,
)
from assistant.clutch.uncertainty import Measured

QUICK = settings(max_examples=50, deadline=None, database=None)
ratios, clearances = st.floats(6, 18), st.floats(0.04, 0.25)
gaps, lashes = st.floats(0.3, 0.8), st.floats(0, 0.2)
U = 0.009


def readings(
    ratio: float, c: float, g: float, lash: float = 0.0, wrong: dict[str, float] | None = None
) -> RatioFinding:
    """The finding from a truck with this geometry, some readings wrong by so many inches."""
    change, height = wrong or {}, 14.0
    finding = compare_ratios(
        Measured(free_travel_in(ratio, c, lash) + change.get("F", 0.0), U),
        Measured(height + change.get("H", 0.0), U),
        Measured(brake_height_in(height, ratio, c, g, lash) + change.get("h", 0.0), U),
        Measured(c + change.get("c", 0.0), 0.001),
        Measured(g + change.get("g", 0.0), 0.001),
        lash,
    )
    assert finding is not None
    return finding


def test_the_common_figures_hang_together() -> None:
    """1-1/2 in free travel at 1/8 in clearance is the brief's common practice."""
    assert free_travel_in(DEFAULT_RATIO, 1 / 8) == 1.5
    assert brake_stroke_in(12, 1 / 8, 1 / 2) == 7.5
    assert brake_height_in(8.25, 12, 1 / 8, 1 / 2) == 0.75
    assert bearing_travel_in(9.0, 12, 1 / 8, 1 / 2) == 0.5
    assert bearing_travel_in(6.0, 12, 1 / 8, 1 / 2) == pytest.approx(0.375)


@QUICK
@given(ratios, clearances, gaps, lashes, st.floats(-0.04, 0.2))
def test_linkage_moves_free_travel_and_stroke_alike(
    ratio: float, c: float, g: float, lash: float, y: float
) -> None:
    more_free = free_travel_in(ratio, c + y, lash) - free_travel_in(ratio, c, lash)
    assert more_free == pytest.approx(ratio * y, abs=1e-9)
    lower = brake_height_in(14, ratio, c, g, lash) - brake_height_in(14, ratio, c + y, g, lash)
    assert lower == pytest.approx(ratio * y, abs=1e-9)
    assert bearing_travel_in(100, ratio, c, g, lash) == g
    # No clutch brake: what the stroke has left after lash and clearance, however far that is.
    free = bearing_travel_in(100, ratio, c, None, lash)
    assert free_travel_in(ratio, c + free, lash) == pytest.approx(100)


@QUICK
@given(ratios, clearances, gaps, lashes)
def test_both_estimates_recover_the_ratio(ratio: float, c: float, g: float, lash: float) -> None:
    finding = readings(ratio, c, g, lash)
    assert finding.first.value == pytest.approx(ratio)
    assert finding.second.value == pytest.approx(ratio)
    assert finding.agree and finding.best is not None
    assert finding.best.value == pytest.approx(ratio)
    assert finding.best.u <= max(finding.first.u, finding.second.u) + 1e-12
    assert finding.lost_motion_in == 0.0


@QUICK
@given(
    ratios,
    clearances,
    gaps,
    st.sampled_from("FcHhg"),
    st.floats(-0.5, 0.5),
)
def test_putting_one_suspect_right_makes_the_ratios_agree(
    ratio: float, c: float, g: float, reading: str, wrong: float
) -> None:
    if reading in "cg":
        wrong /= 20
    finding = readings(ratio, c, g, wrong={reading: wrong})
    base = {"F": ratio * c, "c": c, "H": 14.0, "h": 14 - ratio * (c + g), "g": g}
    for suspect in finding.suspects:
        fixed = dict(base)
        fixed[reading] += wrong
        assert suspect.value_in == pytest.approx(fixed[suspect.reading] + suspect.change_in)
        fixed[suspect.reading] = suspect.value_in
        assume(fixed["c"] > 1e-3)
        first = fixed["F"] / fixed["c"]
        second = (fixed["H"] - fixed["h"]) / (fixed["c"] + fixed["g"])
        assert first == pytest.approx(second, rel=1e-6)
    blamed = {suspect.reading: suspect for suspect in finding.suspects}
    if base[reading] >= 0.0:
        assert blamed[reading].change_in == pytest.approx(-wrong, abs=1e-6)


def test_suspects_come_easiest_to_believe_first() -> None:
    finding = readings(12, 0.125, 0.5, wrong={"c": 0.03})
    doubt = {"F": U, "H": U, "h": U, "c": 0.001, "g": 0.001}
    strain = [abs(s.change_in) / doubt[s.reading] for s in finding.suspects]
    assert strain == sorted(strain)
    assert not finding.agree and finding.best is None


def test_slack_is_told_from_give_and_sized() -> None:
    slack = readings(12, 0.125, 0.5, wrong={"F": 0.4, "h": -0.4})  # 0.4 in of slack delays both.
    assert slack.z > 0 and not slack.agree
    assert slack.lost_motion_in == pytest.approx(0.4)
    assert "slack" in slack.text and slack.text.count(".") >= 1
    give = readings(12, 0.125, 0.5, wrong={"h": -0.8})  # 0.8 in lost only after the fork bites.
    assert give.z < 0 and not give.agree
    assert give.lost_motion_in == pytest.approx(-0.8)
    assert "air" in give.text
    assert "agree" in readings(12, 0.125, 0.5).text


def test_uncertainty_of_the_ratios_by_monte_carlo() -> None:
    """Outside check of the first-order propagation: a seeded Monte Carlo (as JCGM 101)."""
    rng = random.Random(3)
    c, g, f, h = 0.125, 0.5, 1.5, 6.5

    def draw() -> tuple[float, float]:
        cc, gg = rng.gauss(c, 0.004), rng.gauss(g, 0.006)
        stroke = rng.gauss(14, 0.03) - rng.gauss(h, 0.03)
        return rng.gauss(f, 0.03) / cc, stroke / (cc + gg)

    firsts, seconds = zip(*(draw() for _ in range(20000)), strict=True)
    cm, gm = Measured(c, 0.004), Measured(g, 0.006)
    first = ratio_from_free_travel(Measured(f, 0.03), cm)
    second = ratio_from_brake(Measured(14, 0.03), Measured(h, 0.03), cm, gm)
    assert first is not None and second is not None
    assert first.u == pytest.approx(statistics.stdev(firsts), rel=0.03)
    assert second.u == pytest.approx(statistics.stdev(seconds), rel=0.03)
    # A free travel a hair off gives a z to divide by.
    hair = Measured(f + 0.001, 0.03)
    finding = compare_ratios(hair, Measured(14, 0.03), Measured(h, 0.03), cm, gm)
    assert finding is not None
    # The shared clearance makes the difference's spread another than the plain root sum.
    spread = statistics.stdev(a - b for a, b in zip(firsts, seconds, strict=True))
    difference = finding.first.value - finding.second.value
    assert difference / finding.z == pytest.approx(spread, rel=0.03)
    w = second.u**2 / (first.u**2 + second.u**2)
    mean_spread = statistics.stdev(
        w * a + (1 - w) * b for a, b in zip(firsts, seconds, strict=True)
    )
    assert finding.best is not None
    assert finding.best.u == pytest.approx(mean_spread, rel=0.03)


def test_no_ratio_without_clearance() -> None:
    free, none = Measured(0.1, U), Measured(0.0, U)
    assert ratio_from_free_travel(free, none) is None
    assert ratio_from_free_travel(free, Measured(0.015, U)) is None
    assert ratio_from_free_travel(free, Measured(-0.1)) is None
    assert compare_ratios(free, Measured(14), Measured(7), none, Measured(0.5)) is None


def test_exact_readings_need_no_uncertainty() -> None:
    exact = [Measured(x) for x in (1.5, 14.0, 6.5, 0.125, 0.5)]
    finding = compare_ratios(*exact)
    assert finding is not None and finding.agree and finding.z == 0.0
    off = compare_ratios(Measured(1.6), *exact[1:])
    assert off is not None and not off.agree and off.z == math.inf


def test_hydraulic_ratio() -> None:
    assert hydraulic_ratio(5, 1.0, 1.0, 2) == 10
    assert hydraulic_ratio(5, 1.0, 1.2, 2) == pytest.approx(14.4)
    with pytest.raises(ValueError, match="above zero"):
        hydraulic_ratio(5, 0.0, 1.0, 2)


@pytest.mark.parametrize("ratio", [0.0, -12.0, math.nan, math.inf])
def test_impossible_ratios_are_refused(ratio: float) -> None:
    for call in (
        lambda: free_travel_in(ratio, 0.125),
        lambda: brake_stroke_in(ratio, 0.125, 0.5),
        lambda: bearing_travel_in(9, ratio, 0.125, 0.5),
    ):
        with pytest.raises(ValueError, match="pedal ratio"):
            call()
