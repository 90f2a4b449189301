"""Linkages against outside checks and physics; lost motion put into a known chain, found again."""

import math
import random
from dataclasses import astuple, fields, replace

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.optimize import fsolve

from assistant.clutch.conformity import Measured
from assistant.clutch.equations import Readings
from assistant.clutch.linkage.cable import Cable, cable_stiffness_lbf_in
from assistant.clutch.linkage.hydraulic import Hydraulic
from assistant.clutch.linkage.levers import FourBar, LeverChain, Stage
from assistant.clutch.linkage.lost_motion import LostMotion, find_lost_motion
from assistant.clutch.linkage.stroke import (
    Linkage,
    LinkageError,
    Load,
    brake_stroke_in,
    free_travel_in,
    pedal_for,
    pedal_force_lbf,
)
from tests.clutch.rods import with_rod
from tests.examples import examples

QUICK = examples(60)


@st.composite
def closing(draw: st.DrawFn) -> tuple[FourBar, float]:
    """A four-bar and an angle of its drive at which it closes well; else it is left out."""
    a, b, c, d = (draw(st.floats(1.0, 20.0)) for _ in range(4))
    drive = draw(st.floats(0.2, 3.0))
    r = math.hypot(a * math.cos(drive) - d, a * math.sin(drive))
    assume(r > 0.1)
    assume(abs((c * c + r * r - b * b) / (2 * c * r)) < 0.98)
    return FourBar(a, b, c, d, draw(st.booleans())), drive


@QUICK
@given(closing())
def test_freudenstein(closed: tuple[FourBar, float]) -> None:
    """Freudenstein's equation, K1 cos(q) - K2 cos(t) + K3 = cos(t - q), evaluated by itself."""
    four, drive = closed
    a, b, c, d, _ = astuple(four)
    q = four.driven(drive)
    k1, k2, k3 = d / a, d / c, (a * a - b * b + c * c + d * d) / (2 * a * c)
    left = k1 * math.cos(q) - k2 * math.cos(drive) + k3
    assert left == pytest.approx(math.cos(drive - q), abs=1e-9 * (1 + k1 + k2 + k3))


@QUICK
@given(closing())
def test_against_a_numerical_solve_of_the_loop(closed: tuple[FourBar, float]) -> None:
    """scipy finds both unknown angles of the loop from a start some way off."""
    four, drive = closed
    a, b, c, d, _ = astuple(four)
    start = [four.coupler(drive) + 0.05, four.driven(drive) - 0.05]

    def loop(x: list[float]) -> list[float]:
        return [
            a * math.cos(drive) + b * math.cos(x[0]) - c * math.cos(x[1]) - d,
            a * math.sin(drive) + b * math.sin(x[0]) - c * math.sin(x[1]),
        ]

    found, _, ok, _ = fsolve(loop, start, full_output=True)
    assume(ok == 1)
    # Near a dead point the start may fall to the other way of assembling: that is no answer to us.
    assume(abs(found[1] - start[1]) < 0.5)
    other = replace(four, crossed=not four.crossed).driven(drive)
    assume(abs(math.remainder(found[1] - other, math.tau)) > 1e-6)
    assert found[1] == pytest.approx(four.driven(drive), abs=1e-6)


@pytest.mark.parametrize(
    ("crossed", "rod", "lever"), [(False, 254.1745, 334.0983), (True, 187.3223, 107.3985)]
)
def test_a_published_answer(crossed: bool, rod: float, lever: float) -> None:
    """A course problem with its answers (a 35, b 25, c 15, d 10, input 30 degrees).

    Source: www.transtutors.com/questions/using-the-four-bar-vector-loop-position-solution-derived-
    in-lectures-find-3-and-4-fo-13676847.htm, which prints both ways of assembling.
    """
    four, drive = FourBar(35, 25, 15, 10, crossed), math.radians(30)
    assert math.degrees(four.driven(drive)) % 360 == pytest.approx(lever, abs=5e-5)
    assert math.degrees(four.coupler(drive)) % 360 == pytest.approx(rod, abs=5e-5)


@QUICK
@given(closing())
def test_gains_by_small_differences(closed: tuple[FourBar, float]) -> None:
    four, drive = closed
    a, b, c, d, crossed = astuple(four)
    e = 1e-6
    try:
        slope = (four.driven(drive + e) - four.driven(drive - e)) / (2 * e)
        longer, shorter = FourBar(a, b + e, c, d, crossed), FourBar(a, b - e, c, d, crossed)
        per_rod = (longer.driven(drive) - shorter.driven(drive)) / (2 * e)
    except LinkageError:
        assume(False)
    assume(abs(slope) < 50 and abs(per_rod) < 50)  # a jump of a whole turn, or a dead point
    assert four.gain(drive) == pytest.approx(slope, rel=1e-4, abs=1e-4)
    assert four.driven_per_rod(drive) == pytest.approx(per_rod, rel=1e-4, abs=1e-4)


def chain() -> LeverChain:
    """Two four-bars in a row: pedal to idler, idler to cross shaft."""
    first = Stage(FourBar(3.0, 14.0, 6.0, 14.5), math.radians(75), pull=True, name="pedal rod")
    second = Stage(FourBar(3.0, 10.0, 5.0, 10.5), math.radians(95), name="shaft rod")
    return LeverChain(15.0, (first, second), 4.5)


def test_the_chain_is_its_bars_one_after_the_other() -> None:
    """The whole chain walked by hand, angles only, and the ratio by small differences."""
    model = chain()
    pedal = 4.0
    turned = pedal / 15.0
    one = FourBar(3.0, 14.0, 6.0, 14.5)
    first = abs(one.driven(math.radians(75) + turned) - one.driven(math.radians(75)))
    two = FourBar(3.0, 10.0, 5.0, 10.5)
    second = abs(two.driven(math.radians(95) - first) - two.driven(math.radians(95)))
    assert model.fork_in(pedal) == pytest.approx(4.5 * math.sin(second))
    e = 1e-5
    slope = (model.fork_in(pedal + e) - model.fork_in(pedal - e)) / (2 * e)
    assert model.ratio(pedal) == pytest.approx(1 / slope, rel=1e-6)
    assert [joint.name for joint in model.joints(pedal)] == ["pedal rod", "shaft rod"]
    assert model.joints(pedal)[0].travel_in == pytest.approx(6.0 * first)


@pytest.mark.parametrize("index", [0, 1])
@pytest.mark.parametrize("more", [0.02, -0.03])
def test_a_rod_moves_the_fork_and_not_the_pedal(index: int, more: float) -> None:
    """Clearance won by a rod, against the whole chain built anew and walked to the brake.

    This is c' = c + y and h' = h - R*y of the plan, on exact kinematics.
    """
    model, longer = chain(), with_rod(chain(), index, more)
    y = model.clearance_per_rod(index) * more
    c, g = 0.125, 0.5
    # The tips' place on the shaft, before and after, pedal at rest.
    moved = 4.5 * (math.sin(model.tip) - math.sin(longer.tip))
    assert moved == pytest.approx(y, rel=0.02)
    stroke = pedal_for(longer, c + g + moved)
    assert stroke - pedal_for(model, c + g) == pytest.approx(
        model.ratio(pedal_for(model, c + g)) * y, rel=0.1
    )


def test_raising_the_pedal_leaves_the_brake_where_it_is() -> None:
    model, rise, c, g = chain(), 0.25, 0.125, 0.5
    # The same parts, started a quarter inch further up: every angle backs off with the pedal.
    first, second = model.stages
    back = -rise / 15.0
    turned = first.turn(back)
    raised = LeverChain(
        15.0,
        (
            Stage(first.bar, first.rest + back, True, first.name),
            Stage(second.bar, second.rest - turned, False, second.name),
        ),
        4.5,
        model.tip + second.turn(turned),
    )
    more = 4.5 * (math.sin(model.tip) - math.sin(raised.tip))
    assert more == pytest.approx(rise / model.ratio(0.0), rel=0.05)
    assert pedal_for(raised, c + more) == pytest.approx(pedal_for(model, c) + rise, abs=1e-6)
    assert pedal_for(raised, c + g + more) == pytest.approx(
        pedal_for(model, c + g) + rise, abs=1e-6
    )


def test_the_chain_knows_its_end() -> None:
    model = chain()
    assert 5.0 < model.reach_in <= 16.0
    with pytest.raises(LinkageError):
        pedal_for(model, 10.0)


def test_cable_by_hooke() -> None:
    """F*L/(E*A) by hand, at the pad through the pedal's lever."""
    stiff = cable_stiffness_lbf_in(0.25, 60.0, 12e6)
    area = 0.6 * math.pi * 0.25**2 / 4
    assert stiff == pytest.approx(12e6 * area / 60.0)
    cable = Cable(5.0, 2.4, stiff, 1 / 16)
    tension = 300.0 / 2.4
    assert cable.lost_in(300.0) == pytest.approx(5.0 * tension * 60.0 / (12e6 * area))
    assert cable.fork_in(6.0) == pytest.approx(6.0 / 12.0)
    c, g = 0.125, 0.5
    assert free_travel_in(cable, c) == pytest.approx(1.5)
    stretched = brake_stroke_in(cable, c, g, 0.0, Load(200.0, 200.0))
    assert stretched == pytest.approx(12 * 0.625 + cable.lost_in(300.0))


def fluid(air: float = 0.0, self_filling: bool = False, port: float = 0.0) -> Hydraulic:
    """Three quarters over an inch and an eighth."""
    return Hydraulic(5.0, 1.2, 0.75, 1.125, 1.5, 0.9, 5.0, air, port, self_filling)


def test_fluid_keeps_its_volume() -> None:
    model = fluid()
    master = 3.0 / 5.0
    volume = math.pi / 4 * 0.75**2 * master
    slave = volume / (math.pi / 4 * 1.125**2)
    assert model.fork_in(3.0) == pytest.approx(slave / 1.2)
    assert model.ratio(0.0) == pytest.approx(5.0 * (1.125 / 0.75) ** 2 * 1.2)
    assert [j.travel_in for j in model.joints(3.0)] == pytest.approx([master, slave])
    assert model.reach_in == pytest.approx(min(1.5, 0.9 * 1.125**2 / 0.75**2) * 5.0)
    with pytest.raises(LinkageError, match="end"):
        model.fork_in(8.0)


@QUICK
@given(st.floats(0.01, 1.0), st.floats(10.0, 800.0))
def test_air_by_boyle(air: float, force: float) -> None:
    """p*V before is p*V after; and from what is lost the air is found again."""
    model, dry = fluid(air), fluid()
    pressure = model.pressure_psi(force)
    lost = (model.lost_in(force) - dry.lost_in(force)) / 5.0 * math.pi / 4 * 0.75**2
    assert 14.696 * air == pytest.approx((14.696 + pressure) * (air - lost))
    assert dry.air_for(model.lost_in(force), force) == pytest.approx(air)


def test_a_slave_that_fills_by_itself_hides_wear() -> None:
    """Free travel is the port's alone, whatever the clearance is said to be."""
    model = fluid(self_filling=True, port=0.04)
    assert free_travel_in(model, 0.0) == free_travel_in(model, 0.2) == pytest.approx(0.2)
    assert brake_stroke_in(model, 0.1, 0.5) == pytest.approx(0.2 + 0.5 * model.ratio(0.0))


MODELS: list[Linkage] = [chain(), Cable(5.0, 2.4, 9000.0), fluid(0.1), fluid(0.1, True, 0.03)]


def test_a_master_at_its_end_is_told() -> None:
    """Air takes the rest of the master's stroke: the brake is never touched."""
    model, load = fluid(0.4), Load(300.0)
    assert brake_stroke_in(fluid(), 0.0, 0.5, 0.0, load) < 7.5
    with pytest.raises(LinkageError, match="air"):
        brake_stroke_in(model, 0.0, 0.5, 0.0, load)


@pytest.mark.parametrize("model", MODELS)
def test_work_at_the_pad_is_work_at_the_fork(model: Linkage) -> None:
    """The force at the pad, summed over the stroke, is the work done at the tips."""
    end, force, steps = pedal_for(model, 0.5), 240.0, 2000
    work = sum(
        pedal_force_lbf(model, (i + 0.5) * end / steps, force) * end / steps for i in range(steps)
    )
    assert work == pytest.approx(force * 0.5, rel=1e-3)


@pytest.mark.parametrize(
    "make",
    [
        lambda: FourBar(0.0, 1.0, 1.0, 1.0),
        lambda: FourBar(1.0, 1.0, 1.0, 9.0).driven(1.0),
        lambda: LeverChain(15.0, (), 4.0),
        lambda: Cable(0.0, 1.0, 1.0),
        lambda: cable_stiffness_lbf_in(0.25, 0.0, 12e6),
        lambda: Hydraulic(5.0, 1.2, 0.75, 1.0, 1.5, 0.9, air_in3=-1.0),
        lambda: Hydraulic(5.0, 1.2, 0.75, 1.0, 0.5, 0.9, port_in=0.6),
        lambda: fluid().air_for(0.1, 0.0),
    ],
)
def test_impossible_parts_are_one_line(make: object) -> None:
    with pytest.raises(LinkageError) as caught:
        make()  # type: ignore[operator]
    assert "\n" not in str(caught.value) and ":" in str(caught.value)


C, G, H, U = 0.125, 0.5, 8.5, 0.01
LOAD = Load(150.0, 200.0)


def truck(model: Linkage, slack: float = 0.0, give: float = 0.0) -> Readings:
    """What this chain shows with slack before it and give under load, both at the pedal."""
    stroke = brake_stroke_in(model, C, G, 0.0, LOAD) + slack + give
    return Readings(
        Measured(G, 0.002),
        Measured(C, 0.002),
        Measured(free_travel_in(model, C) + slack, U),
        Measured(H, U),
        Measured(H - stroke, U),
    )


@pytest.mark.parametrize(
    ("slack", "give", "kind"),
    [
        (0.0, 0.0, "agrees"),
        (0.6, 0.0, "slack"),
        (0.0, 0.6, "gives"),
        (0.5, 0.8, "slack and gives"),
        (0.6, -0.6, "free travel alone"),
        (-0.6, 0.0, "too short"),
    ],
)
def test_what_was_put_in_is_found(slack: float, give: float, kind: str) -> None:
    model = chain()
    lost = find_lost_motion(model, truck(model, slack, give), LOAD)
    assert lost.kind == kind and lost.at is None
    if kind in ("slack", "slack and gives"):
        assert lost.slack_in == pytest.approx(slack, abs=1e-6)
        # Each joint alone would show that slack through the chain before it.
        joints = {j.name: j.travel_in for j in model.joints(0.01)}
        for name, size in lost.if_at:
            assert size == pytest.approx(slack * joints[name] / 0.01, rel=0.03)
    if kind in ("gives", "slack and gives"):
        assert lost.give_in == pytest.approx(give, abs=1e-6)


def travels(model: Linkage, readings: Readings, after: str, slack: float) -> dict[str, Measured]:
    """Each joint's travel at brake contact: those past the worn place have lost the slack."""
    stroke = readings.pedal_height.value_in - readings.brake_contact.value_in
    whole = {j.name: j.travel_in for j in model.joints(stroke)}
    short = {j.name: j.travel_in for j in model.joints(stroke - slack)}
    names = list(whole)
    worn = names.index(after) if after in names else len(names)
    return {n: Measured(short[n] if i >= worn else whole[n], 0.01) for i, n in enumerate(names)}


@pytest.mark.parametrize(
    ("after", "between"),
    [
        ("pedal rod", ("", "pedal rod")),
        ("shaft rod", ("pedal rod", "shaft rod")),
        ("the fork", ("shaft rod", "the fork")),
    ],
)
def test_joint_travels_tell_where(after: str, between: tuple[str, str]) -> None:
    model, slack = chain(), 0.9
    readings = truck(model, slack)
    lost = find_lost_motion(model, readings, LOAD, travels(model, readings, after, slack))
    assert (lost.at.before, lost.at.after) == between


def test_one_joint_alone_leaves_the_rest_open() -> None:
    model, slack = chain(), 0.9
    readings = truck(model, slack)
    read = travels(model, readings, "shaft rod", slack)
    lost = find_lost_motion(model, readings, LOAD, {"pedal rod": read["pedal rod"]})
    assert (lost.at.before, lost.at.after) == ("pedal rod", "the fork")


def test_a_sound_chain_is_seldom_suspected() -> None:
    """Readings with their own noise: at 95 % two checks may call out a few in a hundred."""
    model, rng, wrong, many = chain(), random.Random(3), 0, 400
    for _ in range(many):
        sound = truck(model)
        read = [getattr(sound, field.name) for field in fields(sound)][:5]
        noisy = Readings(*(Measured(rng.gauss(m.value_in, m.u_in), m.u_in) for m in read))
        wrong += find_lost_motion(model, noisy, LOAD).kind != "agrees"
    assert wrong < 0.12 * many


def test_air_that_was_put_in_is_found() -> None:
    card = Hydraulic(5.0, 1.2, 0.75, 1.125, 2.0, 1.2, 5.0)
    truck_with_air = Hydraulic(5.0, 1.2, 0.75, 1.125, 2.0, 1.2, 5.0, air_in3=0.1)
    lost = find_lost_motion(card, truck(truck_with_air), LOAD)
    assert lost.kind == "gives"
    assert lost.air_in3 == pytest.approx(0.1, rel=1e-6)


def test_a_weak_cable_gives() -> None:
    sound, weak = Cable(5.0, 2.4, 20000.0), Cable(5.0, 2.4, 700.0)
    lost = find_lost_motion(sound, truck(weak), LOAD)
    assert lost.kind == "gives"
    assert lost.give_in == pytest.approx(weak.lost_in(250.0) - sound.lost_in(250.0))


def test_without_readings_it_says_so() -> None:
    model = chain()
    lost = find_lost_motion(model, Readings(Measured(G, U), Measured(C, U)))
    assert lost == LostMotion("no readings", None, None, None, (), None)


def test_an_unknown_joint_or_no_heights_is_one_line() -> None:
    model = chain()
    with pytest.raises(LinkageError, match="pedal rod, shaft rod"):
        find_lost_motion(model, truck(model), LOAD, {"knee": Measured(1.0, U)})
    with pytest.raises(LinkageError, match="both pedal heights"):
        find_lost_motion(
            model, Readings(Measured(G, U), Measured(C, U)), LOAD, {"pedal rod": Measured(1, U)}
        )
