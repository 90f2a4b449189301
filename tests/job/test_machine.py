"""The procedure driven with anything by anybody, watched by a model that shares no code with it.

The model believes only what was said: acts that went in, prompts and cues that came out. Of the
job it reads plain data (state, readings, moves), never its flags or guards.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, field, replace
from typing import Any

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    precondition,
    rule,
    run_state_machine_as_test,
)

from assistant import interlocks
from assistant.act import Act, Said
from assistant.card import Card, card_from_text
from assistant.job.job import Job
from assistant.job.machine import transitions
from assistant.texts.dialogs import Dialogs
from tests.demo import shipped

DIALOGS = shipped()
DETOURS = ("key_back", "reopen_cover")  # these open up again for a ring that is not right
LIMITS = {  # inches, as on the card below
    "gap": (0.5, 0.5625),
    "clearance": (3 / 32, 5 / 32),
    "free-travel": (1.125, 2.0),
    "pedal-height": (8.0, 9.0),
    "total-travel": (7.0, 9.0),
    "brake-contact": (0.5, 1.0),
}
PRESSED = {
    f"prompt:{i}"
    for i in (
        *("new_seat", "chain_pedal", "chain_lever", "found_total", "found_free", "found_contact"),
        *("set_total", "set_free", "set_contact", "final_total", "final_free", "final_contact"),
        *("function_release", "function", "function_brake", "function_slip"),
    )
}
"""Where the helper presses, and lets up."""
BELOW = {
    f"prompt:{i}"
    for i in (
        *("chain_loose", "chain_cable", "chain_fluid", "chain_binding", "cover_off", "fork_rod"),
        *("height_stop", "total_stop", "free_rod", "contact_rod", "reopen_cover", "cover_on"),
        *("lubricate", "final_fluid", "out_from_under", "found_gap", "found_clearance"),
        *("ring_show", "ring_unlock", "ring_gap", "fork_clearance", "final_gap"),
        *("final_clearance", "look_inside", "found_ring_left"),
        *("new_cover", "new_wedges", "new_brake"),
    )
}
"""Where hands are at the hole or the linkage with the pedal up."""
IN_THE_HOLE = {
    f"prompt:{i}"
    for i in (
        *("found_gap", "found_clearance", "ring_show", "ring_unlock", "ring_turn", "ring_tool"),
        *("ring_lock", "ring_gap", "fork_clearance", "final_gap", "final_clearance"),
        *("look_inside", "found_ring_left", "lubricate", "new_wedges", "new_brake"),
    )
}
TRIED = {f"prompt:{i}" for i in ("function_release", "function", "function_brake", "function_slip")}
"""Where the engine runs, with everybody out."""
KEY_BACK = ("prompt:key", "prompt:key_back", "prompt:engine_off")


@dataclass(frozen=True)
class Kind:
    """One kind of truck: what its card says beside the limits, and what must hold for it."""

    name: str
    truck: str = ""
    brake: bool = True
    ring: bool = True
    lock: str = "plate"
    new: str = "nothing"
    limits: dict[str, tuple[float, float]] = field(default_factory=dict, compare=False)

    def __post_init__(self) -> None:
        kept = {k: v for k, v in LIMITS.items() if self.brake or k != "brake-contact"}
        self.limits.update(kept)

    def __str__(self) -> str:
        return self.name

    @property
    def card(self) -> Card:
        lines = [
            f'{k} = {{ low = "{a} in", high = "{b} in" }}' for k, (a, b) in self.limits.items()
        ]
        figures = '[figures]\nsource = "x"\n' + "\n".join(lines)
        ring = "" if "[ring]" in self.truck else '[ring]\nlug = "0.027 in"\n'
        return card_from_text(f"{self.truck}\n{ring}{figures}", "model.toml")

    @property
    def dialogs(self) -> Dialogs:
        return DIALOGS.for_truck(self.card.traits, self.new)

    @property
    def ids(self) -> list[str]:
        return [s.id for s in self.dialogs.steps]

    @property
    def past_ring(self) -> set[str]:
        after = self.ids[self.ids.index("fork_clearance") :]
        return {f"prompt:{i}" for i in after if i not in DETOURS}

    @property
    def in_the_hole(self) -> set[str]:
        return IN_THE_HOLE if self.ring else IN_THE_HOLE | {"prompt:ring_plan"}


USUAL = Kind("usual")
OTHERS = (
    Kind("synchronized", '[truck]\ntransmission = "synchronized"', brake=False),
    Kind("self-adjusting", '[truck]\nclutch = "self-adjusting"', ring=False),
    Kind(
        "cable, side cover, bracket",
        '[truck]\nlinkage = "cable"\ncover = "side"\n[ring]\nlug = "0.027 in"\nlock = "bracket"',
        lock="bracket",
    ),
    Kind(
        "hydraulic, plug, fine ring",
        '[truck]\nlinkage = "hydraulic"\ncover = "plug"\n[ring]\ntype = "fine"',
    ),
    Kind("metric", '[shop]\nunits = "mm"'),
    Kind(
        "synchronized, self-adjusting, hydraulic, metric",
        '[truck]\ntransmission = "synchronized"\nclutch = "self-adjusting"\n'
        'linkage = "hydraulic"\n[shop]\nunits = "mm"',
        brake=False,
        ring=False,
    ),
    Kind("new clutch and brake", new="both"),
    Kind("new brake, cable", '[truck]\nlinkage = "cable"', new="brake"),
)
Z95 = 1.6448536269514722
ROLES = st.sampled_from(["tech", "helper"])


def verdict(quantity: str, reading: Any) -> str:
    """In, out or too close, worked out here: a one-sided 95 % guard at each limit."""
    low, high = LIMITS[quantity]
    u = (reading.high_in - reading.low_in) / math.sqrt(12)
    value = reading.value_in
    if min(abs(value - low), abs(value - high)) < Z95 * u - 1e-12:
        return "too close"
    return "in" if low <= value <= high else "out"


EMPTY = dict.fromkeys(("value_in", "low_in", "high_in", "count"))


def length(value: float, half: float = 0.0005) -> dict[str, Any]:
    """The fields of a length as the conversation hands them over."""
    text = f"{value:.3f} in"
    ends = {"low_in": max(0.0, value - half), "high_in": value + half}
    told = {"kind": "length", "readback": text, "figures": text}
    return {**EMPTY, "value_in": value, **ends, **told}


def count(value: float, kind: str) -> dict[str, Any]:
    """The fields of a count."""
    text = f"{value:g} {kind}"
    return {**EMPTY, "count": value, "kind": kind, "readback": text, "figures": text}


def reading_for(quantity: str, value: float, half: float = 0.0005) -> dict[str, Any]:
    """A reading of the kind that is asked for: all that the conversation can pass on."""
    if quantity in ("lugs", "ring-left"):
        return count(float(int(value) % 41), "lugs")
    if quantity == "odometer":
        return count(float(int(value * 1000)), "miles")
    return length(value, half)


class Watch:
    """What must hold, from acts and replies alone."""

    def __init__(self, kind: Kind) -> None:
        self.kind = kind
        self.past_ring, self.in_the_hole = kind.past_ring, kind.in_the_hole
        self.present = "prompt:found_odometer"
        self.halted = self.signed = False
        self.held = False
        self.clear = False
        self.pedal_up = True
        self.turned_unsaid = False
        self.lock_out = False
        self.cover_off = False
        self.key_above = False
        self.out = False
        self.foot_on = False
        self.alone = False
        self.unready = False
        self.count_open = False
        self.wedges_in = self.unseated = False
        self.new: set[str] = set()
        self.last = Act("", "tech")
        self.read_at_move: list[int] = []
        self.read_at_maker: list[int] = []

    def heard(self, act: Act) -> None:
        """Before the replies: what this act undoes or confirms."""
        if act.meaning == "foot_off" and not self.pedal_up:
            letting_up = self.halted or self.present == "prompt:ring_release"
            self.foot_on &= not letting_up
            act = replace(act, meaning="released")  # off a pedal that was down: it is up
        helper, tech = act.who == "helper", act.who == "tech"
        alarm = act.meaning in ("stop", "resumed", "danger")
        if alarm or (act.meaning == "pause" and not self.halted):
            self.held = self.clear = False
        if act.meaning == "let_up" and tech and self.halted:
            self.held = False
        self.last = act
        self.foot(act)
        if act.meaning in ("lost", "released") and helper:
            if act.meaning == "released" and (self.halted or self.present == "prompt:ring_release"):
                self.pedal_up = True
            if act.meaning == "lost" or self.cover_off:
                self.clear = False
            self.held = False
        if act.meaning == "holding" and helper:
            # Whoever is not holding already has pressed: what was clear may not be any more.
            self.clear = self.clear and self.held
            self.held = self.held or self.present == "prompt:ring_hold"
        if act.meaning == "unsure" and tech and not self.pedal_up:
            self.clear = False
        self.people(act)
        if act.meaning == "note" and "hand" in act.text:
            self.clear = False
        at_clear = self.present in ("prompt:ring_ready", "prompt:ring_clear", "prompt:new_ready")
        if act.meaning == "clear" and tech and (self.halted or at_clear):
            self.clear = True

    def foot(self, act: Act) -> None:
        """What an act says of the helper's foot."""
        if act.who == "helper" and self.pedal_up:
            unsure = act.meaning in ("unsure", "danger")
            self.foot_on |= unsure and self.cover_off
            seated = act.meaning == "ready" and self.present == "prompt:helper_ready"
            self.foot_on &= act.meaning != "foot_off" and not seated  # "foot off, say ready"

    def people(self, act: Act) -> None:
        """Who is there, and what ends a hold because of it."""
        if self.signed:
            return
        if act.who == "helper" and act.meaning in ("stop", "ready"):
            self.unready = act.meaning == "stop"
        gone = act.meaning == "trouble" and act.text in ("alone", "helper_gone")
        if gone:
            self.alone = True
        if act.who == "helper" and (
            act.meaning == "ready" or (act.meaning == "takes_over" and act.text)
        ):
            self.alone = False
        stops = (
            *("stripped", "frozen", "dropped", "hidden", "cover", "brake_gone", "helper_gone"),
            *("alone", "time_up", "break", "parts", "wrong_card"),
        )
        ends = act.meaning in ("unfinished", "takes_over")
        if ends or (act.meaning == "trouble" and act.text in stops):
            self.held = False
            still = self.halted and self.pedal_up
            self.clear = self.clear and (still or not gone) and (self.halted or self.pedal_up)
        seized = act.meaning == "trouble" and act.text == "seized"
        if seized and act.who == "tech" and not self.pedal_up:
            self.clear = False

    def told(self, said: Said, job: Job) -> None:
        """One thing that was said, in its order."""
        if said.key == "reply:still_holding":
            assert self.held, "asked whether he still holds, and he never said so"
        elif said.cue == "HOLD":
            assert self.kind.ring, "HOLD was told, and no ring is to be moved"
            assert self.clear, "HOLD was told without the technician's clear"
            assert not self.alone, "HOLD was told, and nobody is at the pedal"
            self.pedal_up = False
        if said.cue == "RELEASE":
            assert self.clear, "RELEASE was told while hands may be in the hole"
            self.held = False
        if said.key == "prompt:ring_turn":
            assert self.held, "a ring turn was told without a standing hold"
            self.turned_unsaid = True
        if said.key in ("prompt:ring_ready", "prompt:ring_clear", "prompt:new_ready"):
            self.clear = False
        if said.key in BELOW:
            assert not self.foot_on, f"{said.key} sends hands in, and nobody said foot off"
        if said.key in PRESSED:
            assert not self.wedges_in, f"{said.key} moves the pedal, and the wedges may be in"
            self.foot_on = True
        if said.key == "reply:fitted" and self.last.text not in self.new:
            self.new.add(self.last.text)
            self.wedges_in |= self.last.text == "clutch"
            self.unseated = True
        if said.key == "prompt:new_seat":
            assert self.clear, "new parts are worked, and hands may be in the hole"
            assert not self.alone, "new parts are to be worked, and nobody is at the pedal"
            assert not self.key_above, "new parts are worked, and the engine may start"
        if said.key.startswith("prompt:found_") and said.key != "prompt:found_odometer":
            assert not self.unseated, f"{said.key} is asked before the new parts were worked"
        if said.key.startswith("prompt:leave_"):
            assert self.pedal_up, f"{said.key} was asked and the pedal may be down"
        if said.key == "prompt:leave_lock":
            assert self.alone or not self.foot_on, "sent to the lock plate with a foot on"
            assert not self.key_above, "sent to the lock plate, and the helper has the key"
        if said.key in self.in_the_hole:
            self.clear = False
            assert self.cover_off, f"{said.key} looks into the hole, and the cover is on"
            assert not self.key_above, f"{said.key} sends a man under, and the helper has the key"
        if said.key in TRIED:
            assert self.key_above and self.out, f"{said.key} was told, and somebody may be under"
        if said.key in ("prompt:next_due", "prompt:sign_off"):
            assert not self.key_above, f"{said.key} was asked, and the engine may run"
        if said.key in self.in_the_hole or said.key in BELOW:
            self.out = False
        again = said.key == self.present == "prompt:final_gap"  # a gap just read, to read once more
        if said.key in self.past_ring and not again:
            assert self.gap_stands(job), f"{said.key} was told and the gap is not right"
            assert self.pedal_up, f"{said.key} was told and the pedal may be down"
            assert not self.lock_out, f"{said.key} was told with the lock plate out"
        if said.key == "reply:confirm_count":
            self.count_open = True
        if said.key.startswith("prompt:"):
            self.present = said.key

    def gap_stands(self, job: Job) -> bool:
        """The gap, read since the ring last moved, is in, or too close and accepted."""
        moved = [at for at, m in zip(self.read_at_move, job.facts.moves, strict=True) if m.moved]
        since = job.facts.readings[max([*moved, *self.read_at_maker], default=0) :]
        gaps = [t for t in since if t.quantity == "gap"]
        if not gaps:
            return False
        how = verdict("gap", gaps[-1])
        return how == "in" or (how == "too close" and bool(gaps[-1].accepted))


class Procedure(RuleBasedStateMachine):
    """Both roles say anything at any time."""

    kind = USUAL

    def __init__(self) -> None:
        super().__init__()
        self.acts: list[Act] = []
        self.card = self.kind.card
        self.watch = Watch(self.kind)
        self.job = Job(self.card, DIALOGS)
        self.truck = {"gap": 0.66, "clearance": 0.04}
        for said in self.job.prompt(entering=True):
            self.watch.told(said, self.job)
        self.what_is_new()

    def what_is_new(self) -> None:
        for part in interlocks.FITTED:
            if self.kind.new in (part, "both"):
                self.say("fitted", "tech", text=part)

    def say(self, meaning: str, who: str, **more: Any) -> None:
        """One act by one of the two, and all that must hold of what comes of it."""
        act = Act(meaning, who, **more)
        watch, job = self.watch, self.job
        before = self.snapshot()
        ends = ("signed_off", "left_unfinished")
        was_halted, was_signed, at = job.at == "halted", job.at in ends, watch.present
        watch.signed = was_signed
        accepted = [t.accepted for t in job.facts.readings]
        self.acts.append(act)
        said = job.apply(act)
        watch.heard(act)
        self.check_moves(act, before)
        self.check_readings(act, accepted)
        if before["pending"] is None:
            self.places(act, at, was_halted, before)
        watch.halted = job.at == "halted"
        for one in said:
            assert one.to in ("tech", "helper", "both") and one.text
            watch.told(one, job)
        if watch.halted:
            watch.present = "halted"
        if meaning == "stop" and not was_signed:
            self.check_stop(said)
        if was_halted and job.at != "halted":
            on = ("carry_on", "let_up", "unfinished", "trouble", "released", "foot_off")
            assert meaning in on, f"{meaning} left a stop"
            if meaning not in ("carry_on", "let_up"):
                assert job.at in ends or job.at == "leaving", f"{meaning} went on out of a stop"
        stood = ("halted", "leaving")
        if meaning == "carry_on" and before["state"] in stood and job.at not in stood:
            assert not watch.unready or watch.alone, "went on, and the helper had stopped it"
            watch.unready = False  # that stop is behind, also where he had gone
        if job.at == "signed_off" and not was_signed:
            self.check_signed(act, at)
        if job.at == "left_unfinished" and not was_signed:
            self.check_left(act, at)
        if was_signed:
            assert self.snapshot() == before, "a signed-off job changed"

    def snapshot(self) -> dict[str, Any]:
        job = self.job
        return {
            "state": job.at,
            "step": job.step_id,
            "readings": [vars(t).copy() for t in job.facts.readings],
            "moves": [vars(m).copy() for m in job.facts.moves],
            "linkage": [vars(c).copy() for c in job.facts.linkage],
            "pending": vars(job.pending).copy() if job.pending else None,
            "doubts": list(job.facts.doubts),
            "notes": list(job.facts.notes),
            "hold": job.facts.hazards["pedal"],
            "hands": job.facts.hazards["hands"],
            "known": {thing: known.value for thing, known in job.facts.hazards.known.items()},
            "code": job.facts.code,
        }

    def check_moves(self, act: Act, before: dict[str, Any]) -> None:
        old = [m["moved"] for m in before["moves"]]
        new = [m.moved for m in self.job.facts.moves]
        assert len(new) >= len(old), "a ring move was taken out again"
        assert new[: max(0, len(old) - 1)] == old[:-1], "an earlier ring move was changed"
        if new != old:
            twice = act.meaning == "reading" and (act.reading or {}).get("count") == abs(new[-1])
            assert self.watch.count_open and (twice or act.meaning in ("check", "done")), (
                f"{act.meaning} changed the lugs without a confirmed count"
            )
            self.watch.count_open = self.watch.turned_unsaid = False
        for _ in new[len(old) :]:
            self.watch.read_at_move.append(len(before["readings"]))

    def check_readings(self, act: Act, accepted: list[str]) -> None:
        readings = self.job.facts.readings
        assert len(readings) >= len(accepted), "a reading was taken out again"
        for taken, was in zip(readings, accepted, strict=False):
            if taken.accepted and taken.accepted != was:
                assert act.meaning == "accept" and act.who == "tech"
                assert taken.quantity != "gap" or verdict("gap", taken) == "too close"
        for taken in readings:
            assert taken.quantity != "lugs", "a count stands among the readings"

    def places(self, act: Act, at: str, was_halted: bool, before: dict[str, Any]) -> None:
        """Lock plate and cover, from what the technician called done where he was asked."""
        moved_on = not was_halted and self.job.at != before["state"] and act.who == "tech"
        if not self.kind.ring and at == "prompt:ring_plan" and act.meaning == "done" and moved_on:
            self.watch.read_at_maker.append(len(before["readings"]))
        if before["state"] == "leaving" and act.who == "tech":
            yes, no = act.meaning in ("done", "check"), act.meaning == "no"
            if at == "prompt:leave_lock" and (yes or no):
                self.watch.lock_out = no
            if at == "prompt:leave_cover" and (yes or no):
                self.watch.cover_off = no
            self.watch.key_above &= not (yes and at == "prompt:leave_key")
        if at == "prompt:new_seat" and act.meaning in ("done", "check"):
            self.watch.unseated &= self.job.at != "chain_pedal"
        if act.meaning in ("done", "check") and moved_on:
            self.watch.lock_out |= at == "prompt:ring_unlock"
            self.watch.lock_out &= at != "prompt:ring_lock"
            self.watch.cover_off |= at in (
                *("prompt:new_cover", "prompt:cover_off", "prompt:reopen_cover"),
            )
            self.watch.wedges_in &= at != "prompt:new_wedges"
            self.watch.key_above |= at == "prompt:hand_key"
            self.watch.key_above &= at not in KEY_BACK
            self.watch.cover_off &= at != "prompt:cover_on"
            self.watch.out |= at == "prompt:out_from_under"

    def check_stop(self, said: list[Said]) -> None:
        assert self.job.at == "halted", "a stop did not stop"
        told = " ".join(s.text for s in said)
        assert any(s.cue == "STOP" for s in said)
        assert (f"Lock {self.kind.lock} out." in told) == self.watch.lock_out, (
            "the stop tells the lock wrong"
        )
        assert ("WEDGES IN" in told) == self.watch.wedges_in, "the stop tells the wedges wrong"
        assert ("Cover off." in told) == self.watch.cover_off, "the stop tells the cover wrong"
        if not self.watch.pedal_up:
            assert "Pedal up." not in told, "the stop says the pedal is up; nobody said released"
        if self.watch.turned_unsaid:
            assert "Ring not moved." not in told, "the ring may have moved: no count was said"

    def check_signed(self, act: Act, at: str) -> None:
        assert act.meaning == "sign_off" and act.who == "tech" and act.text
        assert at == "prompt:sign_off"
        assert not self.watch.lock_out, "signed off with the lock plate out"
        assert not self.watch.cover_off, "signed off with the cover off"
        assert not self.watch.key_above, "signed off, and the engine may run"
        for quantity in self.kind.limits:
            final = [t for t in self.job.facts.readings if t.quantity == quantity][-1]
            assert final.stage == "final", f"{quantity} was not read last of all"
            assert verdict(quantity, final) == "in" or final.accepted, f"{quantity} is open"

    def check_left(self, act: Act, at: str) -> None:
        """Closed unfinished: by a code, with the pedal up, and all of its state told."""
        assert act.meaning == "sign_off" and act.who == "tech" and act.text
        assert at == "prompt:leave_code" and self.watch.pedal_up and not self.watch.key_above
        closing = self.job.closing
        assert closing is not None and closing.why and closing.tag and closing.rest is not None
        assert closing.cover in ("on", "marked", "open") or not self.watch.cover_off
        assert closing.lock or not self.watch.lock_out

    def right_act(self) -> tuple[str, str, dict[str, Any]]:
        job = self.job
        if job.at == "halted" and "ready" in job.allowed():
            return ("ready", "helper", {})
        if job.at == "halted":
            return ("carry_on", "tech", {})
        if job.foot_wanted:
            return ("foot_off", "helper", {})
        if job.at == "repair":
            return ("repaired", "tech", {})
        if job.at in ("signed_off", "left_unfinished"):
            return ("repeat", "tech", {})
        if job.at == "leaving":
            return self.leaving_act()
        if job.pending is not None:
            return ("check", "tech", {})
        planning = job.step is not None and job.step.kind in ("plan", "maker")
        if job.choice or (planning and self.close()):
            return ("accept", "tech", {"text": "lead says so"})
        step = job.step
        assert step is not None
        if step.kind == "read" or job.correcting:
            data = reading_for(job.expects(), self.true_value(job.expects()))
            return ("reading", "tech", {"reading": data})
        if step.kind == "count" and not job.counted:
            return ("counted", "tech", {"text": "4"})
        if step.kind == "turn":
            told = job.facts.plans.ring()
            lugs = told.lugs if told else 0
            way = "tighter" if lugs >= 0 else "looser"
            return ("reading", "tech", {"reading": count(abs(lugs), "lugs"), "way": way})
        answers = {
            "act": "ready" if step.id == "helper_ready" else "done",
            "sound": "sound",
            "clear": "clear",
            "hold": "holding",
            "release": "released",
            "plan": "check",
            "count": "check",
            "seat": "done",
            "maker": "done",
            "rod": "done",
            "stop_bolt": "done",
            "sign": "sign_off",
        }
        who = "helper" if step.who == "helper" else "tech"
        more = {"text": "12"} if step.kind == "sign" else {}
        return (answers[step.kind], who, more)

    def leaving_act(self) -> tuple[str, str, dict[str, Any]]:
        asked = self.job.prompt()[-1].key.removeprefix("prompt:leave_")
        words = {"why": "shift over", "rest": "two lugs"}
        if asked in words:
            return ("told", "tech", {"text": words[asked]})
        more = {"text": "12"} if asked == "code" else {}
        if asked == "foot":
            return ("foot_off", "helper", {})
        return ({"hands": "clear", "code": "sign_off"}.get(asked, "done"), "tech", more)

    def close(self) -> bool:
        gaps = [t for t in self.job.facts.readings if t.quantity == "gap"]
        return bool(gaps) and verdict("gap", gaps[-1]) == "too close"

    def true_value(self, quantity: str) -> float:
        lugs = sum(m.moved for m in self.job.facts.moves)
        pitch = self.card.lug_in or 0.027
        if quantity == "gap":
            made = any(c.step == "ring_plan" for c in self.job.facts.linkage)
            return 0.53 if made else max(0.0, self.truck["gap"] - pitch * lugs)
        if quantity == "clearance":
            rods = any(c.step in ("fork_rod", "free_rod") for c in self.job.facts.linkage)
            return 0.125 if rods else max(0.0, self.truck["clearance"] + pitch * lugs)
        known = {"pedal-height": 8.5, "total-travel": 8.25, "free-travel": 1.5625}
        return known.get(quantity, 0.75 if quantity == "brake-contact" else 5.0)

    @initialize(
        depth=st.one_of(st.integers(23, 36), st.integers(0, 78)),
        gap=st.sampled_from([0.66, 0.53, 0.40, 0.5625, 0.75]),
        clearance=st.sampled_from([0.04, 0.125, 0.20]),
    )
    def job_under_way(self, depth: int, gap: float, clearance: float) -> None:
        self.truck = {"gap": gap, "clearance": clearance}
        self.go_on(depth)

    @rule(n=st.integers(1, 10))
    def right(self, n: int) -> None:
        self.go_on(n)

    @rule(n=st.integers(1, 3))
    def right_a_little(self, n: int) -> None:
        self.go_on(n)

    def go_on(self, n: int) -> None:
        for _ in range(n):
            if self.job.finished:
                return
            meaning, who, more = self.right_act()
            self.say(meaning, who, **more)

    @precondition(lambda self: self.job.finished)
    @rule(depth=st.integers(23, 60))
    def another_truck(self, depth: int) -> None:
        self.replayed()
        self.acts, self.watch = [], Watch(self.kind)
        self.job = Job(self.card, DIALOGS)
        self.job.prompt(entering=True)
        self.what_is_new()
        self.go_on(depth)

    @rule(who=ROLES)
    def stop(self, who: str) -> None:
        self.say("stop", who)

    @rule(who=ROLES, meaning=st.sampled_from(sorted(interlocks.MEANINGS)))
    def anything(self, who: str, meaning: str) -> None:
        self.say(meaning, who)

    @rule(who=ROLES, kind=st.sampled_from(interlocks.TROUBLES))
    def trouble(self, who: str, kind: str) -> None:
        self.say("trouble", who, text=kind)

    @rule(who=ROLES, part=st.sampled_from(interlocks.FITTED))
    def fitted(self, who: str, part: str) -> None:
        self.say("fitted", who, text=part)

    @rule(who=ROLES, text=st.sampled_from(["", "31"]))
    def takes_over(self, who: str, text: str) -> None:
        self.say("takes_over", who, text=text)

    @rule(n=st.integers(1, 9), answer=st.sampled_from(["done", "no", "skip", "carry_on"]))
    def leaves(self, n: int, answer: str) -> None:
        """A closing, with one other answer among the right ones."""
        self.say("unfinished", "tech")
        self.go_on(n)
        self.say(answer, "tech")
        self.go_on(n)

    @rule(who=ROLES)
    def hands_are_back(self, who: str) -> None:
        self.say("note", who, text="both hands back in the hole")

    @rule(
        meaning=st.sampled_from(
            ["lost", "released", "let_up", "carry_on", "holding", "clear", "pause", "back", "move"]
        )
    )
    def pedal_words(self, meaning: str) -> None:
        who = "helper" if meaning in ("lost", "released", "holding") else "tech"
        self.say(meaning, who)

    @precondition(lambda self: self.job.at == "halted")
    @rule(order=st.sampled_from([("clear", "let_up"), ("clear", "carry_on"), ("carry_on",)]))
    def out_of_a_stop(self, order: tuple[str, ...]) -> None:
        for meaning in order:
            self.say(meaning, "tech")

    def out_of_a_stop_now(self, way: str) -> None:
        if self.job.at == "halted":
            self.say("clear", "tech")
            self.say(way, "tech")

    @precondition(lambda self: bool(self.job.expects()))
    @rule(
        who=ROLES,
        value=st.one_of(
            st.floats(0, 12, allow_nan=False), st.sampled_from([0.53, 0.5625, 0.125, 0.66, 1.5])
        ),
        half=st.sampled_from([0.0005, 1 / 64, 1 / 32]),
        way=st.sampled_from(["", "tighter", "looser"]),
    )
    def reading(self, who: str, value: float, half: float, way: str) -> None:
        self.reading_now(who, value, half, way)

    def reading_now(self, who: str, value: float, half: float, way: str = "") -> None:
        if self.job.expects():
            data = reading_for(self.job.expects(), value, half)
            self.say("reading", who, reading=data, way=way)

    @rule(
        who=ROLES,
        quantity=st.sampled_from(["", "lugs", "odometer", *LIMITS]),
        value=st.one_of(st.none(), st.floats(0, 12), st.sampled_from([0.53, 0.66, 0.125])),
    )
    def correct(self, who: str, quantity: str, value: float | None) -> None:
        self.correct_now(who, quantity, value)

    def correct_now(self, who: str, quantity: str, value: float | None) -> None:
        target = quantity or self.job.last_quantity()
        data = reading_for(target, value) if value is not None and target else None
        self.say("correct", who, reading=data, quantity=quantity)

    @rule(who=ROLES, text=st.sampled_from(["", "worn, lead knows"]))
    def accept(self, who: str, text: str) -> None:
        self.say("accept", who, text=text)

    @rule(who=ROLES, text=st.sampled_from(["", "12"]))
    def sign_off(self, who: str, text: str) -> None:
        self.say("sign_off", who, text=text)

    @rule(who=ROLES)
    def backwards(self, who: str) -> None:
        self.say("back", who)

    @rule()
    def killed_and_resumed(self) -> None:
        self.replayed()
        self.say("resumed", "tech")

    def replayed(self) -> None:
        """The acts so far, in a fresh job, must give this very job; it then takes over."""
        fresh = Job(self.card, DIALOGS)
        fresh.prompt(entering=True)
        for act in self.acts:
            fresh.apply(Act(**act.as_data()))
        here = self.snapshot()
        self.job = fresh
        assert self.snapshot() == here, "the same acts gave another job"

    def teardown(self) -> None:
        self.replayed()


def procedure(kind: Kind) -> type[Procedure]:
    """The model for one kind of truck."""
    return type("ProcedureOfKind", (Procedure,), {"kind": kind})


@pytest.mark.parametrize("kind", [USUAL, *OTHERS], ids=str)
def test_anything_by_anybody(kind: Kind) -> None:
    run_state_machine_as_test(
        procedure(kind),
        settings=settings(
            max_examples=35 if kind is USUAL else 10,
            stateful_step_count=30,
            deadline=None,
            database=None,
            suppress_health_check=list(HealthCheck),
        ),
    )


def walk(seed: int, kind: Kind = USUAL, acts: int = 160) -> Procedure:
    """One long session: mostly right answers, the more disturbed the nearer to the pedal."""
    chance = random.Random(seed)
    machine = procedure(kind)()
    machine.truck = {
        "gap": chance.choice([0.66, 0.53, 0.40, 0.5625, 0.75]),
        "clearance": chance.choice([0.04, 0.125, 0.20]),
    }
    disturb = [
        lambda who: machine.say("stop", who),
        lambda who: machine.say(chance.choice(sorted(interlocks.MEANINGS)), who),
        lambda who: machine.say(chance.choice(["lost", "released", "holding"]), "helper"),
        lambda who: machine.say(chance.choice(["clear", "let_up", "carry_on", "done"]), "tech"),
        lambda who: machine.say(chance.choice(["back", "correct", "pause"]), who),
        lambda who: machine.out_of_a_stop_now(chance.choice(["let_up", "carry_on"])),
        lambda who: machine.killed_and_resumed(),
        lambda who: machine.say("trouble", who, text=chance.choice(interlocks.TROUBLES[:-1])),
        lambda who: machine.say("ready", "helper"),
        lambda who: machine.say("fitted", who, text=chance.choice(interlocks.FITTED)),
        lambda who: machine.correct_now(
            who,
            chance.choice(["", "lugs", "gap", *LIMITS]),
            chance.choice([None, 0.53, 0.66, 0.5625, 0.125, 3.0]),
        ),
        lambda who: machine.reading_now(
            who,
            chance.choice([0.53, 0.5625, 0.66, 0.125, 1.5, 8.5, 4.0]),
            chance.choice([0.0005, 1 / 64]),
        ),
    ]
    while len(machine.acts) < acts and not machine.job.finished:
        step = machine.job.step
        near = step is None or step.phase == "ring" or chance.random() < 0.1
        if chance.random() < (0.35 if near else 0.05):
            chance.choice(disturb)(chance.choice(["tech", "helper"]))
        else:
            machine.go_on(1)
    machine.replayed()
    return machine


@pytest.mark.parametrize("seed", range(8))
def test_long_walks(seed: int) -> None:
    """The same invariants, from sessions longer and nearer to the pedal than chance finds."""
    for part in range(8):
        walk(seed * 1000 + part)


@pytest.mark.parametrize("kind", OTHERS, ids=str)
@pytest.mark.parametrize("seed", range(2))
def test_long_walks_of_other_kinds(kind: Kind, seed: int) -> None:
    for part in range(3):
        walk(seed * 1000 + part, kind)


@pytest.mark.parametrize(
    "kind", [USUAL, *(pytest.param(kind, marks=pytest.mark.long) for kind in OTHERS)], ids=str
)
def test_right_answers_sign_off(kind: Kind) -> None:
    """The truck of the model, answered rightly, gets signed off: the test can reach the end."""
    for gap in (0.66, 0.53, 0.40, 0.75):
        machine = procedure(kind)()
        machine.truck = {"gap": gap, "clearance": 0.04}
        machine.go_on(200)
        assert machine.job.at == "signed_off", (gap, machine.job.at)
        moved = [m.moved for m in machine.job.facts.moves]
        assert bool(moved) == (kind.ring and gap != 0.53), "who moves the ring, and when"
        machine.teardown()


EDGES = [(kind, edge) for kind in (USUAL, *OTHERS) for edge in transitions(kind.dialogs.steps)]


@pytest.mark.parametrize("kind", [USUAL, *OTHERS], ids=str)
def test_every_way_in_is_guarded(kind: Kind) -> None:
    """Turn and held steps need the hold, hold and release need clear, the rest the gap."""
    by_id = {s.id: s for s in kind.dialogs.steps}
    past_ring, in_the_hole = kind.past_ring, kind.in_the_hole
    for edge in [e for k, e in EDGES if k is kind]:
        step, way = by_id.get(edge["dest"]), f"{edge['source']}-{edge['trigger']}-{edge['dest']}"
        if step is None:
            ends = ("halted", "repair", "signed_off", "leaving", "left_unfinished")
            assert edge["dest"] in ends, way
            if edge["dest"] in ("leaving", "left_unfinished"):
                assert "pedal_up" in edge["conditions"], way
            continue
        guards = edge["conditions"]
        if step.id in ("ring_turn", "ring_tool", "ring_lock"):
            assert "hold_confirmed" in guards, way
        if step.id in ("ring_hold", "ring_release"):
            assert "hands_clear" in guards, way
        if step.id == "ring_gap":
            assert "pedal_up" in guards, way
        if f"prompt:{step.id}" in past_ring:
            assert {"gap_right", "pedal_up", "lock_in"} <= set(guards), way
        if f"prompt:{step.id}" in in_the_hole:
            assert {"key_below", "cover_open"} <= set(guards), way


def edges_of(kind: Kind) -> list[dict[str, Any]]:
    """Every edge of one kind of truck."""
    return [edge for k, edge in EDGES if k is kind]


@pytest.mark.parametrize("kind", [USUAL, *OTHERS], ids=str)
def test_sign_off_is_the_only_way_to_signed_off(kind: Kind) -> None:
    last = [e for e in edges_of(kind) if e["dest"] == "signed_off"]
    assert [(e["source"], e["trigger"]) for e in last] == [("sign_off", "advance")]
    assert "all_settled" in last[0]["conditions"]
    assert not [e for e in edges_of(kind) if e["source"] == "signed_off"]


@pytest.mark.parametrize("kind", [USUAL, *OTHERS], ids=str)
def test_every_step_can_be_stopped_and_every_state_reaches_the_end(kind: Kind) -> None:
    edges = edges_of(kind)
    assert {e["source"] for e in edges if e["trigger"] == "halt"} == {
        *kind.ids,
        "repair",
        "leaving",
    }
    reach = {"signed_off"}
    while True:
        more = {e["source"] for e in edges if e["dest"] in reach} - reach
        if not more:
            break
        reach |= more
    assert {*kind.ids, "repair", "halted", "signed_off"} <= reach
