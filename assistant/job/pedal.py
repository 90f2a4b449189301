"""Stop, pause, carry on; the hold and its release: what is said here moves or frees a pedal."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.act import Act, Said
from assistant.job import words
from assistant.job.state import HALTED

if TYPE_CHECKING:
    from assistant.job.job import Job


def on_stop(job: Job, act: Act) -> list[Said]:
    """Everything stops, whoever says it."""
    facts = job.facts
    if job.at == HALTED:
        _trust_nothing(job)
        state = words.truck_state(job)
        again = job.said("both", "already_stopped", signal="DANGER", cue="STOP", state=state)
        return [again, *job.prompt()]
    state = words.truck_state(job)
    helper = "stopped_helper_up" if facts.pedal_up else "stopped_helper_held"
    if facts.key_above:
        # The engine may be running, and in gear: a foot off the pedal would move the truck.
        helper = "stopped_helper_engine"
    halt(job)
    return [
        job.said("tech", "stopped", signal="DANGER", cue="STOP", state=state),
        job.said("helper", helper, signal="DANGER", cue="STOP"),
        *job.prompt(),
    ]


def halt(job: Job) -> None:
    """Stop where it stands."""
    if not (job.at == "ring_release" and job.release_halted):
        # A stop while the pedal is let up out of a stop still returns to where that was.
        job.return_to = job.at
    job.release_halted = False
    job.fire("halt")
    _trust_nothing(job)


def _trust_nothing(job: Job) -> None:
    """After a stop nothing about the pedal or the hands is taken on trust."""
    facts = job.facts
    if not facts.pedal_up:
        facts.hold = "unsure"
    if facts.cover_open or not facts.pedal_up:
        facts.hands = "in"


def _alarm(job: Job) -> None:
    """The pedal moves, or may, with hands in the hole: everything halts."""
    job.facts.hold = "unsure"
    job.alarmed = True
    if job.at != HALTED:
        halt(job)


def on_danger(job: Job, act: Act) -> list[Said]:
    """Somebody may be hurt, or something moves: hands out first, questions after.

    Nothing is said of the pedal that nobody said.
    """
    facts = job.facts
    if facts.pedal_up and not facts.cover_open:
        return on_stop(job, act)
    _alarm(job)
    helper = "stopped_helper_up" if facts.pedal_up else "stopped_helper_held"
    if facts.key_above:
        helper = "stopped_helper_engine"
    return [
        job.said("tech", "hands_out", signal="DANGER", cue="STOP"),
        job.said("helper", helper, signal="DANGER", cue="STOP"),
        job.said("tech", "already_stopped", state=words.truck_state(job)),
        *job.prompt(),
    ]


def on_unsure(job: Job, act: Act) -> list[Said]:
    """Words in a hold that are not surely harmless: nothing counts before the helper answers."""
    facts = job.facts
    if job.at == HALTED or facts.pedal_up:
        return job.prompt()
    if facts.hold == "releasing" and act.who == "tech":
        return on_danger(job, act)  # the pedal is on its way: no time to ask
    if facts.hold == "held":
        facts.hold = "doubted"
    return job.prompt()


def asks_helper(job: Job) -> list[Said]:
    """Whether the pedal is still held: the technician keeps out until the helper says so."""
    return [
        job.said("tech", "keep_out", signal="WARNING"),
        job.said("helper", "still_holding", cue="HOLD"),
    ]


def on_pause(job: Job, act: Act) -> list[Said]:
    """A stop without alarm; with the pedal down it is one."""
    state = words.truck_state(job)
    if job.at == HALTED:
        return [job.said("both", "already_stopped", state=state), *job.prompt()]
    held = not job.facts.pedal_up
    halt(job)
    if not held:
        return [job.said("both", "paused", state=state)]
    return [
        job.said("tech", "pause_held", signal="WARNING", state=state),
        job.said("helper", "stopped_helper_held", signal="WARNING", cue="STOP"),
        *job.prompt(),
    ]


def on_carry_on(job: Job, act: Act) -> list[Said]:
    """Back to where the stop came; into the hold and the release only through clear again."""
    if job.at != HALTED:
        return [job.said(act.who, "nothing_stopped"), *job.prompt()]
    back = job.dialogs.by_id.get(job.return_to)
    if back is not None and back.held:
        job.after_hold = back.id
    job.release_halted = job.alarmed = False
    if not job.fire("carry_on"):
        return job.not_now(act.who)
    job.return_to = ""
    return [job.said("both", "carry_on"), *job.prompt(entering=True)]


def on_let_up(job: Job, act: Act) -> list[Said]:
    """Out of a stop with the pedal down: hands first."""
    if job.at != HALTED or job.facts.pedal_up:
        return job.hint(act)
    if not job.facts.hands_clear:
        return [job.said("tech", "confirm_clear_first")]
    job.release_halted = True
    return job.prompt(entering=True) if job.fire("let_up") else job.hint(act)


def on_resumed(job: Job, act: Act) -> list[Said]:
    """The program was started again on this record: trust no pedal and no hand."""
    out: list[Said] = []
    if not job.facts.pedal_up:
        if job.at != HALTED:
            halt(job)
        _trust_nothing(job)
        out.append(job.said("both", "resumed_hold", signal="WARNING"))
    elif job.facts.cover_open:
        job.facts.hands = "in"
    state = words.truck_state(job)
    return [job.said("both", "resumed", state=state), *out, *job.prompt(entering=True)]


def on_holding(job: Job, act: Act) -> list[Said]:
    """The helper has the pedal down."""
    facts = job.facts
    if job.at == "ring_hold":
        facts.hold = "held"
        return job.go_on(job.said("helper", "hold_standing"))
    if facts.hold in ("held", "doubted"):
        asked, facts.hold = facts.hold == "doubted", "held"
        return [job.said("helper", "hold_standing"), *(job.prompt() if asked else [])]
    keep = job.said("helper", "stopped_helper_held", signal="DANGER", cue="STOP")
    if job.pressing_hurts:
        _alarm(job)
        moving = job.said("tech", "pedal_moving", signal="DANGER", cue="STOP")
        return [moving, keep, *job.prompt()]
    if job.at == HALTED:
        # He may be holding still, or have pressed again: down, but not to be relied on.
        facts.hold = "unsure"
        return [keep]
    return job.not_now("helper")


def on_lost(job: Job, act: Act) -> list[Said]:
    """The pedal comes up: hands out first, questions after."""
    if job.facts.pedal_up:
        return job.not_now("helper")
    _alarm(job)
    return [
        job.said("tech", "hold_lost", signal="DANGER", cue="STOP"),
        job.said("helper", "hold_lost_helper", signal="DANGER"),
        job.said("tech", "already_stopped", state=words.truck_state(job)),
        *job.prompt(),
    ]


def on_clear(job: Job, act: Act) -> list[Said]:
    """Hands and tool are out of the hole."""
    if job.at != HALTED and job.here.kind != "clear":
        return job.hint(act)
    job.facts.hands = "clear"
    heard = job.said("tech", "clear_heard")
    return [heard, *job.prompt()] if job.at == HALTED else job.go_on(heard)


def on_released(job: Job, act: Act) -> list[Said]:
    """The pedal is up."""
    facts = job.facts
    if job.at == "ring_release":
        facts.hold = "up"
        return job.go_on(job.said("both", "release_ok"))
    if job.at == HALTED:
        alarm = not (job.alarmed or facts.hands_clear or facts.pedal_up)
        facts.hold = "up"
        job.alarmed = job.alarmed or alarm
        out = [job.said("tech", "hold_lost", signal="DANGER", cue="STOP")] if alarm else []
        return [*out, job.said("both", "release_ok"), *job.prompt()]
    return job.not_now("helper") if facts.pedal_up else on_lost(job, act)
