"""The card's `[linkage]`, what `lugcall plan` says with it, and the plan done on an exact chain."""

import math
import re
from dataclasses import replace

import pytest

from assistant.card import Card, CardError, card_from_text
from assistant.card.arithmetic import truck_for
from assistant.cli.plan import plan_report, plan_text
from assistant.cli.terminal import CalledError
from assistant.clutch.conformity import Measured
from assistant.clutch.linkage.cable import Cable
from assistant.clutch.linkage.hydraulic import Hydraulic
from assistant.clutch.linkage.levers import LeverChain
from assistant.clutch.linkage.lost_motion import brake_force_lbf, find_lost_motion
from assistant.clutch.linkage.stroke import Load, brake_stroke_in, free_travel_in, pedal_for
from assistant.clutch.solver import solve
from assistant.job import plan_words
from tests.clutch.rods import BARS, with_rod
from tests.clutch.test_linkage import chain

RODS = (
    """
[rod]
longer = "more clearance"
[ring]
lug = "0.027 in"
[linkage]
pedal = "15 in"
fork = "4-1/2 in"
load = 150
load_rate = 200
"""
    + BARS
)
CABLE = """
[truck]
linkage = "cable"
[linkage]
pedal_lever = 5
fork_lever = 2.4
diameter = "1/4 in"
length = "1500 mm"
thread = "3/8-16"
load = 250
"""
FLUID = """
[truck]
linkage = "hydraulic"
[linkage]
pedal_lever = 5
fork_lever = 1.2
master_bore = "3/4 in"
slave_bore = "1-1/8 in"
master_stroke = "1-3/4 in"
slave_stroke = "1 in"
port = "1/32 in"
fluid = 5
self_filling = true
"""
READ = {
    "gap": "9/16",
    "clearance": "seventy thou",
    "free-travel": "one and three quarters",
    "pedal-height": "eight and a half",
    "brake-contact": "1/4",
}


def test_a_card_of_rods_is_the_chain() -> None:
    card = card_from_text(RODS, "c")
    assert card.geometry == chain() and isinstance(card.geometry, LeverChain)
    assert card.load == Load(150.0, 200.0)


def test_a_cards_cable_and_fluid() -> None:
    cable = card_from_text(CABLE, "c").geometry
    assert isinstance(cable, Cable) and cable.lead_in == 1 / 16
    area = 0.6 * math.pi / 4 * 0.25**2
    assert cable.stiffness_lbf_in == pytest.approx(12e6 * area / (1500 / 25.4))
    fluid = card_from_text(FLUID, "c").geometry
    assert isinstance(fluid, Hydraulic) and fluid.follows and fluid.port_in == 1 / 32
    assert card_from_text('unit = "T-1"\n', "c").geometry is None


ERRORS = [
    (RODS.replace('rod = "14 in"', ""), "linkage.bar", "bar 1: rod is missing"),
    (RODS.replace('moves = "push"', ""), "linkage.bar", 'bar 2: moves is missing; write "push"'),
    (RODS.replace('moves = "push"', 'moves = "up"'), "moves", "push, pull"),
    (RODS.replace("angle = 75", "angle = 275"), "angle", "1 to 179"),
    (RODS.replace('arm = "3 in"', "arm = 3", 1), "linkage.bar.arm", "no unit"),
    (RODS.replace('rod = "14 in"', 'rod = "2 in"'), "linkage", "cannot join"),
    (RODS.replace("load =", "loads ="), "linkage.loads", "did you mean load"),
    (RODS.replace('pedal = "15 in"', ""), "linkage", "pedal is missing"),
    (RODS.replace('pedal = "15 in"', 'pedal = "0 in"'), "linkage.pedal", "2 in to 36 in"),
    ('[linkage]\npedal = "15 in"\n', "linkage.bar", "[[linkage.bar]]"),
    ('[[linkage]]\npedal = "15 in"\n', "linkage", "[linkage]"),
    ('[linkage]\npedal = "15 in"\nbar = [1]\nfork = "4 in"\n', "linkage.bar", "[[linkage.bar]]"),
    (CABLE.replace("3/8-16", "3/8-17"), "linkage.thread", "3/8"),
    (CABLE.replace("1500 mm", "long"), "linkage.length", '"60 in"'),
    (CABLE.replace("pedal_lever = 5", ""), "linkage", "pedal_lever is missing"),
    (CABLE + 'master_bore = "1 in"\n', "linkage.master_bore", "no key of a card"),
    (FLUID.replace("true", '"yes"'), "linkage.self_filling", "true or false"),
    (FLUID.replace('port = "1/32 in"', 'port = "2 in"'), "linkage", "whole master stroke"),
    ('[stops]\nheight = "3 in"\n', "stops.height", "cannot be"),
    ('[stops]\nhigh = "1/8 in"\n', "stops.high", "did you mean height"),
]


@pytest.mark.parametrize(("text", "key", "part"), ERRORS)
def test_errors_are_one_line(text: str, key: str, part: str) -> None:
    with pytest.raises(CardError) as caught:
        card_from_text(text, "truck.toml")
    message = str(caught.value)
    assert "\n" not in message and message.startswith("truck.toml")
    assert f"{key}: " in message and part in message


@pytest.mark.parametrize("index", [0, 1])
def test_the_bar_that_adjusts_gives_rod_and_way(index: int) -> None:
    """Against the whole chain with that rod a hundredth longer: which way, and how far."""
    marked = RODS.replace('[rod]\nlonger = "more clearance"\n', "").split("[[linkage.bar]]")
    marked[index + 1] += "adjusts = true\n"
    card = card_from_text("[[linkage.bar]]".join(marked), "c")
    longer = with_rod(chain(), index, 0.01)
    won = 4.5 * (math.sin(chain().tip) - math.sin(longer.tip))
    assert card.longer == ("more clearance" if won > 0 else "less clearance")
    assert card.per_fork == pytest.approx(0.01 / abs(won), rel=0.02)
    assert not {"rod.longer", "rod.per_fork", "pedal.ratio"} & set(card.defaulted)
    wrong = "less clearance" if won > 0 else "more clearance"
    with pytest.raises(CardError, match=f"longer rod gives {card.longer}"):
        card_from_text(f'[rod]\nlonger = "{wrong}"\n' + card.text, "c")


def test_a_cables_stiffness_makes_its_wire_unneeded() -> None:
    """A record's card with both must load, whatever the diameter says: it is not used."""
    both = CABLE.replace('"1/4 in"', '"0 in"') + "stiffness = 5000\n"
    cable = card_from_text(both, "c").geometry
    assert isinstance(cable, Cable) and cable.stiffness_lbf_in == 5000


def test_a_cables_adjuster_goes_through_the_forks_lever() -> None:
    assert card_from_text(CABLE, "c").per_fork == 2.4
    assert card_from_text(CABLE + "[rod]\nper_fork = 2\n", "c").per_fork == 2.0
    assert card_from_text(RODS, "c").per_fork == 1.0  # no bar is marked


def test_only_one_bar_adjusts() -> None:
    both = RODS.replace('moves = "pull"', 'moves = "pull"\nadjusts = true')
    both = both.replace('moves = "push"', 'moves = "push"\nadjusts = true')
    with pytest.raises(CardError, match="mark the one"):
        card_from_text(both, "c")


def test_without_geometry_nothing_is_said_of_it() -> None:
    report = plan_report(READ, card_from_text("", "c"))
    assert report["linkage"] is None and "CHAIN" not in plan_text(report)


def test_the_plan_tells_geometry_from_readings() -> None:
    card = card_from_text(RODS, "c")
    report = plan_report(READ, card)
    linkage, model = report["linkage"], chain()
    assert report["pedal_ratio_source"] == "linkage geometry"
    assert linkage["free_travel_in"] == pytest.approx(free_travel_in(model, 0.07))
    assert linkage["brake_stroke_in"] == pytest.approx(
        brake_stroke_in(model, 0.07, 0.5625, 0.0, card.load)
    )
    force = (150 + 200 * 0.5625) / model.ratio(pedal_for(model, 0.07 + 0.5625))
    assert linkage["pedal_force_lbf"] == pytest.approx(force)
    assert linkage["kind"] == "slack" and linkage["between"] is None
    assert "not known" in linkage["spoken"] and "cannot tell which" in linkage["why"]
    assert "CHAIN" in plan_text(report)


def test_joints_read_tell_where() -> None:
    card = card_from_text(RODS, "c")
    stroke = 8.25
    whole = {j.name: j.travel_in for j in chain().joints(stroke)}
    short = {j.name: j.travel_in for j in chain().joints(stroke - 0.9)}
    joints = {"pedal rod": f"{whole['pedal rod']:.3f}", "shaft rod": f"{short['shaft rod']:.3f} in"}
    report = plan_report(READ, card, joints)
    assert report["linkage"]["between"] == ["pedal rod", "shaft rod"]
    assert report["linkage"]["spoken"].endswith("is lost between pedal rod and shaft rod.")


@pytest.mark.parametrize(
    ("joints", "card", "part"),
    [
        ({"pedal rod": "3"}, "", "geometry on the card"),
        ({"knee": "3"}, RODS, "pedal rod, shaft rod"),
        ({"pedal rod": "a bit"}, RODS, "--joint pedal rod"),
    ],
)
def test_joints_that_cannot_be_used(joints: dict[str, str], card: str, part: str) -> None:
    with pytest.raises(CalledError) as caught:
        plan_report(READ, card_from_text(card, "c"), joints)
    assert part in str(caught.value) and "\n" not in str(caught.value)


def test_joints_want_both_pedal_heights() -> None:
    read = {k: v for k, v in READ.items() if k != "brake-contact"}
    with pytest.raises(CalledError, match="brake contact"):
        plan_report(read, card_from_text(RODS, "c"), {"pedal rod": "3"})


def test_a_chain_that_ends_early_still_gets_a_plan() -> None:
    fluid = FLUID.replace("1-3/4 in", "1 in")
    report = plan_report(READ, card_from_text(fluid, "c"))
    assert report["linkage"]["kind"] == "cannot reach" and report["lugs"] is not None
    assert "CHAIN" in plan_text(report)


@pytest.mark.parametrize("text", [RODS, CABLE, FLUID])
def test_every_word_on_the_chain_is_one_breath(text: str) -> None:
    """All kinds, over free travels and contacts from absurdly short to absurdly long."""
    card, kinds = card_from_text(text, "c"), set()
    for free in ("1/4", "one inch", "two inches", "three and a half", ""):
        for contact in ("1/4", "one inch", "three inches", ""):
            read = {**READ, "free-travel": free, "brake-contact": contact}
            report = plan_report({k: v for k, v in read.items() if v}, card)
            linkage = report["linkage"]
            kinds.add(linkage["kind"])
            assert len(linkage["spoken"].split()) <= 12
            assert "\n" not in linkage["why"]
    assert len(kinds) >= 4


def test_the_plan_done_on_an_exact_chain(fine: float = 0.001) -> None:
    """Ring and rod of the plan carried out on exact kinematics land where the plan says."""
    model, c, g, height = chain(), 0.05, 0.6, 8.3
    now = {
        "gap": Measured(g, fine),
        "clearance": Measured(c, fine),
        "free-travel": Measured(free_travel_in(model, c), fine),
        "pedal-height": Measured(height, fine),
        "brake-contact": Measured(height - brake_stroke_in(model, c, g), fine),
    }
    card: Card = replace(card_from_text(RODS, "c"), load=Load())
    effects = truck_for(card, now)
    found = solve(effects)
    lugs, flats = found.chosen.setting.lugs, found.chosen.setting.flats
    assert found.possible and lugs > 0
    y = flats * effects.adjusters.flat_in
    c2, g2 = c + 0.027 * lugs + y, g - 0.027 * lugs
    after = {q: m.value_in for q, m in found.chosen.after.items()}
    assert after["clearance"] == pytest.approx(c2) and after["gap"] == pytest.approx(g2)
    # The rod moves the fork under the pedal: built anew with that rod, and walked to the brake.
    longer = with_rod(model, 1, y / model.clearance_per_rod(1))
    assert after["free-travel"] == pytest.approx(free_travel_in(longer, c2), abs=0.03)
    stroke = brake_stroke_in(longer, c2, g2)
    assert after["brake-contact"] == pytest.approx(height - stroke, abs=0.03)


def test_pedal_force_needs_a_load() -> None:
    card = card_from_text(RODS, "c")
    readings = truck_for(card, {"gap": Measured(0.5), "clearance": Measured(0.1)}).readings
    assert brake_force_lbf(card.geometry, readings, Load()) is None
    assert brake_force_lbf(None, readings, card.load) is None
    force = brake_force_lbf(card.geometry, readings, card.load)
    assert force is not None and 15 < force < 40
    lost = find_lost_motion(card.geometry, readings, card.load)
    assert re.search(r"About \d+ pounds", plan_words.linkage_why(lost, card, readings))
