"""What every act works with: the job's state, its present prompt, and the way on."""

from __future__ import annotations

from transitions import MachineError

from assistant import interlocks
from assistant.act import Act, Said
from assistant.card import Card
from assistant.dialogue import Danger
from assistant.job import outcome, prompts, words
from assistant.job.facts import Facts, Taken
from assistant.job.machine import HALTED, REPAIR, SIGNED, Guards, build
from assistant.readings.settle import capital
from assistant.texts.dialogs import Dialogs, Step

Replies = list[Said]


class JobBase(Guards):
    """State of one truck's job; see `job.Job`."""

    def __init__(self, card: Card, dialogs: Dialogs) -> None:
        self.dialogs = dialogs = dialogs.for_truck(card.traits)
        self.facts = Facts(card)
        self.return_to = ""
        self.after_hold = "ring_turn"
        self.release_halted = False
        self.wanted = ""
        self.fix = False
        self.leaving = False
        self.signing = ""
        """A sign-off code that was not heard well enough and waits for its "check"."""
        self.pending: Taken | None = None
        self.correcting = ""
        """Quantity that the next reading corrects ("lugs" for the count moved), or ""."""
        self.choice = ""
        """"close" or "out": a reading waits for a finer one, or to be accepted."""
        self.alarmed = False
        """"Hands out" was called since the job was stopped."""
        self.turn_again = False
        """The ring turn was broken off before its count was said: ask for all that moved."""
        self.given: set[str] = set()
        self.state: str = dialogs.steps[0].id
        self.machine = build(self, dialogs, dialogs.steps[0].id)

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

    # --- as every `dialogue.Dialogue` ---

    @property
    def at(self) -> str:
        """The step it stands at; "halted" while it is stopped."""
        return self.state

    @property
    def stopped(self) -> bool:
        """Whether it was stopped and waits for "carry on"."""
        return self.state == HALTED

    @property
    def finished(self) -> bool:
        """Whether the record is closed."""
        return self.signed_off

    @property
    def choosing(self) -> bool:
        """Whether a reading waits to be accepted, moved or measured again."""
        return bool(self.choice)

    @property
    def trying(self) -> bool:
        """Whether the finished work is tried."""
        step = self.step
        return step is not None and step.kind == "sound" and step.phase == "final"

    @property
    def units(self) -> str:
        """The shop's: "inch" or "mm"."""
        return self.facts.card.units

    @property
    def distance(self) -> str:
        """The shop's: "miles" or "kilometres"."""
        return self.facts.card.distance

    def answers(self) -> dict[str, str]:
        """Phrases that answer just this step, and what they mean."""
        step = self.step
        if step is None or self.pending is not None:
            return {}
        meaning = {"sound": "sound", "act": "ready" if step.id == "helper_ready" else "done"}
        return dict.fromkeys(step.answers, meaning.get(step.kind, "done"))

    def whose(self) -> str:
        """Who is expected to speak now."""
        step = self.step
        return step.who if step is not None and self.pending is None else "tech"

    def danger(self) -> Danger:
        """Whether somebody may be hurt now."""
        with_work = self.state not in ("next_due", "sign_off")  # steps with everybody out
        return Danger(
            pedal=self.facts.hold != "up",
            pressing=self.pressing_is_danger(),
            engine=self.key_above() and with_work,
            key=self.key_above(),
            releasing=self.state == "ring_release",
            held=self.facts.hold == "held",
        )

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
        return "gap" if step.kind in ("plan", "maker") else ""

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
            "act": ["ready", "done"] if step.id == "helper_ready" else ["done"],
            "sound": ["sound", "not_sound"],
            "read": ["skip"] if step.optional else [],
            "clear": ["clear"],
            "hold": ["holding"],
            "turn": ["done"],
            "release": ["released"],
            "plan": ["check", "move", "accept", "measure"],
            "maker": ["done", "accept", "measure"],
            "rod": ["done", "check", "accept"],
            "stop_bolt": ["done", "check", "accept"],
            "sign": ["sign_off", *(["check", "no"] if self.signing else [])],
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
        if entering and self.cover_open() and prompts.moves_pedal(step):
            given = prompts.stroke_caution(self.dialogs, given)
        if entering and step.helper:
            given.append(Said("helper", step.helper, f"helper:{step.id}"))
        if self.pending is not None:
            return [*given, self._confirm(self.pending)]
        if self.correcting:
            name = words.spoken(self.correcting)
            return [*given, self._say("tech", "what_correct", quantity=name)]
        if self.choice:
            return [*given, self._say("tech", f"{self.choice}_choice")]
        if step.kind == "turn":
            return [*given, self._turn_prompt()]
        if entering and step.kind == "rod" and "rod.thread" in self.facts.card.defaulted:
            given.append(self._say("tech", "thread_default", thread=self.facts.card.thread))
        return [*given, *prompts.instruction(self.dialogs, self.facts, step)]

    def _turn_prompt(self) -> Said:
        plan = self.facts.plans.ring()
        lugs = plan.lugs if plan is not None else 0
        reply = "turn_again" if self.turn_again else "turn_zero" if lugs == 0 else ""
        if not reply:
            assert self.step is not None
            return prompts.instruction(self.dialogs, self.facts, self.step)[0]
        text = self.dialogs.say(reply, lugs=words.lugs(lugs), way=words.way(lugs))
        return Said("tech", text, "prompt:ring_turn")

    def _say(self, to: str, reply: str, signal: str = "", cue: str = "", **fields: object) -> Said:
        return Said(to, self.dialogs.say(reply, **fields), f"reply:{reply}", signal, cue)

    def _only(self, act: Act, who: str, phrase: str) -> Replies:
        """Answer to words that only the other of the two can say."""
        other = "technician" if who == "tech" else "helper"
        return [self._say(act.who, "wrong_person", who=other, phrase=phrase)]

    def _not_now(self, who: str, reply: str = "not_now") -> Replies:
        """The words do not fit here; the present instruction again."""
        return [self._say(who, reply, hint=self.prompt()[-1].text)]

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
        self.signing = ""
        step = self.step
        if step is None:
            return
        if step.kind == "hold":
            # From the moment it is asked, the pedal may be on its way down.
            self.facts.hold = "asked"
        if step.kind == "release":
            self.facts.hold = "releasing"
        if step.kind == "turn":
            self.turn_again = self.facts.turning
            self.facts.turning = True
        if step.held:
            self.after_hold = "ring_turn"
        if step.kind in ("clear", "hold", "release"):
            return
        if self.cover_open() or step.phase == "ring":
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
        step = self.step
        if act.who == "helper" and self.facts.hold == "held":
            return [self._say("helper", "hold_standing")]
        if (
            act.who == "helper"
            and step is not None
            and step.who == "tech"
            and (step.phase == "ring" and step.kind != "read")
        ):
            return [self._say("helper", "helper_wait")]
        return self._not_now(act.who, "not_now" if not_now else "again")

    def _stopped_next(self) -> str:
        reply = "stopped_next" if self.facts.hold == "up" else "stopped_held_next"
        if reply == "stopped_held_next" and self.hands_clear():
            reply = "stopped_clear_next"
        return self.dialogs.say(reply)

    def _gap_judgement(self) -> str:
        gap = self.facts.latest("gap")
        judgement = self.facts.judged(gap) if gap else None
        return judgement.decision if judgement else ""

    def _confirm(self, taken: Taken) -> Said:
        if taken.quantity == "lugs":
            return self._say("tech", "confirm_count", figures=taken.figures)
        # Figures first for the eye, then words for the ear.
        to = "tech" if taken.who == "tech" else "both"
        return self._say(to, "confirm", figures=taken.figures, spoken=capital(taken.readback))
