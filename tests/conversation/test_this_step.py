"""A step is completed by words of it, or by a bare done; a yes answers the newest question."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from assistant.act import Said
from assistant.conversation import Session
from assistant.record.history import JobHistory
from tests.job.test_hold import FOUND, GOOD, HOLE, PLAN, SET, TO_COVER, TO_SIGN, TURN

Play = Callable[[Session, str], list[Said]]

SAFE = "skip / done / done / done / done / done / done / h: ready"
LEVER = f"{SAFE} / h: sound"
SHOW = f"{PLAN} / check"
AT = {
    "chain_lever": LEVER,
    "chain_loose": f"{LEVER} / sound / h: foot off",
    "chain_binding": f"{LEVER} / sound / h: foot off / sound",
    "cover_off": FOUND.removesuffix(f" / {HOLE}"),
    "ring_show": SHOW,
    "ring_unlock": f"{SHOW} / done",
    "ring_tool": f"{TURN} / five lugs / check",
    "ring_lock": f"{TURN} / five lugs / check / done",
    "lubricate": f"{GOOD} / {SET}",
    "out_from_under": TO_COVER,
}
OTHER = [
    *(("chain_lever", w) for w in ("pins are good", "yeah, brackets are tight", "plate's out")),
    *(("chain_lever", w) for w in ("all tight", "nothing loose")),
    *(("chain_binding", w) for w in ("all tight", "pins are good", "no play")),
    *(("ring_show", w) for w in ("plate's out", "it's out", "bracket's off", "rod's tight")),
    *(("ring_unlock", w) for w in ("it's in", "plate's back in", "tool's out", "greased")),
    *(("ring_lock", w) for w in ("it's out", "tool's out", "plate's out", "rod's locked")),
    *(("cover_off", w) for w in ("it's on", "it's in", "keys in my pocket", "greased it all")),
    *(("lubricate", w) for w in ("i'm out", "cover's on", "out from under", "key's handed over")),
    *(("out_from_under", w) for w in ("all greased", "it's on", "cover's on")),
]
OWN = [
    *(("chain_binding", w) for w in ("moves freely", "nothing bent", "sound", "nothing binding")),
    *(("chain_loose", w) for w in ("all tight", "nothing loose", "no play")),
    *(("chain_lever", w) for w in ("sound", "lever moves", "it moves every time", "all good")),
    *(("ring_show", w) for w in ("done", "i see the plate", "done, plate's out")),
    *(("ring_unlock", w) for w in ("plate's out", "lock plate's off", "it's out", "done")),
    *(("ring_lock", w) for w in ("plate's in", "it's in", "it's on", "plate in, hands out")),
    *(("cover_off", w) for w in ("it's off", "cover's off", "plate's off")),
    *(
        ("lubricate", w)
        for w in ("greased", "all greased up", "done", "grease is in, wiped off the extra")
    ),
    *(("out_from_under", w) for w in ("i'm out", "out", "all out, tools out")),
]


@pytest.mark.parametrize(("at", "words"), OTHER)
def test_words_of_another_step_are_asked_about(
    session: Session, play: Play, at: str, words: str
) -> None:
    play(session, AT[at])
    assert session.job.at == at
    said = play(session, words)
    assert session.job.at == at, said
    assert said[-1].text, "asked, or told why not"


@pytest.mark.parametrize(("at", "words"), OWN)
def test_words_of_the_step_complete_it(session: Session, play: Play, at: str, words: str) -> None:
    play(session, AT[at])
    assert session.job.at == at
    play(session, words)
    assert session.job.at != at or session.job.foot_wanted


def text(said: list[Said], to: str = "") -> str:
    return " ".join(s.text for s in said if not to or s.to in (to, "both"))


@pytest.mark.parametrize("yes", ["yeah", "yes", "check", "yep that's right"])
def test_a_yes_answers_the_newest_question(session: Session, play: Play, yes: str) -> None:
    """A gap waits for its check; a pedal height is called out, and asked about: no yes to that
    question keeps the gap."""
    play(session, f"{FOUND} / 0.660")
    assert session.job.pending is not None
    said = play(session, "pedal height eight and a half")
    assert "names the pedal height" in text(said)
    said = play(session, yes)
    assert session.job.at == "found_gap" and session.job.pending is not None
    assert "Yes to what? 0.660 in" in text(said)
    play(session, yes)
    assert session.job.at == "found_clearance"


def test_a_yes_does_not_sign_with_a_code_read_back_before(session: Session, play: Play) -> None:
    job = session.job
    play(session, TO_SIGN)
    assert job.at == "sign_off"
    job.signing = "12"
    play(session, "any doubts / yeah")
    assert not job.finished and not job.signing


@pytest.mark.parametrize("words", ["how much longer", "are we done", "how long left"])
@pytest.mark.parametrize("who", ["h: ", ""])
def test_how_long_in_a_hold_is_till_the_pedal_may_come_up(
    session: Session, play: Play, words: str, who: str
) -> None:
    play(session, TURN)
    said = text(play(session, who + words))
    assert "To go: turning the ring, tool out, lock plate in" in said
    assert said.startswith("Keep it down until told. " if who else "To go")
    minutes = int(said.split()[-2])
    assert minutes < 10 and session.job.facts.hazards.hold_confirmed
    said = text(play(session, f"five lugs / check / done / {who}{words}"))
    assert "turning the ring" not in said and int(said.split()[-2]) < minutes


RING_MOVED = f"{TURN} / five lugs / check / done / done / clear / h: released"


def test_back_over_a_ring_move_says_that_it_stays(session: Session, play: Play) -> None:
    play(session, f"{RING_MOVED} / go back two")
    assert session.job.at == "ring_gap"
    said = play(session, "go back two")
    assert "it stays moved" in text(said)
    play(session, "0.530 / check")
    assert session.job.at == "fork_clearance"
    said = play(session, "go back two")
    assert session.job.at == "found_gap" and "The ring moved 5 lugs" in text(said)
    assert session.job.facts.lugs_total == 5


def test_back_further_than_there_is_goes_as_far_and_says_so(session: Session, play: Play) -> None:
    said = play(session, "skip / go back three")
    assert session.job.at == session.job.dialogs.steps[0].id and "first step" in text(said)
    said = play(session, f"{PLAN} / check / done / done / go back two")
    assert session.job.at == "ring_ready" and "Lock plate is out" in text(said)


@pytest.mark.parametrize("words", ["done", "sound", "0.5", "purple bananas", "check", "skip"])
@pytest.mark.parametrize("at", [FOUND, PLAN, SHOW, AT["cover_off"]])
def test_no_instruction_of_the_technician_is_read_to_the_helper(
    session: Session, play: Play, at: str, words: str
) -> None:
    play(session, at)
    now = [s.text for s in session.job.prompt() if s.to == "tech"]
    told = text([s for s in play(session, f"h: {words}") if s.to == "helper"])
    assert now and not any(one in told for one in now), told


def test_doubts_are_named_at_the_sign_off(session: Session, play: Play) -> None:
    said = play(session, TO_SIGN.replace("h: sound", "h: not sound / repaired / h: sound", 1))
    assert session.job.at == "sign_off", session.job.at
    named = [s for s in said if "Doubts: not sound: pedal pressed once" in s.text]
    assert named and named[0].to == "tech"


SAFE_CHAIN = FOUND.partition(" / h: 8.5 in")[0]


@pytest.mark.parametrize(
    "words",
    [
        "height eight and a half, travel eight and a quarter",
        "pedal height 8-1/2 and total travel 8-1/4",
        "8.5 height, 8.25 travel",
        "total travel eight and a quarter and pedal height eight and a half",
    ],
)
def test_two_readings_in_one_breath_are_both_kept(session: Session, play: Play, words: str) -> None:
    job = session.job
    play(session, SAFE_CHAIN)
    assert job.expects() == "pedal-height"
    play(session, f"h: {words}")
    read = {t.quantity: t.value_in for t in job.facts.readings}
    assert read["pedal-height"] == 8.5 and read["total-travel"] == 8.25
    assert JobHistory.read(session.journal.path).last_read("found").keys() >= {"total-travel"}


def test_of_two_readings_the_one_not_kept_is_told(session: Session, play: Play) -> None:
    """A gap waits for its check, so the clearance called out with it is not taken yet."""
    said = play(session, f"{FOUND} / gap six ten, clearance forty thou")
    assert session.job.pending is not None and session.job.pending.value_in == 0.61
    assert "Took the gap. Say the fork clearance when it is asked." in text(said)
    play(session, "check")
    assert session.job.at == "found_clearance"


@pytest.mark.parametrize("words", ["cover's off", "plate's out", "it's off", "greased"])
def test_a_value_that_waits_is_not_confirmed_by_words_of_a_step(
    session: Session, play: Play, words: str
) -> None:
    play(session, f"{FOUND} / 0.660 / {words}")
    assert session.job.pending is not None and session.job.at == "found_gap"
    for _ in range(2):
        play(session, "check" if session.job.at == "found_gap" else "repeat")
    assert session.job.at == "found_clearance"
