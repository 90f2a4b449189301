"""A record as people read it: who said what and when, what it was taken for, what was answered."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from assistant.clutch.conformity import Limits
from assistant.pictures.snapshot import figures_of, limits_text
from assistant.quantity import GAP, QUANTITIES, spoken_name
from assistant.record import seal_of
from assistant.record.clips import PHOTO
from assistant.record.history import (
    Closed,
    FirstSetUp,
    JobHistory,
    LeadAct,
    LeftUndone,
    LimitsKept,
    Move,
    Opened,
    ReadingKept,
    Turn,
    Understood,
    Unheard,
)
from assistant.review.doubts import finding
from assistant.review.planned import units_of
from assistant.review.wording import lugs, say, say_many, signed
from assistant.sentences import printable, step_name

WHO = {"tech": "TECH", "helper": "HELPER", "both": "BOTH"}
_PAD = " " * 19
_NAME = 21
"""Signs that the name of a quantity takes."""


def transcript(history: JobHistory) -> Iterator[str]:
    """The lines of a record's transcript.

    Control characters are shown, not obeyed: a note must not repaint the lead's screen.
    """
    yield from map(printable, _lines(history))


def _lines(history: JobHistory) -> Iterator[str]:
    units = units_of(history)
    for line in history.lines:
        match line:
            case Opened():
                yield from _opened(line, units)
            case Turn():
                yield from _turn(line, units)
            case Unheard():
                yield f"{line.clock}  {_who(line.who)} : ({taken_for(line)}: {guessed(line)})"
            case LeadAct():
                yield _lead(line)
            case Closed():
                yield ""
                yield from _closed(line, last_read(history))
            case _ if line.kind == "repaired":
                yield f"{line.clock}  -- {_say('repaired')} --"
            case _ if line.kind != "notice":
                yield f"{line.clock}  -- {line.kind} --"
        for told in getattr(line, "said", ()):
            signal = f"{told.signal}: " if told.signal else ""
            to = WHO.get(told.to, told.to)
            yield f"{line.clock}    to {to:<6}: {signal}{told.text}"
        if line.kind == "notice" and line.question:
            yield f"{_PAD}{_say('of_lead', record=line.of_record or '?', line=line.of_line or '?')}"
    yield ""
    if history.closed is None:
        yield from _open(history)
    if history.state == "damaged":
        yield _say("damaged", problem=history.problem)
    elif history.state == "open":
        yield _say("not_signed")


def _say(name: str, **blanks: object) -> str:
    return say(f"transcript.{name}", **blanks)


def _say_many(name: str, count: int, **blanks: object) -> str:
    return say_many(f"transcript.{name}", count, **blanks)


def _who(who: str) -> str:
    return f"{WHO.get(who, '?'):<6}"


def _lead(act: LeadAct) -> str:
    """An act of the lead, with its date: it may come weeks after the job."""
    about = f" ({act.about})" if act.about else ""
    text = f": {act.text}" if act.text else ""
    return f"{act.at[:19]}  {added_by(act)} {act.act.upper()}{about}{text}"


def added_by(act: LeadAct) -> str:
    """Who did it: a lead, but for a photo, which anybody may have put there."""
    return _say("by_code" if act.kind == PHOTO else "by_lead", code=act.lead or _say("unnamed"))


def _opened(opened: Opened, units: str) -> Iterator[str]:
    yield f"Clutch adjustment, {opened.unit or 'unit not named'}, {opened.at[:10]}"
    yield f"Card: {opened.card.name or 'none (common-practice figures)'}"
    yield "Limits:"
    for name, figure in opened.figures.items():
        limits = f"{limits_of(figure, units) or '?'}   ({figure.source or '?'})"
        yield f"  {spoken_name(name):<{_NAME}} {limits}"
    yield ""


def limits_of(figure: LimitsKept, units: str) -> str:
    """`1/2 to 9/16 in`, in the truck's own units; "" without limits."""
    if figure.low_in is None and figure.high_in is None:
        return ""
    return limits_text(Limits(figure.low_in, figure.high_in), units)


def _turn(turn: Turn, units: str) -> Iterator[str]:
    if turn.words:
        yield f"{turn.clock}  {_who(turn.who)} : {turn.words}"
        yield f"{'':10}{'':7}  [{meant(turn.act)}]{_clip(turn)}"
    elif turn.meaning == "resumed":
        yield f"{turn.clock}  -- resumed --"
    for found in findings(turn, units):
        yield f"{_PAD}{found}"


def _clip(turn: Turn) -> str:
    """The file beside the record that holds the sound of what this turn kept."""
    clip = turn.clip
    if clip is None:
        return ""
    return f" (no clip: {clip.lost})" if clip.lost else f" (clip {clip.sha256[:16]})"


def taken_for(unheard: Unheard) -> str:
    """What became of speech that was not taken."""
    choose = unheard.ear is not None and unheard.ear.decision == "choose"
    return "unsure between" if choose else "not understood"


def guessed(unheard: Unheard, nothing: str = "nothing") -> str:
    return " / ".join(unheard.ear.guesses if unheard.ear is not None else ()) or nothing


def meant(act: Understood | None) -> str:
    if act is None:
        return "asked back"
    words = act.meaning.replace("_", " ")
    if act.reading:
        words += f" {act.reading.get('figures', '')}"
    if act.quantity:
        words += f" ({spoken_name(act.quantity)})"
    if act.text and act.meaning != "unclear":
        words += f": {act.text}"
    return words


def findings(turn: Turn, units: str) -> Iterator[str]:
    """What a turn settled: readings judged, corrections, moves, the pedal; lengths in the truck's
    own `units`, "inch" or "mm"."""
    if turn.taken is not None and turn.taken.judged is not None:
        kept, judged = turn.taken, turn.taken.judged
        yield (
            f"= {spoken_name(kept.quantity)} {kept.figures}: {judged.decision.upper()} "
            f"({judged.probability:.0%} in), {limits_of(judged, units)}, {judged.source}"
        )
    if turn.corrected is not None:
        was, now = turn.corrected.was, turn.corrected.now
        yield f"= corrected {spoken_name(now.quantity)}: {was.figures} to {now.figures}"
    if turn.ring is not None:
        yield f"= ring: told {turn.ring.told:+d}, moved {turn.ring.moved:+d} (plus tightens)"
    if turn.finding is not None:
        found = turn.finding
        yield (
            f"= ring move: {finding(found.kind)} ({found.probability:.0%}), "
            f"{figures_of(found.measured_in, units)} measured, "
            f"{figures_of(found.predicted_in, units)} expected"
        )
    if turn.linkage is not None:
        yield f"= {step_name(turn.linkage.step)}: {turn.linkage.what}"
    if turn.person is not None:
        code = turn.person.code or _say("no_code")
        yield f"= {_say('takes_over', who=_who(turn.person.who).strip(), code=code)}"
    if turn.hold is not None:
        yield f"= PEDAL {turn.hold.upper()}"
    if turn.hands == "clear":
        yield "= HANDS CLEAR"


def _closed(closed: Closed, last: Mapping[str, str]) -> Iterator[str]:
    yield from _table(closed.as_found, closed.as_left, last)
    if closed.first_set_up is not None:
        yield first_set_up(closed.first_set_up)
    yield _say_many("ring", len(closed.ring_moves), lugs=lugs(closed.lugs))
    if closed.by_gap != closed.lugs:
        yield f"      {_say('by_gap', lugs=signed(closed.by_gap))}"
    for change in closed.linkage:
        yield f"Linkage: {step_name(change.step)}: {change.what}"
    for note in closed.notes:
        yield f"Note ({note.who}): {note.text}"
    for doubt in closed.doubts:
        yield f"DOUBT: {doubt}"
    if closed.next_due:
        yield f"Next check at {closed.next_due.count:,.0f} {closed.next_due.kind}"
    if closed.unfinished is None:
        yield f"SIGNED OFF by {closed.code} at {closed.at}"
    else:
        for name, value in left_undone(closed.unfinished):
            yield f"{name}: {value}"
        yield _say("unfinished", code=closed.code, at=closed.at)
    yield _say("seal", seal=seal_of(closed.hash), line=closed.line)


def last_read(history: JobHistory) -> dict[str, str]:
    """Of a job not signed off, what was read last of each quantity not read as left, in words."""
    told = {}
    for quantity, one in history.last_of().items():
        moved = any(m.turn.n > one.turn.n for m in history.moves if _may_move(m, quantity))
        if quantity in history.opened.figures or one.kept.stage != "found":
            what = "last_read_moved" if moved else "last_read"
            told[quantity] = _say(what, figures=one.kept.figures)
    return told


def _may_move(move: Move, quantity: str) -> bool:
    """Whether the quantity is another after the move: no linkage moves the gap."""
    of_linkage = move.turn.linkage is not None and move.turn.linkage.step != "ring_plan"
    return not (of_linkage and quantity == GAP)


def _table(
    found: Mapping[str, ReadingKept], left: Mapping[str, ReadingKept], last: Mapping[str, str]
) -> Iterator[str]:
    yield f"{'':{_NAME}}{'as found':>14}{'as left':>14}"
    for quantity in QUANTITIES:
        both = found.get(quantity), left.get(quantity)
        if any(both):
            cells = "".join(f"{kept.figures if kept else '-':>14}" for kept in both)
            told = _decided(both[1]) or last.get(quantity, "")
            yield f"{spoken_name(quantity):<{_NAME}}{cells}   {told}"


def _open(history: JobHistory) -> Iterator[str]:
    """How a job stands that nobody closed: what was read and moved, and what is open or held."""
    yield from _table(history.last_read("found"), history.as_left(), last_read(history))
    ring = [move.turn.ring for move in history.moves if move.turn.ring is not None]
    yield _say_many("ring", len(ring), lugs=lugs(ring[-1].total if ring else 0))
    for name, value in as_it_stands(history):
        yield f"{name}: {value}"


_OPENS = {"lock": (("ring_unlock",), "ring_lock"),
          "cover": (("cover_off", "reopen_cover"), "cover_on")}  # fmt: skip
"""Parts that a step takes off, and the one that puts them back."""


def as_it_stands(history: JobHistory) -> Iterator[tuple[str, str]]:
    """How pedal, lock plate and cover are, by the steps that were done: what, and how it is."""
    hold = history.holds[-1] if history.holds else None
    pedal = "up"
    if hold is not None and hold.held is not None and hold.end != "released":
        pedal = "held" if hold.end == "open" else "unsure"
    done = [turn.step for turn in history.turns if turn.takes_on and turn.meaning != "skip"]
    yield _say("left.pedal"), _say(f"pedal.{pedal}")
    for part, (off, on) in _OPENS.items():
        last = next((step for step in reversed(done) if step == on or step in off), on)
        yield _say(f"left.{part}"), _say(f"{part}.{'on' if last == on else 'off'}")


def first_set_up(done: FirstSetUp) -> str:
    """That new parts were set up for the first time, and what came out of them."""
    what = _say(f"new.{done.new}") if done.new in ("clutch", "brake", "both") else done.new
    told = _say("first_set_up", what=what)
    return told if done.wedges is None else f"{told}; {_say('wedges', count=done.wedges)}"


def left_undone(left: LeftUndone) -> Iterator[tuple[str, str]]:
    """How an unfinished job was left: what, and how it is."""
    for name in ("why", "at", "pedal", "lock", "cover", "tag", "key", "rest"):
        value = getattr(left, name) or _say("left.nothing_said")
        yield _say(f"left.{name}"), step_name(value) if name == "at" else value
    for name in ("ring", "wedges"):
        if value := getattr(left, name):
            yield _say(f"left.{name}"), value


def _decided(left: ReadingKept | None) -> str:
    if left is None or left.judged is None:
        return "" if left is None else "no limit"
    accepted = f", accepted: {left.accepted}" if left.accepted else ""
    return f"{left.decision}{accepted}"
