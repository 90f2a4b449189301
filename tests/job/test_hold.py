"""Scripts of a bad day around the pedal: each of these once went wrong."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from assistant.act import Said
from assistant.card import Card, card_from_text
from assistant.conversation import Session
from assistant.job import words
from assistant.texts.dialogs import Dialogs

Play = Callable[[Session, str], list[Said]]

FOUND = (
    "skip / done / done / done / done / done / done / h: ready / h: sound / sound / h: foot off"
    " / sound / sound / h: 8.5 in / h: 8.25 in / h: 5/8 in / h: 3/4 in / h: foot off / done"
    " / all good / skip"
)
HOLE = "done / all good / skip"
"""The cover taken off, and the look inside."""
PLAN = f"{FOUND} / 0.660 / check / forty thou / check"
HOLD = f"{PLAN} / check / done / done / clear"
TURN = f"{HOLD} / h: holding"
LAST = f"{TURN} / 3 / check / done / done / clear"
LET_UP = "clear / let it up / h: released / carry on / clear / h: holding"
GOOD = f"{FOUND} / 0.530 / 0.125"
SET = "h: 1.5 in / check / h: 1.5 in / check / h: foot off"
"""The free travel is not what it was, though nothing was moved: it is read again."""
FINAL = "done / 0.530 / 0.125"
TO_COVER = f"{GOOD} / {SET} / {FINAL} / done"
BACK = "code 12 / h: ready / done"
"""Who goes on after a new start, the helper there, the engine off and the key below."""
TRIED = "h: sound / h: sound / h: sound / h: sound"
TO_SIGN = f"{TO_COVER} / done / done / {TRIED} / done / skip"


def text(said: list[Said], to: str = "") -> str:
    """All that was said, or all that one of the two hears."""
    return " ".join(s.text for s in said if not to or s.to in (to, "both"))


def test_stop_before_the_helper_says_holding(session: Session, play: Play) -> None:
    """From HOLD on, the pedal may be on its way: it is not called up, and is not let go."""
    play(session, HOLD)
    said = play(session, "stop")
    assert "Pedal up" not in text(said) and "Foot off" not in text(said, "helper")
    assert play(session, "clear / let it up")[-1].cue == "RELEASE"


def test_stop_while_the_pedal_is_let_up_out_of_a_stop(session: Session, play: Play) -> None:
    """The second stop still goes back to the turn; no step of the ring is left out."""
    play(session, f"{TURN} / stop / clear / let it up / stop / clear / let it up / h: released")
    play(session, "carry on")
    assert session.job.at == "ring_ready"
    play(session, "clear / h: holding")
    assert session.job.at == "ring_turn"


def test_killed_while_the_pedal_is_let_up_out_of_a_stop(
    session: Session, play: Play, dialogs: Dialogs
) -> None:
    play(session, f"{TURN} / stop / clear / let it up")
    session.close()
    again, said = Session.resume(session.journal.path, dialogs)
    assert not any(s.cue == "RELEASE" for s in said)
    play(again, "code 12 / carry on / key's on me / clear / h: holding")
    assert again.job.at == "ring_turn"


def test_killed_in_a_release_entered_with_the_pedal_up(
    session: Session, play: Play, dialogs: Dialogs
) -> None:
    """Stopped in the release, released meanwhile, gone on: a resume trusts no hand there."""
    play(session, f"{TURN} / five lugs / check / done / done / clear / stop / h: released")
    play(session, "clear / carry on")
    session.close()
    again, said = Session.resume(session.journal.path, dialogs)
    assert not any(s.cue == "RELEASE" for s in said)
    again.close()


def test_stop_in_the_turn_asks_for_all_that_moved(session: Session, play: Play) -> None:
    """A turn broken off is neither called unmoved nor told again as if nothing had moved."""
    play(session, f"{TURN} / five lugs")
    said = play(session, "stop")
    assert "Ring not moved" not in text(said)
    said = play(session, LET_UP)
    assert session.job.at == "ring_turn"
    assert "all that moved" in text(said) or "in all" in text(said)
    play(session, "five lugs / check")
    assert session.job.facts.lugs_total == 5


@pytest.mark.parametrize("at", ["", "done / "])
def test_the_next_move_is_told_after_a_stop_with_the_ring_moved(
    session: Session, play: Play, at: str
) -> None:
    """A stop at the tool or the lock plate must not swallow the next ring turn."""
    play(session, f"{TURN} / two lugs / check / {at} stop / {LET_UP}")
    assert session.job.at in ("ring_tool", "ring_lock")
    for _ in range(2):
        if session.job.at != "ring_clear":
            play(session, "done")
    play(session, "clear / h: released / 0.606 / check / check / done / done / clear / h: holding")
    assert session.job.at == "ring_turn"


@pytest.mark.parametrize("line", ["done", "five lugs", "three"])
def test_a_count_never_takes_a_gap_s_place(session: Session, play: Play, line: str) -> None:
    """ "Correct the gap", then an answer to the turn: the gap stays a length."""
    play(session, f"{TURN} / correct the gap / {line} / check / five lugs / check")
    gaps = [t for t in session.job.facts.readings if t.quantity == "gap"]
    assert len(gaps) == 1 and gaps[0].value_in is not None


def test_of_two_equal_readings_the_last_is_corrected(session: Session, play: Play) -> None:
    """The ring did not move, twice read the same: the correction is of the last one."""
    move = "check / done / done / clear / h: holding / five lugs / check / done / done / clear"
    play(session, f"{PLAN} / {move} / h: released / 0.660 / check")
    play(session, f"{move} / h: released / 0.660 / check / correct gap 0.525 / check")
    gaps = [t.figures for t in session.job.facts.readings if t.quantity == "gap"]
    assert gaps == ["0.660 in", "0.660 in", "0.525 in"]


def test_a_new_plan_is_shown_before_it_is_done(session: Session, play: Play) -> None:
    said = play(session, f"{PLAN} / measure again / 0.600 / check")
    assert session.job.at == "ring_plan" and said[-1].key == "prompt:ring_plan"


def test_the_lock_plate_goes_in_before_anything_else(session: Session, play: Play) -> None:
    """Neither back nor a correction leads past the ring with the lock plate out."""
    play(session, f"{PLAN} / check / done / done / back / back / back / correct gap 0.530 / check")
    play(session, "forty thou / check / check / done / clear / h: holding / zero / check / done")
    assert session.job.at == "ring_lock" and session.job.facts.hazards["lock_plate"] == "out"


@pytest.mark.parametrize("reading", ["gap 0.660", "fork clearance 0.3"])
def test_nobody_is_sent_under_a_truck_that_may_start(
    session: Session, play: Play, reading: str
) -> None:
    """A correction while it is tried first takes the key back and the cover off."""
    play(session, f"{TO_COVER} / done / done / {TRIED} / correct {reading} / check")
    assert session.job.at == "key_back"
    play(session, "done")
    assert session.job.at == "reopen_cover"


def test_not_sound_with_the_engine_on_begins_with_safety(session: Session, play: Play) -> None:
    """The repair goes under the truck again: chocks, brake, neutral, key."""
    play(session, f"{TO_COVER} / done / done / h: not sound / repaired")
    assert session.job.at == "chocks"


def test_back_from_the_reopened_cover_is_no_dead_end(session: Session, play: Play) -> None:
    play(session, f"{TO_SIGN} / correct fork clearance 0.3 / check / back")
    for _ in range(40):
        if session.job.at == "final_clearance":
            break
        step = session.job.step
        assert step is not None
        if session.job.foot_wanted:
            play(session, "h: foot off")
        values = {"gap": "0.530", "clearance": "0.125", "pedal-height": "8.5 in"}
        values |= {"total-travel": "8.25 in", "free-travel": "1.5 in", "brake-contact": "3/4 in"}
        play(session, f"{values[step.reading]} / check" if step.kind == "read" else "done")
    assert session.job.at == "final_clearance"


def test_stop_with_the_engine_on(session: Session, play: Play) -> None:
    """At the function check it may be in gear: nobody is told to take the foot off a clutch."""
    play(session, f"{TO_COVER} / done / done")
    assert session.job.at == "function_release"
    said = play(session, "h: stop")
    assert "Foot off" not in text(said, "helper")


def test_a_rod_that_will_not_move_can_be_left(session: Session, play: Play) -> None:
    """Told to turn the rod and cannot: accept with a reason leads on, as where nothing helps."""
    play(session, GOOD.replace("h: 3/4 in", "h: a quarter"))
    play(session, f"{SET.removesuffix(' / h: foot off')} / h: a quarter / check")
    play(session, "h: foot off")
    before = session.job.at
    assert before == "free_rod"  # the plan turns it there, once, for the brake's contact too
    play(session, "accept rod is seized, lead knows")
    assert session.job.at == "set_contact"
    play(session, "h: a quarter / check / h: foot off")
    if session.job.at == "contact_rod":
        play(session, "accept rod is seized, lead knows")
    assert session.job.at not in ("set_contact", "contact_rod", before)


def test_the_helper_is_warned_where_he_could_do_harm(session: Session, play: Play) -> None:
    said = play(session, FOUND.removesuffix(f" / {HOLE}"))
    warned = [s for s in said if s.key == "caution:hole"]
    assert warned and all(s.to in ("helper", "both") for s in warned)


def test_once_released_after_lost_it_is_up(session: Session, play: Play) -> None:
    play(session, f"{TURN} / h: lost it")
    said = play(session, "h: released")
    assert "coming up" not in text(said) and "Pedal up" in text(said)


@pytest.mark.parametrize("lost", ["lost it", "slipping", "i can't hold it"])
def test_lost_takes_hands_out_first(session: Session, play: Play, lost: str) -> None:
    said = play(session, f"{TURN} / h: {lost}")
    assert said[0].to in ("tech", "both") and said[0].signal == "DANGER"
    assert "HANDS OUT" in said[0].text


def test_no_whole_lug_lands_leads_somewhere(dialogs: Dialogs, play: Play, tmp_path: object) -> None:
    """When no count can be right, it says so, and a gap that is out is still not accepted."""
    card: Card = card_from_text(
        '[ring]\nlug = "0.09 in"\n[figures]\ngap = { low = "0.500 in", high = "0.510 in" }\n', "c"
    )
    session, _ = Session.begin(card, dialogs, tmp_path / "r")  # type: ignore[operator]
    said = play(session, f"{FOUND} / 0.540 / check / 0.125 / check")
    assert session.job.at == "ring_plan" and "No whole lug" in text(said)
    said = play(session, "accept the lead said so")
    assert session.job.at == "ring_plan" and "cannot be accepted" in text(said)
    session.close()


@pytest.mark.parametrize(
    ("value", "told"),
    [(13.5, "thirteen point five"), (6.0, "six"), (-0.2, "minus zero point two"), (1e12, "")],
)
def test_any_number_can_be_told(value: float, told: str) -> None:
    both = words.number(value, 1)
    assert both == f"{value:,.1f}" and both.spoken == (told or both)


@pytest.mark.parametrize(
    "line", ["done", "h: yes", "h: yep", "h: i'm still on the pedal", "h: not off"]
)
def test_hands_wait_for_the_foot(session: Session, play: Play, line: str) -> None:
    """After pedal readings only the helper's own word sends a hand to the hole."""
    play(session, FOUND.removesuffix(f" / h: foot off / {HOLE}"))
    for _ in range(2):
        said = play(session, line)
        assert session.job.at == "cover_off" and "Hands out" in text(said, "tech")
    assert "cover off" in text(play(session, "h: my foot's off the pedal")).lower()


@pytest.mark.parametrize("line", ["i'm still on the pedal", "my foot is on it", "still on it"])
def test_a_foot_on_again_is_asked_after(session: Session, play: Play, line: str) -> None:
    play(session, FOUND)
    said = play(session, f"h: {line}")
    assert "Hands out" in text(said, "tech") and "Say foot off" in text(said, "helper")
    assert "Gap" not in text(play(session, "0.530"))
    assert "Gap" in text(play(session, "h: foot off"))


@pytest.mark.parametrize(
    "line", ["i'm holding it", "still down", "still got it", "yeah still holding"]
)
def test_still_holding_wants_words_that_say_so(session: Session, play: Play, line: str) -> None:
    said = play(session, f"{TURN} / blorp grumble / h: yes")
    assert "Still holding" in text(said, "helper")
    assert "Turn the ring" in text(play(session, f"h: {line}"), "tech")


@pytest.mark.parametrize("line", ["h: holding", "h: i lost it", "h: i've got it down"])
@pytest.mark.parametrize("at", ["", "done / done / done / skip / done / done / done / h: ready"])
def test_pedal_up_is_not_told_against_his_last_word(
    session: Session, play: Play, line: str, at: str
) -> None:
    """Where his foot does no harm nothing is stopped, but what he said of it holds."""
    play(session, f"{at} / h: foot off / {line}")
    assert "Pedal up" not in text(play(session, "stop"))
    play(session, "h: foot off")
    assert "Pedal up" in text(play(session, "stop"))


@pytest.mark.parametrize(
    "line",
    [
        "i will be clear soon", "is it clear", "nearly clear", "not all clear", "wait a bit",
        "my sleeve", "h: is he clear", "clear as mud", "one hand clear", "one more second",
    ],
)  # fmt: skip
@pytest.mark.parametrize(
    ("at", "goes_on"),
    [(TURN, "let it up"), (LAST, "let it up"), (LAST, "carry on")],
)
def test_a_clear_in_doubt_frees_no_pedal(
    session: Session, play: Play, line: str, at: str, goes_on: str
) -> None:
    """Stopped with the pedal down, words after the clear that are not surely harmless spend it."""
    play(session, f"{at} / stop / clear / {line}")
    assert not any(s.cue == "RELEASE" for s in play(session, goes_on))
    assert any(s.cue == "RELEASE" for s in play(session, f"clear / {goes_on}"))


@pytest.mark.parametrize("line", ["shall i hold it", "do i hold", "should i keep it", "hold it eh"])
@pytest.mark.parametrize("at", [TURN, f"{TURN} / 3", LAST])
def test_what_the_helper_asks_in_a_hold_is_not_passed_over(
    session: Session, play: Play, line: str, at: str
) -> None:
    said = play(session, f"{at} / h: {line}")
    alarm = session.job.stopped or "Hands out" in text(said, "tech")
    assert alarm or (session.job.at == "ring_release" and "released" in text(said, "helper"))


@pytest.mark.parametrize("line", ["how", "h: how", "how do i do that"])
def test_no_way_of_reading_is_told_before_the_foot_is_off(
    session: Session, play: Play, line: str
) -> None:
    """How the gap is read begins "pedal up", and sends hands in."""
    play(session, f"{GOOD} / {SET} / done / h: i'm still on the pedal")
    assert "pedal up" not in text(play(session, line))
    play(session, "h: foot off")
    assert "the pedal up" in text(play(session, line))


@pytest.mark.parametrize("line", ["h: my gauge is metric", "metric"])
def test_in_doubt_every_answer_keeps_hands_out(session: Session, play: Play, line: str) -> None:
    play(session, f"{TURN} / blorp grumble")
    assert "Hands out" in text(play(session, line), "tech")


@pytest.mark.parametrize("line", ["is he clear", "is it clear", "not quite clear", "am i clear"])
def test_a_clear_in_doubt_while_the_pedal_goes_down(
    session: Session, play: Play, line: str
) -> None:
    """HOLD is not told again on a clear that is in doubt."""
    play(session, f"{HOLD} / {line}")
    assert session.job.stopped


def test_a_pedal_down_again_after_going_on_alarms_both(session: Session, play: Play) -> None:
    """It may be down since the stop: what is said of it next is no news to the helper alone."""
    play(session, FOUND.split(" / h: 8.5 in")[0])
    said = play(session, "h: yeah still holding / carry on / h: down again")
    assert "HANDS OUT" in text(said, "tech") and "stays down" in text(said, "helper")


def test_a_pedal_he_is_told_to_press_is_not_called_up(session: Session, play: Play) -> None:
    """He said foot off, and is asked again to press: it may be down by now."""
    play(session, FOUND.split(" / h: sound")[0])
    said = play(session, "h: foot off / h: 9/16 inch / h: my arm's stuck")
    assert "Everything out" in text(said, "tech") and "Pedal up" not in text(said)


def test_a_helper_told_to_move_it_is_never_left_without_an_answer(
    session: Session, play: Play
) -> None:
    play(session, FOUND)
    said = play(session, "h: it's back down / clear / let it up / h: what a day")
    assert said[-1].cue == "RELEASE"


def test_up_and_down_in_one_breath_is_neither(session: Session, play: Play) -> None:
    play(session, FOUND)
    said = play(session, "h: it's back down / clear / let it up / h: holding released")
    assert "up or down" in text(said, "helper") and "Pedal up" not in text(said)


def test_a_foot_off_before_a_new_start_counts_for_nothing(
    session: Session, play: Play, dialogs: Dialogs
) -> None:
    """At a step that has him press, he is told so again: hands wait for a new word of his."""
    play(session, FOUND.split(" / sound / h: foot off")[0])
    play(session, "h: foot off the pedal")
    session.close()
    again, _ = Session.resume(session.journal.path, dialogs)
    play(again, f"{BACK} / lever moves")
    assert again.job.at == "chain_loose" and again.job.foot_wanted
    assert "Pedal up" not in text(play(again, "stop"))


def test_how_to_read_tells_nothing_of_the_pedal(session: Session, play: Play) -> None:
    """It is asked at any time, and "Pedal up." is what only the helper's word makes so."""
    play(session, f"{PLAN} / check / done / done / clear / h: holding / stop")
    for quantity in ("gap", "clearance"):
        assert "Pedal up" not in text(play(session, f"how do I measure the {quantity}"))


ORDERS_HIM = ("stopped_helper_held", "stopped_helper_up", "stopped_helper_still",
              "stopped_helper_engine", "hold_lost_helper", "hold_in_stop")  # fmt: skip


@pytest.mark.parametrize("way", [
    f"{TURN} / stop", f"{TURN} / h: stop", f"{TURN} / h: lost it", 
    f"{TURN} / h: lost it / h: holding",
    f"{TURN} / h: lost it / h: released", f"{TURN} / pause", f"{FOUND} / h: stop",
    f"{TURN} / stop / stop",
    f"{FOUND} / h: the engine is cranking", f"{TURN} / my arm is stuck",
    f"{TO_COVER} / done / done / stop",
])  # fmt: skip
def test_a_stopped_helper_is_told_one_thing(session: Session, play: Play, way: str) -> None:
    """What he was told last of his foot stands until something else is known of it, and a "say
    again" of his says just that."""
    said = play(session, way)
    assert session.job.stopped
    told = [s.text for s in said if s.to == "helper" and s.key.removeprefix("reply:") in ORDERS_HIM]
    stands = session.job.meanwhile()
    assert stands is not None and (not told or stands.text == told[-1])
    assert text(play(session, "h: say again"), "helper").startswith(stands.text)


def test_holding_after_lost_is_answered(session: Session, play: Play) -> None:
    """It does not put the hold back; he is told so, and to keep down what is down."""
    play(session, f"{TURN} / h: lost it")
    heard = text(play(session, "h: holding"), "helper")
    assert "Heard" in heard and "stays down" in heard
    assert session.job.stopped and not session.job.facts.hazards.hold_confirmed


@pytest.mark.parametrize("at", [FOUND, TURN, LAST, f"{TURN} / stop"])
def test_a_stop_of_the_helper_s_is_not_undone_from_below(
    session: Session, play: Play, at: str
) -> None:
    """He saw why: he says ready before the technician's carry on counts."""
    said = play(session, f"{at} / h: stop")
    assert "Say ready" in text(said, "helper")
    said = play(session, "carry on")
    assert session.job.stopped and "ready first" in text(said, "tech")
    assert "Say ready" in text(said, "helper")
    play(session, "h: ready")
    assert session.job.stopped
    play(session, "carry on")
    assert not session.job.stopped


def test_a_helper_s_stop_is_no_dead_end_without_him(session: Session, play: Play) -> None:
    play(session, f"{FOUND} / h: stop / my helper left / carry on")
    assert not session.job.stopped


def test_a_record_of_a_time_when_nobody_asked_him_is_resumed(
    session: Session, play: Play, dialogs: Dialogs, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as then:
        then.setattr("assistant.job.job.Job.helper_asked", False)
        play(session, f"{FOUND} / h: stop / carry on / 0.530")
    at = session.job.at
    session.close()
    again, _ = Session.resume(session.journal.path, dialogs)
    assert again.job.at == at
    again.close()
