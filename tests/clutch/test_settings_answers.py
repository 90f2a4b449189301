"""What the solver tells: order, costs, what is condemned, and all of it in a breath."""

import random
from dataclasses import replace

import pytest

from assistant.card import Card, card_from_text, default_card
from assistant.card.arithmetic import truck_for
from assistant.clutch.conformity import DEFAULT_FIGURES, Limits, Measured
from assistant.clutch.equations import ORDER, Adjusters, Ratio, Readings, Setting, Truck
from assistant.clutch.solver import Locked, Out, nearest_lugs, solve
from assistant.job import plan_words
from assistant.job.plan import Settled
from tests.clutch.test_settings import random_truck, rank
from tests.examples import some
from tests.tables import rows_of

RATIO = Ratio(12.0, 0.1, "both")
FLAT, U = 1 / 120, 0.003


def truck(c: float, g: float, h: float | None = None, lug: float = 0.027) -> Truck:
    """A truck of ratio 12 by common-practice figures, all read with a fine gauge."""
    free = Measured(12 * c, 0.01)
    readings = Readings(
        Measured(g, U),
        Measured(c, U),
        free,
        Measured(8.5, 0.01),
        None if h is None else Measured(h, 0.01),
    )
    return Truck(readings, DEFAULT_FIGURES, Adjusters(lug, FLAT), RATIO, RATIO)


def test_a_truck_that_is_right_is_left_alone() -> None:
    found = solve(truck(0.125, 0.53, 0.75))
    assert found.chosen.setting == Setting() and found.sure and found.possible


def test_the_ring_alone_where_it_will_do() -> None:
    """Three lugs put the gap in, and the clearance they give is right as it is: no rod."""
    found = solve(truck(0.04, 0.615, 0.7))
    assert found.chosen.setting == Setting(lugs=3)
    assert found.chosen.after["gap"].value_in == pytest.approx(0.615 - 3 * 0.027)


def test_ring_and_rod_together_move_the_brake() -> None:
    """No ring move changes where the brake is touched; ring and rod turned back together do."""
    effects = truck(0.12, 0.56, 0.43)
    found = solve(effects)
    assert found.possible and found.chosen.setting.lugs > 0 and found.chosen.setting.flats < 0
    assert effects.after(Setting(lugs=5))["brake-contact"].value_in == 0.43


def test_the_gap_is_never_given_up_for_the_linkage() -> None:
    rng = random.Random(4)
    seen = 0
    for _ in range(300):
        effects = random_truck(rng, 6, 10).as_read()
        found = solve(effects, with_candidates=False)
        out = {o.quantity for o in found.given_up}
        limits, move = effects.limits("gap"), effects.adjusters
        gap = effects.readings.gap.value_in
        reachable = any(limits.miss_in(gap - n * move.lug_in) == 0.0 for n in range(-6, 7))
        assert ("gap" in out) == (not reachable)
        seen += len(out)
        assert set(found.may_be) <= set(found.judged) - {"gap"} or found.may_be == ("gap",)
    assert seen


def test_too_coarse_a_lug_is_told_and_the_nearest_is_used() -> None:
    effects = truck(0.125, 0.6)
    narrow = {**DEFAULT_FIGURES, "gap": Limits(0.553, 0.563, "card")}
    effects = replace(effects, figures=narrow)
    found = solve(effects)
    first = found.given_up[0]
    assert first.quantity == "gap" and first.between_lugs
    assert plan_words.part(first, default_card()) == "One lug is too coarse."
    assert found.chosen.setting.lugs == nearest_lugs(effects) == 2  # 0.546: nearer than 0.573


def test_a_worn_out_clutch_is_told() -> None:
    effects = truck(0.125, 1.2)
    found = solve(effects)
    first = found.given_up[0]
    assert (first.quantity, first.side) == ("gap", "high")
    assert "worn-out" in plan_words.part(first, default_card())
    assert found.chosen.setting.lugs == 12


@pytest.mark.parametrize(
    ("lost", "quantity", "side"), [(1.6, "free-travel", "high"), (-0.9, "free-travel", "low")]
)
def test_slack_in_the_linkage_is_told(lost: float, quantity: str, side: str) -> None:
    effects = truck(0.125, 0.53)
    free = effects.readings.free_travel
    effects = replace(effects, readings=replace(effects.readings, free_travel=free.shifted(lost)))
    found = solve(effects)
    first = found.given_up[0]
    assert (first.quantity, first.side) == (quantity, side)
    assert "clearance" in found.may_be  # a wrong clearance would look the same


def test_candidates_cost_what_they_say() -> None:
    rng = random.Random(8)
    kinds = set()
    for _ in range(60):
        plain = random_truck(rng, 6, 20)
        effects = plain.as_read()
        found = solve(effects, plain.locked)
        settings = [c.setting for c in found.candidates]
        assert len(settings) == len(set(settings)) and settings[0] == found.chosen.setting
        for c in found.candidates:
            kinds.add(c.kind)
            assert c.after == effects.after(c.setting)
            assert c.setting.moves == sum(1 for s in c.setting if s)
            assert c.tightest in found.judged and 0.0 <= c.probability_in <= 1.0
            mine, best = (rank(plain, [*found.judged], tuple(s)) for s in (c.setting, settings[0]))
            if best is not None and mine is not None:
                assert mine[:3] <= best[:3] or mine == pytest.approx(best, abs=3e-6)
            assert (mine is None) == bool(c.out)
            if c.kind == "widest margin" and found.possible:
                assert min(c.margin_u, 3.0) > min(found.chosen.margin_u, 3.0) - 1e-6
    assert kinds == {"chosen", "as it is", "a lug looser", "a lug tighter", "widest margin"}


def test_what_is_locked_stays_and_the_rest_is_the_best() -> None:
    """Any of the four locked at any value: kept there, and no better is found with it than free."""
    rng, possible = random.Random(12), 0
    for _ in range(80):
        plain = random_truck(rng)
        effects = plain.as_read()
        free = solve(effects, plain.locked, with_candidates=False)
        name = rng.choice(["lugs", "flats", "height_steps", "total_steps"])
        kept = rng.randint(-2, 2) if name in ("lugs", "flats") or plain.stops_move else 0
        locked = plain.locked._replace(**{name: kept})
        found = solve(effects, locked, with_candidates=False)
        chosen = found.chosen.setting
        assert getattr(chosen, name) == kept
        if found.possible:
            possible += 1
            mine, best = (
                rank(plain, [*found.judged], tuple(s)) for s in (chosen, free.chosen.setting)
            )
            if name != "height_steps" and name != "total_steps":
                assert best is not None and mine[:3] <= best[:3]
            again = solve(effects, Locked(*chosen), with_candidates=False)
            assert again.chosen.setting == chosen and again.possible
    assert possible > 10


def test_no_figure_for_the_gap_is_refused() -> None:
    effects = replace(truck(0.1, 0.6), figures={**DEFAULT_FIGURES, "gap": None})
    with pytest.raises(ValueError, match="figure for the gap"):
        solve(effects)


@rows_of("plans_spoken.txt", "steps", "line")("plan")
def test_the_plan_in_a_breath(steps: str, line: str) -> None:
    card = card_from_text('[rod]\nlonger = "more clearance"\n[stops]\nheight = "1/8 in"\n', "c")
    effects = truck_for(card, {"gap": Measured(0.6, U), "clearance": Measured(0.1, U)})
    setting = Setting(*map(int, steps.split()))
    assert plan_words.plan_line(setting, effects.adjusters, card) == line


@pytest.mark.parametrize(
    "card", ["", '[rod]\nlonger = "less clearance"\n', '[shop]\nunits = "mm"\n']
)
def test_every_plan_is_at_most_twelve_words(card: str) -> None:
    loaded: Card = card_from_text(card, "c")
    rng = random.Random(5)
    for _ in some(range(2000)):
        setting = Setting(
            rng.randint(-12, 12), rng.randint(-180, 180), rng.randint(-32, 32), rng.randint(-32, 32)
        )
        effects = truck_for(loaded, {"gap": Measured(0.6, U), "clearance": Measured(0.1, U)})
        assert len(plan_words.plan_line(setting, effects.adjusters, loaded).split()) <= 12
    impossible = 0
    for _ in some(range(150)):
        effects = random_truck(rng, 6, 10).as_read()
        found = solve(effects)
        line = plan_words.spoken(Settled(effects, found), loaded)
        assert len(line.split()) <= 12 and line.endswith(".")
        impossible += line.startswith("No setting can")
        assert found.possible != line.startswith("No setting can")
        long = plan_words.why(Settled(effects, found), loaded)
        assert "\n" not in long and long.endswith(".")
    assert impossible


def test_every_judged_quantity_has_a_part_for_either_side() -> None:
    for name in ORDER:
        for miss in (-0.1, 0.1):
            out = Out(name, miss)
            assert out.side == ("low" if miss < 0 else "high")
            assert 1 < len(plan_words.part(out, default_card()).split()) <= 5
            assert plan_words.part_why(out).endswith(".")
