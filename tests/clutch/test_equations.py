"""The equations: the two estimates of the pedal ratio, and where every quantity ends."""

import math
import random
import statistics
from dataclasses import replace

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from assistant.clutch.conformity import DEFAULT_FIGURES, Measured
from assistant.clutch.equations import (
    DEFAULT_RATIO,
    Adjusters,
    Ratio,
    RatioFinding,
    Readings,
    Setting,
    Truck,
    brake_stroke_in,
    finding_of,
    free_travel_in,
    ratio_from_brake,
    ratio_from_free_travel,
    used_ratio,
)
from assistant.job import plan_words
from tests.examples import examples

QUICK = examples(50)
ratios, clearances = st.floats(6, 18), st.floats(0.04, 0.25)
gaps, lashes = st.floats(0.3, 0.8), st.floats(0, 0.2)
U, FINE = 0.009, 0.001
HEIGHT, TOTAL = 14.0, 9.0
FLAT = 1 / 120
SYMBOLS = {
    "g": "gap",
    "c": "clearance",
    "F": "free-travel",
    "H": "pedal-height",
    "T": "total-travel",
    "h": "brake-contact",
}


def readings(
    ratio: float, c: float, g: float, lash: float = 0.0, wrong: dict[str, float] | None = None
) -> Readings:
    """Every reading of a truck with this geometry, some of them wrong by so many inches."""
    change = {symbol: 0.0 for symbol in SYMBOLS} | (wrong or {})
    return Readings(
        gap=Measured(g + change["g"], FINE),
        clearance=Measured(c + change["c"], FINE),
        free_travel=Measured(free_travel_in(ratio, c, lash) + change["F"], U),
        pedal_height=Measured(HEIGHT + change["H"], U),
        brake_contact=Measured(HEIGHT - brake_stroke_in(ratio, c, g, lash) + change["h"], U),
        total_travel=Measured(TOTAL, U),
        lash_in=lash,
    )


def quarrel(*geometry: float, wrong: dict[str, float] | None = None) -> RatioFinding:
    return finding_of(readings(*geometry, wrong=wrong))


def truck(read: Readings, ratio: Ratio | None = None, **more: bool) -> Truck:
    """A truck with a coarse ring and a rod that moves as the fork does."""
    used = ratio or used_ratio(read)
    return Truck(read, DEFAULT_FIGURES, Adjusters(0.027, FLAT), used, used, **more)


def test_the_common_figures_hang_together() -> None:
    assert free_travel_in(DEFAULT_RATIO, 1 / 8) == 1.5
    assert brake_stroke_in(12, 1 / 8, 1 / 2) == 7.5


@QUICK
@given(ratios, clearances, gaps, lashes)
def test_both_estimates_recover_the_ratio(ratio: float, c: float, g: float, lash: float) -> None:
    finding = quarrel(ratio, c, g, lash)
    assert finding.first.value == pytest.approx(ratio)
    assert finding.second.value == pytest.approx(ratio)
    assert finding.agree and finding.best is not None
    assert finding.best.value == pytest.approx(ratio)
    assert finding.best.u <= max(finding.first.u, finding.second.u) + 1e-12


@QUICK
@given(ratios, clearances, gaps, st.sampled_from("FcHhg"), st.floats(-0.5, 0.5))
def test_putting_one_suspect_right_makes_the_ratios_agree(
    ratio: float, c: float, g: float, reading: str, wrong: float
) -> None:
    if reading in "cg":
        wrong /= 20
    finding = quarrel(ratio, c, g, wrong={reading: wrong})
    symbols = {name: symbol for symbol, name in SYMBOLS.items()}
    base = {"F": ratio * c, "c": c, "H": HEIGHT, "h": HEIGHT - ratio * (c + g), "g": g}
    for suspect in finding.suspects:
        fixed, symbol = dict(base), symbols[suspect.quantity]
        fixed[reading] += wrong
        assert suspect.value_in == pytest.approx(fixed[symbol] + suspect.change_in)
        fixed[symbol] = suspect.value_in
        assume(fixed["c"] > 1e-3)
        first = fixed["F"] / fixed["c"]
        second = (fixed["H"] - fixed["h"]) / (fixed["c"] + fixed["g"])
        assert first == pytest.approx(second, rel=1e-6)
    blamed = {symbols[suspect.quantity]: suspect for suspect in finding.suspects}
    if base[reading] >= 0.0:
        assert blamed[reading].change_in == pytest.approx(-wrong, abs=1e-6)


def test_suspects_come_easiest_to_believe_first() -> None:
    finding = quarrel(12, 0.125, 0.5, wrong={"c": 0.03})
    doubt = {"clearance": FINE, "gap": FINE}
    strain = [abs(s.change_in) / doubt.get(s.quantity, U) for s in finding.suspects]
    assert strain == sorted(strain)
    assert not finding.agree and finding.best is None


def test_slack_is_told_from_give() -> None:
    slack = quarrel(12, 0.125, 0.5, wrong={"F": 0.4, "h": -0.4})  # 0.4 in of slack delays both.
    assert slack.z > 0 and not slack.agree
    assert "slack" in plan_words.ratios(slack) and plan_words.ratios(slack).count(".") >= 1
    give = quarrel(12, 0.125, 0.5, wrong={"h": -0.8})  # 0.8 in lost only after the fork bites.
    assert give.z < 0 and not give.agree
    assert "air" in plan_words.ratios(give)
    assert "agree" in plan_words.ratios(quarrel(12, 0.125, 0.5))


def test_uncertainty_of_the_ratios_by_monte_carlo() -> None:
    """Outside check of the first-order propagation: a seeded Monte Carlo (as JCGM 101)."""
    rng = random.Random(3)
    c, g, f, h = 0.125, 0.5, 1.5, 6.5

    def draw() -> tuple[float, float]:
        cc, gg = rng.gauss(c, 0.004), rng.gauss(g, 0.006)
        stroke = rng.gauss(14, 0.03) - rng.gauss(h, 0.03)
        return rng.gauss(f, 0.03) / cc, stroke / (cc + gg)

    firsts, seconds = zip(*(draw() for _ in range(20000)), strict=True)
    heights = Measured(14, 0.03), Measured(h, 0.03)
    # A free travel a hair off gives a z to divide by.
    hair = Readings(Measured(g, 0.006), Measured(c, 0.004), Measured(f + 0.001, 0.03), *heights)
    first, second, finding = ratio_from_free_travel(hair), ratio_from_brake(hair), finding_of(hair)
    assert first.u == pytest.approx(statistics.stdev(firsts), rel=0.03)
    assert second.u == pytest.approx(statistics.stdev(seconds), rel=0.03)
    # The shared clearance makes the difference's spread another than the plain root sum.
    spread = statistics.stdev(a - b for a, b in zip(firsts, seconds, strict=True))
    difference = finding.first.value - finding.second.value
    assert difference / finding.z == pytest.approx(spread, rel=0.03)
    w = second.u**2 / (first.u**2 + second.u**2)
    mean_spread = statistics.stdev(
        w * a + (1 - w) * b for a, b in zip(firsts, seconds, strict=True)
    )
    assert finding.best.u == pytest.approx(mean_spread, rel=0.03)


@pytest.mark.parametrize("c", [Measured(0.0, U), Measured(0.015, U), Measured(-0.1)])
def test_no_ratio_without_clearance(c: Measured) -> None:
    read = replace(readings(12, 0.125, 0.5), clearance=c)
    assert ratio_from_free_travel(read) is None and finding_of(read) is None


def test_exact_readings_need_no_uncertainty() -> None:
    exact = Readings(*(Measured(x) for x in (0.5, 0.125, 1.5, 14.0, 6.5)))
    finding = finding_of(exact)
    assert finding is not None and finding.agree and finding.z == 0.0
    off = finding_of(replace(exact, free_travel=Measured(1.6)))
    assert off is not None and not off.agree and off.z == math.inf


def test_where_the_ratio_came_from() -> None:
    full = readings(11, 0.125, 0.53)
    assert used_ratio(full, 12.5)[::2] == (12.5, "card")
    both = used_ratio(full)
    assert both.source == "both" and both.value == pytest.approx(11)
    assert used_ratio(replace(full, brake_contact=None)).source == "free travel"
    assert used_ratio(replace(full, free_travel=None)).source == "brake contact"
    common = used_ratio(replace(full, free_travel=None, brake_contact=None))
    assert common.source == "common practice" and common.value == 12.0 and not common.known


@pytest.mark.parametrize("free_in", [0.0, 4.6e-80, 0.02, 0.2])
def test_a_pedal_that_hardly_moves_does_not_tell_the_ratio(free_in: float) -> None:
    """Steps of a rod are divided by what one changes, so a ratio of about nothing must not be."""
    read = replace(readings(12, 0.125, 0.53), free_travel=Measured(free_in, U), brake_contact=None)
    assert used_ratio(read).source == "common practice"


def test_quarrelling_ratios_are_not_averaged() -> None:
    read = readings(12, 0.125, 0.53, wrong={"F": 0.8})
    assert not quarrel(12, 0.125, 0.53, wrong={"F": 0.8}).agree
    assert used_ratio(read).source == "brake contact"


@QUICK
@given(ratios, clearances, gaps, lashes, st.integers(-5, 5), st.integers(-12, 12))
def test_readings_end_where_the_geometry_says(
    ratio: float, c: float, g: float, lash: float, lugs: int, flats: int
) -> None:
    """Forward model: ring and rod moved on a truck of known ratio, and everything read again.

    What was read is moved, what was not is worked out: both end at the same place.
    """
    full, moved, y = readings(ratio, c, g, lash), lugs * 0.027, flats * FLAT
    known, setting = Ratio(ratio, 0.1, "card"), Setting(lugs, flats)
    c2, g2 = c + moved + y, g - moved
    for read in (full, replace(full, free_travel=None, brake_contact=None)):
        after = {q: m.value_in for q, m in truck(read, known).after(setting).items()}
        assert after["clearance"] == pytest.approx(c2)
        assert after["gap"] == pytest.approx(g2)
        assert after["free-travel"] == pytest.approx(free_travel_in(ratio, c2, lash), abs=1e-9)
        height = HEIGHT - brake_stroke_in(ratio, c2, g2, lash)
        assert after["brake-contact"] == pytest.approx(height, abs=1e-9)
        reach = (TOTAL - lash) / ratio - c2
        assert after["bearing-travel"] == pytest.approx(min(g2, reach), abs=1e-9)


def test_no_clutch_brake_stops_the_bearing() -> None:
    """A stroke of 12 in at 12 to 1 carries the bearing 7/8 in past the clearance, not the gap."""
    read = replace(readings(12, 0.125, 0.53), brake_contact=None, total_travel=Measured(12.0, U))
    ratio = Ratio(12.0, 0.1, "card")
    braked = truck(read, ratio).now()
    free = truck(read, ratio, clutch_brake=False).now()
    assert braked["bearing-travel"].value_in == pytest.approx(0.53)
    assert free["bearing-travel"].value_in == pytest.approx(0.875)
    assert "brake-contact" not in free


def test_what_cannot_be_known_is_left_out() -> None:
    bare = Readings(Measured(0.53, U), Measured(0.125, U))
    assert set(truck(bare).now()) == {"gap", "clearance", "free-travel"}
    with_height = replace(bare, pedal_height=Measured(8.75, U))
    assert "brake-contact" not in truck(with_height).now()  # the ratio is only common practice
    known = truck(with_height, Ratio(12.0, 0.24, "card")).now()
    assert known["brake-contact"].value_in == pytest.approx(8.75 - 12 * 0.655)


def test_uncertainty_never_shrinks() -> None:
    read = readings(12, 0.06, 0.62)
    now, after = truck(read).now(), truck(read).after(Setting(3, 2, 1, 1))
    assert all(after[quantity].u_in >= now[quantity].u_in for quantity in now)


def test_uncertainty_of_predictions_by_monte_carlo() -> None:
    """Outside check of the first-order propagation: a seeded Monte Carlo (as JCGM 101)."""
    rng = random.Random(5)
    c, g, t, h, r = Measured(0.06, 0.004), Measured(0.8, 0.005), 8.0, 9.0, (12.0, 0.3)
    setting, y = Setting(3, -2), -2 * FLAT
    ring_u = 3 * 0.001
    found = Readings(g, c, Measured(0.72, 0.03), Measured(h, 0.02), total_travel=Measured(t, 0.05))
    read, worked_out, brake, bearing = [], [], [], []
    for _ in range(20000):
        ratio, ring = rng.gauss(*r), rng.gauss(0.081, ring_u)
        cc, gg = rng.gauss(c.value_in, c.u_in), rng.gauss(g.value_in, g.u_in)
        read.append(rng.gauss(0.72, 0.03) + ratio * (ring + y))
        worked_out.append(ratio * (cc + ring + y))
        brake.append(rng.gauss(h, 0.02) - ratio * (cc + gg + y))
        bearing.append(rng.gauss(t, 0.05) / ratio - (cc + ring + y))
    used = Ratio(*r, "card")
    after = truck(found, used).after(setting)
    unread = truck(replace(found, free_travel=None), used).after(setting)
    for sample, predicted in (
        (read, after["free-travel"]),
        (worked_out, unread["free-travel"]),
        (brake, after["brake-contact"]),
        (bearing, after["bearing-travel"]),
    ):
        assert predicted.value_in == pytest.approx(statistics.mean(sample), abs=0.01)
        assert predicted.u_in == pytest.approx(statistics.stdev(sample), rel=0.03)


def test_what_it_costs_in_minutes() -> None:
    assert Setting().minutes == 0.0
    assert Setting(lugs=3).minutes < Setting(lugs=3, flats=1).minutes
    assert Setting(flats=2).minutes < Setting(flats=12).minutes
