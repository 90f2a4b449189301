"""The safety model tried in every state with every event, and the whole job around it.

The witness beside each state shares no code with the model: it only remembers what was told and
said last. A state is the model's with the witness's, and the search ends when no event leads to a
new one.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

import pytest

from assistant.act import Act, Said
from assistant.conversation import Session
from assistant.hazards import NEEDS, Hazards
from assistant.interlocks import MEANINGS
from assistant.job.job import Job
from assistant.job.state import Facts, JobState
from tests.job.test_hold import HOLD, TURN, Play, text
from tests.job.test_machine import DIALOGS, KEY_BACK, USUAL, Watch, reading_for

# --- the model by itself --------------------------------------------------------------------------


@dataclass(frozen=True)
class Witness:
    """What was told and said last.

    Attributes:
        clear_last: a clear, and no press, alarm, work or word of hands since.
        held: the helper said so after "HOLD", and nothing since put it in doubt.
        told: what the helper was told last: "hold", "release" or "".
        up: the pedal's last word is that it is up.
        cover_off: the cover was taken off and not put back.
        foot_on: the helper was told to press, or pressed unasked, and did not say foot off since.
        gone: somebody said that nobody is at the pedal, and no helper since that he is.
    """

    clear_last: bool = True
    held: bool = False
    told: str = ""
    up: bool = True
    cover_off: bool = False
    foot_on: bool = False
    gone: bool = False


Event = tuple[Callable[[Hazards], object], Callable[[Witness], Witness]]
EVENTS: dict[str, Event] = {
    "HOLD is told": (
        Hazards.tell_hold,
        lambda w: Witness(False, False, "hold", False, w.cover_off, w.foot_on, w.gone),
    ),
    "RELEASE is told": (
        Hazards.tell_release,
        lambda w: Witness(False, False, "release", False, w.cover_off, w.foot_on, w.gone),
    ),
    "a step is told": (
        Hazards.tell_work,
        lambda w: replace(w, clear_last=w.clear_last and not w.cover_off),
    ),
    "holding": (
        Hazards.says_holding,
        lambda w: replace(
            w,
            held=w.told in ("hold", "held"),
            told="held" if w.told in ("hold", "held") else "",
            up=False,
            clear_last=w.clear_last and w.told == "held",
            foot_on=w.foot_on or w.told not in ("hold", "held"),
        ),
    ),
    "released": (
        Hazards.says_up,
        lambda w: Witness(
            w.clear_last and not w.cover_off,
            False,
            "",
            True,
            w.cover_off,
            w.foot_on or w.told != "release",
            w.gone,
        ),
    ),
    "clear": (Hazards.says_clear, lambda w: replace(w, clear_last=True)),
    "a word of hands": (
        lambda h: h.says_of_hands("helper"),
        lambda w: replace(w, clear_last=False),
    ),
    "unsure": (
        lambda h: h.doubt("tech"),
        lambda w: replace(w, held=False, clear_last=w.clear_last and w.up),
    ),
    "the helper is unsure": (
        lambda h: h.doubt("helper"),
        lambda w: replace(
            w,
            held=False,
            clear_last=w.clear_last and w.up,
            foot_on=w.foot_on or w.told not in ("hold", "held"),
        ),
    ),
    "a pedal reading is told": (Hazards.tell_press, lambda w: replace(w, foot_on=True)),
    "foot off": (Hazards.says_foot_off, lambda w: replace(w, foot_on=False)),
    "stop": (
        lambda h: h.distrust("tech"),
        lambda w: Witness(
            w.clear_last and w.up and not w.cover_off,
            False,
            "",
            w.up,
            w.cover_off,
            w.foot_on,
            w.gone,
        ),
    ),
    "alarm": (
        lambda h: h.alarm("tech"),
        lambda w: Witness(False, False, "", False, w.cover_off, True, w.gone),
    ),
    "nobody is there": (lambda h: h.says_nobody("tech"), lambda w: replace(w, gone=True)),
    "the helper is there": (Hazards.says_there, lambda w: replace(w, gone=False)),
    "the shop's way is used": (Hazards.uses_prop, lambda w: replace(w, gone=False)),
    "cover off": (
        lambda h: h.note({"cover": "off"}, "tech"),
        lambda w: replace(w, cover_off=True),
    ),
    "cover on": (
        lambda h: h.note({"cover": "on"}, "tech"),
        lambda w: replace(w, cover_off=False),
    ),
    "lock plate out": (lambda h: h.note({"lock_plate": "out"}, "tech"), lambda w: w),
    "lock plate in": (lambda h: h.note({"lock_plate": "in"}, "tech"), lambda w: w),
    "key above": (lambda h: h.note({"key": "helper"}, "tech"), lambda w: w),
    "key below": (lambda h: h.note({"key": "tech"}, "tech"), lambda w: w),
}


def test_every_state_of_the_model() -> None:
    """To closure: nothing is ever taken for safer than what was said last."""
    start = (tuple(Hazards()[thing] for thing in Hazards().known), Witness())
    things = tuple(Hazards().known)
    seen, waiting = {start}, [start]
    while waiting:
        values, witness = waiting.pop()
        for name, (event, remembered) in EVENTS.items():
            model = Hazards()
            for thing, value in zip(things, values, strict=True):
                model.note({thing: value}, "tech")
            event(model)
            after = remembered(witness)
            assert not model.hands_clear or after.clear_last, (values, name)
            assert model.pedal_up == after.up, (values, name)
            if model.hold_confirmed:
                # "Still holding" is asked after a doubt: only the helper's word makes it good.
                assert after.held, (values, name)
            assert model.cover_open == after.cover_off, (values, name)
            assert not model.foot_off or not after.foot_on, (values, name)
            assert model.helper_there == (not after.gone), (values, name)
            state = (tuple(model[thing] for thing in things), after)
            if state not in seen:
                seen.add(state)
                waiting.append(state)
    assert {values[0] for values, _ in seen} == {
        *("up", "asked", "held", "doubted", "releasing", "unsure")
    }


def test_since_when_and_from_whom() -> None:
    model = Hazards()
    model.act = 7
    model.says_clear()
    assert model.known["hands"] == ("clear", "tech", 7)
    model.act = 9
    model.says_clear()
    assert model.known["hands"].since == 9
    model.tell_hold()
    assert model.known["pedal"] == ("asked", "lugcall", 9) and not model.hands_clear
    assert all(hasattr(model, need) for needs in NEEDS.values() for need in needs)


# --- ways to a release on a stale clear -----------------------------------------------------------

BACK_IN = "note both hands back in the hole"


@pytest.mark.parametrize(
    "lines",
    [
        f"{TURN} / stop / clear / let it up / h: released / {BACK_IN} / h: holding / let it up",
        f"{TURN} / five lugs / check / done / done / clear / stop / clear / h: released / {BACK_IN}"
        " / h: holding / carry on",
        f"{HOLD.removesuffix(' / done / done / clear')} / stop / clear / {BACK_IN} / h: holding"
        " / let it up",
        f"{TURN} / stop / clear / h: holding / let it up",
        f"{TURN} / stop / clear / {BACK_IN} / let it up",
        f"{TURN} / stop / clear / hang on, my hand is still in there / let it up",
    ],
)
def test_no_release_on_a_stale_clear(session: Session, play: Play, lines: str) -> None:
    *before, last = lines.split(" / ")
    play(session, " / ".join(before))
    said = play(session, last)
    assert not any(one.cue == "RELEASE" for one in said), text(said)
    # A fresh clear makes the way free again.
    said = play(session, "clear / let it up" if session.job.at == "halted" else "clear")
    assert any(one.cue == "RELEASE" for one in said), text(said)


@pytest.mark.parametrize("way", [TURN + " / stop / h: released", HOLD.partition(" / 0.660")[0]])
def test_a_pedal_that_moves_unasked_alarms_both(session: Session, play: Play, way: str) -> None:
    play(session, way)
    said = play(session, "h: holding")
    assert "HANDS OUT" in text(said, "tech") and "STOP" in text(said, "helper")


@pytest.mark.parametrize("line", ["wait, my hand's still in there", "hang on", "don't press yet"])
def test_second_thoughts_stop_the_helper(session: Session, play: Play, line: str) -> None:
    """After HOLD is told, what the technician says against it reaches the foot."""
    play(session, HOLD)
    assert "STOP" in text(play(session, line), "helper")
    assert "lugs" not in text(play(session, "h: holding"))


# --- the whole job to closure ---------------------------------------------------------------------

_PLAIN = [f.name for f in fields(JobState) if f.name not in ("dialogs", "facts", "at", "given")]
TRUE = {
    "clearance": 0.125, "free-travel": 1.5, "pedal-height": 8.5, "total-travel": 8.25,
    "brake-contact": 0.75, "odometer": 5.0, "lugs": 4.0, "ring-left": 9.0,
}  # fmt: skip


CHANGES = (
    *("stop", "danger", "unsure", "pause", "carry_on", "let_up", "holding", "lost", "clear"),
    *("released", "done", "check", "no", "accept", "move", "measure", "sound"),
    *("skip", "back", "wait", "start_over", "foot_off", "ready"),
)
"""Acts that may change where the job stands; that the others do not is tried below."""


ENDS = ("trouble", "unfinished", "takes_over")
"""Acts that are tried in every state, and not gone on from: walks at random do that."""
ALL = (*CHANGES, *ENDS, "correct")
GAPS = {"in": 0.53, "out": 0.66}


def _acts(job: Job, changes: Sequence[str]) -> Iterator[Act]:
    """All that either of the two may say or do, each meaning once, and readings of each outcome."""
    for meaning in dict.fromkeys((*changes, *ENDS)):
        who = MEANINGS.get(meaning) or "any"
        for person in ("tech", "helper") if who == "any" else (who,):
            text = {"accept": "x", "trouble": "alone"}.get(meaning, "")
            yield Act(meaning, person, text=text)
    yield Act("resumed", "tech")
    yield Act("trouble", "tech", text="seized")
    yield Act("note", "tech", text="both hands back in the hole")
    quantity = job.expects()
    if quantity:
        for value in GAPS.values() if quantity == "gap" else [TRUE[quantity]]:
            yield Act("reading", "tech", reading=reading_for(quantity, value))


class Place:
    """A job and its watch as they stood, to be gone back to."""

    def __init__(self, job: Job, watch: Watch) -> None:
        facts = job.facts
        self.at, self.plain = job.at, {name: _copy(getattr(job, name)) for name in _PLAIN}
        self.known = dict(facts.hazards.known)
        self.lists = {
            "readings": [replace(t) for t in facts.readings],
            "moves": [replace(m) for m in facts.moves],
            "linkage": [replace(c) for c in facts.linkage],
            "left": set(facts.left),
            "turning": facts.turning,
            "code": facts.code,
        }
        self.watch = {name: _copy(value) for name, value in vars(watch).items()}

    def stand(self, job: Job, watch: Watch) -> None:
        job.facts = Facts(job.facts.card, **{n: _copy(v) for n, v in self.lists.items()})
        job.facts.readings = [replace(t) for t in self.lists["readings"]]
        job.facts.moves = [replace(m) for m in self.lists["moves"]]
        job.facts.hazards = Hazards(dict(self.known))
        for name, value in self.plain.items():
            setattr(job, name, _copy(value))
        job.at, job.given = self.at, set(job.dialogs.cautions)
        job.stand()
        vars(watch).update({name: _copy(value) for name, value in self.watch.items()})


def _copy(value: Any) -> Any:
    return value.copy() if isinstance(value, (set, list, dict)) else value


_WORDS = ("pending", "ahead", "trouble", "closing", "foot_told")
"""What changes only words, or is looked at apart."""


def _key(job: Job, watch: Watch) -> tuple[Any, ...]:
    """What of a state can matter for what comes after it."""
    facts, pending = job.facts, job.pending
    plain = [getattr(job, n) for n in _PLAIN if n not in _WORDS]
    seen = {k: v for k, v in vars(watch).items() if isinstance(v, (bool, str))}
    return (
        job.at,
        *plain,
        # Which trouble it was changes only the words of the closing.
        job.closing and replace(job.closing, why=str(bool(job.closing.why))),
        pending and (pending.quantity, pending.value_in),
        *(known.value for known in facts.hazards.known.values()),
        facts.decided("gap"),
        facts.turning,
        _turns(facts),
        bool(facts.moves),
        job.unsettled(),
        facts.latest("gap") and facts.latest("gap").accepted,
        tuple(sorted(seen.items())),
    )


_TURNS: dict[Any, bool] = {}


def _turns(facts: Facts) -> bool:
    """Whether the plan turns the ring; worked out once for the same truck."""
    truck = facts.plans._now()
    if truck not in _TURNS:
        plan = facts.plans.ring()
        _TURNS[truck] = plan is not None and plan.lugs != 0
    return _TURNS[truck]


def explore(
    job: Job, most: int, changes: Sequence[str] = CHANGES, ends: Sequence[str] = ENDS
) -> tuple[int, int]:
    """All states that can be reached from here; raises when one breaks what `Watch` holds.

    Beyond the ring move, and a second one, it goes no further; nor beyond `ends`.

    Returns:
        How many states and how many turns there were.
    """
    watch = Watch(USUAL)
    watch.cover_off = job.facts.hazards.cover_open
    for said in job.prompt(entering=True):
        watch.told(said, job)
    seen, turns = {_key(job, watch)}, 0
    waiting = [Place(job, watch)]
    while waiting:
        place = waiting.pop()
        place.stand(job, watch)
        for act in list(_acts(job, changes)):
            place.stand(job, watch)
            turns += 1
            said = job.apply(act)
            _hold_true(watch, job, act, place, said)
            key = _key(job, watch)
            if key not in seen and act.meaning not in ends:
                seen.add(key)
                if _in_ring(job):
                    waiting.append(Place(job, watch))
                assert len(seen) <= most, "the states do not end"
    return len(seen), turns


def _hold_true(watch: Watch, job: Job, act: Act, before: Place, said: list[Said]) -> None:
    at, was_halted = watch.present, before.at == "halted"
    watch.heard(act)
    moved_on = not was_halted and job.at != before.at and act.who == "tech"
    if act.meaning in ("done", "check") and moved_on and before.plain["pending"] is None:
        watch.lock_out = (watch.lock_out or at == "prompt:ring_unlock") and at != "prompt:ring_lock"
        watch.cover_off |= at in ("prompt:cover_off", "prompt:reopen_cover")
        watch.cover_off &= at != "prompt:cover_on"
        watch.key_above |= at == "prompt:hand_key"
        watch.key_above &= at not in KEY_BACK
    if len(job.facts.moves) > len(before.lists["moves"]):
        watch.read_at_move.append(len(before.lists["readings"]))
        watch.turned_unsaid = False
    watch.halted = job.at == "halted"
    for one in said:
        watch.told(one, job)
    if watch.halted:
        watch.present = "halted"
    if job.facts.hazards.pedal_up:
        assert watch.pedal_up, f"{act.meaning} by {act.who}: up, and nobody said released"


def _job_at(step: str) -> Job:
    job = Job(USUAL.card, DIALOGS)
    while job.at != step:
        job.apply(_right(job))
    return job


def _right(job: Job) -> Act:
    step = job.step
    assert step is not None
    if job.foot_wanted:
        return Act("foot_off", "helper")
    if job.pending is not None:
        return Act("check", "tech")
    if step.kind == "read":
        value = GAPS["out"] if step.reading == "gap" else TRUE[step.reading]
        return Act("reading", "tech", reading=reading_for(step.reading, value))
    ready = "ready" if step.id == "helper_ready" else "done"
    if step.kind == "turn":
        return Act("reading", "tech", reading=reading_for("lugs", 4.0), way="tighter")
    answers = {"act": ready, "hold": "holding", "plan": "check"}
    meaning = answers.get(step.kind, step.kind)
    return Act(meaning, "helper" if step.who == "helper" else "tech")


def _in_ring(job: Job) -> bool:
    step = job.dialogs.by_id.get(job.step_id)
    return step is not None and step.phase == "ring" and len(job.facts.moves) < 2


@pytest.mark.long
def test_every_state_of_the_ring_move() -> None:
    """From the plan to the gap read again, with anything by anybody, until nothing is new.

    14,189 states and 622,226 turns, a minute and a half. With corrections as well, and gone on from
    trouble and a closing too: `python -m tests.job.test_hazards`, much longer.
    """
    states, turns = explore(_job_at("ring_plan"), most=20_000)
    assert states > 5000, (states, turns)


def test_talk_changes_nothing() -> None:
    """What is not in `CHANGES` leaves pedal, hands and step as they are, wherever it is said."""
    talk = [m for m in MEANINGS if m not in (*ALL, "ready", "not_sound", "repaired", "sign_off")]
    for step in ("ring_plan", "ring_show", "ring_ready", "ring_hold", "ring_turn", "ring_release"):
        job = _job_at(step)
        stood = (job.at, {k: v.value for k, v in job.facts.hazards.known.items()})
        for meaning, who in itertools.product(talk, ("tech", "helper")):
            job.apply(Act(meaning, who))
            now = (job.at, {k: v.value for k, v in job.facts.hazards.known.items()})
            assert now == stood, (step, meaning, who)


if __name__ == "__main__":
    found = explore(_job_at("ring_plan"), most=400_000, changes=ALL, ends=ENDS[2:])
    print("to closure: {:,} states, {:,} turns".format(*found))
