"""One job as a page to read in a minute and to print."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from assistant.quantity import BEARING_TRAVEL, QUANTITIES, spoken_name
from assistant.record import seal_of
from assistant.record.clips import PHOTO, held, noted_removed, state
from assistant.record.history import (
    JobHistory,
    LeadAct,
    LimitsKept,
    Move,
    ReadingKept,
    Repaired,
    Turn,
    Unheard,
    refuse,
)
from assistant.review.acts import of_truck
from assistant.review.doubts import LONG_S, Doubt, doubts_of, finding
from assistant.review.pages import drawings
from assistant.review.pages.render import link, page, page_name
from assistant.review.planned import Compared, card_of, compared, decimals, units_of
from assistant.review.transcript import (
    WHO,
    added_by,
    as_it_stands,
    findings,
    first_set_up,
    guessed,
    last_read,
    left_undone,
    limits_of,
    meant,
    taken_for,
)
from assistant.review.wording import Row, headed, many, say, say_many, span
from assistant.sentences import step_name

_SAME_IN = 0.001
"""Nearer than this, planned and measured are told as the same: no gauge here reads finer."""
_SAME_MM = 0.05
"""Likewise on a truck in millimetres, which are shown to a tenth."""


def job_page(
    path: Path,
    page_folder: Path,
    fleet: Path | None = None,
    beside: Sequence[tuple[str, str]] = (),
    carried: Callable[[Path], Path] = lambda file: file,
) -> str:
    """The page of a record, to lie in `page_folder`, with a link back to the `fleet` page, and with
    the doubts that only other records show: kind and text of each. `carried` puts a photo where the
    page is to have it from.

    Raises:
        RecordError: nothing of the record can be read.
    """
    history = JobHistory.read(path)
    try:
        return _page(history, path, page_folder, fleet, beside, carried)
    except (KeyError, TypeError, ValueError, AttributeError, OverflowError):
        refuse(path.name)


def _page(
    history: JobHistory,
    path: Path,
    page_folder: Path,
    fleet: Path | None,
    beside: Sequence[tuple[str, str]],
    carried: Callable[[Path], Path],
) -> str:
    card, units = card_of(history.opened.card.text), units_of(history)
    unit = history.opened.unit or _say("no_unit")
    found, left = history.last_read("found"), history.as_left()
    clips, photos = _sounds(history, path.parent), _photos(history, path.parent)
    closed = history.closed
    chain, changed = _chain(history), _changed([*clips, *photos])
    answers, asked = _questions(history, path, page_folder, fleet)
    back = history.withdrawn
    waits = [act for act in history.acts if act.act == "question" and act.n not in back]
    waits = [act for act in waits if act.hash not in answers]
    job = history.own_lines
    return page(
        "job.html",
        h=history,
        unit=unit,
        seal=seal_of(history.lines[-1].hash),
        paper_seal=seal_of(history.closed.hash) if history.closed else "",
        chain=chain,
        otherwise=[text for kind, text in beside if kind == "copy"],
        changed=changed,
        who=WHO,
        state=_state(history, chain[0], bool(waits)),
        back=back,
        closed_by=_say("signed_by" if history.signed_off else "left_by"),
        stands=[] if closed else [*as_it_stands(history)],
        undone=[*left_undone(closed.unfinished)] if closed and closed.unfinished else [],
        doubts=sorted(
            [
                *(Doubt(*one, n=-1, us=0) for one in beside if one[0] != "photo"),
                *changed,
                *doubts_of(history, _now_us()),
            ],
            key=lambda doubt: -doubt.weight,
        ),
        headed=headed,
        finding=finding,
        answers=answers,
        set_up=first_set_up(closed.first_set_up) if closed and closed.first_set_up else "",
        ring=card is None or card.clutch != "self-adjusting",
        rows=_rows(history, found, left, units),
        pictures=drawings.pictures(card, unit, found, left),
        expected=[_expected(one, units) for one in compared(history)],
        moves=[_moved(move, units) for move in history.moves],
        verdict=_verdict,
        inches=lambda v: "" if v is None else decimals(v, units),
        beside=lambda kept: _beside(kept, units),
        long_s=LONG_S,
        holds=drawings.holds_svg(history.holds),
        misheard=Counter(line.step for line in history.misunderstood()).most_common(),
        talk=[
            _talk(line, units) | {"asked": asked.get(line.n)}
            for line in history.lines
            if line is not history.closed
        ],
        lasted=span(max(0, job[-1].us - job[0].us) / 1e6),
        acts=[act for act in history.acts if act.kind != PHOTO],
        clips=clips,
        photos=photos,
        link=lambda file: link(path.parent / file, page_folder),
        shown=lambda file: link(carried(path.parent / file), page_folder),
        record=path,
        fleet_link=link(fleet, page_folder) if fleet else "",
        made=datetime.now(UTC).strftime("%Y-%m-%d %H:%M UTC"),
    )


def _say(name: str, **fields: object) -> str:
    return say(f"job.{name}", **fields)


def _now_us() -> int:
    return time.time_ns() // 1000


def _sounds(history: JobHistory, folder: Path) -> list[Row]:
    """The sound kept of each turn, and how it is now."""
    sounds = []
    for turn in history.turns:
        if (clip := turn.clip) is not None:
            lost = _say("clip_lost", why=clip.lost) if clip.lost else ""
            now = "lost" if lost else state(folder, clip.file, clip.sha256)
            told = {"what": "clip", "line": turn.line, "file": clip.file, "state": now}
            sounds.append({**told, "turn": turn, "clip": clip, "now": lost or _how(now)})
    return sounds


def _photos(history: JobHistory, folder: Path) -> list[Row]:
    """The photos put beside the job, and how each is now."""
    photos = []
    noted = {name for act in history.acts for name in noted_removed(act.kind, act.data)}
    for act in history.acts:
        if (photo := held(act.kind, act.data)) is not None:
            what, file, digest = photo
            now: str = state(folder, file, digest)
            if now == "removed" and Path(file).name not in noted:
                now = "missing"
            told = {"what": what, "line": act.line, "file": file, "state": now, "now": _how(now)}
            taken = str(act.data["photo"].get("taken", "")).replace("T", " ")[:16]
            photos.append({**told, "act": act, "taken": taken})
    return photos


def _how(state: str) -> str:
    return _say(f"beside.{state}")


def _chain(history: JobHistory) -> tuple[str, str]:
    """How the chain is ("good", "torn" or "bad"), and that in words."""
    if history.problem is None:
        return "good", say_many("job.chain_good", len(history.lines))
    kind = "torn" if history.torn else "bad"
    return kind, _say(f"chain_{kind}", problem=history.problem)


def _changed(beside: list[Row]) -> list[Doubt]:
    """The clips and photos that are not those that were taken."""
    return [
        Doubt("photo", say("doubts.not_the_one", **{k: one[k] for k in ("what", "line", "file")}),
              one["line"] - 1, 0)
        for one in beside if one["state"] == "changed"
    ]  # fmt: skip


def _state(history: JobHistory, chain: str, waits: bool) -> list[str]:
    """Where the job stands, most important first; `waits`: a question of the lead is open."""
    signed = "signed" if history.signed_off else "left" if history.closed else "not_signed"
    if history.closed is None and chain == "bad":
        signed = "sign_off_not_proven"
    answered = history.standing == "question" and not waits
    lead = ["answered" if answered else history.standing or "none"]
    lead += ["question"] if waits else []
    return [_say(signed), ", ".join(_say(f"lead.{one}") for one in dict.fromkeys(lead))]


def _verdict(kept: ReadingKept | None) -> tuple[str, str]:
    """The class and the words of how a reading stands to its limits; empty without any."""
    if kept is None or not kept.decision:
        return "", ""
    style = {"in": "IN", "out": "OUT"}.get(kept.decision, "CLOSE")
    return style, _say("accepted" if kept.accepted else "verdict", verdict=kept.decision.upper())


def _rows(
    history: JobHistory, found: dict[str, ReadingKept], left: dict[str, ReadingKept], units: str
) -> Iterator[Row]:
    """As found and as left of each quantity, what each was before a correction, and the limits."""
    figures = history.opened.figures
    was = {id(r.kept): r.was for r in history.readings}
    last = last_read(history)
    names = [q for q in QUANTITIES if q in found or q in left or q in figures]
    for quantity in (*names, *(q for q in {**found, **left} if q not in QUANTITIES)):
        figure = figures.get(quantity) or LimitsKept()
        first, then = found.get(quantity), left.get(quantity)
        if first is None and then is None and quantity == BEARING_TRAVEL:
            continue
        limits = limits_of(figure, units)
        yield {
            "name": spoken_name(quantity),
            "found": first,
            "left": then,
            "found_was": was.get(id(first), ""),
            "left_was": was.get(id(then), ""),
            "last": last.get(quantity, ""),
            "limits": limits,
            "source": figure.source,
        }


def _expected(one: Compared, units: str) -> tuple[str, str, str, str]:
    """What the plan from the as-found readings led to expect, what was read at the end, and how
    far apart they are: name, planned, measured, difference."""
    differs = _apart(one.more_in, units)
    return spoken_name(one.quantity), one.planned(units), one.left.figures, differs


def _apart(difference: float, units: str) -> str:
    if abs(difference) < (_SAME_MM / 25.4 if units == "mm" else _SAME_IN):
        return _say("as_planned")
    return _say("more" if difference > 0 else "less", by=decimals(abs(difference), units))


def _beside(kept: ReadingKept, units: str) -> str:
    """A reading in the one form of the page, where it was called out in another."""
    if kept.value_in is None:
        return ""
    told = decimals(kept.value_in, units)
    return "" if told in kept.figures else f"= {told}"


def _moved(move: Move, units: str) -> tuple[Move, str, str, str, str]:
    """A move, what was moved, what was done, how far from the expected, and the drawing."""
    turn, after = move.turn, move.after
    error = ""
    if turn.ring is not None:
        lugs, what = turn.ring.moved, _say("ring")
        way = "not_moved" if not lugs else "tighter" if lugs > 0 else "looser"
        did = _say(way, lugs=many(abs(lugs), "lug"))
        predicted = turn.ring.predicted_in
        if predicted is not None and after is not None and after.kept.value_in is not None:
            error = _apart(after.kept.value_in - predicted, units)
    else:
        assert turn.linkage is not None
        step, did = turn.linkage.step, turn.linkage.what
        what = _say("by_maker") if step == "ring_plan" else step_name(step)
    return move, what, did, error, drawings.move_svg(move, f"{what}: {did}", units)


def _questions(
    history: JobHistory, path: Path, page_folder: Path, fleet: Path | None
) -> tuple[dict[str, Row], dict[int, Row]]:
    """The answers to the lead's questions on this job, by the questions' hash; and by the number of
    the event what was asked of an earlier job, where it was put or answered here."""
    if not history.questions and not any(act.act == "question" for act in history.acts):
        return {}, {}
    answers: dict[str, Row] = {}
    of_question: dict[str, Row] = {}
    for other, told in of_truck(path.parent, history.opened.unit):
        page = page_name(other, told.opened.hash) if fleet else link(other, page_folder)
        for put in told.questions:
            if put.answer is not None and put.answer.act is not None:
                row = {"text": put.answer.act.text, "at": put.answer.at[:10], "record": other.name}
                answers[put.notice.question] = {**row, "href": page, "line": put.answer.line}
        for act in told.acts:
            row = {"text": act.text, "at": act.at[:10], "record": other.name}
            of_question[act.hash] = {**row, "href": page, "line": act.line}
    asked: dict[int, Row] = {}
    for put in history.questions:
        row = of_question.get(put.notice.question, {"record": put.notice.of_record, "href": ""})
        row = {"line": put.notice.of_line or "?", **row}
        asked |= {line.n: row for line in (put.notice, put.answer) if line is not None}
    return answers, asked


def _talk(line: Any, units: str) -> Row:
    """One line as people read it; `mark` is "", "misheard", "corrected", "stop", "lead" or
    "repair"."""
    who, words = WHO.get(getattr(line, "who", ""), ""), getattr(line, "words", "")
    found: list[str] = []
    when, mark = line.clock, ""
    match line:
        case Turn():
            took = meant(line.act) if words or line.act else ""
            found = list(findings(line, units))
            stop = "stop" if line.meaning == "stop" else ""
            corrected = "corrected" if line.corrected is not None else stop
            mark = "misheard" if line.misunderstood else corrected
        case Unheard():
            words, took = guessed(line, _say("nothing_clear")), taken_for(line)
            mark = "misheard"
        case Repaired():
            took, mark = _say("torn_cut_off", bytes=line.cut_bytes or "?"), "repair"
        case LeadAct():
            when, who = line.at[:16].replace("T", " "), added_by(line)
            words, mark = line.text, "lead"
            took = f"{line.act} ({line.about})" if line.about else line.act
        case _:
            took = _say("begun") if line.kind == "opened" else line.kind
    return {"n": line.line, "when": when, "who": who, "words": words, "meant": took,
            "found": found, "said": getattr(line, "said", []), "mark": mark}  # fmt: skip
