"""One truck's job: acts in, replies out. The same acts always give the same job.

`Job.apply` is the only way to change anything; the record keeps the acts, and resuming applies
them again. The order lives in `machine`, the rules nobody can talk away in `interlocks`.
"""

from __future__ import annotations

from collections.abc import Callable

from transitions import MachineError

from assistant.card import Card
from assistant.readings import QUANTITIES

from . import interlocks, outcome, prompts, words
from .dialog import Dialogs, Step
from .facts import Facts, LinkageMove, RingMove, Taken
from .guards import Guards
from .machine import FIX, HALTED, REPAIR, SIGNED, build
from .said import Act, Said

Replies = list[Said]


class Job(Guards):
    """The procedure for one truck, at one step, knowing what it knows.

    Args:
        card: the truck's card.
        dialogs: checked dialogs.
    """

    def __init__(self, card: Card, dialogs: Dialogs) -> None:
        self.dialogs = dialogs
        self.facts = Facts(card)
        self.return_to = ""
        self.after_hold = "ring_turn"
        self.release_halted = False
        self.wanted = ""
        self.fix = False
        self.leaving = False
        self.pending: Taken | None = None
        self.correcting = ""
        """Quantity that the next reading corrects ("lugs" for the count moved), or ""."""
        self.choice = ""
        """"close" or "out": a reading waits for a finer one, or to be accepted."""
        self.turn_again = False
        """The ring turn was broken off before its count was said: ask for all that moved."""
        self.given: set[str] = set()
        self.state: str = dialogs.steps[0].id
        self.machine = build(self, dialogs, dialogs.steps[0].id)

    # --- what is going on ---

    @property
    def step(self) -> Step | None:
        """The step the machine is in; None when stopped, in repair or signed off."""
        return self.dialogs.by_id.get(self.state)

    @property
    def step_id(self) -> str:
        """The step the job is at, also while it is stopped there."""
        return self.return_to if self.state == HALTED else self.state

    @property
    def signed_off(self) -> bool:
        """Whether the record is closed."""
        return self.state == SIGNED

    def expects(self) -> str:
        """The quantity a bare reading would be taken for now, or ""."""
        if self.correcting:
            return self.correcting
        step = self.step
        if step is None:
            return ""
        if step.kind == "read":
            return step.reading
        if step.kind == "turn":
            return "lugs"
        return "gap" if step.kind == "plan" else ""

    def allowed(self) -> list[str]:
        """Meanings that this step takes, beyond those understood at any time."""
        step = self.step
        if self.state == HALTED:
            return ["carry_on", "clear", "let_up"]
        if self.state == REPAIR:
            return ["repaired"]
        if step is None:
            return []
        if self.pending is not None:
            return ["check", "no"]
        if self.choice:
            return ["accept", "move", "measure"]
        by_kind = {
            "act": ["ready", "done"] if step.id == "helper_ready" else ["done", "check"],
            "sound": ["sound", "not_sound"],
            "read": ["skip"] if step.optional else [],
            "clear": ["clear"],
            "hold": ["holding"],
            "turn": ["done"],
            "release": ["released"],
            "plan": ["check", "move", "accept", "measure"],
            "rod": ["done", "check", "accept"],
            "stop_bolt": ["done", "check", "accept"],
            "sign": ["sign_off"],
        }
        return by_kind[step.kind]

    def prompt(self, entering: bool = False) -> Replies:
        """The present instruction; on entering, its cautions first."""
        step = self.step
        if self.state == HALTED:
            return [Said("tech", self._stopped_next(), "reply:stopped_next")]
        if self.state == REPAIR:
            return [Said("both", self.dialogs.say("need_repair"), "reply:need_repair")]
        if step is None:
            return [Said("tech", self.dialogs.say("closed"), "reply:closed")]
        if step.kind == "turn" and not self.hold_confirmed():  # never reached: see interlocks
            raise RuntimeError("a ring turn was about to be told without a confirmed hold")
        given = prompts.cautions(self.dialogs, step, self.given) if entering else []
        if self.pending is not None:
            return [*given, self._confirm(self.pending)]
        if self.correcting:
            name = words.spoken(self.correcting)
            return [*given, self._say("tech", "what_correct", quantity=name)]
        if self.choice:
            return [*given, self._say("tech", f"{self.choice}_choice")]
        if step.kind == "turn":
            return [*given, self._turn_prompt()]
        return [*given, *prompts.instruction(self.dialogs, self.facts, step)]

    def _turn_prompt(self) -> Said:
        plan = self.facts.ring_plan()
        lugs = plan.lugs if plan is not None else 0
        reply = "turn_again" if self.turn_again else "turn_zero" if lugs == 0 else ""
        if not reply:
            assert self.step is not None
            return prompts.instruction(self.dialogs, self.facts, self.step)[0]
        text = self.dialogs.say(reply, lugs=words.lugs(lugs), way=words.way(lugs))
        return Said("tech", text, "prompt:ring_turn")

    # --- acts ---

    def apply(self, act: Act) -> Replies:
        """Take one act; returns everything said in answer, most urgent first."""
        if self.state == SIGNED:
            return [self._say("both", "closed")]
        handler: Callable[[Act], Replies] | None = getattr(self, f"_on_{act.meaning}", None)
        if handler is None:
            raise ValueError(f"there is no act {act.meaning!r}; use a key of vocabulary.MEANINGS")
        wrong = self._wrong_person(act)
        return wrong if wrong is not None else handler(act)

    def _wrong_person(self, act: Act) -> Replies | None:
        meaning = self.dialogs.words.get(act.meaning)
        if meaning is None or meaning.who in ("any", act.who):
            return None
        who = "technician" if meaning.who == "tech" else "helper"
        return [self._say(act.who, "wrong_person", who=who, phrase=meaning.phrases[0])]

    def _say(self, to: str, reply: str, signal: str = "", cue: str = "", **fields: object) -> Said:
        return Said(to, self.dialogs.say(reply, **fields), f"reply:{reply}", signal, cue)

    def _trigger(self, name: str) -> bool:
        try:
            return bool(getattr(self, name)())
        except MachineError:
            return False

    def entered(self, _: object = None) -> None:
        """After every change of step: nothing half-said is carried along, hands may go in."""
        self.pending = None
        self.correcting = ""
        self.choice = ""
        self.fix = False
        self.leaving = False
        step = self.step
        if step is None:
            return
        if step.kind == "hold":
            # From the moment it is asked, the pedal may be on its way down.
            self.facts.hold = "asked"
        if step.kind == "turn":
            self.turn_again = self.facts.turning
            self.facts.turning = True
            self.after_hold = "ring_turn"
        if step.kind in ("clear", "hold", "release"):
            return
        if step.needs_hold:
            self.after_hold = "ring_turn"
        if self.facts.places.get("cover") == "off" or step.phase == "ring":
            self.facts.hands = "in"

    def _advance(self, *before: Said) -> Replies:
        """Go on to the next step, or say why not."""
        if self._trigger("advance"):
            return [*before, *self.prompt(entering=True)]
        return [*before, *self._blocked()]

    def _blocked(self) -> Replies:
        step = self.step
        if self.facts.places["lock_plate"] == "out" and not self.in_hold():
            return [self._say("tech", "lock_plate_out"), *self.prompt()]
        if step is not None and step.kind == "sign":
            return self._reroute(f"final_{outcome.SHORT[self.unsettled_final() or 'gap']}")
        if self.gap_unread():
            return [self._say("tech", "gap_unread")]
        return [self._say("tech", "gap_not_right"), *self.prompt()]

    def _reroute(self, target: str, *before: Said) -> Replies:
        self.wanted = target
        moved = self._trigger("reroute")
        if self.state not in interlocks.DETOURS:
            self.wanted = ""
        return [*before, *self.prompt(entering=moved)]

    def _hint(self, act: Act, not_now: bool = True) -> Replies:
        """What was said does not fit here: say so, and the instruction again."""
        last = self.prompt()[-1]
        reply = "not_now" if not_now else "again"
        return [self._say(act.who, reply, hint=last.text)]

    # stop, pause, carry on ------------------------------------------------------------------

    def _on_stop(self, act: Act) -> Replies:
        if self.state == HALTED:
            self._unsure()
            return [
                self._say(
                    "both",
                    "already_stopped",
                    signal="DANGER",
                    cue="STOP",
                    state=words.truck_state(self.dialogs, self.facts),
                ),
                *self.prompt(),
            ]
        held = self.facts.hold != "up"
        state = words.truck_state(self.dialogs, self.facts)
        self._halt()
        helper = "stopped_helper_held" if held else "stopped_helper_up"
        if self.key_above():
            # The engine may be running, and in gear: a foot off the pedal would move the truck.
            helper = "stopped_helper_engine"
        return [
            self._say("tech", "stopped", signal="DANGER", cue="STOP", state=state),
            self._say("helper", helper, signal="DANGER", cue="STOP"),
            *self.prompt(),
        ]

    def _halt(self) -> None:
        if not (self.state == "ring_release" and self.release_halted):
            # A stop while the pedal is let up out of a stop still returns to where that was.
            self.return_to = self.state
        self.release_halted = False
        self._trigger("halt")
        self._unsure()

    def _unsure(self) -> None:
        """After a stop nothing about the pedal or the hands is taken on trust."""
        if self.facts.hold != "up":
            self.facts.hold = "unsure"
        if self.facts.places.get("cover") == "off" or self.facts.hold != "up":
            self.facts.hands = "in"

    def _stopped_next(self) -> str:
        reply = "stopped_next" if self.facts.hold == "up" else "stopped_held_next"
        if reply == "stopped_held_next" and self.hands_clear():
            reply = "stopped_clear_next"
        return self.dialogs.say(reply)

    def _on_pause(self, act: Act) -> Replies:
        state = words.truck_state(self.dialogs, self.facts)
        if self.state == HALTED:
            return [self._say("both", "already_stopped", state=state), *self.prompt()]
        if self.facts.hold != "up":
            self._halt()
            return [
                self._say("tech", "pause_held", signal="WARNING", state=state),
                self._say("helper", "stopped_helper_held", signal="WARNING", cue="STOP"),
                *self.prompt(),
            ]
        self._halt()
        return [self._say("both", "paused", state=state)]

    def _on_carry_on(self, act: Act) -> Replies:
        if self.state != HALTED:
            return [self._say(act.who, "nothing_stopped"), *self.prompt()]
        back = self.dialogs.by_id.get(self.return_to)
        if back is not None and (back.needs_hold or back.kind == "turn"):
            self.after_hold = back.id
        self.release_halted = False
        if not self._trigger("carry_on"):
            return [self._say(act.who, "not_now", hint=self._stopped_next())]
        self.return_to = ""
        return [self._say("both", "carry_on"), *self.prompt(entering=True)]

    def _on_let_up(self, act: Act) -> Replies:
        if self.state != HALTED or self.facts.hold == "up":
            return self._hint(act)
        if not self.hands_clear():
            return [self._say("tech", "confirm_clear_first")]
        self.release_halted = True
        if not self._trigger("let_up"):
            return self._hint(act)
        self.facts.hold = "releasing"
        return self.prompt(entering=True)

    def _on_resumed(self, act: Act) -> Replies:
        """The program was started again on this record: trust no pedal and no hand."""
        out: Replies = []
        if self.facts.hold != "up":
            if self.state != HALTED:
                self._halt()
            self._unsure()
            out.append(self._say("both", "resumed_hold", signal="WARNING"))
        elif self.facts.places.get("cover") == "off":
            self.facts.hands = "in"
            if self.state == "ring_hold":
                self._halt()
        state = words.truck_state(self.dialogs, self.facts)
        return [self._say("both", "resumed", state=state), *out, *self.prompt(entering=True)]

    # the hold ---------------------------------------------------------------------------------

    def _on_holding(self, act: Act) -> Replies:
        if self.state == "ring_hold":
            self.facts.hold = "held"
            return self._advance(self._say("helper", "hold_standing"))
        if self.facts.hold == "held":
            return [self._say("helper", "hold_standing")]
        if self.state == HALTED:
            # He may be holding still, or have pressed again: down, but not to be relied on.
            self.facts.hold = "unsure"
            return [self._say("helper", "stopped_helper_held", signal="DANGER", cue="STOP")]
        return [self._say("helper", "not_now", hint=self.prompt()[-1].text)]

    def _on_lost(self, act: Act) -> Replies:
        if self.facts.hold == "up":
            return [self._say("helper", "not_now", hint=self.prompt()[-1].text)]
        self.facts.hold = "unsure"
        if self.state != HALTED:
            self._halt()
        state = words.truck_state(self.dialogs, self.facts)
        return [
            self._say("tech", "hold_lost", signal="DANGER", cue="STOP"),
            self._say("helper", "hold_lost_helper", signal="DANGER"),
            self._say("tech", "already_stopped", state=state),
            *self.prompt(),
        ]

    def _on_clear(self, act: Act) -> Replies:
        if self.state == HALTED:
            self.facts.hands = "clear"
            return [self._say("tech", "clear_heard"), *self.prompt()]
        step = self.step
        if step is None or step.kind != "clear":
            return self._hint(act)
        self.facts.hands = "clear"
        return self._advance(self._say("tech", "clear_heard"))

    def _on_released(self, act: Act) -> Replies:
        if self.state == "ring_release":
            self.facts.hold = "up"
            return self._advance(self._say("both", "release_ok"))
        if self.state == HALTED:
            self.facts.hold = "up"
            return [self._say("both", "release_ok"), *self.prompt()]
        if self.facts.hold != "up":
            return self._on_lost(act)
        return [self._say("helper", "not_now", hint=self.prompt()[-1].text)]

    # plain answers ------------------------------------------------------------------------------

    def _on_done(self, act: Act) -> Replies:
        step = self.step
        if self.pending is not None:
            return self._on_check(act)
        if step is None or self.choice or self.correcting:
            return self._hint(act)
        if step.kind in ("act", "rod", "stop_bolt"):
            if step.who == "helper" and act.who != "helper":
                return [self._say(act.who, "wrong_person", who="helper", phrase=step.say)]
            if step.who == "tech" and act.who != "tech":
                return [self._say(act.who, "wrong_person", who="technician", phrase="done")]
            return self._act_done(step)
        if step.kind == "turn":
            if act.who != "tech":
                return [self._say(act.who, "wrong_person", who="technician", phrase="the count")]
            if self.turn_again:
                return [self._turn_prompt()]  # "done" leaves open how much, all in all
            plan = self.facts.ring_plan()
            return self._take_count(act, float(abs(plan.lugs) if plan else 0))
        if step.kind == "plan":
            return self._on_check(act)
        return self._hint(act)

    def _act_done(self, step: Step) -> Replies:
        for place, value in step.sets:
            self.facts.places[place] = value
        if step.id in interlocks.DETOURS:
            said = self._advance()
            if self.state not in interlocks.DETOURS:
                self.wanted = ""
            return said
        if step.kind in ("rod", "stop_bolt"):
            plan = prompts.safe_linkage_plan(self.facts) if step.kind == "rod" else None
            what = prompts.blanks(self.dialogs, self.facts, step)
            text = f"{what.get('rod', '')} {what.get('rod_way', '')}".strip()
            self.facts.linkage.append(
                LinkageMove(
                    step.id,
                    text or what.get("stop_move", ""),
                    plan.rod.travel_in if plan else 0.0,
                    len(self.facts.readings),
                )
            )
        return self._advance()

    def _on_ready(self, act: Act) -> Replies:
        return self._on_done(act) if self.state == "helper_ready" else self._hint(act)

    def _on_sound(self, act: Act) -> Replies:
        step = self.step
        return self._advance() if step is not None and step.kind == "sound" else self._hint(act)

    def _on_not_sound(self, act: Act) -> Replies:
        step = self.step
        if step is None or step.kind != "sound":
            return self._hint(act)
        self.facts.doubts.append(f"not sound at {step.id}")
        self._trigger("not_sound")
        return [self._say("both", "need_repair", signal="WARNING")]

    def _on_repaired(self, act: Act) -> Replies:
        if self.state != REPAIR:
            return self._hint(act)
        self._trigger("repaired")
        return [self._say("both", "repair_done"), *self.prompt(entering=True)]

    def _on_skip(self, act: Act) -> Replies:
        step = self.step
        if step is None or not step.optional:
            return [self._say(act.who, "skip_no"), *self.prompt()]
        return self._advance()

    def _on_check(self, act: Act) -> Replies:
        if self.pending is not None:
            if self.pending.who == "tech" and act.who != "tech":
                return [self._say(act.who, "wrong_person", who="technician", phrase="check")]
            return self._commit()
        step = self.step
        if step is None or self.choice or self.correcting:
            return self._hint(act)
        if step.kind == "plan":
            if act.who != "tech":
                return [self._say(act.who, "wrong_person", who="technician", phrase="check")]
            judgement = self._gap_judgement()
            if judgement == "too close" and act.meaning == "check":
                return self._hint(act)
            return self._advance()
        if step.kind in ("act", "rod", "stop_bolt"):
            return self._on_done(act)
        return self._hint(act)

    def _gap_judgement(self) -> str:
        gap = self.facts.latest("gap")
        judgement = self.facts.judged(gap) if gap else None
        return judgement.decision if judgement else ""

    def _on_no(self, act: Act) -> Replies:
        if self.pending is not None:
            self.pending = None
            return [self._say(act.who, "dropped"), *self.prompt()]
        return self._hint(act)

    def _on_unclear(self, act: Act) -> Replies:
        return self._hint(act, not_now=False)

    # readings -----------------------------------------------------------------------------------

    def _on_reading(self, act: Act) -> Replies:
        expected = self.expects()
        if not expected or act.reading is None:
            return self._hint(act)
        if expected == "lugs":
            if act.who != "tech":
                return [self._say(act.who, "wrong_person", who="technician", phrase="the count")]
            if act.reading["count"] is None:
                return self._hint(act)
            return self._take_count(act, float(act.reading["count"]))
        if act.reading["value_in"] is None and expected != "odometer":
            return self._hint(act)
        stage, step_id = self._stage_now()
        taken = Taken.of(step_id, stage, expected, act.who, act.reading)
        if outcome.is_critical(taken) or self.correcting:
            self.pending = taken
            return [self._confirm(taken)]
        return self._keep(taken)

    def _stage_now(self) -> tuple[str, str]:
        step = self.step
        if step is not None and step.kind == "read":
            changed = bool(self.facts.moves or self.facts.linkage)
            if step.stage == "found" and changed:
                return "again", step.id  # read once more after changes: not as found
            return step.stage, step.id
        return ("ring" if self.facts.moves else "found"), self.state

    def _take_count(self, act: Act, count: float) -> Replies:
        plan = self.facts.ring_plan()
        told = plan.lugs if plan is not None else 0
        sign = 1 if told >= 0 else -1
        if act.way:
            sign = 1 if act.way == "tighter" else -1
        moved = sign * int(count)
        figures = words.moved(moved)
        self.pending = Taken(
            self.state,
            "ring",
            "lugs",
            act.who,
            None,
            None,
            None,
            float(moved),
            "lugs",
            figures,
            figures,
        )
        return [self._confirm(self.pending)]

    def _confirm(self, taken: Taken) -> Said:
        if taken.quantity == "lugs":
            return self._say("tech", "confirm_count", figures=taken.figures)
        # Figures first for the eye, then words for the ear.
        spoken = taken.readback[:1].upper() + taken.readback[1:]
        return self._say(
            "tech" if taken.who == "tech" else "both",
            "confirm",
            figures=taken.figures,
            spoken=spoken,
        )

    def _commit(self) -> Replies:
        taken = self.pending
        assert taken is not None
        self.pending = None
        if self.correcting:
            if taken.quantity != self.correcting:
                return self.prompt()
            return self._commit_correction(taken)
        if taken.quantity == "lugs":
            return self._ring_moved(taken)
        return self._keep(taken)

    def _ring_moved(self, taken: Taken) -> Replies:
        plan, gap = self.facts.ring_plan(), self.facts.latest("gap")
        told = plan.lugs if plan else 0
        moved = int(taken.count or 0)
        predicted = plan.gap_after.value_in if plan else 0.0
        if plan is not None and gap is not None and moved != told:
            predicted = (gap.value_in or 0.0) - moved * plan.pitch_in
        self.facts.moves.append(RingMove(told, moved, len(self.facts.readings), predicted))
        self.facts.turning = False
        out = []
        if moved != told:
            out.append(
                self._say("tech", "lugs_differ", moved=words.moved(moved), told=words.moved(told))
            )
        return self._advance(*out)

    def _keep(self, taken: Taken) -> Replies:
        """Take a reading in, judge it, and go where it leads."""
        self.facts.readings.append(taken)
        result = outcome.after(self, taken)
        if result.route == "stay":
            self.choice = result.choice
            return [*result.said, *self.prompt()]
        if self.state == "ring_plan" and not self.gap_right():
            return [*result.said, *self.prompt()]  # the plan is new: it is shown before it is done
        self.fix = result.route == "fix"
        return self._advance(*result.said)

    # accept, move, measure ----------------------------------------------------------------------

    def _on_accept(self, act: Act) -> Replies:
        step = self.step
        gap_decision = self._gap_judgement()
        if step is not None and step.kind == "plan":
            if gap_decision != "too close":
                return [self._say(act.who, "accept_no"), *self.prompt()]
            return self._accepted(self.facts.latest("gap"), act)
        if step is not None and step.kind in ("rod", "stop_bolt"):
            return self._leave(step, act)
        if not self.choice or step is None:
            return [self._say(act.who, "accept_nothing"), *self.prompt()]
        if self.choice == "out" and step.reading == "gap":
            return [self._say(act.who, "accept_no"), *self.prompt()]
        if self.choice == "out" and not act.text:
            return [self._say(act.who, "accept_why")]
        return self._accepted(self.facts.latest(step.reading), act)

    def _leave(self, step: Step, act: Act) -> Replies:
        """Accept the reading that this change was for, and why; leave the change undone."""
        if not act.text:
            return [self._say(act.who, "accept_why")]
        quantity = next(q for q, fix in FIX.items() if fix == step.id)
        taken = self.facts.latest(quantity)
        if taken is None:
            return self._hint(act)
        self.facts.left.add(quantity)
        self.leaving = True
        return self._accepted(taken, act)

    def _accepted(self, taken: Taken | None, act: Act) -> Replies:
        assert taken is not None
        taken.accepted = act.text or "too close to call"
        self.facts.doubts.append(f"{taken.quantity} {taken.figures} accepted: {taken.accepted}")
        self.choice = ""
        return self._advance(self._say(act.who, "accepted"))

    def _on_move(self, act: Act) -> Replies:
        step = self.step
        if step is not None and step.kind == "plan":
            return self._advance()
        if self.choice and step is not None and outcome.can_fix(self, step.reading):
            self.fix = True
            return self._advance()
        return self._hint(act)

    def _on_measure(self, act: Act) -> Replies:
        self.choice = ""
        step = self.step
        if step is not None and step.kind == "plan":
            self.correcting = ""
            return [self._say("tech", "what_correct", quantity="gap")]
        return self.prompt()

    # corrections --------------------------------------------------------------------------------

    def _on_correct(self, act: Act) -> Replies:
        if self.pending is not None and not act.quantity and act.reading is None:
            return self._on_no(act)
        if self.state == HALTED:
            return [self._say(act.who, "not_now", hint=self._stopped_next())]
        quantity = act.quantity or self.last_quantity()
        if not quantity or self._correctable(quantity) is None:
            return [self._say(act.who, "nothing_to_correct"), *self.prompt()]
        self.pending = None
        self.correcting = quantity
        if act.reading is None:
            return [self._say(act.who, "what_correct", quantity=words.spoken(quantity))]
        return self._on_reading(act)

    def last_quantity(self) -> str:
        """The quantity that a bare "correct that" is about."""
        readings, moves = self.facts.readings, self.facts.moves
        if moves and moves[-1].at == len(readings):
            return "lugs"
        return readings[-1].quantity if readings else ""

    def _correctable(self, quantity: str) -> Taken | RingMove | None:
        if quantity == "lugs":
            return self.facts.moves[-1] if self.facts.moves else None
        return next((t for t in reversed(self.facts.readings) if t.quantity == quantity), None)

    def _commit_correction(self, new: Taken) -> Replies:
        quantity, self.correcting = self.correcting, ""
        old = self._correctable(quantity)
        if isinstance(old, RingMove):
            old.moved = int(new.count or 0)
        elif old is not None:
            was = old.figures
            # By identity: two readings of one value are still two readings.
            index = next(i for i, t in enumerate(self.facts.readings) if t is old)
            new.step, new.stage = old.step, old.stage
            self.facts.readings[index] = new
            self.facts.notes.append(("lugcall", f"{quantity} corrected from {was}"))
        said = [
            self._say("both", "corrected", quantity=words.spoken(quantity), figures=new.figures)
        ]
        if new.value_in is not None:
            verdict = prompts.judged(self.dialogs, self.facts, new, self.facts.judged(new))
            said.append(self._say("tech", "facts", facts=verdict))
        return self._after_correction(*said)

    def _after_correction(self, *said: Said) -> Replies:
        """Whatever the correction upset is put right: the ring first."""
        self.choice = ""
        step = self.step
        if step is None:
            return [*said, *self.prompt()]
        ids = [s.id for s in self.dialogs.steps]
        if ids.index(step.id) >= ids.index("fork_clearance") and not self.gap_right():
            target = "ring_gap" if self.gap_unread() else "ring_plan"
            return self._reroute(target, *said, self._say("both", "gap_not_right"))
        if step.kind == "turn":
            plan = self.facts.ring_plan()
            if plan is not None:
                changed = self._say(
                    "tech", "plan_change", lugs=words.lugs(plan.lugs), way=words.way(plan.lugs)
                )
                return [*said, changed, *self.prompt()]
        upset = self.unsettled_final()
        final = f"final_{outcome.SHORT[upset]}" if upset else ""
        if final and self.facts.staged(upset, "final") and ids.index(step.id) > ids.index(final):
            return self._reroute(final, *said)
        return [*said, *self.prompt()]

    # talk about the job -------------------------------------------------------------------------

    def _on_back(self, act: Act) -> Replies:
        if self.pending is not None or self.correcting or self.choice:
            self.pending, self.correcting, self.choice = None, "", ""
            return self.prompt()
        if self.facts.hold != "up":
            return [self._say(act.who, "back_no"), *self.prompt()]
        if self.facts.places["lock_plate"] == "out":
            return [self._say(act.who, "back_lock"), *self.prompt()]
        if self.state in (HALTED, REPAIR):
            return self._hint(act)
        if self.state == "ring_gap":
            moved = words.moved(self.facts.lugs_total)
            return [self._say(act.who, "back_moved", moved=moved), *self.prompt()]
        out = []
        if self.facts.moves and self.step is not None and self.step.phase == "ring":
            out.append(self._say(act.who, "back_moved", moved=words.moved(self.facts.lugs_total)))
        if not self._trigger("back"):
            first = self.state == self.dialogs.steps[0].id
            reply = "back_start" if first else "back_blocked"
            return [self._say(act.who, reply), *self.prompt()]
        return [*out, *self.prompt(entering=True)]

    def _on_repeat(self, act: Act) -> Replies:
        return self.prompt()

    def _on_where(self, act: Act) -> Replies:
        step = self.dialogs.by_id.get(self.step_id)
        if step is None:
            return self.prompt()
        phase = self.dialogs.phase_of(step)
        seen = [f"{words.spoken(t.quantity)} {t.figures}" for t in self._newest()]
        state = words.truck_state(self.dialogs, self.facts)
        where = self._say(act.who, "where", heading=phase.heading, phase=phase.name, name=state)
        facts = [self._say(act.who, "facts", facts=", ".join(seen) + ".")] if seen else []
        return [where, *facts, *self.prompt()]

    def _newest(self) -> list[Taken]:
        out = []
        for name in QUANTITIES:
            taken = self.facts.latest(name)
            if taken is not None:
                out.append(taken)
        return out

    def _on_why(self, act: Act) -> Replies:
        step = self.dialogs.by_id.get(self.step_id)
        if step is None or self.state == HALTED:
            return self.prompt()
        return [Said(act.who, prompts.why(self.dialogs, self.facts, step), "reply:why")]

    def _on_how_long(self, act: Act) -> Replies:
        steps = self.dialogs.steps
        ids = [s.id for s in steps]
        at = ids.index(self.step_id) if self.step_id in ids else 0
        left = [
            s
            for s in steps[at:]
            if s.kind != "stop_bolt" and not (s.phase == "ring" and self.gap_right())
        ]
        total = prompts.minutes(max(1.0, sum(s.minutes for s in left)))
        return [self._say(act.who, "how_long", minutes=total)]

    def _on_note(self, act: Act) -> Replies:
        if not act.text:
            return [self._say(act.who, "note_empty")]
        self.facts.notes.append((act.who, act.text))
        return [self._say(act.who, "noted")]

    def _on_help(self, act: Act) -> Replies:
        meanings = self.dialogs.words
        phrases = [meanings[m].phrases[0] for m in self.allowed()]
        if self.expects():
            phrases.insert(0, f"the {words.spoken(self.expects())}")
        phrases += ["stop", "back", "repeat", "why", "where are we", "correct that", "note"]
        return [self._say(act.who, "help", phrases=", ".join(dict.fromkeys(phrases)))]

    def _on_sign_off(self, act: Act) -> Replies:
        step = self.step
        if step is None or step.kind != "sign":
            return self._hint(act)
        if not act.text:
            return [self._say(act.who, "sign_code")]
        if not self.all_settled():
            return self._blocked()
        self.facts.code = act.text
        if not self._trigger("advance"):
            self.facts.code = ""
            return self._blocked()
        doubts = len(self.facts.doubts)
        return [self._say("both", "signed_doubts", doubts=doubts)] if doubts else []
