"""One truck's job: acts in, replies out. The same acts always give the same job.

`Job.apply` is the only way to change anything; the record keeps the acts, and resuming applies
them again. What an act does is a plain function, found in `HANDLERS`; what it does at a kind of
step stands in `kinds.KINDS`. The order lives in `machine`, the rules nobody can talk away in
`interlocks`.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import takewhile

from transitions import EventData, MachineError

from assistant import interlocks
from assistant.act import Act, Said
from assistant.card import Card
from assistant.dialogue import Breath, Danger
from assistant.hazards import NEEDS
from assistant.job import answers, pedal, prop, readings, talk, unfinished, words
from assistant.job.kinds import KINDS, Handler
from assistant.job.machine import MAY_BE_HELD, machine
from assistant.job.state import (
    HALTED,
    LEAVING,
    LEFT,
    REPAIR,
    RULES,
    SIGNED,
    Facts,
    JobState,
)
from assistant.quantity import (
    GAP,
    LUGS,
    PEDAL_MOVES,
    QUANTITIES,
)
from assistant.sentences import Both, capital, fill, sentences, spoken_to
from assistant.texts.dialogs import SIGNALS, Dialogs, Step

HANDLERS: dict[str, Handler] = {
    "reading": readings.on_reading,
    "check": readings.on_check,
    "no": readings.on_no,
    "accept": readings.on_accept,
    "move": readings.on_move,
    "measure": readings.on_measure,
    "correct": readings.on_correct,
    "done": answers.on_done,
    "counted": answers.on_counted,
    "ready": unfinished.on_ready,
    "sound": answers.on_sound,
    "not_sound": answers.on_not_sound,
    "repaired": answers.on_repaired,
    "skip": answers.on_skip,
    "sign_off": answers.on_sign_off,
    "unclear": lambda job, act: job.hint(act, "again"),
    "back": answers.on_back,
    "repeat": pedal.on_repeat,
    "where": answers.on_where,
    "why": answers.on_why,
    "how_long": answers.on_how_long,
    "note": answers.on_note,
    "help": answers.on_help,
    "complaint": answers.on_complaint,
    "picture": answers.on_picture,
    **dict.fromkeys(talk.ASKED, talk.on_ask),
    "how": talk.on_how,
    "wait": talk.on_wait,
    "aside": talk.on_aside,
    "same": talk.on_same,
    "metric": talk.on_gauge,
    "inch": talk.on_gauge,
    "start_over": talk.on_start_over,
    "danger": pedal.on_danger,
    "unsure": pedal.on_unsure,
    "stop": pedal.on_stop,
    "pause": unfinished.on_pause,
    "carry_on": unfinished.on_go_on,
    "let_up": pedal.on_let_up,
    "resumed": lambda job, act: pedal.on_resumed(job, act, unfinished.asks_who(job, "tech")),
    "shop_way": prop.on_shop_way,
    "propped": prop.on_propped,
    "unpropped": prop.on_unpropped,
    "holding": pedal.on_holding,
    "lost": pedal.on_lost,
    "clear": pedal.on_clear,
    "released": unfinished.on_released,
    "unfinished": unfinished.on_unfinished,
    "trouble": unfinished.on_trouble,
    "told": unfinished.on_told,
    "fitted": answers.on_fitted,
    "takes_over": unfinished.on_takes_over,
    "foot_off": pedal.on_foot_off,
}
"""What each act does, by its meaning."""

_KEEPS_CODE = ("check", "no", "done", "sign_off", "repeat", "wait", "aside", "unclear")
"""Acts after which a code that was read back still waits for its check."""
_PRESSED_AGAIN = ("reading", "no", "measure", "correct", "same", "not_sound", "repeat")
"""Acts in answer to a pedal reading after which, or for which, he may have pressed again."""

_PUTS_RIGHT = ("no", "correct", "why", "how", "repeat", "where", "help", "note", "wait", "aside")
"""Acts after which "no" is still about the reading just taken without a check."""


class Job(JobState):
    """The procedure for one truck, at one step, knowing what it knows: a `dialogue.Dialogue`.

    Args:
        card: the truck's card.
        dialogs: checked dialogs.
        full: see `JobState.full`; a card may ask for it as well.
        rules: see `RULES`.
    """

    def __init__(
        self, card: Card, dialogs: Dialogs, full: bool = False, rules: int = RULES
    ) -> None:
        own = dialogs.for_truck(card.traits)
        super().__init__(own, Facts(card), own.steps[0].id, full=full or card.full, rules=rules)
        self.goes_by(own)

    def goes_by(self, own: Dialogs) -> None:
        """The steps and words that this job goes by from now on: those of its kind of truck, and of
        what was fitted new."""
        self.dialogs = own
        self._below = interlocks.hands_below(own.steps)
        self._pressed = frozenset(s.id for s in own.steps if interlocks.presses(s))
        self.machine = machine(own.steps)
        self.said = own.said
        self.stand()

    def stand(self) -> None:
        """Look where it stands now, and what holds there."""
        super().stand()
        self.kind = KINDS[self.here.kind]

    def apply(self, act: Act) -> list[Said]:
        """Take one act; returns everything said in answer, most urgent first."""
        if self.finished:
            return self.kind.instruction(self, self.here)
        if act.meaning not in HANDLERS:
            raise ValueError(f"there is no act {act.meaning!r}; use one of {', '.join(HANDLERS)}")
        meaning = self.dialogs.words.get(act.meaning)
        if meaning is not None and meaning.who not in ("any", act.who):
            return self.only(act, meaning.who, meaning.phrases[0])
        if act.meaning not in _KEEPS_CODE:
            self.signing = ""  # a yes to something else must not sign
        hazards = self.facts.hazards
        hazards.act += 1
        first = unfinished.comes_first(self, act) if self.asking else None
        if first is not None:
            return self._pressed_again(first) if self.at in self._pressed else first
        if not hazards.counts(act.meaning, self.foot_wanted):
            return self.prompt()
        if act.meaning in _PRESSED_AGAIN and self.pressing:
            hazards.tell_press()
        read, self.just_read = self.just_read, self.just_read * (act.meaning in _PUTS_RIGHT)
        open_ = self.pending is not None or self.signing or self.kind.phrase == "check"
        if read and act.meaning == "check" and not open_:
            return self.prompt()  # of what was read back, not of the step that came after it
        said = self.handle(act.meaning, act)
        if self.at in self._pressed:
            said = self._pressed_again(said)
        if not hazards.propped:
            return said
        # Nobody else is there: what a helper would be told, the technician hears as well.
        return [replace(s, to="both") if s.to == "helper" else s for s in said]

    def _pressed_again(self, said: list[Said]) -> list[Said]:
        """What is said where the pedal is pressed; told so once more, his foot is on it again."""
        told = (f"prompt:{self.at}", "reply:not_now")
        if self.facts.hazards.foot_off and any(one.key in told for one in said):
            self.facts.hazards.tell_press()
        return said

    @property
    def foot_wanted(self) -> bool:
        """Whether the step waits until the helper has said that his foot is off the pedal."""
        waits = self.at in self._below and not self.correcting  # that sends no hand anywhere
        return waits and not all(map(self.facts.hazards.holds, NEEDS["hands_below"]))

    @property
    def asking(self) -> str:
        """What is asked before it goes on: "code" of who goes on, "helper", "key"; or "".

        Not while the pedal is let up: that is told to its end.
        """
        if not self.rules or self.at in (LEAVING, SIGNED, LEFT, "ring_release"):
            return ""
        if self.handing:
            return "code"
        return self.back[0] if self.back and self.step is not None else ""

    @property
    def inside(self) -> bool:
        """Whether something wrong was seen inside, which waits to be repaired or accepted."""
        return self.at == REPAIR and self.faulty == interlocks.LOOK

    @property
    def pressing(self) -> bool:
        """Whether the helper is to press the pedal here, and let it up."""
        return self.at in self._pressed or self.correcting in PEDAL_MOVES

    def handle(self, meaning: str, act: Act) -> list[Said]:
        """What the act does if it is taken for `meaning`."""
        if self.facts.hazards.propped:
            there = prop.by_helper(self, act)
            if there is not None:
                return there
        return self.kind.acts.get(meaning, HANDLERS[meaning])(self, act)

    # --- as every `dialogue.Dialogue`, which tells what each of these is ---

    @property
    def stopped(self) -> bool:
        return self.at == HALTED

    @property
    def finished(self) -> bool:
        return self.at in (SIGNED, LEFT)

    @property
    def telling(self) -> str:
        return unfinished.telling(self) if self.at == LEAVING else ""

    @property
    def choosing(self) -> bool:
        return bool(self.choice)

    @property
    def choice_in(self) -> tuple[float, float] | None:
        own = self.choice and not self.correcting
        taken = self.facts.latest(self.here.reading) if own else None
        if taken is None or taken.low_in is None or taken.high_in is None:
            return None
        return taken.low_in, taken.high_in

    @property
    def trying(self) -> bool:
        return self.here.kind == "sound" and self.here.phase == "final"

    @property
    def units(self) -> str:
        return self.gauge or self.facts.card.units

    @property
    def distance(self) -> str:
        return self.facts.card.distance

    def last_quantity(self) -> str:
        return readings.last_quantity(self)

    def answers(self) -> dict[str, str]:
        step = self.step
        if self.at == LEAVING:
            return unfinished.phrases(self)
        if self.inside:
            return dict.fromkeys(self.dialogs.by_id[interlocks.LOOK].answers, "sound")
        if self.asking:
            return unfinished.answers_first(self)
        if step is None or self.pending is not None or self.foot_wanted:
            return {}
        if step.kind == "count":
            return answers.wedge_counts()
        means = "skip" if step.kind == "read" else self.kind.means
        meaning = "ready" if step.id == "helper_ready" else means
        return dict.fromkeys(step.answers, meaning)

    def breath(self) -> Breath:
        step, in_order = self.step, self.at in interlocks.IN_ONE_BREATH
        if step is None or not self.answers() or not (in_order or step.phase == "safe"):
            return Breath()
        kind, who = step.kind, step.who

        def fits(one: Step) -> bool:
            named = one.id in interlocks.IN_ONE_BREATH if in_order else one.phase == "safe"
            return named and one.kind == kind and one.who == who

        steps = self.dialogs.steps
        ahead = steps[steps.index(step) :]
        mine = takewhile(fits, ahead) if in_order else filter(fits, ahead)
        items = tuple((s.id, s.answers) for s in mine if s.id not in self.ahead and s.answers)
        return Breath(items, in_order) if len(items) > 1 else Breath()

    @property
    def helper_asked(self) -> bool:
        """Whether the helper, who stopped it, is still to say that it may go on.

        Not where he was said to be gone since; who was, and stops it after all, is there.
        """
        helper = self.facts.hazards.known["helper"]
        return self.helper_stopped > (0 if helper.value == "there" else helper.since)

    def meanwhile(self) -> Said | None:
        return pedal.meanwhile(self)

    def whose(self) -> str:
        if self.facts.hazards.propped:
            return "tech"
        if self.asking:
            return self.handing or {"helper": "helper", "key": "tech"}[self.asking]
        if self.foot_wanted:
            return "helper"
        return self.here.who if self.pending is None else "tech"

    def danger(self) -> Danger:
        with_work = self.at not in ("next_due", "sign_off")  # steps with everybody out
        pedal_down, pressing, key, held = self.facts.hazards.dangers()
        return Danger(
            pedal=pedal_down,
            pressing=pressing,
            engine=key and with_work,
            key=key,
            releasing=self.at == "ring_release",
            held=held,
            foot=self.foot_wanted,
            cleared=pedal_down and self.facts.hazards.hands_clear,
        )

    def expects(self) -> str:
        if self.foot_wanted or (self.asking and self.step is not None):
            return ""
        reads = self.here.reading if self.here.kind == "read" else ""
        return self.correcting or self.kind.expects or reads

    def allowed(self) -> list[str]:
        step = self.step
        if self.at == LEAVING:
            return unfinished.allowed(self)
        if step is None:
            ready = ["ready"] if self.stopped and self.helper_asked else []
            if self.stopped and self.asking == "code":
                up = self.facts.hazards.pedal_up
                return [*ready, "takes_over", "clear", *([] if up else ["let_up"])]
            return [*self.kind.allowed, *ready, *(["accept", "sound"] if self.inside else [])]
        own = ["unpropped", "propped"] if self.facts.hazards.propped else []
        if self.asking:
            return [*own, *unfinished.ANSWERS_FIRST[self.asking]]
        if self.foot_wanted:
            return [*own, "foot_off"]
        if self.pending is not None:
            return ["check", "no"]
        if self.choice:
            return ["accept", "move", "measure"]
        wrong = ["no"] if self.signing or self.just_read or self.counted else []
        before = ["ready"] if step.id == "helper_ready" else ["skip"] if step.optional else []
        return [*before, *own, *self.kind.allowed, *(["check"] if self.signing else []), *wrong]

    def prompt(self, entering: bool = False) -> list[Said]:
        """The present instruction; on entering, its cautions first."""
        step = self.step
        if step is None:
            return self.kind.instruction(self, self.here)
        if self.facts.hazards["pedal"] == "doubted":
            return pedal.asks_helper(self)
        if self.asking:
            return unfinished.asks(self)
        if self.foot_wanted:
            return pedal.asks_foot(self)
        if step.kind == "turn" and not self.facts.hazards.hold_confirmed:
            # never reached: see interlocks
            raise RuntimeError("a ring turn was about to be told without a confirmed hold")
        given = self._entering(step) if entering else []
        if self.pending is not None:
            return [*given, self.confirm()]
        if self.correcting:
            name = words.spoken(self.correcting)
            return [*given, self.said("tech", "what_correct", quantity=name)]
        if self.choice or self.from_now:
            asks = f"{self.choice}_choice" if self.choice else "from_what"
            return [*given, self.said("tech", asks)]
        if entering and step.kind == "rod" and "rod.thread" in self.facts.card.defaulted:
            thread = words.thread(self.facts.card.thread)
            given.append(self.said("tech", "thread_default", thread=thread))
        return [*given, *self.kind.instruction(self, step)]

    def _entering(self, step: Step) -> list[Said]:
        """Cautions, most severe first, short where said before; then the helper's part."""
        cautions = self.dialogs.cautions
        new = [c for c in step.cautions if not (cautions[c].once and c in self.given)]
        new.sort(key=lambda c: SIGNALS.index(cautions[c].signal))
        # With the cover off, the pedal never moves without this one, whatever a text leaves out.
        if self.facts.hazards.cover_open and step.id in self._pressed and "stroke" not in new:
            new.insert(0, "stroke")
        again = set() if self.full else self.given
        out = [
            spoken_to("both", cautions[c].told(c in again), f"caution:{c}", cautions[c].signal)
            for c in new
        ]
        self.given = self.given | {*new}
        if step.stage == "due" and self.facts.seated:
            out.append(self.said("tech", "due_first", signal="NOTICE"))
        if step.helper:
            out.append(spoken_to("helper", step.helper, f"helper:{step.id}"))
        return out

    # --- what handlers say and do ---

    def confirm(self) -> Said:
        """What was taken, read back: figures first for the eye, then words for the ear."""
        taken = self.pending
        assert taken is not None
        if taken.quantity == LUGS:
            return self.said("tech", "confirm_count", figures=taken.both)
        to = "tech" if taken.who == "tech" else "both"
        what = {"figures": taken.both, "spoken": capital(taken.readback)}
        if taken.quantity != self.here.reading:  # of what was read before
            name = capital(words.spoken(taken.quantity))
            return self.said(to, "confirm_of", key="reply:confirm", quantity=name, **what)
        return self.said(to, "confirm", **what)

    def why(self, who: str, step: Step) -> Said:
        """The answer to "why" at a step."""
        text = fill(step.why, KINDS[step.kind].blanks(self, step))
        return spoken_to(who, text or self.dialogs.say("no_why"), "reply:why")

    def only(self, act: Act, who: str, phrase: str) -> list[Said]:
        """Answer to words that only the other of the two can say."""
        person = sentences("job").say("technician" if who == "tech" else "helper")
        return [self.said(act.who, "wrong_person", who=person, phrase=phrase)]

    def not_now(self, who: str, reply: str = "not_now") -> list[Said]:
        """The words do not fit here; the present instruction again, to whom it is for."""
        now = self.prompt()[-1]
        if who == "helper" and now.to == "tech":
            return [self.said("helper", "helper_wait")]
        return [self.said(who, reply, hint=Both(now.text, now.spoken))]

    def hint(self, act: Act, reply: str = "not_now") -> list[Said]:
        """What was said does not fit here: say so, and the instruction again."""
        step = self.here
        if act.who == "helper" and self.facts.hazards.hold_confirmed:
            return [self.said("helper", "hold_on")]
        if act.who == "helper" and self.stopped and not self.facts.hazards.pedal_up:
            return [self.said("helper", "up_or_down")]
        at_ring = step.phase == "ring" and step.kind != "read"
        if act.who == "helper" and at_ring and step.who == "tech":
            return [self.said("helper", "helper_wait")]
        return self.not_now(act.who, reply)

    def fire(self, trigger: str) -> bool:
        """Move along an edge of the machine; whether one was open."""
        try:
            return bool(self.machine.events[trigger].trigger(self))
        except MachineError:
            return False

    def open(self, trigger: str) -> bool:
        """Whether an edge of the machine is open now."""
        event = self.machine.events[trigger]
        state = self.machine.get_model_state(self)
        data = EventData(state, event, self.machine, self, (), {})
        return any(
            all(guard.check(data) for guard in edge.conditions)
            for edge in event.transitions.get(self.at, ())
        )

    def go_on(self, *before: Said) -> list[Said]:
        """On to the next step that is not answered yet, or why not."""
        if self.fire("advance"):
            return [*before, *readings.taken_over(self), *self.prompt(entering=True)]
        return [*before, *self.blocked()]

    def go_to(self, target: str, *before: Said) -> list[Said]:
        """Back to a step that something upset; through a detour where one is needed."""
        self.wanted = target
        moved = self.fire("reroute")
        if self.at not in interlocks.DETOURS:
            self.wanted = ""
        return [*before, *self.prompt(entering=moved)]

    def blocked(self) -> list[Said]:
        """Why it does not go on; at the sign-off, to what is still open."""
        facts, hazards = self.facts, self.facts.hazards
        if not hazards.helper_there and self.at in ("new_ready", "ring_ready", *MAY_BE_HELD):
            return [*prop.alone(self), *self.prompt()]
        if not hazards.lock_in and hazards.pedal_up and self.at not in MAY_BE_HELD:
            return [self.said("tech", "lock_plate_out"), *self.prompt()]
        if self.here.kind == "sign":
            return self.go_to(QUANTITIES[self.unsettled() or GAP].read_at("final"))
        if self.rules >= readings.TWO_AGREE and hazards.cover_closed and self.here.stage == "set":
            return self.go_to("final_gap")  # greased before the trial; the rod moved since
        if facts.latest(GAP) is None:
            return [self.said("tech", "gap_unread")]
        return [self.said("tech", "gap_not_right"), *self.prompt()]

    def entered(self, event: EventData) -> None:
        """After every change of step: nothing half-said is carried along, hands may go in."""
        self.drop()
        self.stand()
        self.foot_told = self.foot_told if self.stopped else ""
        step, facts = self.step, self.facts
        if step is None:
            unfinished.entered(self)
            return
        if step.kind == "turn":
            self.turn_again = facts.turning
            facts.turning = True
        if step.held:
            self.after_hold = "ring_turn"
        self.over = event.event.name == "advance" and readings.stands(self)
        if self.over:
            return  # nobody is told anything here
        self.kind.tells(facts.hazards)
        if step.id in self._pressed:
            facts.hazards.tell_press()
