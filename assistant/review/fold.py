"""One record, event by event, into rows of the tables: nothing but dicts and lists, so that a
record being written can be put aside as JSON and gone on with where it was.

Only what concerns an event is touched, and no event is kept: a record may be of any length.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import orjson

from assistant.review import fold_said, fold_taken
from assistant.review.columns import places
from assistant.review.plain import text, truck
from assistant.review.quick import Walk
from assistant.review.shapes import Closed, Opened
from assistant.review.versions import version_of
from assistant.review.worded import span

BREAK_US = 30 * 60 * 1_000_000
"""A longer silence is not time at work."""
BACK_US = 1_000_000
"""The clock may go back by so much, as clocks that are set by the network do."""
AHEAD_US = 86_400 * 1_000_000
FIRST_US = 1_577_836_800_000_000
"""2020: no record is older. A clock that lost its battery begins again long before."""
MILES_PER = {"miles": 1.0, "kilometres": 1 / 1.609344}
"""The international mile is 1609.344 m exactly."""
STEP_S = places("steps")["step_s"]
Row = dict[str, Any]
List = list[Any]
"""A row in columns' order, as the tables have it that are most of the index."""
_CARD = ("transmission", "linkage", "clutch", "lug_pitch_in", "ring_lugs")


def _row_lists() -> dict[str, list[Any]]:
    names = ("readings", "moves", "holds", "hearing", "cautions", "doubts", "lead_acts")
    return {name: [] for name in names}


@dataclass
class Fold:
    """What a record has told so far. `steps` by id; `job`: its own row; `rows` by table: dicts, or,
    of readings, hearing and cautions, lists in columns' order.

    `now_us` is the reader's own clock, for records dated in the future. Times at work are kept in
    whole microseconds, and made seconds at the end.
    """

    now_us: int
    rows: dict[str, list[Any]] = field(default_factory=_row_lists)
    steps: dict[str, List] = field(default_factory=dict)
    job: Row = field(default_factory=dict)
    step: str = ""
    last_us: int = 0
    at_work_us: int = 0
    unanswered: list[int] = field(default_factory=list)
    """Cautions (places in their list) that nobody has answered yet."""
    ahead: bool = False

    def take_in(self, walk: Walk) -> None:
        """Take in the events of a record, to its end or first fault.

        Raises:
            KeyError, TypeError, ValueError, AttributeError: it holds what lugcall does not write.
        """
        turn, unheard = fold_said.turn, fold_said.unheard
        for n, now, kind, data in walk:
            if n == 0:
                self._opened(walk, now, data)
                if now < FIRST_US:
                    self.doubt(n, now, "clock", f"line 1 is dated {walk.began[:4]}")
            gone = now - self.last_us
            if gone < -BACK_US or now > self.now_us + AHEAD_US:
                self._clock(n, now)
            if kind[:5] == "lead-":
                self._lead(n, now, kind, data)
                continue
            self.last_us = now
            if 0 < gone <= BREAK_US:
                self.at_work_us += gone
                if self.step:
                    self.steps[self.step][STEP_S] += gone
            if kind == "turn":
                turn(self, n, now, data)
            elif kind == "unheard":
                unheard(self, n, now, data)
            elif kind == "opened":
                fold_said.told(self, n, now, data.said, "")
            elif kind == "repaired":
                cut = "a torn last line was cut off and the record went on"
                self.doubt(n, now, "chain", cut)
            elif kind == "closed":
                self._closed(n, now, data)

    def doubt(self, n: int, now: int, kind: str, words: str) -> None:
        """Add a row for the lead to look at."""
        self.rows["doubts"].append({"n": n, "at_utc": now, "kind": kind, "text": words})

    def put_aside(self) -> bytes:
        """All of this as JSON; `taken_up` makes it again."""
        return orjson.dumps(self)

    @classmethod
    def taken_up(cls, aside: bytes, now_us: int) -> Fold:
        """Go on with what was put aside."""
        return cls(**{**orjson.loads(aside), "now_us": now_us})

    def _opened(self, walk: Walk, now: int, data: Opened) -> None:
        kind = truck(data.card.text, data.card.name)
        self.job.update(
            zip(_CARD, kind, strict=True),
            unit=data.unit,
            card=data.card.name if data.card.text else "",
            format=version_of(data.format),
            lugcall=data.lugcall,
            began_utc=now, began_local=walk.began, opening=walk.opening,
            signed_off=False, code="", corrections=0, edits=0,
            lugs=0, lugs_by_gap=0, odometer_miles=None, next_due_miles=None, voice=False, clips=0,
            first_time_right=None, lead_accepted="",
        )  # fmt: skip
        self.last_us = now

    def _clock(self, n: int, now: int) -> None:
        if now < self.last_us - BACK_US:
            back = span((self.last_us - now) / 1e6)
            self.doubt(n, now, "clock", f"the clock went back {back} before line {n + 1}")
        if now > self.now_us + AHEAD_US and not self.ahead:
            self.ahead = True
            self.doubt(n, now, "clock", f"line {n + 1} is dated in the future")

    def at_step(self, step: str) -> List:
        """The row of a step in columns' order, made at its first visit."""
        row = self.steps.get(step)
        if row is None:
            row = self.steps[step] = [step, len(self.steps), 0, 0, 0, 0]
        return row

    def _closed(self, n: int, now: int, data: Closed) -> None:
        fold_taken.closed(self, data)
        due = data.next_due
        miles = due.count * MILES_PER.get(due.kind, 1.0) if due and due.count is not None else None
        self.job.update(
            signed_off=True,
            code=data.code,
            lugs=data.lugs,
            lugs_by_gap=data.lugs if data.lugs_by_gap is None else data.lugs_by_gap,
            next_due_miles=miles,
        )
        for words in data.doubts:
            # What was accepted is told by its reading (`finish`), in words of the same kind.
            if " accepted: " not in words:
                self.doubt(n, now, _sort_of(words), words)

    def _lead(self, n: int, now: int, kind: str, data: Row) -> None:
        code = text(data.get("lead")) or text(data.get("code"))
        words = text(data.get("text"))
        if kind in ("lead-accepted", "lead-reopened"):
            self.job["lead_accepted"] = words if kind == "lead-accepted" else ""
        spelled = orjson.dumps(data, option=orjson.OPT_SORT_KEYS).decode()
        self.rows["lead_acts"].append(
            {"n": n, "at_utc": now, "kind": kind, "code": code, "text": words, "data": spelled}
        )


def _sort_of(words: str) -> str:
    if words.startswith("ring move"):
        return "ring"
    if words.startswith("pedal ratios"):
        return "ratio"
    return "remark"
