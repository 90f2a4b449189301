"""A job that cannot go on: what to try first, closing it unfinished, and who goes on with one.

Nothing is closed with the pedal down: a hold is ended first, by stop, clear and let up. Then how it
is left is asked, one thing after another, till a code closes the record.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from assistant.act import Act, Said
from assistant.interlocks import TROUBLES
from assistant.job import answers, pedal, prop, readings, words
from assistant.job.state import HALTED, LEAVING, LEFT, Closing
from assistant.quantity import GAP
from assistant.sentences import Both, sentences, spoken_to

if TYPE_CHECKING:
    from assistant.job.job import Job
    from assistant.texts.dialogs import Step

_NOBODY = ("helper_gone", "alone")
_AWAY = ("break", "time_up")
"""Kinds of trouble after which they come back from elsewhere, or others do."""
_CLOSES = ("time_up", "wrong_card")
"""Kinds of trouble for which there is nothing to try."""


def _say(name: str, **blanks: object) -> Both:
    return sentences("unfinished").say(name, **blanks)


def _said(to: str, name: str, /, signal: str = "", **blanks: object) -> Said:
    return spoken_to(to, _say(name, **blanks), f"reply:{name}", signal)


# --- why it does not go on ------------------------------------------------------------------------


def on_trouble(job: Job, act: Act) -> list[Said]:
    """Something that may end the job; its kind in the act's text. First what may be tried."""
    kind = act.text
    if kind not in TROUBLES:
        return job.hint(act)
    if job.at == LEAVING and kind in _NOBODY:
        _gone(job, act)
    if job.at == LEAVING and kind != "break":
        return _because(job, kind)
    job.away = job.away or kind in _AWAY
    if kind == "break":
        return [*on_pause(job, act), _said("both", "pause_next")]
    job.trouble = kind, job.step_id
    job.facts.notes.append((act.who, str(_say(f"trouble.{kind}"))))
    if kind in _NOBODY:
        return _nobody(job, act)
    if kind == "time_up":
        return [_said("tech", "shift_next"), *on_unfinished(job, act)]
    if kind in _CLOSES:
        return on_unfinished(job, act)
    return _try(job, act, kind)


def _try(job: Job, act: Act, kind: str) -> list[Said]:
    """Another way; in a hold the pedal comes first."""
    way = [_said("tech", f"way.{kind}"), _said("tech", "offer")]
    if job.facts.hazards.pedal_up:
        return [*way, *job.prompt()]
    if kind == "seized":  # a pedal not quite down grips the ring
        return [*way, *pedal.on_unsure(job, act)]
    return [*pedal.on_stop(job, act), *way]


def _nobody(job: Job, act: Act) -> list[Said]:
    """Nobody is at the pedal: no ring move; what was held may come up now."""
    hazards = job.facts.hazards
    _gone(job, act)
    if hazards.pedal_up:
        first = pedal.on_pause(job, act)
    else:
        first = pedal.on_danger(job, act)
    return [*first, *prop.alone(job)]


def _gone(job: Job, act: Act) -> None:
    """Nothing is asked of a helper who is not there: what was is asked when one says "ready"."""
    job.facts.hazards.says_nobody(act.who)
    job.back = tuple(one for one in job.back if one != "helper")
    if job.handing == "helper":
        job.handing = ""


def on_pause(job: Job, act: Act) -> list[Said]:
    """A pause, also out of a closing that put nothing away yet; how to leave the truck then."""
    closing, hazards = job.closing, job.facts.hazards
    if job.at == LEAVING and closing is not None:
        if closing.begun:
            return [_said(act.who, "begun_no"), *job.prompt()]
        job.return_to, job.closing = closing.came, None
        job.fire("stay")
        said = [job.said("both", "paused", state=words.truck_state(job))]
    else:
        said = pedal.on_pause(job, act)
    if not hazards.pedal_up:
        return said
    key = [_said("both", "pause_key", "WARNING")] if hazards.key_above else []
    return [*said, *key, _said("tech", "pause_safe")]


def on_unfinished(job: Job, act: Act) -> list[Said]:
    """It is to be closed unfinished: at once with the pedal up, else once it is let up."""
    why = _why(job, act)
    if job.at == LEAVING:
        return _because(job, why)
    stopped_at = job.at == HALTED or job.release_halted
    came = job.return_to if stopped_at else job.at
    if came == LEAVING and job.closing is not None:
        came = job.closing.came
    job.closing = replace(job.closing or Closing(came), why=why)
    if job.facts.hazards.pedal_up:
        return _enter(job)
    stopped = job.prompt() if job.at == HALTED else pedal.on_stop(job, act)
    return [*stopped, _said("tech", "hold_first")]


def _why(job: Job, act: Act) -> str:
    """Why: told now, or trouble told at the step it stands in; or not known yet."""
    if act.text in TROUBLES:
        return str(_say(f"trouble.{act.text}"))
    if act.text:
        return act.text
    kind, step = job.trouble
    return str(_say(f"trouble.{kind}")) if kind and step == job.step_id else ""


def _because(job: Job, why: str) -> list[Said]:
    """A reason told while it is being closed."""
    why = str(_say(f"trouble.{why}")) if why in TROUBLES else why
    if job.closing is not None and why and not job.closing.why:
        job.closing = replace(job.closing, why=why)
    return _ask(job)


def _enter(job: Job) -> list[Said]:
    """The first thing to be asked."""
    if not job.fire("leave"):
        return job.prompt()
    return [_said("both", "leaving"), *job.prompt()]


def entered(job: Job) -> None:
    """Told whenever it comes to stand in `LEAVING`, also out of a stop: hands are asked again."""
    if job.closing is not None:
        job.closing = replace(job.closing, clear=job.facts.hazards.hands_clear)
        if job.at == LEAVING:
            _sends(job)


# --- how it is left, one thing after another ------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Ask:
    """One question: what may answer it, and the part of `Closing` that "done" and "no" set."""

    allowed: tuple[str, ...] = ()
    sets: str = ""
    yes: str = ""
    no: str = ""
    phrases: str = ""
    note: tuple[str, ...] = ()


_ASKS = {
    "key": _Ask(("done",), phrases="key", note=("key", "tech", "tech")),
    "hands": _Ask(("clear",)),
    "foot": _Ask(("foot_off",)),
    "why": _Ask(),
    "lock": _Ask(("done", "no"), "lock", "in", "out", "lock", ("lock_plate", "in", "out")),
    "cover": _Ask(("done", "no"), "cover", "on", "off", "cover", ("cover", "on", "off")),
    "mark": _Ask(("done", "no"), "cover", "marked", "open", "mark"),
    "tag": _Ask(("done", "no"), "tag", "tagged", "untagged", "tag"),
    "rest": _Ask(("skip",)),
    "code": _Ask(("sign_off", "no")),
}
"""Every question of a closing, in its order."""


def question(job: Job) -> str:
    """The key in `_ASKS` of what is asked next."""
    hazards, closing = job.facts.hazards, job.closing
    assert closing is not None
    manual = job.facts.card.clutch != "self-adjusting"
    opened = hazards.cover_open or not hazards.lock_in
    ask = {
        "key": hazards.key_above,
        "hands": not closing.clear,
        "foot": hazards.cover_open and hazards["helper"] == "there" and not hazards.foot_off,
        "why": not closing.why,
        "lock": manual and opened and not closing.lock,
        "cover": hazards.cover_open and not closing.cover,
        "mark": closing.cover == "off",
        "tag": not closing.tag,
        "rest": closing.rest is None,
    }
    return next((name for name, open_ in ask.items() if open_), "code")


def _ask(job: Job) -> list[Said]:
    """The question that comes now."""
    _sends(job)
    return job.prompt()


def _sends(job: Job) -> None:
    """Hands may go in where the question sends them."""
    if question(job) in ("lock", "cover", "mark"):
        job.facts.hazards.tell_work()


def instruction(job: Job, step: Step) -> list[Said]:
    """The present question."""
    asked = question(job)
    if asked == "foot":
        return [job.said("helper", "foot_asked", key="prompt:leave_foot")]
    name = f"{asked}_{job.facts.card.traits['lock']}" if asked == "lock" else asked
    why = job.closing.why if job.closing is not None else ""
    text = _say(f"ask.{name}", why=why)
    return [spoken_to("tech", text, f"prompt:leave_{asked}")]


def allowed(job: Job) -> list[str]:
    """What answers the present question."""
    return [*_ASKS[question(job)].allowed, *(["check", "no"] if job.signing else [])]


def phrases(job: Job) -> dict[str, str]:
    """Phrases that answer just it, with what they mean."""
    of, texts = _ASKS[question(job)].phrases, sentences("unfinished").texts
    found: dict[str, str] = {}
    for answer, meaning in (("yes", "done"), ("no", "no")):
        listed = texts.get(f"answer.{answer}_{of}", "")
        found.update(dict.fromkeys(filter(None, listed.split(", ")), meaning))
    return found


def telling(job: Job) -> str:
    """The present question of one that is left, if its answer is kept word for word."""
    asked = question(job)
    return asked if asked in ("why", "rest") else ""


def answered(job: Job, act: Act) -> list[Said]:
    """ "Done" or "no" to the present question."""
    ask, closing = _ASKS[question(job)], job.closing
    no = act.meaning == "no"
    if closing is None or act.who != "tech" or ("no" if no else "done") not in ask.allowed:
        return job.hint(act)
    if question(job) == "code":  # the reason read out is not the right one
        closing = replace(closing, why="")
    if ask.note:
        thing, yes, not_so = ask.note
        job.facts.hazards.note({thing: not_so if no else yes}, act.who)
        closing = replace(closing, begun=True)
    if ask.sets:
        now: dict[str, Any] = {ask.sets: ask.no if no else ask.yes}
        closing = replace(closing, **now)
    job.closing = closing
    return _ask(job)


def on_told(job: Job, act: Act) -> list[Said]:
    """Words that are kept as they are: why it stays unfinished, or what is left."""
    if job.closing is None or not job.telling or not act.text:
        return job.hint(act)
    if question(job) == "why":
        return _because(job, act.text)
    job.closing = replace(job.closing, rest=act.text)
    return _ask(job)


def on_sign_off(job: Job, act: Act) -> list[Said]:
    """The code of a job that is left."""
    if question(job) != "code":
        return job.hint(act)
    asked = answers.asks_code(job, act)
    if asked:
        return asked
    job.facts.code = act.text
    if not job.fire("close"):
        job.facts.code = ""
        return job.prompt()
    wrong = job.closing is not None and job.closing.why == str(_say("trouble.wrong_card"))
    return [_said("both", "right_card")] if wrong else []


# --- acts that are otherwise elsewhere ------------------------------------------------------------


def on_no(job: Job, act: Act) -> list[Said]:
    """ "No" to the present question, or to what was read back."""
    return readings.on_no(job, act) if job.signing else answered(job, act)


def on_skip(job: Job, act: Act) -> list[Said]:
    """Without words for the next one."""
    if job.closing is None or question(job) != "rest":
        return answers.on_skip(job, act)
    job.closing = replace(job.closing, rest="")
    return _ask(job)


def on_clear(job: Job, act: Act) -> list[Said]:
    """Hands and tool are out."""
    if job.closing is None:
        return pedal.on_clear(job, act)
    job.facts.hazards.says_clear()
    job.closing = replace(job.closing, clear=True)
    return [job.said("tech", "clear_heard"), *_ask(job)]


def on_foot_off(job: Job, act: Act) -> list[Said]:
    """The helper's foot is off: hands may go to the lock plate."""
    return [*pedal.on_foot_off(job, act), *_ask(job)]


ACTS: dict[str, Callable[[Job, Act], list[Said]]] = {
    "no": on_no,
    "skip": on_skip,
    "clear": on_clear,
    "foot_off": on_foot_off,
    "sign_off": on_sign_off,
}
"""What these acts do while it is closed unfinished."""


def on_released(job: Job, act: Act) -> list[Said]:
    """The pedal is up: a closing that waited for it goes on."""
    said = pedal.on_released(job, act)
    waits = job.closing is not None and job.at == HALTED and job.return_to != LEAVING
    return [*said, *_enter(job)] if waits and job.facts.hazards.pedal_up else said


def on_carry_on(job: Job, act: Act) -> list[Said]:
    """Out of a closing, while nothing was put away for it, the job goes on."""
    closing = job.closing
    if closing is None or (job.at == HALTED and job.return_to == LEAVING):
        return pedal.on_carry_on(job, act)
    if job.at == LEAVING:
        if closing.begun:
            return [_said(act.who, "begun_no"), *job.prompt()]
        job.return_to = closing.came
        job.fire("stay")
    job.closing = None
    return pedal.on_carry_on(job, act)


def on_go_on(job: Job, act: Act) -> list[Said]:
    """Carry on; after a break or a shift that was over, who goes on is asked."""
    over, stopped = job.trouble[0] == "time_up", job.at in (HALTED, LEAVING)
    if job.rules:
        if job.away and stopped and not job.helper_asked:
            asks_who(job, "tech")
        return on_carry_on(job, act)
    said = on_carry_on(job, act)
    if not over or not stopped or job.at in (HALTED, LEAVING):
        return said
    job.trouble = "", ""
    return [asks_who(job, "tech"), *said]


def on_ready(job: Job, act: Act) -> list[Said]:
    """The helper is there, for the first time or again; what he stopped may go on."""
    there = job.facts.hazards.helper_there or job.at == "helper_ready"
    job.facts.hazards.says_there()
    stopped, job.helper_stopped = job.helper_stopped, 0
    if there and stopped and job.at == HALTED:
        return [job.said("both", "ready_heard"), *job.prompt()]
    if there:
        return answers.on_ready(job, act)
    other, open_ = job.handing, job.back
    asked, job.back = asks_who(job, "helper"), tuple(one for one in open_ if one == "key")
    if other == "tech":  # one after the other; then the helper is asked once more
        job.handing, job.back = other, ("helper", *job.back)
    return [_said("both", "helper_back"), asked, *([] if job.asking else job.prompt())]


# --- who goes on ----------------------------------------------------------------------------------

ANSWERS_FIRST = {"code": ["takes_over"], "helper": ["foot_off", "ready"], "key": ["done"]}
"""What `Job.asking` asks -> the acts that answer it."""
_GOES_ON = frozenset({
    *("reading", "done", "check", "no", "accept", "move", "measure", "correct", "same", "sound"),
    *("skip", "repaired", "start_over", "carry_on", "clear", "ready", "sign_off", "back"),
    "counted",
})  # fmt: skip
"""Acts that take a job on; all others, of pedal and danger before all, always count."""


def comes_first(job: Job, act: Act) -> list[Said] | None:
    """What is answered instead of going on, while it is not known who goes on, whether the helper
    is there, or where the key is; None where the act may count."""
    asking = job.asking
    if asking == "code" and act.meaning == "sign_off" and act.text and act.who == job.handing:
        return on_takes_over(job, act)  # he signs once he has heard what he signs
    who = {"helper": "helper", "key": "tech"}.get(asking)
    if who == act.who and act.meaning in ANSWERS_FIRST[asking]:
        return _there(job, act)
    stopped = job.step is None and act.meaning in ("clear", "ready")
    comes = act.meaning == "ready" and not job.facts.hazards.helper_there
    if act.meaning not in _GOES_ON or stopped or comes:
        return None
    first = asking == "code" and act.meaning == "carry_on"
    return [_said("both", "code_first")] if first else asks(job)


def asks(job: Job) -> list[Said]:
    """Who goes on; then, before anybody goes under, whether the helper is there and the key."""
    if job.asking == "code":
        return [_said("both", "who_now")]
    if job.asking == "key":
        return [_said("tech", "back_key")]
    keep = job.said("tech", "keep_out", signal="WARNING")
    return [keep, _said("helper", "back_helper"), job.said("helper", "foot_asked")]


def answers_first(job: Job) -> dict[str, str]:
    """The phrases of the steps that ask the same."""
    step = {"helper": "helper_ready", "key": "key"}.get(job.asking)
    meaning = ANSWERS_FIRST[job.asking][-1]
    return {} if step is None else dict.fromkeys(job.dialogs.by_id[step].answers, meaning)


def _there(job: Job, act: Act) -> list[Said]:
    """The helper is there, or the key with the technician."""
    hazards = job.facts.hazards
    if job.asking == "key":
        hazards.note({"key": "tech"}, act.who)
    else:
        hazards.says_there()
    job.back = job.back[1:]
    if act.meaning != "foot_off":
        return job.prompt(entering=True)
    hazards.says_foot_off()
    return [job.said("both", "foot_heard"), *job.prompt(entering=True)]


def asks_who(job: Job, who: str) -> Said:
    """Another person may be there now: who it is, and what is asked of him.

    Who is told next to work the pedal was told so over a clear of somebody else: it comes again.
    """
    if job.here.kind == "seat":
        job.fire("clear_again")
    job.facts.people.append((who, ""))
    job.handing, job.away = who, False
    _asked_again(job, who)
    return _said("both", "who_now")


def _asked_again(job: Job, who: str) -> None:
    """Where somebody goes under again, the helper, his foot and the key are not taken for granted.

    A pedal that is not up is ended, or held anew, by words of its own; with the key above nobody is
    below, and it comes back first.
    """
    hazards, ids = job.facts.hazards, [*job.dialogs.by_id]
    begun = job.step_id not in ids or ids.index(job.step_id) > ids.index("helper_ready")
    job.back = ()
    if not (job.rules and begun) or hazards.key_above or job.step_id in pedal.ALL_OUT:
        return
    if hazards.pedal_up and hazards["helper"] == "there":
        hazards.tell_press()
        job.back += ("helper",)
    if who == "tech":
        job.back += ("key",)


def on_takes_over(job: Job, act: Act) -> list[Said]:
    """Another person goes on, with a code or without; in a hold everything stops first."""
    out: list[Said] = []
    hazards = job.facts.hazards
    if not hazards.pedal_up and job.at != HALTED:
        out = pedal.on_stop(job, act)
    if job.rules > 1 and not act.text and job.handing not in ("", act.who):
        return [*out, *asks(job)]  # one after the other: it is asked of the other one already
    if not act.text:
        return [*out, asks_who(job, act.who)]
    other, asked = job.handing if job.handing != act.who else "", job.back
    if job.handing != act.who:
        asks_who(job, act.who)
    _known(job, act)
    if other:  # his own code answers for nobody else: what was asked of the other one still is
        job.handing = other
        job.back += tuple(one for one in asked if one not in job.back)
    state = words.truck_state(job)
    told = _said("both", "takes_over", code=words.spelled(act.text), state=state)
    return [*out, told, *job.prompt(entering=bool(job.rules))]


def _known(job: Job, act: Act) -> None:
    """Who goes on, by his code."""
    who, people = job.handing, job.facts.people
    last = max(i for i, one in enumerate(people) if one == (who, ""))
    people[last], job.handing = (who, act.text), ""
    if who == "helper":
        job.facts.hazards.says_there()


# --- for the record -------------------------------------------------------------------------------


def as_left(job: Job) -> dict[str, str] | None:
    """How an unfinished job was left, in words; None of one that was signed off."""
    closing, facts, hazards = job.closing, job.facts, job.facts.hazards
    if closing is None or job.at != LEFT:
        return None
    manual = job.facts.card.clutch != "self-adjusting"
    state = {
        "pedal": "up" if hazards.pedal_up else "not_up",
        "lock": ("in" if hazards.lock_in else "out") if manual else "none",
        "cover": closing.cover or "on",
        "tag": closing.tag,
        "key": hazards["key"],
    }
    told = {name: str(_say(f"state.{value}")) for name, value in state.items()}
    if manual:
        told["ring"] = str(
            _say(f"state.ring_{_ring_left(job)}", moved=words.moved(facts.lugs_total))
        )
    if not hazards.wedges_out:
        told["wedges"] = str(_say("state.wedges_in"))
    return told | {"why": closing.why, "rest": closing.rest or "", "at": closing.came}


def _ring_left(job: Job) -> str:
    """How surely it is known where the ring stands."""
    facts = job.facts
    if facts.turning:
        return "maybe"
    if not facts.moves:
        return "still"
    return "unread" if facts.latest(GAP) is None else "read"


def closed(job: Job, step: Step) -> list[Said]:
    """That nothing more is taken."""
    return [_said("both", "closed")]


def sealed(job: Job, code: Both, seal: Both) -> Said:
    """That it is closed."""
    return _said("both", "sealed", code=code, seal=seal)
