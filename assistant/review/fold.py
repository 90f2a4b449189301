"""One record, event by event, into rows of the tables: nothing but dicts and lists, so that a
record being written can be put aside as JSON and gone on with where it was.

Only what concerns an event is touched, and no event is kept: a record may be of any length.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from typing import Any

import orjson

from assistant.record.events import FORMAT
from assistant.review import fold_said, fold_taken
from assistant.review.plain import number, table, text, truck, whole
from assistant.review.quick import Line
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
VISITS, STEP_S, TURNS, AGAIN = 2, 3, 4, 5
"""Places in the row of a step."""
Row = dict[str, Any]
_CARD = ("transmission", "linkage", "clutch", "lug_pitch_in", "ring_lugs")


def _row_lists() -> dict[str, list[Any]]:
    names = ("readings", "moves", "holds", "hearing", "cautions", "doubts", "lead_acts")
    return {name: [] for name in names}


@dataclass
class Fold:
    """What a record has told so far. `steps` by id; `job`: its own row; `rows` by
    table: dicts, or, of hearing and cautions, which are most of them, lists in columns' order.

    `now_us` is the reader's own clock, for records dated in the future.
    """

    now_us: int
    rows: dict[str, list[Any]] = field(default_factory=_row_lists)
    steps: dict[str, list[Any]] = field(default_factory=dict)
    job: Row = field(default_factory=dict)
    step: str = ""
    last_us: int = 0
    unanswered: list[int] = field(default_factory=list)
    """Cautions (places in their list) that nobody has answered yet."""
    ahead: bool = False

    def feed(self, line: Line) -> None:
        """Take in one event.

        Raises:
            KeyError, TypeError, ValueError, AttributeError: it holds what lugcall does not write.
        """
        n, at, now, kind, data, _ = line
        if n == 0:
            self._opened(at, now, data)
            if now < FIRST_US:
                self.doubt({"n": n, "at_utc": now}, "clock", f"line 1 is dated {at[:4]}")
        if now < self.last_us - BACK_US or now > self.now_us + AHEAD_US:
            self._clock({"n": n, "at_utc": now}, now)
        if kind.startswith("lead-"):
            self._lead({"n": n, "at_utc": now}, kind, data)
            return
        gone = now - self.last_us
        self.last_us = now
        if 0 < gone <= BREAK_US:
            self.job["time_s"] += gone / 1e6
            if self.step:
                self.steps[self.step][STEP_S] += gone / 1e6
        self.job["ended_utc"] = now
        if kind == "turn":
            fold_said.turn(self, n, now, data)
        elif kind == "unheard":
            fold_said.unheard(self, n, now, data)
        elif kind == "opened":
            fold_said.told(self, n, now, data, "")
        elif kind == "repaired":
            cut = "a torn last line was cut off and the record went on"
            self.doubt({"n": n, "at_utc": now}, "chain", cut)
        elif kind == "closed":
            self._closed({"n": n, "at_utc": now}, data)

    def doubt(self, base: Row, kind: str, words: str) -> None:
        """Add a row for the lead to look at."""
        self.rows["doubts"].append({**base, "kind": kind, "text": words})

    def put_aside(self) -> bytes:
        """All of this as JSON; `taken_up` makes it again."""
        return orjson.dumps(asdict(self))

    @classmethod
    def taken_up(cls, aside: bytes, now_us: int) -> Fold:
        """Go on with what was put aside."""
        return cls(**{**orjson.loads(aside), "now_us": now_us})

    def _opened(self, at: str, now: int, data: Row) -> None:
        card = table(data.get("card"))
        kind = truck(text(card.get("text")), text(card.get("name")))
        self.job.update(
            zip(_CARD, kind, strict=True),
            unit=text(data.get("unit")),
            card=text(card.get("name")) if card.get("text") else "",
            format=int(text(data.get("format")) .rpartition("/")[2] or FORMAT[-1]),
            lugcall=text(data.get("lugcall")),
            began_utc=now, began_local=at, ended_utc=now,
            signed_off=False, code="", time_s=0.0, turns=0, say_agains=0, corrections=0, edits=0,
            lugs=0, lugs_by_gap=0, odometer_miles=None, next_due_miles=None, voice=False, clips=0,
            first_time_right=None,
        )  # fmt: skip
        self.last_us = now

    def _clock(self, base: Row, now: int) -> None:
        if now < self.last_us - BACK_US:
            back = span((self.last_us - now) / 1e6)
            self.doubt(base, "clock", f"the clock went back {back} before line {base['n'] + 1}")
        if now > self.now_us + AHEAD_US and not self.ahead:
            self.ahead = True
            self.doubt(base, "clock", f"line {base['n'] + 1} is dated in the future")

    def at_step(self, step: str) -> list[Any]:
        """The row of a step in columns' order, made at its first visit."""
        row = self.steps.get(step)
        if row is None:
            row = self.steps[step] = [step, len(self.steps), 0, 0.0, 0, 0]
        return row

    def _closed(self, base: Row, data: Row) -> None:
        fold_taken.closed(self, data)
        due = table(data.get("next_due"))
        count, unit = number(due.get("count")), text(due.get("kind"))
        self.job.update(
            signed_off=True,
            code=text(data.get("code")),
            lugs=whole(data["lugs"]) or 0,
            lugs_by_gap=whole(data.get("lugs_by_gap", data["lugs"])) or 0,
            next_due_miles=None if count is None else count * MILES_PER.get(unit, 1.0),
        )
        for words in data.get("doubts", []):
            self.doubt(base, _sort_of(text(words)), text(words))

    def _lead(self, base: Row, kind: str, data: Row) -> None:
        code = text(data.get("lead")) or text(data.get("code"))
        words = text(data.get("text"))
        spelled = orjson.dumps(data, option=orjson.OPT_SORT_KEYS).decode()
        self.rows["lead_acts"].append(
            {**base, "kind": kind, "code": code, "text": words, "data": spelled}
        )


def _sort_of(words: str) -> str:
    if words.startswith("ring move"):
        return "ring"
    if words.startswith("pedal ratios"):
        return "ratio"
    return "accepted" if " accepted: " in words else "remark"
