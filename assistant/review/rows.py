"""One record as rows of the index's tables, each a dict by column; what is not told is left out."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Any, BinaryIO

import msgspec

from assistant import named_file
from assistant.quantity import FREE_TRAVEL, GAP, ODOMETER
from assistant.record import RecordError, seal_of
from assistant.record.chain import ChainReader, Fault
from assistant.record.clips import held, noted_removed
from assistant.record.disk import reason
from assistant.record.events import MAX_LINE, VERSION, parse_quickly, version_told
from assistant.record.history import (
    ACTS,
    Closed,
    JobHistory,
    LimitsKept,
    Move,
    PedalHold,
    QuestionPut,
    ReadingTaken,
    Turn,
    Unheard,
    line_of,
)
from assistant.review.beside import trail_of
from assistant.review.columns import BROKEN
from assistant.review.doubts import doubts_of, is_long, is_open, seen_up_to, standing
from assistant.review.planned import card_of
from assistant.review.wording import Row, say

BREAK_US = 30 * 60 * 1_000_000
"""A longer silence is not time at work."""
TYPED = "typed"
_ENDED = {"released": "up", "lost": "unsure", "stopped": "unsure", "open": "open"}


@dataclass(slots=True)
class FileRead:
    """What a file is: `status` as in the table of files, what is wrong in one line, its rows by
    table (none without a job), how many events are good, the hash of the first, and their trail
    (`beside.trail_of`)."""

    status: str
    line: str = ""
    rows: dict[str, list[Row]] = field(default_factory=dict)
    events: int = 0
    opening: str = ""
    trail: str = ""


def read_file(path: Path, now_us: int) -> FileRead:
    """Read a file and check all of it, by our own clock; never raises on what it holds."""
    try:
        with named_file.opened(path) as stream:
            return _read(stream, now_us)
    except OSError as error:
        return FileRead("unreadable", say("file.unreadable", why=reason(error)[0]))


def _read(stream: BinaryIO, now_us: int) -> FileRead:
    reader = ChainReader(stream, parse_quickly)
    odd: list[str] = []
    try:
        history = JobHistory(line_of(event, odd) for event in reader)
    except (RecordError, OverflowError):
        return FileRead("foreign", say("file.not_ours"))
    fault = reader.fault
    if not history.lines:
        stream.seek(0)
        later = version_told(stream.readline(MAX_LINE)) or 0
        if later > VERSION:
            return FileRead("later", say("file.later", version=later, known=VERSION))
        if fault is None or fault.what == "not a record":
            return FileRead("foreign", fault.text if fault is not None else "not a record")
        # Its first line is that of a record: no job can be told from it, but it is no stranger.
        return FileRead(chain_word(fault), _told(fault))
    history.problem = None if fault is None else fault.text
    rows = _JobRows(history, chain_word(fault), now_us).rows
    opening = history.lines[0].hash
    rows["jobs"][0].update(head=reader.head, opening=opening)
    status = "record" if fault is None else chain_word(fault)
    trail = trail_of([line.hash for line in history.lines])
    return FileRead(status, _told(fault), rows, reader.count, opening, trail)


def chain_word(fault: Fault | None) -> str:
    """good, torn, or BROKEN CHAIN."""
    if fault is None:
        return "good"
    return "torn" if fault.what == "torn" else BROKEN


def _told(fault: Fault | None) -> str:
    if fault is None:
        return ""
    if fault.what == "torn":
        return say("file.torn", line=fault.line)
    return f"{BROKEN}: {fault.text}"


class _JobRows:
    """The `rows` of one job, by table."""

    def __init__(self, history: JobHistory, chain: str, now_us: int) -> None:
        self._job = history
        self._steps: dict[str, Row] = {}
        self._step = ""
        self._last_us = history.opened.us
        self._work_us = 0
        self._hearing: list[Row] = []
        for line in history.own_lines:
            self._line(line)
        moves, readings = _moves(history), _readings(history)
        doubts, seen = doubts_of(history, now_us), seen_up_to(history)
        unseen = [doubt for doubt in doubts if is_open(doubt, seen)]
        for step in self._steps.values():
            step["step_s"] /= 1e6
        looked_at = {
            "chain": chain, "doubts": len(doubts), "unseen": len(unseen),
            "weight": unseen[0].weight if unseen else 0,
            "reason": unseen[0].text if unseen else "", "asked": standing(history),
        }  # fmt: skip
        self.rows = {
            "jobs": [self._job_row(readings, moves) | looked_at],
            "readings": readings,
            "moves": moves,
            "holds": [_hold(hold) for hold in history.holds],
            "hearing": self._hearing,
            "steps": list(self._steps.values()),
            "cautions": _cautions(history),
            "doubts": [
                {
                    "n": d.n,
                    "at_utc": d.us,
                    "kind": d.kind,
                    "text": d.text,
                    "weight": d.weight,
                    "seen": not is_open(d, seen),
                }
                for d in doubts
            ],
            "lead_acts": _lead_acts(history),
            "answers": [_answer(put) for put in history.questions],
            "kept": _kept(history),
        }

    # --- What depends on the way of the job: line by line.

    def _line(self, line: Any) -> None:
        gone = line.us - self._last_us
        self._last_us = line.us
        if 0 < gone <= BREAK_US:
            self._work_us += gone
            if self._step:
                self._steps[self._step]["step_s"] += gone
        if line.kind == "turn":
            self._turn(line)
        elif line.kind == "unheard":
            self._utterance(line, "", True)

    def _turn(self, turn: Turn) -> None:
        if turn.words:
            self._utterance(turn, turn.meaning, turn.misunderstood)
        elif turn.step and not self._step:
            self._at(turn.step)
        there = self._at(turn.after)
        if not self._step and turn.step:
            self._at(turn.step)["visits"] += 1
        if turn.after != (self._step or turn.step):
            there["visits"] += 1
        self._step = turn.after

    def _utterance(self, line: Turn | Unheard, meaning: str, again: bool) -> None:
        step, ear = self._at(line.step), line.ear
        step["turns"] += 1
        step["say_agains"] += again
        row: Row = {
            "n": line.n, "at_utc": line.us, "step": line.step, "who": line.who,
            "microphone": TYPED, "taken": not again, "again": again, "decision": "",
            "meaning": "" if again else meaning,
            "words": getattr(line, "words", ""),
        }  # fmt: skip
        if ear is not None:
            first = ear.alternatives[0] if ear.alternatives else None
            engines = getattr(first, "engines", None)
            row.update(
                microphone=ear.mic or "unnamed", decision=ear.decision, p_heard=ear.probability,
                engines=None if engines is None else len(engines), decode_s=ear.seconds,
            )  # fmt: skip
            if again and not row["words"]:
                row["words"] = " / ".join(ear.guesses)
        self._hearing.append(row)

    def _at(self, step: str) -> Row:
        """The row of a step, made when the job first comes to it."""
        row = self._steps.get(step)
        if row is None:
            row = self._steps[step] = {
                "step": step, "place": len(self._steps), "visits": 0, "step_s": 0, "turns": 0,
                "say_agains": 0,
            }  # fmt: skip
        return row

    def _job_row(self, readings: list[Row], moves: list[Row]) -> Row:
        job, opened = self._job, self._job.opened
        ring = [move for move in moves if move["kind"] == "ring"]
        found = job.closed.as_found if job.closed else job.last_read("found")
        odometer = found.get(ODOMETER)
        held = [hold.seconds for hold in job.holds if hold.seconds is not None]
        corrections = sum(turn.corrected is not None for turn in job.turns)
        steps = self._steps.values()
        return {
            **_truck(opened.card.text),
            "unit": opened.unit, "card": opened.card.name if opened.card.text else "",
            "format": VERSION, "lugcall": opened.lugcall,
            "began_utc": opened.us, "began_local": opened.at, "ended_utc": self._last_us,
            "code": "", "step": self._step,
            "events": len(job.lines), "time_s": self._work_us / 1e6,
            "turns": sum(step["turns"] for step in steps),
            "say_agains": sum(step["say_agains"] for step in steps),
            "corrections": corrections,
            "edits": sum(heard["meaning"] in ("back", "correct") for heard in self._hearing),
            "holds": len(held), "longest_hold_s": max(held, default=None),
            "cautions": len(job.cautions), "ring_moves": len(ring),
            "odometer_miles": odometer.miles if odometer else None,
            "odometer_unit": odometer.kind if odometer else "",
            "voice": any(heard["microphone"] != TYPED for heard in self._hearing),
            "clips": sum(turn.clip is not None and bool(turn.clip.file) for turn in job.turns),
            "photos": sum(act.act == "photo" for act in job.acts),
            "lead_accepted": _accepted(job),
            "seal": seal_of(job.closed.hash) if job.closed else "",
            "unfinished": job.closed.unfinished.why if job.closed and job.closed.unfinished else "",
            **_signed_off(job.closed, readings, ring, corrections),
            **_worn(job),
            **_last(job),
        }  # fmt: skip


def _signed_off(
    closed: Closed | None, readings: list[Row], ring: list[Row], corrections: int
) -> Row:
    """Of a job's row, what its sign-off tells; before it, the lugs so far."""
    if closed is None or closed.unfinished is not None:
        told = (move.get("gap_by_lugs", move["moved_lugs"]) for move in ring)
        by_gap = sum(lugs for lugs in told if isinstance(lugs, int))
        lugs = ring[-1]["total_lugs"] if ring else 0
        kept = {} if closed is None else _kept_of(closed)
        return {"signed_off": False, "lugs": lugs, "lugs_by_gap": by_gap, **kept}
    judged = [r for r in readings if r["as_left"] and r["decision"]]
    all_in = all(r["decision"] == "in" and not r["accepted"] for r in judged)
    return {
        **_kept_of(closed), "signed_off": True, "lugs": closed.lugs, "lugs_by_gap": closed.by_gap,
        "next_due_miles": closed.next_due.miles if closed.next_due else None,
        "first_time_right": len(ring) <= 1 and not corrections and all_in,
    }  # fmt: skip


def _kept_of(closed: Closed) -> Row:
    """Who closed it, what was fitted new and what of the ring is left, finished or not."""
    fitted = " ".join(closed.fitted)
    return {"code": closed.code, "ring_left": closed.ring_left, "fitted": fitted}


def _last(job: JobHistory) -> Row:
    """Of a job's row, what was read and is not as left."""
    last = job.last_of()
    kept = {name: last.get(quantity) for name, quantity in _LENGTHS}
    return {f"{name}_last_in": one.kept.value_in for name, one in kept.items() if one is not None}


_LENGTHS = (("free", FREE_TRAVEL), ("gap", GAP))


def _worn(job: JobHistory) -> Row:
    """Of a job's row, what its wear is told from; only of one that is closed."""
    if job.closed is None:
        return {}
    limits = job.opened.figures.get(FREE_TRAVEL)
    row: Row = {"free_limit_in": None if limits is None else limits.low_in}
    for when, stage in (("found", job.closed.as_found), ("left", job.closed.as_left)):
        for name, quantity in _LENGTHS:
            kept = stage.get(quantity)
            if kept is not None:
                row |= {f"{name}_{when}_in": kept.value_in, f"{name}_{when}_low_in": kept.low_in,
                        f"{name}_{when}_high_in": kept.high_in}  # fmt: skip
    return row


def _accepted(job: JobHistory) -> str:
    """Why the lead accepted the job; "" where it was not, or was reopened after."""
    acts = (act for act in reversed(job.acts) if act.act in ("accepted", "reopened"))
    last = next(acts, None)
    return last.text if last is not None and last.act == "accepted" else ""


_FOUND = {"in": "value_in", "figures": "figures", "decision": "decision"}


def _readings(job: JobHistory) -> list[Row]:
    """As found and as left are those that stand: the last of their stage."""
    rows = [_reading(one) for one in job.readings]
    stands = {(r["stage"], r["quantity"]): r for r in rows if not r["replaced"]}
    for (stage, _), row in stands.items():
        row["as_found"], row["as_left"] = stage == "found", stage == "final"
    for quantity in {quantity for _, quantity in stands}:
        found, left = (stands.get((stage, quantity)) for stage in ("found", "final"))
        beside = left or found
        if beside is not None:
            beside["beside"] = True
            if found is not None:
                beside |= {f"found_{name}": found[of] for name, of in _FOUND.items()}
    return rows


def _reading(one: ReadingTaken) -> Row:
    kept, turn, judged = one.kept, one.turn, one.kept.judged or LimitsKept()
    return {
        "n": turn.n, "at_utc": turn.us, "step": turn.step, "stage": kept.stage,
        "quantity": kept.quantity, "who": kept.who, "value_in": kept.value_in,
        "low_in": kept.low_in, "high_in": kept.high_in, "count": kept.count,
        "count_unit": "" if kept.count is None else kept.kind, "figures": kept.figures,
        "decision": kept.decision,
        "p_in": getattr(judged, "probability", None), "limit_low_in": judged.low_in,
        "limit_high_in": judged.high_in, "limit_source": judged.source,
        "accepted": one.reason or kept.accepted, "corrects": one.was, "replaced": one.replaced,
        "as_found": False, "as_left": False, "beside": False, "found_figures": "",
        "found_decision": "", "spoken": turn.ear is not None,
        "clip": "" if turn.clip is None else turn.clip.file,
    }  # fmt: skip


def _moves(job: JobHistory) -> list[Row]:
    """Without a count of the ring that was corrected by the next."""
    counts = {"ring": 0, "linkage": 0}
    rows = []
    for place, move in enumerate(job.moves):
        if place + 1 < len(job.moves) and job.moves[place + 1].recount:
            continue
        kind = "linkage" if move.turn.ring is None else "ring"
        counts[kind] += 1
        rows.append(
            {"n": move.turn.n, "at_utc": move.turn.us, "move": counts[kind], "kind": kind,
             "finding": "", **_moved(move)}
        )  # fmt: skip
    return rows


def _moved(move: Move) -> Row:
    ring, found = move.turn.ring, move.finding
    if ring is None:
        linkage = move.turn.linkage
        return {} if linkage is None else {"step": linkage.step, "what": linkage.what}
    row: Row = {
        "step": move.turn.step,
        "what": f"{abs(ring.moved)} lugs {'looser' if ring.moved < 0 else 'tighter'}",
        "told_lugs": ring.told, "moved_lugs": ring.moved, "total_lugs": ring.total,
        "gap_before_in": None if move.before is None else move.before.kept.value_in,
        "predicted_gap_in": ring.predicted_in,
    }  # fmt: skip
    if found is not None:
        row |= {
            "predicted_gap_in": found.predicted_in, "measured_gap_in": found.measured_in,
            "error_in": found.measured_in - found.predicted_in, "finding": found.kind,
            "p_finding": found.probability, "gap_by_lugs": found.lugs_moved,
        }  # fmt: skip
    return row


def _hold(hold: PedalHold) -> Row:
    unasked = hold.asked is hold.held
    return {
        "n": (hold.held or hold.asked).n, "at_utc": hold.asked.us, "step": hold.asked.after,
        "asked_utc": None if unasked else hold.asked.us,
        "held_utc": hold.held and hold.held.us, "ended_utc": hold.ended and hold.ended.us,
        "hold_s": hold.seconds, "ended": _ENDED[hold.end],
        "long": is_long(hold.seconds),
    }  # fmt: skip


def _cautions(job: JobHistory) -> list[Row]:
    rows = []
    for one in job.cautions:
        line, told, answer = one.line, one.told, one.answer
        rows.append({
            "n": line.n, "at_utc": line.us,
            "step": getattr(line, "after", "") or getattr(line, "step", ""),
            "key": told.key.removeprefix("caution:"), "signal": told.signal, "to": told.to,
            "text": told.text, "acknowledged_by": answer.who if answer else "",
            "acknowledged_utc": answer and answer.us,
            "acknowledged_s": answer and max(0.0, (answer.us - line.us) / 1e6),
        })  # fmt: skip
    return rows


def _lead_acts(job: JobHistory) -> list[Row]:
    others = [act for act in job.acts if act.act in ACTS and act.act != "question"]
    last, back = others[-1] if others else None, job.withdrawn
    return [
        {
            "n": act.n, "at_utc": act.us, "kind": act.kind, "text": act.text, "hash": act.hash,
            "code": act.lead or str(act.data.get("code", "")), "withdrawn": act.n in back,
            "later_utc": last.us if last is not None and act.n < last.n else None,
            "data": msgspec.json.encode(act.data, order="deterministic").decode(),
        }
        for act in job.acts
    ]  # fmt: skip


def _answer(put: QuestionPut) -> Row:
    notice, answer = put.notice, put.answer
    row = {
        "n": notice.n, "at_utc": notice.us, "question": notice.question,
        "of_record": notice.of_record, "who": "", "answer": "",
        "of_line": int(notice.of_line) if notice.of_line.isdecimal() else None,
    }  # fmt: skip
    if answer is not None and answer.act is not None:
        row |= {"answer_n": answer.n, "answered_utc": answer.us, "who": answer.who,
                "answer": answer.act.text}  # fmt: skip
    return row


def _kept(job: JobHistory) -> list[Row]:
    """The clips and photos that the record holds by their hash; how they are now is not in it."""
    gone = {name for act in job.acts for name in noted_removed(act.kind, act.data)}
    clips = [(t, ("clip", t.clip.file, t.clip.sha256)) for t in job.turns if t.clip is not None]
    photos = [(act, of) for act in job.acts if (of := held(act.kind, act.data)) is not None]
    return [
        {"n": line.n, "at_utc": line.us, "what": of[0], "file": of[1], "sha256": of[2],
         "state": "", "noted": Path(of[1]).name in gone}
        for line, of in (*clips, *photos) if of[1]
    ]  # fmt: skip


@lru_cache(maxsize=16_384)
def _truck(card_text: str) -> Row:
    """What a card says of the truck."""
    if not card_text:
        usual = {"transmission": "non-synchronized", "linkage": "rod", "clutch": "manual"}
        return {**usual, "length_unit": "inch"}
    card = card_of(card_text)
    if card is None:
        return {"transmission": "", "linkage": "", "clutch": "", "length_unit": "inch"}
    lug_in = card.lug_in if "ring.lug" not in card.defaulted else None
    traits = {key: card.traits[key] for key in ("transmission", "linkage", "clutch")}
    lengths = {"lug_pitch_in": lug_in, "length_unit": card.units}
    return {**traits, **lengths, "ring_lugs": card.ring_lugs}
