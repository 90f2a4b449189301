"""Answers to a step in one word, talk about the job, and its sign-off."""

from __future__ import annotations

import re
from functools import cache
from typing import TYPE_CHECKING

from assistant import interlocks
from assistant.act import REASONS, Act, Said
from assistant.card.arithmetic import stops_kept
from assistant.clutch.conformity import Measured
from assistant.hazards import NEEDS
from assistant.job import plan_words, words
from assistant.job.state import HALTED, LEAVING, REPAIR, LinkageMove
from assistant.quantity import BY_FIX, CLEARANCE, FREE_TRAVEL, GAP, QUANTITIES
from assistant.readings.speak import number_words
from assistant.sentences import Both, DialogError, capital, joined, sentences, step_name

if TYPE_CHECKING:
    from assistant.causes.case import Case
    from assistant.job.job import Job

# --- answers to the present step ------------------------------------------------------------------


def on_done(job: Job, act: Act) -> list[Said]:
    """What was asked is done; a reading that was read back is right.

    Items named in the act's text are done as well, as far as they come next.
    """
    if act.text:
        return _in_one_breath(job, act) or _several_done(job, act)
    if job.pending is not None:
        return job.handle("check", act)
    step, kind = job.here, job.kind
    if job.choice or job.correcting or kind.done is None:
        return job.hint(act)
    who = "tech" if kind.expects else step.who  # plan and count are his, whoever was told
    who = job.whose() if step.kind == "seat" else who  # alone, who works the pedal says so
    if act.who != who:
        phrase = "ready" if step.id == "helper_ready" else kind.phrase
        return job.only(act, who, _phrase(phrase))
    return _go_on_past(job, act) if step.phase == "safe" else kind.done(job, act)


def _several_done(job: Job, act: Act) -> list[Said]:
    """ "Brakes set, wheels chocked": each safety step named is done; which of them is left."""
    safe = [s.id for s in job.dialogs.steps if s.phase == "safe" and s.kind == "act"]
    items = [item for item in act.text.split() if item in safe]
    job.ahead.update(items)
    heard = _read_back(job, act, items)
    said = heard + (_go_on_past(job, act) if job.at in job.ahead else job.prompt())
    left = [s for s in safe[safe.index(job.at) :] if s not in job.ahead] if job.at in safe else []
    if len(left) < 2:
        return said
    return [*said[:-1], job.said(act.who, "safe_left", left=_named(left)), said[-1]]


def _read_back(job: Job, act: Act, items: list[str]) -> list[Said]:
    """What of several things said done was taken: what was not is heard to be missing."""
    return [job.said(act.who, "items_done", items=_named(items))] if items else []


def _named(items: list[str]) -> str:
    return joined([sentences("job").say(f"item.{item}") for item in items], ", ")


def _in_one_breath(job: Job, act: Act) -> list[Said]:
    """The present step and those right after it, each answered in its own words; else nothing."""
    named = act.text.split()
    if named[0] != job.at or job.foot_wanted or not {*named} <= {*interlocks.IN_ONE_BREATH}:
        return []
    if act.who != job.here.who:
        return job.hint(act)
    job.ahead.update(named)
    said = [*_read_back(job, act, named), *_go_on_past(job, act)]
    job.ahead.difference_update(named)
    return said


def _go_on_past(job: Job, act: Act) -> list[Said]:
    """On past the present step and those told to be done before; their cautions are given."""
    job.ahead.discard(job.at)
    return past_ahead(job, act_done(job, act), act.who)


def act_done(job: Job, act: Act) -> list[Said]:
    """What the step notes about the truck is so now."""
    job.facts.hazards.note(job.here.sets, act.who)
    if job.at in interlocks.DETOURS:
        said = job.go_on()
        if job.at not in interlocks.DETOURS:
            job.wanted = ""
        return said
    return job.go_on()


def change_done(job: Job, act: Act) -> list[Said]:
    """The rod or a stop was moved as told."""
    step, facts = job.here, job.facts
    plan, rod = facts.plans.whole(), step.kind == "rod"
    what = job.kind.blanks(job, step)
    told = what.get("stop_move") or f"{what['rod']} {what['rod_way']}".strip()
    fork_in = plan.fork_in if plan is not None and rod else 0.0
    stop_in = 0.0 if rod else facts.plans.stop_change_in(BY_FIX[step.id].name) or 0.0
    steps = facts.plans.steps(step.id)
    plan_words.tick(facts, step.id, steps)
    at = len(facts.readings)
    facts.linkage.append(LinkageMove(step.id, str(told), fork_in, at, stop_in, steps))
    facts.insisted.clear()
    return act_done(job, act)


def maker_done(job: Job, act: Act) -> list[Said]:
    """The maker's procedure was carried out: what was read of the bearing is history."""
    what = str(sentences("job").say("maker_procedure"))
    job.facts.linkage.append(LinkageMove("ring_plan", what, 0.0, len(job.facts.readings)))
    return job.go_on()


def plan_checked(job: Job, act: Act) -> list[Said]:
    """The ring plan is right; one for a gap that is too close wants more than a "check"."""
    if act.meaning == "check" and job.facts.decided(GAP) == "too close" and not job.facts.again:
        return job.hint(act)
    return job.go_on()


def checked(job: Job, act: Act) -> list[Said]:
    """ "Check" for "done"; making it safe wants "done", not a stray "yep"."""
    return job.hint(act) if job.here.phase == "safe" else on_done(job, act)


def on_ready(job: Job, act: Act) -> list[Said]:
    """The helper sits where he should."""
    if job.at != "helper_ready":
        return job.hint(act)
    job.facts.hazards.says_foot_off()
    return on_done(job, act)


def on_sound(job: Job, act: Act) -> list[Said]:
    """A part of the chain, or the whole clutch, is sound."""
    several = _in_one_breath(job, act) if act.text else []
    if several or job.here.kind != "sound":
        return several or job.hint(act)
    asked = job.whose()  # nobody answers for what only the other one sees or feels
    return job.go_on() if act.who == asked else job.only(act, asked, _phrase("sound"))


def _phrase(name: str) -> str:
    return str(sentences("job").say(f"phrase.{name}"))


def on_not_sound(job: Job, act: Act) -> list[Said]:
    """It is not: repair first. A fault counts whoever tells it, but inside only who looks there."""
    step = job.here
    if job.inside and act.who == "tech" and act.text:
        job.facts.remarks.remove(_inside(job.found))
        return _found_inside(job, act, f"{job.found}; {act.text}")
    if step.kind != "sound":
        if not act.text:
            return job.hint(act)
        job.facts.notes.append((act.who, act.text))
        heard = [job.said("helper", "noted")] if act.who == "helper" else []
        return [*heard, job.said("tech", "trouble", hint=_prompt(job))]
    if step.id == interlocks.LOOK:
        if act.who != job.whose():
            return job.only(act, job.whose(), _phrase("sound"))
        return _found_inside(job, act)
    job.facts.remarks.append(_of_step(step.id))
    first = [job.said("both", "trial_stopped", signal="DANGER")] if job.trying else []
    job.faulty = step.id
    job.fire("not_sound")
    more = [job.said("both", "need_bleed")] if step.id == "chain_fluid" else []
    if act.text:  # "it grinds into gear": what may be behind it
        more += complain(job, "tech", act.text)
    told = [job.said("tech", "need_repair", signal="WARNING"), job.said("helper", "repair_wait")]
    return [*first, *told, *more]


def _found_inside(job: Job, act: Act, what: str = "") -> list[Said]:
    """What is wrong in there, in its words: it is repaired, accepted for a reason, or ends it."""
    what = what or act.text or str(sentences("job").say("not_told"))
    job.facts.remarks.append(_inside(what))
    job.found, job.faulty = what, interlocks.LOOK
    job.fire("not_sound")
    return job.prompt()


def _of_step(step_id: str) -> str:
    return str(sentences("job").say("not_sound", step=step_name(step_id)))


def _inside(what: str) -> str:
    return str(sentences("job").say("found_inside", what=what))


def look_again(job: Job, act: Act) -> list[Said]:
    """What was told to be wrong is not, says who looked at it: noted, and asked once more.

    Of a trial nothing is taken back: the key is above, and the whole chain is looked at again.
    """
    inside, step = job.inside, job.dialogs.by_id.get(job.faulty)
    his = step is None or step.who == "tech" or job.facts.hazards.propped
    bare = not (inside or act.text)  # "sound" may be of the repair: then the whole chain is next
    if bare or act.who != ("tech" if his else "helper") or not job.fire("look_again"):
        return job.hint(act)
    remark = _inside(job.found) if inside else _of_step(job.at)
    job.facts.remarks.remove(remark)
    why = act.text or str(sentences("job").say("not_told"))
    note = sentences("job").say("found_taken_back", what=remark, why=why)
    job.facts.notes.append(("lugcall", str(note)))
    job.faulty = ""
    reply = "found_taken_back" if inside else "taken_back"
    return [job.said(act.who, reply), *job.prompt(entering=True)]


def accept_found(job: Job, act: Act) -> list[Said]:
    """What was found inside stays as it is, and why; then the rest of it is looked at."""
    if job.faulty != interlocks.LOOK:
        return [job.said(act.who, "accept_nothing"), *job.prompt()]
    if not act.text:
        return [job.said(act.who, "accept_why")]
    job.facts.remarks.append(str(sentences("job").say("found_accepted", why=act.text)))
    job.fire("look_again")
    job.faulty = ""
    return [job.said(act.who, "accepted_inside"), *job.prompt(entering=True)]


def _prompt(job: Job) -> Both:
    """The present instruction, as a part of another sentence."""
    now = job.prompt()[-1]
    return Both(now.text, now.aloud)


def on_repaired(job: Job, act: Act) -> list[Said]:
    """The repair is done: the chain once more."""
    if job.at != REPAIR:
        return job.hint(act)
    job.fire("repaired")
    job.faulty = ""
    told = "repair_new" if job.here.phase == "new" else "repair_done"
    return [job.said("both", told), *job.prompt(entering=True)]


def on_skip(job: Job, act: Act) -> list[Said]:
    """Without this reading."""
    if not job.here.optional:
        return [job.said(act.who, "skip_no"), *job.prompt()]
    if job.facts.seated and job.here.stage == "due":
        job.facts.remarks.append(str(sentences("job").say("no_first_check")))
    return past_ahead(job, job.go_on(), act.who)


def past_ahead(job: Job, said: list[Said], who: str) -> list[Said]:
    """The odometer stands among the safety steps: those told to be done before are passed."""
    if job.at not in job.ahead or job.here.who != who:
        return said
    before = [one for one in said if not one.key.startswith("prompt:")]
    return [*before, *_go_on_past(job, Act("done", who))]


def on_sign_off(job: Job, act: Act) -> list[Said]:
    """The record is closed with a code."""
    if job.here.kind != "sign":
        return job.hint(act)
    asked = asks_code(job, act)
    if asked:
        return asked
    if job.unsettled():
        return job.blocked()
    job.facts.code = act.text
    if not job.fire("advance"):
        job.facts.code = ""
        return job.blocked()
    doubts = len(job.facts.doubts)
    return [job.said("both", "signed_doubts", doubts=words.number(doubts))] if doubts else []


def asks_code(job: Job, act: Act) -> list[Said]:
    """The question for a code that was not said, or not heard well enough; nothing when it was."""
    if not act.text:
        return [job.said(act.who, "sign_code")]
    if act.doubt and act.text != job.signing:
        job.signing = act.text
        return [job.said(act.who, "confirm_code", code=" ".join(act.text))]
    return []


# --- talk about the job ---------------------------------------------------------------------------


def on_back(job: Job, act: Act) -> list[Said]:
    """One step back, or as many as its text says, where nothing was moved; or out of a question."""
    came, refused = job.at, ""
    for _ in range(min(int(act.text or 1), len(job.dialogs.steps))):
        if job.pending is not None or job.correcting or job.choice:
            job.pending, job.correcting, job.choice = None, "", ""
            continue
        refused = _not_back(job)
        if refused or not job.fire("back"):
            refused = refused or "back_blocked"
            break
    if refused == "not_now":
        return job.hint(act)
    facts = job.facts
    over = job.at == "ring_gap" or (job.at != came and not job.past_ring(job.at))
    moved = job.said(act.who, "back_moved", moved=words.moved(facts.lugs_total))
    told = [moved] if facts.moves and over else []
    if refused and not (told and job.at == "ring_gap"):
        told.append(job.said(act.who, refused))
    return [*told, *job.prompt(entering=job.at != came)]


def _not_back(job: Job) -> str:
    """The reply that says why there is no way back from here, or ""."""
    hazards = job.facts.hazards
    if not hazards.pedal_up:
        return "back_no"
    if not hazards.lock_in:
        return "back_lock"
    if job.at in (HALTED, REPAIR):
        return "not_now"
    return "back_start" if job.at == job.dialogs.steps[0].id else ""


def on_where(job: Job, act: Act) -> list[Said]:
    """The phase, the state of the truck, the readings that hold."""
    step = job.dialogs.by_id.get(job.step_id)
    if step is None:
        return job.prompt()
    phase, state = job.dialogs.phase_of(step), words.truck_state(job)
    where = job.said(act.who, "where", heading=phase.heading, phase=phase.name, name=state)
    newest = [taken for name in QUANTITIES if (taken := job.facts.latest(name)) is not None]
    seen = joined([joined([words.spoken(t.quantity), t.both]) for t in newest], ", ")
    facts = [job.said(act.who, "facts", facts=joined([seen, "."], ""))] if newest else []
    return [where, *facts, *job.prompt()]


def on_why(job: Job, act: Act) -> list[Said]:
    """Why the present step is there."""
    step = job.dialogs.by_id.get(job.step_id)
    return job.prompt() if step is None or job.at == HALTED else [job.why(act.who, step)]


def on_how_long(job: Job, act: Act) -> list[Said]:
    """Minutes left; while the pedal is down, till it may come up."""
    if not job.facts.hazards.pedal_up:
        return how_long_held(job, act)
    steps = job.dialogs.steps
    ids = list(job.dialogs.by_id)
    at = ids.index(job.step_id) if job.step_id in ids else 0
    done = job.facts.gap_right()
    left = sum(
        s.minutes for s in steps[at:] if s.kind != "stop_bolt" and not (s.phase == "ring" and done)
    )
    return [job.said(act.who, "how_long", minutes=words.number(max(1.0, left)))]


_TO_RELEASE = ("ring_turn", "ring_tool", "ring_lock", "ring_clear")


def how_long_held(job: Job, act: Act) -> list[Said]:
    """How a hold stands, for the one who holds: what is to be done before he may let up."""
    ids = list(job.dialogs.by_id)
    held = job.facts.hazards.hold_confirmed and act.who == "helper"
    keep = [job.said("helper", "hold_on")] if held else []
    if job.at not in _TO_RELEASE or job.facts.hazards["pedal"] != "held":
        return keep or job.prompt()
    left = ids[ids.index(job.at) : ids.index("ring_release")]
    minutes = words.number(max(1.0, sum(job.dialogs.by_id[s].minutes for s in left)))
    named = ", ".join(step_name(s) for s in left)
    return [*keep, job.said(act.who, "hold_left", left=named, minutes=minutes)]


def on_note(job: Job, act: Act) -> list[Said]:
    """Words for the lead."""
    if not act.text:
        return [job.said(act.who, "note_empty")]
    job.facts.notes.append((act.who, act.text))
    noted = job.said(act.who, "noted")
    if not of_hands(act.text):
        return [noted]
    hazards = job.facts.hazards
    hazards.says_of_hands(act.who)
    if hazards.pedal_up:
        return [noted]
    return [noted, *job.handle("danger" if hazards.moving else "unsure", act)]


def of_hands(text: str) -> bool:
    """Whether a note speaks of hands, or of what else may be in the hole."""
    return bool(_OF_HANDS.search(text))


_OF_HANDS = re.compile(
    r"\b(?:hand|finger|thumb|arm|wrist|glove|sleeve|tool|bar|wrench|hole|inside|back in)s?\b", re.I
)
"""A note that speaks of what may be in the hole: it spends a clear, and blocks a hold."""


# --- what was fitted new: its first set-up before all readings ------------------------------------
#
# What it asks for is common practice, no source: what holds a clutch for shipping out and counted,
# the brake seen, the parts worked by the pedal till they lie, and only then read as found. The
# rules that no text can switch off stand in `interlocks`, as for every other step.

NEW_PARTS = 2
"""The rules since which what is new is set up first; before, it was only noted."""
MOST_WEDGES = 24
"""Wedges, blocks and holding bolts that any clutch comes with: common practice, no source."""


def on_fitted(job: Job, act: Act) -> list[Said]:
    """A clutch or a brake is new: it is set up first, and what the records say of wear begins here.

    Where something was moved already, or somebody may be hurt on the way back, it is only noted,
    for the lead to see.
    """
    facts = job.facts
    if not act.text or not facts.hazards.pedal_up:
        return job.hint(act)
    if job.rules >= NEW_PARTS and act.text == "brake" and "function_brake" not in job.dialogs.by_id:
        return [job.said(act.who, "no_brake_here"), *job.prompt()]
    if job.rules >= NEW_PARTS and job.pressing:
        facts.hazards.tell_press()  # he is told so once more
    known = act.text in facts.fitted
    what = sentences("job").say(f"fitted.{act.text}")
    if not known:
        facts.notes.append((act.who, str(what)))
        begun = job.rules < NEW_PARTS or _begun(job, act)
        facts.fitted[act.text] = len(facts.readings)
        if not begun:
            facts.remarks.append(str(sentences("job").say("fitted_late", what=what)))
    late = job.rules >= NEW_PARTS and facts.new not in (act.text, "both")
    entering = not known and job.here.phase == "new"
    said = job.said(
        act.who if late else "both", "fitted_late" if late else "fitted", what=capital(what)
    )
    return [said, *job.prompt(entering=entering)]


def _begun(job: Job, act: Act) -> bool:
    """Whether the job goes to the first set-up now, or comes to it in its order."""
    facts, came = job.facts, job.dialogs
    ids, hazards = [*came.by_id], facts.hazards
    if facts.changed or job.at == LEAVING or job.return_to == LEAVING:
        return False
    new = "both" if facts.new not in ("nothing", act.text) else act.text
    stood, step_id = job.at, job.step_id
    before = step_id in ids and ids.index(step_id) <= ids.index("helper_ready")
    comes = before or REPAIR in (stood, step_id)
    job.goes_by(came.for_truck(facts.card.traits, new))
    if stood == HALTED and not comes:
        comes = all(map(hazards.holds, NEEDS["start_over"]))
        job.return_to = _first(job) if comes else job.return_to
    if not comes and not job.fire("set_up"):
        job.goes_by(came)
        return False
    facts.new, facts.new_from, facts.seated = new, len(facts.readings), False
    if act.text == "clutch":
        hazards.says_new_clutch(act.who)
        facts.wedges = None
    return True


def _first(job: Job) -> str:
    """Where the first set-up begins as the cover is now."""
    ids = [*job.dialogs.by_id]
    return ids[ids.index(interlocks.FIRST_NEW) + job.facts.hazards.cover_open]


@cache
def wedge_counts() -> dict[str, str]:
    """Phrases that tell how many came out."""
    said = [number_words(n) for n in range(MOST_WEDGES + 1)]
    return {
        phrase: "counted"
        for n in said
        for phrase in (n, f"{n} out", f"all {n} out", f"{n} wedges out", f"{n} bolts out")
    }


def on_counted(job: Job, act: Act) -> list[Said]:
    """How many came out is read back, to be checked against what it came with."""
    if job.here.kind != "count" or not act.text:
        return job.hint(act)
    if act.who != "tech":
        return job.only(act, "tech", str(sentences("job").say("phrase.count")))
    job.counted = act.text
    return job.prompt()


def wedges_asked(job: Job) -> Said:
    """Whether as many came out as it came with."""
    return job.said("tech", "pieces_out", count=words.number(int(job.counted)))


def wedges_checked(job: Job, act: Act) -> list[Said]:
    """All that it came with are out."""
    if not job.counted or act.who != "tech":
        return job.hint(act)
    job.facts.wedges = int(job.counted)
    job.facts.hazards.note({"wedges": "out"}, act.who)
    note = sentences("job").say("wedges_out", count=job.facts.wedges)
    job.facts.notes.append((act.who, str(note)))
    return job.go_on()


def seated(job: Job, act: Act) -> list[Said]:
    """The pedal was worked as told: what is read from now on is of parts that lie."""
    job.facts.seated = True
    return job.go_on()


# --- what may be said ----------------------------------------------------------------------------


def on_help(job: Job, act: Act) -> list[Said]:
    """What may be said now."""
    meanings, also = job.dialogs.words, sentences("job")
    phrases = [meanings[m].phrases[0] for m in job.allowed()]
    if job.expects():
        phrases.insert(0, also.say("the_quantity", quantity=words.spoken(job.expects())))
    phrases += also.say("always").split(", ")
    return [job.said(act.who, "help", phrases=", ".join(dict.fromkeys(phrases)))]


# --- what is behind a complaint: answered from the readings there are; nothing moves -------------


def on_complaint(job: Job, act: Act) -> list[Said]:
    """A complaint, or "what is the cause"; no talk over a held pedal."""
    return complain(job, act.who, act.text) if job.facts.hazards.pedal_up else job.hint(act)


def complain(job: Job, who: str, text: str) -> list[Said]:
    """What is behind it.

    Args:
        job: where it stands; its complaints grow by those in `text`.
        who: who asked.
        text: ids of complaints, or `REASONS`, or "" for what the readings alone say.
    """
    try:
        case = _case_of(job)
    except DialogError as error:
        return [Said(who, f"{error}.", "reply:cause")]
    for key in text.split():
        if key in case.table.complaints and key not in case.complaints:
            job.facts.complaints.append((key, _as_left(job)))
            case.complaints.append(key)
            note = sentences("job").say("complaint", name=case.table.complaints[key].name)
            job.facts.notes.append((who, str(note)))
    if text == REASONS:
        return [Said(who, line, "reply:cause_why") for line in case.why()]
    return [Said(who, line, "reply:cause") for line in (case.sentence(), case.next_reading())]


def causes_of_complaint(job: Job) -> list[Said]:
    """Once all is read as found: what is behind the complaint, if there was one."""
    return complain(job, "tech", "")[:1] if job.facts.complaints else []


def _case_of(job: Job) -> Case:
    """The complaints and the readings of this job, weighed.

    The readings as found with what was complained of then; once all is set, the readings as left
    with what is complained of since. What is between describes neither.

    Raises:
        DialogError: the table of causes is damaged.
    """
    # Loaded when it is first asked for, not before.
    from assistant.causes.case import Case, findings_of
    from assistant.causes.table import load_table

    facts, as_left = job.facts, _as_left(job)
    read = facts.lengths("" if as_left else "found")
    case = Case(load_table().of(facts.card, facts.fitted))
    for key, since in facts.complaints:
        if since == as_left and key in case.table.complaints:
            case.complaints.append(key)
    case.found.update(findings_of(case.table, facts.card, read))
    return case


def _as_left(job: Job) -> bool:
    """Whether it is set: free travel, the last to be set, was read once more."""
    return job.facts.staged(FREE_TRAVEL, "final") is not None


# --- the picture of this moment: one breath here, drawn by a terminal ----------------------------

PICTURE = "reply:picture"
"""Key of the reply that a terminal draws under."""


def on_picture(job: Job, act: Act) -> list[Said]:
    """Where the truck stands, in one breath."""
    from assistant.pictures.plain import spoken
    from assistant.pictures.snapshot import PictureError, today_of

    if not job.facts.hazards.pedal_up:
        return job.hint(act)
    card = job.facts.card
    try:
        return [Said(act.who, spoken(today_of(card, _readings_now(job)), card), PICTURE)]
    except PictureError:
        return [job.said(act.who, "picture_none")]


def drawn(job: Job) -> list[str]:
    """Stroke and chain in plain characters, today and as planned; nothing before they are read."""
    from assistant.pictures import plain
    from assistant.pictures.snapshot import PictureError, planned, today_and_after

    card, plan, read = job.facts.card, job.facts.plans.whole(), _readings_now(job)
    try:
        shots = today_and_after(card, read, locked=stops_kept(card, read))
    except PictureError:
        return []
    if plan is not None and read == job.facts.lengths():  # as it was told
        shots[1:] = [planned(shots[0], plan.after, card)]
    return [*plain.stroke_lines(shots, card), "", *plain.chain_lines(shots, card)]


def _readings_now(job: Job) -> dict[str, Measured]:
    """The readings that describe the truck as it is; as found while gap or clearance is not known
    since the last move."""
    now = job.facts.lengths()
    return now if GAP in now and CLEARANCE in now else job.facts.lengths("found")
