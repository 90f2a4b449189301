"""The dialogs: the shipped ones keep the house rules, damaged ones say where, shops may add."""

import re
import shutil
from collections.abc import Callable
from itertools import product
from pathlib import Path

import pytest

from assistant import interlocks
from assistant.act import Said
from assistant.card import Card
from assistant.conversation import Session
from assistant.interlocks import REQUIRED
from assistant.sentences import DialogError, dialogs_folder
from assistant.texts.dialogs import (
    PLACEHOLDERS,
    REPLIES,
    SIGNALS,
    TRAITS,
    USUAL,
    Dialogs,
    load_dialogs,
)
from tests.demo import DIALOGS
from tests.tables import rows_of

Play = Callable[[Session, str], list[Said]]


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    return Path(shutil.copytree(DIALOGS, tmp_path / "dialogs"))


def swap(shop: Path, name: str, old: str, new: str) -> None:
    path = shop / "en" / f"{name}.toml"
    text = path.read_text("utf-8")
    assert old in text, f"{name}.toml has no {old!r}"
    path.write_text(text.replace(old, new, 1), "utf-8")


def block(shop: Path, step: str) -> str:
    text = (shop / "en" / "steps.toml").read_text("utf-8")
    parts = re.split(r"(?m)^(?=\[\[step\]\])", text)
    return next(p for p in parts if f'\nid = "{step}"\n' in p)


def in_step(shop: Path, step: str, old: str, new: str) -> None:
    was = block(shop, step)
    assert old in was, f"step {step} has no {old!r}"
    swap(shop, "steps", was, was.replace(old, new, 1))


def refused(shop: Path, *parts: str) -> None:
    """Loading fails with one line that holds all `parts`."""
    with pytest.raises(DialogError) as caught:
        load_dialogs(shop)
    message = str(caught.value)
    assert "\n" not in message
    for part in parts:
        assert part in message, message


def test_prompts_are_short(dialogs: Dialogs) -> None:
    long = {s.id: s.say for s in dialogs.steps if len(s.say.split()) > 12}
    assert not long


def test_every_step_has_its_parts(dialogs: Dialogs) -> None:
    phases = {p.id for p in dialogs.phases}
    for step in dialogs.steps:
        assert step.phase in phases and step.who in ("tech", "helper")
        assert step.why or step.kind in PLACEHOLDERS, step.id
        assert 0 < step.minutes <= 10, step.id
    for caution in dialogs.cautions.values():
        assert caution.signal in SIGNALS
        assert len(caution.text.split()) <= 16, caution.id
    every = dialogs.pieces.steps  # of any kind of truck
    used = {c for s in every for c in s.cautions}
    assert used == set(dialogs.cautions), "a caution that is never given"


def test_the_trade_s_cautions_are_given(dialogs: Dialogs) -> None:
    told = {
        s.id: " ".join(dialogs.cautions[c].text.lower() for c in s.cautions) for s in dialogs.steps
    }
    assert "roll" in told["chocks"] and "manual" in told["chocks"]
    assert "key" in told["key"]
    assert "stands" in told["stands"]
    assert "compressed air" in told["eyes"] + told["cover_off"]
    assert "slip" in told["ring_turn"]
    assert "spring" in told["ring_clear"] and "spring" in told["ring_ready"]
    assert "hands out" in told["ring_show"]
    assert "nobody under" in told["function"]


def test_phases_stand_in_order(dialogs: Dialogs) -> None:
    order = [p.id for p in dialogs.phases]
    at = [order.index(s.phase) for s in dialogs.steps]
    assert at == sorted(at)
    assert [p.heading for p in dialogs.phases] == [f"{i} of 9" for i in range(1, 10)]


def test_every_blank_of_every_reply_can_be_filled(dialogs: Dialogs) -> None:
    for key, blanks in REPLIES.items():
        text = dialogs.say(key, **dict.fromkeys(blanks, "X"))
        assert text and "{" not in text


def test_no_phrase_answers_two_ways_in_one_place(dialogs: Dialogs) -> None:
    always = {p: k for k, m in dialogs.words.items() if m.anytime for p in m.phrases}
    for key in ("done", "sound", "not_sound", "check", "no", *interlocks.EXACT):
        both = [p for p in dialogs.words[key].phrases if always.get(p, key) != key]
        assert not both, (key, both)


@pytest.mark.parametrize("step", [step for step, _ in REQUIRED])
def test_missing_step(shop: Path, step: str) -> None:
    swap(shop, "steps", block(shop, step), "")
    refused(shop, "steps.toml", step)


@rows_of("damaged_dialogs.txt", "first", "second")("order")
def test_steps_out_of_order(shop: Path, first: str, second: str) -> None:
    one, two = block(shop, first), block(shop, second)
    swap(shop, "steps", one, "@@")
    swap(shop, "steps", two, one)
    swap(shop, "steps", "@@", two)
    refused(shop, "steps.toml", f"step {second} must come after {first}")


rows = rows_of("damaged_dialogs.txt", "where", "old", "new", "told")


@rows("step")
def test_damaged_steps(shop: Path, where: str, old: str, new: str, told: str) -> None:
    in_step(shop, where, old, new)
    refused(shop, "steps.toml", *told.split("|"))


@rows("file")
def test_damaged_files(shop: Path, where: str, old: str, new: str, told: str) -> None:
    swap(shop, where, old, new)
    refused(shop, *told.split("|"))


@pytest.mark.parametrize("meaning", interlocks.EXACT)
def test_exact_cannot_be_switched_off(shop: Path, meaning: str) -> None:
    """Likeness never moves a pedal, whatever a shop writes."""
    text = (shop / "en" / "words.toml").read_text("utf-8")
    section = text[text.index(f"[{meaning}]\n") :]
    section = section[: section.index("\n[", 1)] if "\n[" in section[1:] else section
    swap(shop, "words", section, section.replace("exact = true", "exact = false"))
    refused(shop, "words.toml", meaning, "exact")


@pytest.mark.parametrize("name", ["steps", "words", "replies", "cautions"])
def test_broken_files(shop: Path, name: str) -> None:
    path = shop / "en" / f"{name}.toml"
    good = path.read_bytes()
    path.write_bytes(good + b'\n"\n')
    refused(shop, f"{name}.toml", "TOML")
    path.write_bytes(good + b"# \xff\n")
    refused(shop, f"{name}.toml", "UTF-8")
    path.unlink()
    refused(shop, f"{name}.toml")


@rows_of("damaged_dialogs.txt", "name", "text")("shape")
def test_files_of_another_shape(shop: Path, name: str, text: str) -> None:
    (shop / "en" / f"{name}.toml").write_text(text, "utf-8")
    refused(shop, f"{name}.toml")


def test_wrong_types_in_a_step(shop: Path) -> None:
    for old, new in (
        ("cautions = [", 'cautions = "roll" # ['),
        ('say = "Chock', 'say = ["x"] # "'),
        ("why = ", "why = 3 # "),
        ('id = "chocks"', "id = 3"),
    ):
        copy = Path(shutil.copytree(shop, shop.parent / f"copy{hash((old, new))}"))
        in_step(copy, "chocks", old, new)
        refused(copy, "steps.toml")


GLOVES = """[[step]]
id = "gloves"
phase = "safe"
kind = "act"
who = "tech"
say = "Gloves on. Say done."

"""


def test_a_shop_may_add_and_rephrase(shop: Path, card: Card, play: Play, tmp_path: Path) -> None:
    swap(shop, "steps", block(shop, "eyes"), GLOVES + block(shop, "eyes"))
    in_step(shop, "ring_hold", "HOLD: pedal to the floor, keep it there.", "HOLD it down, mate.")
    session, _ = Session.begin(card, load_dialogs(shop), tmp_path / "records")
    play(session, "skip / done / done / done / done / done")
    assert session.job.at == "gloves"
    play(session, "done / done / h: ready / h: sound / sound / h: foot off / sound / sound")
    play(session, "h: 8.5 / h: 8.25 / h: 5/8 / h: 3/4 / h: foot off / done / all good / skip")
    play(session, "0.660 / check")
    play(session, "forty thou / check")
    said = play(session, "check / done / done / clear")
    assert said[-1].cue == "HOLD" and said[-1].text.startswith("HOLD it down, mate.")
    play(session, "h: holding / five lugs / check / done / done / clear / h: released")
    assert session.job.at == "ring_gap"


@pytest.mark.parametrize("before", ["ring_turn", "ring_tool", "ring_lock", "ring_clear"])
def test_nothing_may_be_added_while_the_pedal_is_held(shop: Path, before: str) -> None:
    extra = GLOVES.replace('phase = "safe"', 'phase = "ring"')
    swap(shop, "steps", block(shop, before), extra + block(shop, before))
    refused(shop, "gloves", "held")


@pytest.mark.parametrize("kind", ["hold", "turn", "release", "clear", "rod", "sign", "plan"])
def test_a_shop_may_not_add_what_moves_things(shop: Path, kind: str) -> None:
    extra = GLOVES.replace('kind = "act"', f'kind = "{kind}"')
    swap(shop, "steps", block(shop, "eyes"), extra + block(shop, "eyes"))
    refused(shop, "gloves", "own steps")


@pytest.mark.parametrize("sets", ['lock_plate = "in"', 'key = "tech"', 'cover = "on"'])
def test_a_shop_s_step_may_not_say_the_truck_is_safe(shop: Path, sets: str) -> None:
    """Lock plate, key and cover are noted by the steps that handle them."""
    extra = GLOVES.replace('who = "tech"\n', f'who = "tech"\nsets = {{ {sets} }}\n')
    swap(shop, "steps", block(shop, "eyes"), extra + block(shop, "eyes"))
    refused(shop, "gloves")


def test_lugcall_dialogs_names_another_folder(shop: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    swap(shop, "replies", 'noted = "Noted."', 'noted = "Written down."')
    monkeypatch.setenv("LUGCALL_DIALOGS", str(shop))
    assert dialogs_folder() == shop
    assert load_dialogs().say("noted") == "Written down."
    assert load_dialogs().fingerprint != load_dialogs(DIALOGS).fingerprint
    monkeypatch.setenv("LUGCALL_DIALOGS", str(shop / "nowhere"))
    with pytest.raises(DialogError, match="nowhere"):
        load_dialogs()


def test_a_shop_may_add_a_step_for_some_trucks(shop: Path, card: Card) -> None:
    extra = (
        '[[step]]\nid = "gloves"\nphase = "safe"\nkind = "act"\nwho = "tech"\n'
        'when = { linkage = ["cable", "hydraulic"], units = "mm" }\n'
        'say = "Gloves on. Say done."\n\n'
    )
    swap(shop, "steps", block(shop, "eyes"), extra + block(shop, "eyes"))
    dialogs = load_dialogs(shop)
    for linkage, units in product(TRAITS["linkage"], TRAITS["units"]):
        traits = {**USUAL, "linkage": linkage, "units": units}
        there = linkage != "rod" and units == "mm"
        assert ("gloves" in dialogs.for_truck(traits).by_id) == there
    assert "gloves" not in dialogs.for_truck(card.traits).by_id
