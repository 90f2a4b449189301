"""A record as people read it: who said what and when, what it was taken for, what was answered."""

from __future__ import annotations

from collections.abc import Iterator

from assistant.quantity import QUANTITIES, spoken_name
from assistant.record.history import (
    Closed,
    JobHistory,
    LeadAct,
    LeftUndone,
    LimitsKept,
    Opened,
    ReadingKept,
    Turn,
    Understood,
    Unheard,
)
from assistant.sentences import printable, sentences

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
    for line in history.lines:
        match line:
            case Opened():
                yield from _opened(line)
            case Turn():
                yield from _turn(line)
            case Unheard():
                yield f"{line.clock}  {_who(line.who)} : ({taken_for(line)}: {guessed(line)})"
            case LeadAct():
                yield _lead(line)
            case Closed():
                yield ""
                yield from _closed(line)
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
    if history.state == "damaged":
        yield _say("damaged", problem=history.problem)
    elif history.state == "open":
        yield _say("not_signed")


def _say(name: str, **blanks: object) -> str:
    return sentences("desk").say(f"transcript.{name}", **blanks)


def _who(who: str) -> str:
    return f"{WHO.get(who, '?'):<6}"


def _lead(act: LeadAct) -> str:
    """An act of the lead, with its date: it may come weeks after the job."""
    about = f" ({act.about})" if act.about else ""
    text = f": {act.text}" if act.text else ""
    return f"{act.at[:19]}  LEAD {act.lead or '(no code)'} {act.act.upper()}{about}{text}"


def _opened(opened: Opened) -> Iterator[str]:
    yield f"Clutch adjustment, {opened.unit or 'unit not named'}, {opened.at[:10]}"
    yield f"Card: {opened.card.name or 'none (common-practice figures)'}"
    yield "Limits:"
    for name, figure in opened.figures.items():
        limits = f"{_limits(figure)}   ({figure.source or '?'})"
        yield f"  {spoken_name(name):<{_NAME}} {limits}"
    yield ""


def _limits(figure: LimitsKept) -> str:
    low, high = figure.low_in, figure.high_in
    if low is None:
        return f"at most {_inches(high)}"
    if high is None:
        return f"at least {_inches(low)}"
    return f"{_inches(low)} to {_inches(high)}"


def _inches(value: float | None) -> str:
    return "?" if value is None else f"{value:.4g} in"


def _turn(turn: Turn) -> Iterator[str]:
    if turn.words:
        yield f"{turn.clock}  {_who(turn.who)} : {turn.words}"
        yield f"{'':10}{'':7}  [{meant(turn.act)}]{_clip(turn)}"
    elif turn.meaning == "resumed":
        yield f"{turn.clock}  -- resumed --"
    for found in findings(turn):
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


def findings(turn: Turn) -> Iterator[str]:
    """What a turn settled: readings judged, corrections, moves, the pedal."""
    if turn.taken is not None and turn.taken.judged is not None:
        kept, judged = turn.taken, turn.taken.judged
        yield (
            f"= {spoken_name(kept.quantity)} {kept.figures}: {judged.decision.upper()} "
            f"({judged.probability:.0%} in), {_limits(judged)}, {judged.source}"
        )
    if turn.corrected is not None:
        was, now = turn.corrected.was, turn.corrected.now
        yield f"= corrected {spoken_name(now.quantity)}: {was.figures} to {now.figures}"
    if turn.ring is not None:
        yield f"= ring: told {turn.ring.told:+d}, moved {turn.ring.moved:+d} (plus tightens)"
    if turn.finding is not None:
        found = turn.finding
        yield (
            f"= ring move: {found.kind} ({found.probability:.0%}), "
            f"{_inches(found.measured_in)} measured, {_inches(found.predicted_in)} expected"
        )
    if turn.linkage is not None:
        yield f"= {turn.linkage.step.replace('_', ' ')}: {turn.linkage.what}"
    if turn.person is not None:
        code = turn.person.code or _say("no_code")
        yield f"= {_say('takes_over', who=_who(turn.person.who).strip(), code=code)}"
    if turn.hold is not None:
        yield f"= PEDAL {turn.hold.upper()}"
    if turn.hands == "clear":
        yield "= HANDS CLEAR"


def _closed(closed: Closed) -> Iterator[str]:
    yield f"{'':{_NAME}}{'as found':>14}{'as left':>14}"
    for quantity in QUANTITIES:
        found, left = closed.as_found.get(quantity), closed.as_left.get(quantity)
        if found or left:
            cells = "".join(f"{kept.figures if kept else '-':>14}" for kept in (found, left))
            yield f"{spoken_name(quantity):<{_NAME}}{cells}   {_decided(left)}"
    yield f"Ring: {closed.lugs:+d} lugs in {len(closed.ring_moves)} moves (plus tightens)"
    if closed.by_gap != closed.lugs:
        yield f"      by the gap readings it was {closed.by_gap:+d}"
    for change in closed.linkage:
        yield f"Linkage: {change.step.replace('_', ' ')}: {change.what}"
    for note in closed.notes:
        yield f"Note ({note.who}): {note.text}"
    for doubt in closed.doubts:
        yield f"DOUBT: {doubt}"
    if closed.next_due:
        yield f"Next check at {closed.next_due.count:,.0f} {closed.next_due.kind}"
    if closed.unfinished is None:
        yield f"SIGNED OFF by {closed.code} at {closed.at}"
        return
    for name, value in left_undone(closed.unfinished):
        yield f"{name}: {value}"
    yield _say("unfinished", code=closed.code, at=closed.at)


def left_undone(left: LeftUndone) -> Iterator[tuple[str, str]]:
    """How an unfinished job was left: what, and how it is."""
    for name in ("why", "at", "pedal", "lock", "cover", "tag", "key", "rest"):
        value = getattr(left, name) or _say("left.nothing_said")
        yield _say(f"left.{name}"), value.replace("_", " ") if name == "at" else value


def _decided(left: ReadingKept | None) -> str:
    if left is None or left.judged is None:
        return "" if left is None else "no limit"
    accepted = f", accepted: {left.accepted}" if left.accepted else ""
    return f"{left.decision}{accepted}"
