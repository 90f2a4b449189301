"""The job composed for every kind of truck: what stands in it, what it names, what is refused."""

import re
from itertools import product
from pathlib import Path

import pytest

from assistant import interlocks
from assistant.card import CardError, card_from_text
from assistant.card.arithmetic import truck_for
from assistant.cli.plan import plan_report, plan_text
from assistant.clutch.conformity import Measured
from assistant.clutch.solver import solve
from assistant.conversation import Session, SessionError
from assistant.texts.dialogs import TRAITS, USUAL, Dialogs
from tests import demo

ALL = [dict(zip(TRAITS, values, strict=True)) for values in product(*TRAITS.values())]
BRAKE = re.compile(r"clutch brake|reach the brake|toward the brake|to brake|fork and brake\b", re.I)


def texts(dialogs: Dialogs) -> list[str]:
    return [text for s in dialogs.steps for text in (s.say, s.why, s.helper) if text]


def spelled(traits: dict[str, str]) -> str:
    ring = f'type = "{traits["ring"]}"\n' if traits["ring"] != "unsaid" else ""
    return (
        f'[truck]\ntransmission = "{traits["transmission"]}"\nlinkage = "{traits["linkage"]}"\n'
        f'clutch = "{traits["clutch"]}"\ncover = "{traits["cover"]}"\n'
        f'[ring]\n{ring}lock = "{traits["lock"]}"\n[shop]\nunits = "{traits["units"]}"\n'
        '[figures]\ngap = { low = "0.5 in", high = "0.6 in" }\n'
    )


def test_every_kind_keeps_the_order(dialogs: Dialogs) -> None:
    assert len(ALL) == 2 * 3 * 2 * 3 * 2 * 3 * 2
    for traits in ALL:
        job = dialogs.for_truck(traits)
        assert not interlocks.order_problem(job.steps, traits), traits
        assert all(len(s.say.split()) <= 12 for s in job.steps), traits
        count = len(job.phases)
        assert [p.heading for p in job.phases] == [f"{i} of {count}" for i in range(1, count + 1)]


def test_a_card_says_its_traits() -> None:
    for traits in ALL:
        assert card_from_text(spelled(traits), "c.toml").traits == traits


def test_no_brake_is_named_where_there_is_none(dialogs: Dialogs) -> None:
    for traits in ALL:
        job = dialogs.for_truck(traits)
        named = [text for text in texts(job) if BRAKE.search(text)]
        read = {s.reading for s in job.steps}
        if traits["transmission"] == "synchronized":
            assert not named and "brake-contact" not in read
        else:
            assert named and "brake-contact" in read


def test_no_ring_is_moved_on_a_clutch_that_adjusts_itself(dialogs: Dialogs) -> None:
    """No hold, no turn, no lock plate; the release stays, for a pedal pressed by mistake."""
    for traits in ALL:
        job = dialogs.for_truck(traits)
        kinds = {s.kind for s in job.steps}
        own = traits["clutch"] == "self-adjusting"
        assert ({"hold", "turn", "clear", "plan"} & kinds == set()) == own
        assert ("maker" in kinds) == own and "release" in kinds
        state = job.say("lock_in_state") + job.say("ring_still_state")
        assert (state == "") == own


@pytest.mark.parametrize(
    ("linkage", "part", "others"),
    [
        ("rod", "rod", ("cable", "pushrod", "fluid")),
        ("cable", "cable", ("fluid", "pushrod", "the rod")),
        ("hydraulic", "pushrod", ("cable", "the rod")),
    ],
)
def test_a_linkage_names_its_own_parts(
    linkage: str, part: str, others: tuple[str, ...], dialogs: Dialogs
) -> None:
    job = dialogs.for_truck({**USUAL, "linkage": linkage})
    moves = [s for s in job.steps if s.kind == "rod"]
    assert len(moves) == 3 and all(part in s.say.lower() for s in moves)
    assert all("linkage_still" in s.cautions for s in moves)
    told = " ".join(texts(job)).lower()
    assert not [other for other in others if other in told]


def test_fluid_is_cautioned_before_it_is_touched(dialogs: Dialogs) -> None:
    job = dialogs.for_truck({**USUAL, "linkage": "hydraulic"})
    text = job.cautions["fluid"].text
    assert all(word in text for word in ("skin", "eyes", "paint"))
    by = {s.id for s in job.steps if "fluid" in s.cautions}
    assert by == {"chain_fluid", "fork_rod", "free_rod", "contact_rod", "final_fluid"}


def test_no_gap_figure_no_job(dialogs: Dialogs, tmp_path: Path) -> None:
    """Common practice speaks of the clutch brake; without one only the maker's figure will do."""
    card = card_from_text('[truck]\ntransmission = "synchronized"\n', "c.toml")
    assert card.figures["gap"] is None and "figures.gap" not in card.defaulted
    with pytest.raises(SessionError, match=r"maker's manual on the card, figures\.gap"):
        Session.begin(card, dialogs, tmp_path / "records")
    assert not (tmp_path / "records").exists()
    with pytest.raises(CardError, match="no clutch brake; remove"):
        card_from_text(f'{card.text}[figures]\nbrake-contact = {{ low = "1/2 in" }}\n', "c.toml")


@pytest.mark.parametrize(
    ("ring", "lug", "pitch"), [("fine", None, 0.014), ("coarse", None, 0.027), ("", "0.015", 0.015)]
)
def test_rings(ring: str, lug: str | None, pitch: float) -> None:
    kind = f'type = "{ring}"\n' if ring else ""
    card = card_from_text(f"[ring]\n{kind}" + (f'lug = "{lug} in"\n' if lug else ""), "c")
    assert card.lug_in == pytest.approx(pitch) and card.ring == (ring or "fine")
    assert ("ring.lug" in card.defaulted) == (lug is None), "a pitch by type is common practice"
    with pytest.raises(CardError, match="is no fine ring"):
        card_from_text('[ring]\ntype = "fine"\nlug = "0.027 in"\n', "c")


def test_no_lugs_are_planned_for_a_clutch_that_adjusts_itself() -> None:
    read = {"gap": Measured(0.64, 0.001), "clearance": Measured(0.05, 0.001)}
    own = card_from_text('[truck]\nclutch = "self-adjusting"\n', "c")
    for card, lugs in ((own, 0), (card_from_text("", "c"), 4)):
        assert solve(truck_for(card, read)).chosen.setting.lugs == lugs


CALLED = {
    "gap": "0.61 in",
    "clearance": "0.05 in",
    "free-travel": "0.7 in",
    "pedal-height": "8.5 in",
    "total-travel": "8.25 in",
}


@pytest.mark.parametrize(
    ("truck", "told", "never"),
    [
        ("s22", "lugs looser", r"brake contact|the brake"),
        ("a7", r"Gap stays high: follow the maker's procedure\.", r"\blugs?\b|worn-out"),
        ("c15", "The cable stays", r"\brod (?!thread|\.per)"),
        ("h9", "The pushrod stays", r"\brod (?!thread|\.per)"),
        ("k40", "no ring is moved", r"\blugs?\b|the brake|brake contact|clutch brake"),
    ],
)
def test_a_plan_names_what_this_truck_has(truck: str, told: str, never: str) -> None:
    report = plan_report(CALLED, demo.card(truck))
    text = plan_text(report)
    said = "\n".join(x for x in text.splitlines() if not x.startswith(("Not on the card", "ROD ")))
    assert re.search(told, text)
    assert not re.search(never, said, re.I), re.search(never, said, re.I)
