"""Stop, pause, carry on; the hold and its release: what is said here moves or frees a pedal."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.act import Act, Said
from assistant.interlocks import presses
from assistant.job import words
from assistant.job.state import HALTED, REPAIR
from assistant.record.history import LED_ON
from assistant.sentences import sentences, spoken_to

if TYPE_CHECKING:
    from assistant.job.job import Job


def on_stop(job: Job, act: Act) -> list[Said]:
    """Everything stops, whoever says it."""
    state = words.truck_state(job)
    if act.who == "tech" and job.facts.hazards.key_above:
        job.facts.hazards.says_below()
    if job.at == HALTED:
        job.facts.hazards.distrust(act.who)
        _stopped_by(job, act)
        return [
            job.said("tech", "stopped", signal="DANGER", cue="STOP"),
            _stop_helper(job, job.foot_told),
            job.said("tech", "stands_so", state=state),
            *job.prompt(),
        ]
    helper = _stop_helper(job)
    halt(job, act)
    return [
        job.said("tech", "stopped", signal="DANGER", cue="STOP"),
        helper,
        job.said("tech", "stands_so", state=state),
        *job.prompt(),
    ]


def _stop_helper(job: Job, reply: str = "") -> Said:
    """What the foot on the pedal is told at a stop, and till something else is known of it: the
    `reply`, or what the state of the pedal asks for."""
    job.foot_told = reply or _foot_in_stop(job)
    return job.said("helper", job.foot_told, signal="DANGER", cue="STOP")


def _foot_in_stop(job: Job) -> str:
    """The reply that the state of the pedal asks for."""
    hazards = job.facts.hazards
    if hazards.key_above:
        # The engine may be running, and in gear: a foot off the pedal would move the truck.
        return "stopped_helper_engine"
    return "stopped_helper_up" if hazards.pedal_up else "stopped_helper_held"


def meanwhile(job: Job) -> Said | None:
    """What the helper goes on doing meanwhile, where the prompt has nothing new for him."""
    if job.at == HALTED:  # also come to by itself: a pedal let up, a closing broken off
        told = job.foot_told or _foot_in_stop(job)
        return job.said("helper", told, signal="DANGER", cue="STOP")
    if job.at == REPAIR:
        return job.said("helper", "repair_wait")
    return job.said("helper", "hold_on") if job.facts.hazards.hold_confirmed else None


def on_repeat(job: Job, act: Act) -> list[Said]:
    """The present instruction; for the helper what he was told of his foot, where that stands."""
    prompt = job.prompt()
    if act.who == "tech" or (not job.stopped and any(said.to != "tech" for said in prompt)):
        return prompt
    return [meanwhile(job) or job.said("helper", "helper_wait"), *prompt]


def halt(job: Job, act: Act) -> None:
    """Stop where it stands."""
    if not (job.at == "ring_release" and job.release_halted):
        # A stop while the pedal is let up out of a stop still returns to where that was.
        job.return_to = job.at
    job.release_halted = False
    job.fire("halt")
    job.facts.hazards.distrust(act.who)
    if act.text and act.meaning in ("danger", "stop"):  # it tells of a broken part
        job.facts.remarks.append(str(sentences("job").say("told_in_stop", what=act.text)))
    _stop_helper(job)
    _stopped_by(job, act)


def _stopped_by(job: Job, act: Act) -> None:
    """A stop of the helper's is not undone from below: see `on_carry_on`. What he says of his foot
    alone is no stop of his: the way on asks after that anyway."""
    his = act.who == "helper" and act.meaning in ("stop", "danger", "unsure", "pause", "trouble")
    job.helper_stopped = job.facts.hazards.act if his else job.helper_stopped


def _alarm(job: Job, act: Act) -> None:
    """The pedal moves, or may, with hands in the hole: everything halts."""
    job.facts.hazards.alarm(act.who)
    job.alarmed = True
    _stopped_by(job, act)
    if job.at != HALTED:
        halt(job, act)


def on_danger(job: Job, act: Act) -> list[Said]:
    """Somebody may be hurt, or something moves: hands out first, questions after.

    Nothing is said of the pedal that nobody said.
    """
    hazards = job.facts.hazards
    if hazards.pedal_up and hazards.cover_closed:
        return on_stop(job, act)
    # Where the pedal was up, a foot may stand on it now: let go, it would spring up.
    still = hazards.pedal_up and not hazards.key_above
    _alarm(job, act)
    helper = _stop_helper(job, "stopped_helper_still" if still else "")
    return [
        job.said("tech", "hands_out", signal="DANGER", cue="STOP"),
        helper,
        job.said("tech", "already_stopped", state=words.truck_state(job)),
        *job.prompt(),
    ]


def on_unsure(job: Job, act: Act) -> list[Said]:
    """Words in a hold that are not surely harmless: nothing counts before the helper answers."""
    hazards = job.facts.hazards
    if act.text == "no" and act.who == "tech":
        job.pending = None  # the count that was read back is denied, whatever else it means
    if hazards.moving and act.who == "tech" and job.at != HALTED:
        return on_danger(job, act)  # the pedal is on its way: no time to ask
    leave = act.text if act.who == "helper" and act.text in _LEAVE else ""
    no = _may_he(job, leave) if leave else []
    if job.danger().engine and hazards.pedal_up and job.at != HALTED:
        if leave:
            return no or job.prompt()
        return _engine_waits(job, act)
    if no and hazards.pedal_up and not job.foot_wanted and hazards.hands_clear:
        return no
    hazards.doubt(act.who)
    if act.who == "tech" and job.danger().pressing:
        hazards.tell_press("tech")  # who knows what he felt: the foot is asked for
        return asks_foot(job)
    if hazards["pedal"] == "asked" and act.who == "helper" and job.at != HALTED:
        no = [job.said("tech", "no_hold_yet", signal="WARNING")]
    down = hazards["pedal"] == "releasing" or (job.at == HALTED and not hazards.pedal_up)
    if down and act.who == "helper" and not leave:
        return [job.said("helper", "up_or_down")]
    return [*no, *job.prompt()]


def _engine_waits(job: Job, act: Act) -> list[Said]:
    """Words that are not surely harmless while the engine may turn: nothing is tried on before both
    say that it may go on."""
    halt(job, act)
    return [
        job.said("helper", job.foot_told, signal="DANGER", cue="STOP"),
        job.said("tech", "engine_waits", signal="WARNING"),
        *job.prompt(),
    ]


_LEAVE = ("foot", "key", "other")
"""What the text of an act tells that a helper asks leave for."""


def _may_he(job: Job, what: str) -> list[Said]:
    """The plain no to a helper who asks whether he may press, let up, or start, untold."""
    hazards = job.facts.hazards
    if what == "key":
        told = job.trying and job.at != HALTED
        return [] if told else [job.said("helper", "no_key", signal="WARNING")]
    if hazards["pedal"] in ("held", "doubted"):
        return [job.said("helper", "no_let_up", signal="WARNING")]
    if what == "other" and hazards.pedal_up and job.pressing:
        return [job.said("helper", "no_leave", signal="WARNING")]
    if job.at == HALTED and not hazards.pedal_up:
        return [job.said("helper", "no_change", signal="WARNING")]
    told = job.pressing or not hazards.pedal_up
    return [] if told else [job.said("helper", "no_press", signal="WARNING")]


def asks_look(job: Job, name: str) -> list[Said]:
    """What only a look at the shop's own way tells; hands are out till then."""
    asked = sentences("unfinished").say(f"prop.{name}", way=job.facts.card.holds_pedal)
    out = job.said("tech", "hands_out", signal="DANGER")
    return [out, spoken_to("tech", asked, f"reply:prop_{name}")]


def asks_helper(job: Job) -> list[Said]:
    """Whether the pedal is still held: the technician keeps out until the helper says so."""
    if job.facts.hazards.propped:
        return asks_look(job, "look")
    return [
        job.said("tech", "keep_out", signal="WARNING"),
        job.said("helper", "still_holding", cue="HOLD"),
    ]


def asks_foot(job: Job) -> list[Said]:
    """Whether the helper's foot is off: hands keep out until he says so."""
    if job.facts.hazards.propped:
        return asks_look(job, "up")
    return [
        job.said("tech", "keep_out", signal="WARNING"),
        job.said("helper", "foot_asked"),
    ]


def on_foot_off(job: Job, act: Act) -> list[Said]:
    """The helper's foot is off the pedal: where it was down, that means that it came up."""
    hazards = job.facts.hazards
    if not hazards.pedal_up:
        said = job.handle("released", act)
        if hazards.pedal_up:
            hazards.says_foot_off()
        return said
    waited = job.foot_wanted
    hazards.says_foot_off()
    if job.at == "helper_ready":
        return job.handle("ready", act)
    return [job.said("both", "foot_heard"), *(job.prompt(entering=True) if waited else [])]


def on_pause(job: Job, act: Act) -> list[Said]:
    """A stop without alarm; with the pedal down it is one."""
    state = words.truck_state(job)
    if job.at == HALTED:
        return [job.said("both", "already_stopped", state=state), *job.prompt()]
    held = not job.facts.hazards.pedal_up
    halt(job, act)
    if not held:
        return [job.said("both", "paused", state=state)]
    return [
        job.said("tech", "pause_held", signal="WARNING", state=state),
        job.said("helper", "stopped_helper_held", signal="WARNING", cue="STOP"),
        *job.prompt(),
    ]


def on_carry_on(job: Job, act: Act) -> list[Said]:
    """Back to where the stop came; into the hold and the release only through clear again.

    Where the helper has stopped it, he says first that it may go on: only he saw why.
    """
    if job.at != HALTED:
        return [job.said(act.who, "nothing_stopped"), *job.prompt()]
    if job.helper_asked and act.text != LED_ON:
        return [job.said("tech", "helper_first"), *job.prompt()]
    if job.facts.hazards.below:
        return [job.said("tech", "confirm_clear_first")]
    back = job.dialogs.by_id.get(job.return_to)
    if back is not None and back.held:
        job.after_hold = back.id
    job.release_halted = job.alarmed = False
    if not job.fire("carry_on"):
        return job.not_now(act.who)
    job.return_to, job.helper_stopped = "", 0
    return [job.said("both", "carry_on"), *job.prompt(entering=True)]


def on_let_up(job: Job, act: Act) -> list[Said]:
    """Out of a stop with the pedal down: hands first."""
    hazards = job.facts.hazards
    if job.at != HALTED or hazards.pedal_up:
        return job.hint(act)
    if act.text == "clear" and act.who == "tech":
        hazards.says_clear()
    if not hazards.hands_clear:
        return [job.said("tech", "confirm_clear_first")]
    job.release_halted = True
    heard = [job.said("tech", "clear_heard")] if act.text == "clear" else []
    return [*heard, *job.prompt(entering=True)] if job.fire("let_up") else job.hint(act)


def on_resumed(job: Job, act: Act, who: Said) -> list[Said]:
    """The program was started again on this record: trust no pedal and no hand; ask `who` it is.

    With other words than before, whose fingerprint is then the act's text, nothing goes on before
    the technician says so.
    """
    out: list[Said] = []
    hazards = job.facts.hazards
    hazards.distrust("lugcall")
    if job.pressing:  # he is told so once more
        hazards.tell_press()
    if not hazards.pedal_up:
        if job.at != HALTED:
            halt(job, act)
        out.append(job.said("tech", "hands_out", signal="DANGER", cue="STOP"))
        out.append(_stop_helper(job))
        out.append(job.said("tech", "resumed_hold", signal="WARNING"))
    if act.text:
        if job.at != HALTED:
            halt(job, act)
        out.append(job.said("both", "dialogs_changed", signal="NOTICE"))
    state = words.truck_state(job)
    rest = [] if job.asking and job.step is not None else job.prompt(entering=True)
    return [*out, job.said("both", "resumed", state=state), who, *rest]


def on_holding(job: Job, act: Act) -> list[Said]:
    """The helper has the pedal down."""
    hazards = job.facts.hazards
    was, unasked = hazards["pedal"], hazards.pedal_up
    if unasked and _may_press(job):
        hazards.tell_press("helper")
        return job.not_now("helper")
    if unasked and job.foot_wanted:
        return job.prompt()  # he was asked for his foot, and hands are out
    hazards.says_holding()
    if was == "asked":
        return job.go_on(job.said("helper", "hold_standing"))
    if hazards.hold_confirmed:
        return [job.said("helper", "hold_standing"), *(job.prompt() if was == "doubted" else [])]
    if was == "releasing" and job.at != HALTED:
        return on_stop(job, act)  # told to let up, and still down: or down again
    if not unasked and job.at == HALTED:
        # He may be holding still, or have pressed again: down, but not to be relied on.
        return [_stop_helper(job, "hold_in_stop"), *job.prompt()]
    _alarm(job, act)
    keep = _stop_helper(job, "stopped_helper_held")
    moving = job.said("tech", "pedal_moving", signal="DANGER", cue="STOP")
    return [moving, keep, *job.prompt()]


def _may_press(job: Job) -> bool:
    """Whether what the helper says of his foot is no alarm here.

    The step has him press and let up, or nobody is under the truck yet, or any more.
    """
    step = job.here
    return step.phase == "safe" or step.id in ALL_OUT or presses(step)


ALL_OUT = ("hand_key", "engine_off", "next_due", "sign_off")
"""Steps with everybody out."""


def on_lost(job: Job, act: Act) -> list[Said]:
    """The pedal comes up: hands out first, questions after."""
    hazards = job.facts.hazards
    if hazards.pedal_up and (hazards.cover_closed or _may_press(job)):
        hazards.tell_press("helper")
        return job.not_now("helper")
    _alarm(job, act)
    return [
        job.said("tech", "hold_lost", signal="DANGER", cue="STOP"),
        _stop_helper(job, "hold_lost_helper"),
        job.said("tech", "already_stopped", state=words.truck_state(job)),
        *job.prompt(),
    ]


def on_clear(job: Job, act: Act) -> list[Said]:
    """Hands and tool are out of the hole."""
    if job.at != HALTED and job.here.kind != "clear":
        danger = job.danger()
        awaited = job.whose() == "helper" or (danger.pedal and not danger.held)
        if act.who == "tech" and awaited:
            return [job.said("tech", "clear_heard")]
        return job.hint(act)
    job.facts.hazards.says_clear()
    heard = job.said("tech", "clear_heard")
    return [heard, *job.prompt()] if job.at == HALTED else job.go_on(heard)


def on_released(job: Job, act: Act) -> list[Said]:
    """The pedal is up."""
    hazards = job.facts.hazards
    if job.at == "ring_release":
        hazards.says_up()
        return job.go_on(job.said("both", "release_ok"))
    if job.at == HALTED:
        # Nobody told him to: an alarm to the one below, unless it was given.
        told = job.alarmed and (hazards.hands_clear or hazards.known["pedal"].by != "tech")
        alarm = not (told or hazards.pedal_up)
        hazards.says_up()
        job.alarmed = job.alarmed or alarm
        _stop_helper(job)
        out = [job.said("tech", "hold_lost", signal="DANGER", cue="STOP")] if alarm else []
        return [*out, job.said("both", "release_ok"), *job.prompt()]
    return job.not_now("helper") if hazards.pedal_up else on_lost(job, act)
