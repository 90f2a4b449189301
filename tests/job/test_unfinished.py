"""A job that cannot go on: each dead end leads somewhere, and to a closed record at the last."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from assistant.act import Act, Said
from assistant.card import card_from_text
from assistant.conversation import Session, SessionError
from assistant.conversation.dead_ends import dead_end
from assistant.interlocks import TROUBLES
from assistant.job.job import Job
from assistant.quantity import GAP
from assistant.record import verify_file
from assistant.record.history import JobHistory
from assistant.review.pages.job_page import job_page
from assistant.review.transcript import transcript
from assistant.texts.dialogs import Dialogs
from tests.conversation.test_session import answer
from tests.demo import lugcall
from tests.job.test_hold import (
    FINAL,
    FOUND,
    GOOD,
    HOLD,
    HOLE,
    PLAN,
    SET,
    TO_COVER,
    TO_SIGN,
    TURN,
    text,
)
from tests.review.test_pages import made

Play = Callable[[Session, str], list[Said]]

TOOL = f"{TURN} / five lugs / check"
LOCK = f"{TOOL} / done"
UP = "clear / let it up / h: released"
MARKED = "clear / out / not on / marked / tagged"
SHUT = "clear / in / on / tagged"
REST = "need a new bolt, then two more lugs / sign off 12"
ENDS = {
    "seized": (TURN, f"ring won't budge / h: holding / unfinished / {UP} / {MARKED}", "OUT", "OFF"),
    "stripped": (LOCK, f"thread's gone / unfinished / {UP} / {MARKED}", "OUT", "OFF"),
    "frozen": (PLAN, f"jam nut's frozen / unfinished / {SHUT}", "in", "on"),
    "dropped": (LOCK, f"dropped the bolt / unfinished / {UP} / {MARKED}", "OUT", "OFF"),
    "hidden": (f"{PLAN} / check", f"no lock plate anywhere / unfinished / {SHUT}", "in", "on"),
    "cover": (FOUND[: -len(HOLE)], "cover won't come off / unfinished / tagged", "in", "on"),
    "brake_gone": (FOUND, f"clutch brake's in bits / unfinished / {SHUT}", "in", "on"),
    "helper_gone": (TURN, f"my helper left / h: released / unfinished / {MARKED}", "OUT", "OFF"),
    "alone": (PLAN, f"nobody at the pedal / unfinished / {SHUT}", "in", "on"),
    "time_up": (f"{GOOD} / {SET}", f"shift's over / {SHUT}", "in", "on"),
    "break": (PLAN, f"lunch / unfinished / clear / off for the day / {SHUT[8:]}", "in", "on"),
    "parts": (TO_COVER, "waiting for parts / unfinished / clear / tagged", "in", "on"),
    "wrong_card": ("done / done", "this is the wrong truck / tagged", "in", "on"),
}  # fmt: skip
"""Kind of trouble -> where it is met, what is said then, and how lock plate and cover are left."""


@pytest.mark.parametrize("kind", TROUBLES)
def test_each_dead_end_closes_and_the_next_one_can_act(
    session: Session, play: Play, kind: str
) -> None:
    """Verified, closed unfinished; on the page stand what is left, lock, cover, pedal, reason."""
    before, then, lock, cover = ENDS[kind]
    play(session, before)
    play(session, f"{then} / {REST}")
    path = session.journal.path
    assert session.job.finished and verify_file(path).ok and verify_file(path).unfinished
    history = JobHistory.read(path)
    assert history.state == "unfinished" and history.closed is not None
    left = history.closed.unfinished
    assert (
        left is not None
        and left.rest == "need a new bolt, then two more lugs"
        and left.pedal == "up"
    )
    told = "off for the day" if kind == "break" else None
    words = made(path).words
    shown = ("Why unfinished " + (told or left.why), f"Lock plate {lock}", f"Cover {cover}",
             "Pedal up", "Tag on the wheel", f"What is left {left.rest}", "Ring moved")  # fmt: skip
    for part in shown:
        assert part in words, (part, words[:900])
    assert "CLOSED UNFINISHED by 12" in words and "SIGNED OFF" not in words
    printed = "\n".join(transcript(history))
    assert "CLOSED UNFINISHED by 12" in printed and f"What is left: {left.rest}" in printed


RING = {
    "seized": "COUNT NOT SAID, read the gap", "stripped": "5 lugs tighter, gap NOT read since",
    "dropped": "5 lugs tighter, gap NOT read since", "helper_gone": "COUNT NOT SAID, read the gap",
}  # fmt: skip


@pytest.mark.parametrize("kind", ["seized", "stripped", "helper_gone", "frozen"])
def test_the_next_one_knows_where_the_ring_stands(session: Session, play: Play, kind: str) -> None:
    """No "0 lugs" of a ring that was turned with no count said; no old gap taken for the new."""
    before, then, *_ = ENDS[kind]
    play(session, f"{before} / {then} / {REST}")
    words = made(session.journal.path).words
    assert f"Ring moved {RING.get(kind, '0 lugs')}" in words.replace(
        "0 lugs said, then turned on: ", ""
    )


def test_every_kind_has_its_words(dialogs: Dialogs) -> None:
    kinds = dialogs.words["trouble"].kinds
    assert set(kinds) == set(TROUBLES) == set(ENDS)


def test_verify_says_so_and_nothing_goes_on(session: Session, play: Play, dialogs: Dialogs) -> None:
    play(session, "wrong card / tagged / skip / sign off 12")
    session.close()
    done = lugcall("verify", str(session.journal.path))
    assert done.returncode == 0 and "closed unfinished" in done.stdout
    with pytest.raises(SessionError, match="closed unfinished"):
        Session.resume(session.journal.path, dialogs)


@pytest.mark.parametrize("at", [HOLD, TURN, TOOL, LOCK, f"{LOCK} / done", f"{LOCK} / done / clear"])
def test_nothing_is_closed_with_the_pedal_down(session: Session, play: Play, at: str) -> None:
    """In every step of a hold it stops first, and asks for clear and let up."""
    said = play(session, f"{at} / unfinished")
    assert session.job.at == "halted" and any(s.cue == "STOP" for s in said)
    assert session.job.closing is not None
    said = play(session, "let it up")
    assert not any(s.cue == "RELEASE" for s in said), "let up without a clear"
    play(session, UP)
    assert session.job.at == "leaving"


def test_a_closing_can_be_left_again_until_something_is_put_away(
    session: Session, play: Play
) -> None:
    play(session, f"{PLAN} / unfinished / carry on")
    assert session.job.at == "ring_plan" and session.job.closing is None
    said = play(session, f"unfinished / clear / too tired / {SHUT[8:]} / carry on")
    assert session.job.at == "leaving" and "begin again" in text(said)


def test_a_stop_in_a_closing_asks_for_clear_again(session: Session, play: Play) -> None:
    play(session, f"{PLAN} / unfinished / clear / stop / carry on")
    assert session.job.prompt()[-1].key == "prompt:leave_hands"
    said = play(session, "h: pressing now")
    assert "HANDS OUT" in text(said, "tech")


def test_the_key_comes_back_first(session: Session, play: Play) -> None:
    said = play(session, f"{TO_COVER} / done / done / shift's over")
    assert "key back" in text(said)
    play(session, "sign off 12")
    assert not session.job.finished
    play(session, "engine's off / clear / tagged / skip / sign off 12")
    assert session.job.finished and session.job.facts.hazards.key_below


@pytest.mark.parametrize("words", ["i'm alone", "nobody on the pedal", "cab is empty"])
def test_alone_no_ring_is_moved(session: Session, play: Play, words: str) -> None:
    """Whatever is said below: no HOLD, until a helper says himself that he is there."""
    play(session, f"{PLAN} / {words} / carry on / check / done / done")
    assert session.job.at == "ring_ready"
    said = play(session, "clear")
    assert session.job.at == "ring_ready" and "NO RING MOVE" in text(said)
    assert not any(s.cue == "HOLD" for s in play(session, "ready / carry on / done / clear"))
    assert any(s.cue == "HOLD" for s in play(session, "h: ready / h: code 9 / clear"))


@pytest.mark.parametrize("words", ["helper's gone", "i'm alone", "my helper left"])
def test_a_helper_who_goes_in_a_hold_gets_hands_out_first(
    session: Session, play: Play, words: str
) -> None:
    said = play(session, f"{TURN} / {words}")
    assert said[0].text.startswith("HANDS OUT") and session.job.at == "halted"
    assert not session.job.facts.hazards.hold_confirmed


def test_a_ring_that_sticks_asks_after_the_pedal(session: Session, play: Play) -> None:
    said = play(session, f"{TURN} / ring won't budge")
    assert "common practice, no source" in text(said) and "Still holding" in text(said, "helper")


def test_a_break_is_a_pause(session: Session, play: Play) -> None:
    said = play(session, f"{PLAN} / smoke break")
    assert session.job.at == "halted" and "carry on" in text(said).lower()
    play(session, "carry on")
    assert session.job.at == "ring_plan"


@pytest.mark.parametrize("words", ["lunch", "shift's over / pause", "unfinished / pause", "pause"])
def test_a_pause_tells_how_to_leave_the_truck(session: Session, play: Play, words: str) -> None:
    """With the pedal up, from anywhere; and it is gone on with where it was."""
    play(session, f"{PLAN} / check / done / done")
    said = text(play(session, words))
    assert session.job.at == "halted" and session.job.closing is None
    assert "Lock plate out" in said and "tag on the wheel, open hole marked" in said
    said = text(play(session, "carry on"))
    assert session.job.at == "ring_ready"
    assert ("Who goes on" in said) == (words in ("lunch", "shift's over / pause"))


def test_a_pause_with_the_engine_running_has_the_key_back_first(
    session: Session, play: Play
) -> None:
    said = text(play(session, f"{TO_COVER} / done / done / done / lunch"))
    assert "First neutral, engine off, key back" in said


@pytest.mark.parametrize("at", [HOLD, TURN, LOCK])
def test_lunch_in_a_hold_lets_nobody_go(session: Session, play: Play, at: str) -> None:
    """The pedal is let up first: no key, no tag, nobody leaves while it may be down."""
    said = text(play(session, f"{at} / lunch"))
    assert session.job.at == "halted" and "tag on the wheel" not in said
    assert "Pedal stays down" in said or "STOP" in said


def test_another_helper_is_asked_who_he_is(session: Session, play: Play) -> None:
    play(session, f"{PLAN} / my helper left / carry on")
    said = text(play(session, "h: ready"))
    assert "Helper there" in said and "Who goes on" in said
    play(session, "h: code 27")
    assert session.job.facts.people == [("helper", "27")]


def test_on_is_no_answer_to_whether_the_lock_plate_is_in(session: Session, play: Play) -> None:
    play(session, f"{PLAN} / check / done / done / unfinished / i'm too tired / clear / on")
    assert session.job.prompt()[-1].key == "prompt:leave_hands" or session.job.closing is not None
    assert session.job.closing is not None and session.job.closing.lock == ""


def test_who_goes_on_is_asked_and_kept(session: Session, play: Play, dialogs: Dialogs) -> None:
    """On resume, and where somebody takes over; the code stands in the record."""
    play(session, f"{FOUND}")
    session.close()
    again, said = Session.resume(session.journal.path, dialogs)
    assert "Who goes on" in text(said)
    said = play(again, "code 31")
    assert "31 takes over" in text(said)
    said = play(again, "marek takes over")
    assert "Who goes on" in text(said)
    play(again, "code 44 / h: foot off / key's on me / 0.530 / check / shift's over / clear / in")
    play(again, "on / tagged / skip")
    play(again, "sign off 44")
    history = JobHistory.read(again.journal.path)
    assert history.closed is not None
    assert [(p.who, p.code) for p in history.closed.people] == [("tech", "31"), ("tech", "44")]
    assert "TECH NOW: code 31" in "\n".join(transcript(history))
    assert "31" in made(again.journal.path).words


@pytest.mark.parametrize(
    "told",
    [
        "this is Earl", "h: this is Dora now", "we're back from lunch", "back from lunch",
        "lunch / carry on", "lunch / we're back from lunch", "h: i'm taking over", "",
    ],
)  # fmt: skip
def test_nothing_goes_on_before_it_is_known_who_and_that_it_is_safe(
    session: Session, play: Play, dialogs: Dialogs, told: str
) -> None:
    """After a change of person, a break, a new start: code, helper, engine and key, in this order;
    no other answer takes the job on."""
    play(session, FOUND)
    if told:
        said = play(session, told)
    else:
        session.close()
        session, said = Session.resume(session.journal.path, dialogs)
    job = session.job
    assert "Who goes on" in text(said)
    for words in ("0.530", "done", "all good", "back", "h: 8.5 in", "carry on"):
        said = text(play(session, words))
        assert "Who goes on" in said or (job.stopped and words != "carry on"), words
        assert job.handing and job.pending is None and job.facts.latest(GAP) is None
    who = job.handing
    play(session, f"{'h: ' if who == 'helper' else ''}code 31")
    if job.stopped:
        play(session, "carry on")
    assert job.facts.people[-1] == (who, "31")
    assert "still there" in text(play(session, "done"), "helper") and job.whose() == "helper"
    play(session, "0.530 / h: foot off")
    if who == "tech":
        assert "key on you" in text(play(session, "all good")) and job.whose() == "tech"
        play(session, "0.530 / key's on me")
    assert job.pending is None and job.facts.latest(GAP) is None
    assert job.at == "found_gap" and job.expects() == GAP
    play(session, "0.530")
    assert job.facts.latest(GAP) is not None
    session.close()


@pytest.mark.parametrize(("words", "code"), [("12", "12"), ("thirty one", "31")])
def test_a_bare_code_answers_who_goes_on(
    session: Session, play: Play, words: str, code: str
) -> None:
    play(session, f"{FOUND} / this is Earl / five twenty five / {words}")
    assert session.job.facts.people[-1] == ("tech", code)


def test_stop_and_danger_count_before_it_is_known_who(session: Session, play: Play) -> None:
    play(session, f"{TURN} / this is Earl")
    assert session.job.stopped and session.job.handing == "tech"
    assert "HANDS OUT" in text(play(session, "h: it's coming up"))
    play(session, "clear / let it up / h: released")
    assert session.job.facts.hazards.pedal_up and session.job.handing == "tech"
    assert "Who goes on" in text(play(session, "carry on"))


def test_a_record_of_a_time_when_it_went_on_without_a_code_is_resumed(
    session: Session, play: Play, dialogs: Dialogs, tmp_path: Path
) -> None:
    old = Session.begin(session.job.facts.card, dialogs, tmp_path, rules=0)[0]
    play(old, f"{FOUND} / hand over / 0.530 / 0.125 / h: 1.5 in / check")
    at = old.job.at
    old.close()
    again, _ = Session.resume(old.journal.path, dialogs)
    assert again.job.at == at and again.job.rules == 0
    again.close()


def test_a_change_of_person_in_a_hold_stops(session: Session, play: Play) -> None:
    said = play(session, f"{TURN} / h: i'm taking over")
    assert session.job.at == "halted" and any(s.cue == "STOP" for s in said)


def test_other_clutches_close_too(dialogs: Dialogs, tmp_path: Path, play: Play) -> None:
    """Without a ring there is no lock plate to ask for; a bracket is called one."""
    for truck, asked in (('clutch = "self-adjusting"', "Cover"), ("", "Lock bracket")):
        card = card_from_text(f'[truck]\n{truck}\n[ring]\nlock = "bracket"\n', "x.toml")
        session = Session.begin(card, dialogs, tmp_path)[0]
        said = play(session, f"{FOUND} / shift's over / clear")
        assert asked in text(said), text(said)
        session.close()


SAID = [
    ("T", "i've two feet of bar on that ring and it's no turning", "seized"),
    ("T", "the rod's seized in the clevis, can't turn it", "frozen"),
    ("T", "bolt turns and turns, never tight", "stripped"),
    ("T", "plop, lock plate just fell in", "dropped"),
    ("T", "been all the way round this flywheel twice and there ain't no plate", "hidden"),
    ("T", "cover is painted on, three coats", "cover"),
    ("T", "somebody's left the clutch brake out altogether", "brake_gone"),
    ("T", "earl's climbed down and left me", "helper_gone"),
    ("T", "got nobody to push the clutch for me", "alone"),
    ("T", "boss is locking the doors", "time_up"),
    ("T", "back in ten, need a pee", "break"),
    ("T", "bushing has to be ordered, comes friday", "parts"),
    ("T", "unit number doesn't match, you've got the other one up", "wrong_card"),
    *(("T", words, "unfinished") for words in ("i'm calling it", "we finish tomorrow")),
    *(
        ("T", words, "")
        for words in ("the last guy seized his", "nearly lunch", "it's no stuck any more",
                      "what if the ring won't turn?", "found the lock plate", "my fingers is froze",
                      "cover came, finally", "earl ain't gone, he's just quiet")
    ),
]  # fmt: skip


@pytest.mark.parametrize(("who", "words", "kind"), SAID)
def test_in_other_words(who: str, words: str, kind: str) -> None:
    found = dead_end(words)
    assert ("" if found is None else found[1] or found[0]) == kind


@pytest.mark.parametrize("at", ["", FOUND, PLAN, HOLD, TURN, f"{TURN} / stop", TO_COVER, FINAL])
@pytest.mark.parametrize("kind", TROUBLES)
def test_understood_at_any_step(
    session: Session, play: Play, dialogs: Dialogs, at: str, kind: str
) -> None:
    """By its first phrase; and it leads to a stop, a way, or a closing, never to nothing."""
    play(session, at if at != FINAL else f"{GOOD} / {SET}")
    said = play(session, dialogs.words["trouble"].kinds[kind][0])
    job = session.job
    keys = " ".join(s.key for s in said)
    leads = job.at in ("halted", "leaving") or "reply:way" in keys
    assert leads or "still_holding" in keys, (at, kind, text(said))


@pytest.mark.parametrize(
    ("at", "words", "kind"),
    [
        (FOUND.removesuffix(f" / {HOLE}"), "can't budge it", "cover"),
        (FOUND.removesuffix(f" / {HOLE}"), "it's rusted solid", "cover"),
        (FOUND.removesuffix(f" / {HOLE}"), "the bolts on this cover are rounded off", "cover"),
        (TURN, "it won't budge", "seized"),
        (TURN, "won't turn", "seized"),
        (PLAN, "the lock plate bolt is rounded", "stripped"),
        (PLAN, "it won't budge", ""),
    ],
)
def test_what_will_not_move_is_what_the_step_is_about(
    session: Session, play: Play, at: str, words: str, kind: str
) -> None:
    play(session, at)
    meant = session.understood(words, "tech")
    told = (meant.meaning, meant.text) if isinstance(meant, Act) else ("", "")
    assert told == ("trouble", kind) if kind else told[0] != "trouble"


def test_every_phrase_is_understood_at_every_step(session: Session, dialogs: Dialogs) -> None:
    """From either of the two, in every step of a whole job, in holds and while something waits."""
    job, kinds = session.job, dialogs.words["trouble"].kinds
    seen = set()
    for _ in range(150):
        if job.finished:
            break
        moment = job.at, job.pending is not None
        for kind, phrases in kinds.items() if moment not in seen else ():
            for phrase in phrases:
                for who in ("tech", "helper"):
                    meant = session.understood(phrase, who)
                    assert isinstance(meant, Act), (moment, phrase, who, meant)
                    if job.at == "ring_release" and phrase.startswith("no ") and who == "tech":
                        assert meant.meaning == "stop"  # a "no" while the pedal comes up
                        continue
                    assert (meant.meaning, meant.text) == ("trouble", kind), (moment, phrase, who)
        seen.add(moment)
        who, _, words = answer(job).partition(": ")
        session.hear(who, words)
    assert job.finished and len({at for at, _ in seen}) > 40


def test_a_page_is_made_in_one_go(session: Session, play: Play) -> None:
    play(session, "shift's over / tagged / skip / sign off 7")
    page = job_page(session.journal.path, session.journal.path.parent)
    assert "What is left" in page and "nothing said" in page


def test_unknown_trouble_is_asked_after(session: Session) -> None:
    assert session.job.apply(Act("trouble", "tech", text="hail"))[-1].text
    assert session.job.at == "found_odometer"


def test_carry_on_out_of_a_closing_begun_while_it_was_let_up(session: Session, play: Play) -> None:
    """The release out of a stop is no step of the job: it goes back to where the stop came."""
    play(session, f"{PLAN} / check / done / done / h: holding / clear / let it up")
    play(session, "h: not finishing today / h: released / clear / h: foot off / carry on")
    assert session.job.at == "ring_ready"
    assert "HOLD" in text(play(session, "clear"))


HELPER_STOPS = Act("stop", "helper")
GOES_ON = Act("carry_on", "tech")


def applied(job: Job, *acts: Act) -> list[Said]:
    """What the last of several acts is answered."""
    said: list[Said] = []
    for act in acts:
        said = job.apply(act)
    return said


def test_the_stop_of_a_helper_said_to_be_gone_awaits_his_ready(
    session: Session, play: Play
) -> None:
    """Who stops it is there, whatever was said of him before."""
    play(session, FOUND)
    job = session.job
    applied(job, Act("trouble", "tech", text="alone"), HELPER_STOPS, GOES_ON)
    assert job.stopped and job.helper_asked and "ready" in job.allowed()
    applied(job, Act("takes_over", "helper", text="31"), GOES_ON)
    assert job.stopped, "a code does not say that it may go on"
    applied(job, Act("ready", "helper"), GOES_ON)
    assert not job.stopped


def test_a_stop_of_who_is_gone_since_waits_for_nobody(session: Session, play: Play) -> None:
    play(session, FOUND)
    applied(session.job, HELPER_STOPS, Act("trouble", "tech", text="helper_gone"), GOES_ON)
    assert not session.job.stopped


def test_a_stop_passed_without_him_is_not_asked_of_the_next_helper(
    session: Session, play: Play
) -> None:
    play(session, FOUND)
    job = session.job
    applied(job, HELPER_STOPS, Act("trouble", "tech", text="alone"), GOES_ON)
    applied(job, Act("takes_over", "helper", text="31"), Act("stop", "tech"), GOES_ON)
    assert not job.stopped


@pytest.mark.parametrize("meaning", ["takes_over", "sign_off"])
def test_the_code_of_one_is_not_that_of_the_other(
    session: Session, play: Play, meaning: str
) -> None:
    """A technician's code puts no helper at the pedal."""
    play(session, FOUND)
    job = session.job
    applied(job, Act("trouble", "tech", text="alone"), GOES_ON, Act("takes_over", "helper"))
    applied(job, Act(meaning, "tech", text="12"))
    assert job.handing == "helper" and job.facts.hazards["helper"] == "gone"
    applied(job, Act("takes_over", "helper", text="31"))
    assert not job.handing and job.facts.hazards["helper"] == "there"
    assert ("helper", "31") in job.facts.people


def test_his_own_code_leaves_what_is_asked_of_the_other(session: Session, play: Play) -> None:
    play(session, FOUND)
    job = session.job
    applied(job, Act("takes_over", "tech"), Act("takes_over", "helper", text="31"))
    assert job.handing == "tech"
    applied(job, Act("takes_over", "tech", text="12"))
    assert job.facts.people == [("tech", "12"), ("helper", "31")]
    said = applied(job, Act("foot_off", "helper"))
    assert job.asking == "key" and "key on you" in text(said)


def test_nothing_is_asked_of_a_helper_who_is_gone(session: Session, play: Play) -> None:
    """His foot off answers no question asked before: who comes says ready, and his code."""
    play(session, FOUND)
    job = session.job
    applied(job, Act("takes_over", "tech"), Act("trouble", "tech", text="helper_gone"))
    applied(job, Act("takes_over", "tech", text="12"), GOES_ON, Act("foot_off", "helper"))
    assert job.asking == "key" and job.facts.hazards["helper"] == "gone"
    applied(job, Act("done", "tech"))
    assert "Who goes on" in text(applied(job, Act("ready", "helper")))


def test_nobody_waits_for_the_code_of_a_helper_who_is_gone(session: Session, play: Play) -> None:
    play(session, FOUND)
    job = session.job
    applied(job, Act("takes_over", "helper"), Act("trouble", "tech", text="helper_gone"), GOES_ON)
    assert not job.handing and not job.stopped


def test_a_code_said_for_who_goes_on_signs_nothing_unheard(session: Session, play: Play) -> None:
    play(session, TO_SIGN)
    job = session.job
    applied(job, Act("trouble", "tech", text="time_up"), GOES_ON)
    assert job.at == "sign_off" and job.asking == "code"
    applied(job, Act("sign_off", "tech", text="12"))
    said = applied(job, Act("foot_off", "helper"), Act("done", "tech"))
    assert job.at == "sign_off" and "prompt:sign_off" in [one.key for one in said]
    applied(job, Act("sign_off", "tech", text="12"))
    assert job.finished


def test_ready_in_a_closing_tells_what_is_asked_then(session: Session, play: Play) -> None:
    """He may have his foot on: that is asked first, and heard."""
    play(session, f"{FOUND} / shift's over / clear")
    said = applied(session.job, Act("trouble", "tech", text="helper_gone"), Act("ready", "helper"))
    assert "prompt:leave_foot" in [one.key for one in said]


@pytest.mark.parametrize("way", ["let up", "closing"])
def test_the_helper_hears_of_his_foot_in_every_stop(session: Session, play: Play, way: str) -> None:
    """Also in one that nobody called: the pedal let up out of a stop, a closing broken off."""
    if way == "let up":
        play(session, f"{TURN} / stop / {UP}")
    else:
        play(session, f"{FOUND} / shift's over / lunch")
    assert session.job.stopped
    said = applied(session.job, Act("repeat", "helper"))
    assert "reply:stopped_helper_up" in [one.key for one in said]


def test_told_once_more_to_press_his_foot_counts_as_on(session: Session, play: Play) -> None:
    play(session, FOUND.partition(" / h: 8.25 in")[0])
    job = session.job
    assert job.at == "found_total"
    applied(job, Act("foot_off", "helper"))
    assert job.facts.hazards.foot_off
    said = applied(job, GOES_ON)
    assert "prompt:found_total" in [one.key for one in said] and not job.facts.hazards.foot_off


@pytest.mark.parametrize("asked", ["code", "key"])
def test_a_helper_who_comes_is_heard_while_something_else_is_asked(
    session: Session, play: Play, asked: str
) -> None:
    """Else hands would be sent in, past a foot of which nothing was asked; nor is that forgotten
    which was asked before he came."""
    play(session, FOUND)
    job = session.job
    applied(job, Act("trouble", "tech", text="alone"), GOES_ON, Act("takes_over", "tech"))
    if asked == "key":
        applied(job, Act("takes_over", "tech", text="12"))
    assert job.asking == asked and job.facts.hazards["helper"] == "gone"
    applied(job, Act("ready", "helper"))
    assert job.facts.hazards["helper"] == "there" and not job.facts.hazards.foot_off
    whose = "tech" if asked == "code" else "helper"
    assert job.handing == whose
    applied(job, Act("takes_over", whose, text="31"))
    if asked == "code":
        applied(job, Act("foot_off", "helper"))
    assert job.asking == "key"
