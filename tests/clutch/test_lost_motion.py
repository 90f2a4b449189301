"""Lost motion: slack and give put into a known chain are found again, where readings allow."""

from __future__ import annotations

import random

import pytest

from assistant.clutch.equations import Readings
from assistant.clutch.linkage.cable import Cable
from assistant.clutch.linkage.hydraulic import Hydraulic
from assistant.clutch.linkage.lost_motion import LostMotion, find_lost_motion
from assistant.clutch.linkage.stroke import (
    Linkage,
    LinkageError,
    Load,
    brake_stroke_in,
    free_travel_in,
)
from assistant.clutch.uncertainty import Measured
from tests.clutch.test_linkage import chain

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
    assert readings.pedal_height is not None and readings.brake_contact is not None
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
    assert lost.at is not None
    assert (lost.at.before, lost.at.after) == between


def test_one_joint_alone_leaves_the_rest_open() -> None:
    model, slack = chain(), 0.9
    readings = truck(model, slack)
    read = travels(model, readings, "shaft rod", slack)
    lost = find_lost_motion(model, readings, LOAD, {"pedal rod": read["pedal rod"]})
    assert lost.at is not None
    assert (lost.at.before, lost.at.after) == ("pedal rod", "the fork")


def test_a_sound_chain_is_seldom_suspected() -> None:
    """Readings with their own noise: at 95 % two checks may call out a few in a hundred."""
    model, rng, wrong, many = chain(), random.Random(3), 0, 400
    for _ in range(many):
        sound = truck(model)
        noisy = Readings(
            *(
                Measured(rng.gauss(m.value_in, m.u_in), m.u_in)
                for m in (
                    sound.gap,
                    sound.clearance,
                    sound.free_travel,
                    sound.pedal_height,
                    sound.brake_contact,
                )
                if m is not None
            )
        )
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
