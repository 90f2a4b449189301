"""JobHistory: a record as typed lines, and the job that they tell.

The one reader of what events hold. Lengths are inches, lugs are positive when they tighten, times
of day are as the record has them. Lines are numbered from 1, as people do; events from 0.

A member of another type than here is odd: lugcall does not write it. A reader that shows a record
to people refuses it; the index leaves the member out (`odd` tells which), or, where a line cannot
do without it, the record. Members that are not named here are passed over.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Annotated, Any, Literal, NoReturn

import msgspec

from assistant.quantity import GAP, MILES_PER, QUANTITIES
from assistant.record.chain import read_events
from assistant.record.events import Event, RecordError

Count = Annotated[int, msgspec.Meta(gt=-(1 << 62), lt=1 << 62)]
Number = Annotated[float, msgspec.Meta(gt=-1e300, lt=1e300)]


class NotOurs(RecordError):
    """A record whose chain holds, with a member that lugcall does not write."""


def refuse(name: str = "The record") -> NoReturn:
    """Raises NotOurs in one line."""
    raise NotOurs(f"{name} holds what lugcall does not write. Do not rely on it.") from None


# --- What the members of a line hold.


class Told(msgspec.Struct, gc=False):
    """One thing lugcall said; `to` is "tech", "helper" or "both"."""

    key: str
    text: str = ""
    to: str = ""
    signal: str = ""


class Understood(msgspec.Struct, gc=False):
    """What words were taken for: the fields of an `Act`."""

    meaning: str
    who: str = ""
    reading: dict[str, Any] | None = None
    quantity: str = ""
    text: str = ""
    way: str = ""
    doubt: bool = False


class HeardAs(msgspec.Struct, gc=False):
    words: str = ""
    engines: list[Any] | None = None


class EarData(msgspec.Struct, gc=False):
    """How an utterance was heard; `seconds` of decoding."""

    mic: str = ""
    decision: str = ""
    probability: Number | None = None
    seconds: Number | None = None
    alternatives: list[HeardAs | str] = []

    @property
    def guesses(self) -> list[str]:
        """The words that it may have been, the likeliest first."""
        return [a if isinstance(a, str) else a.words for a in self.alternatives]


class LimitsKept(msgspec.Struct, gc=False):
    """The limits of a figure, and whose it is."""

    low_in: Number | None = None
    high_in: Number | None = None
    source: str = ""


class JudgedKept(LimitsKept, gc=False):
    """A reading against its limits: "in", "out" or "too close"; `probability` of being in."""

    decision: str = ""
    probability: Number = 0.0


class ReadingKept(msgspec.Struct, gc=False):
    """A reading as the record keeps it.

    `stage` is "found", "ring", "set", "final" or "due"; the lengths, inches, are None for a count,
    of which `kind` is the unit. `accepted` is why it was accepted although not clearly in, where
    this line tells it.
    """

    stage: str
    quantity: str
    who: str = ""
    figures: str = ""
    value_in: Number | None = None
    low_in: Number | None = None
    high_in: Number | None = None
    count: Number | None = None
    kind: str = ""
    judged: JudgedKept | None = None
    accepted: str = ""

    @property
    def decision(self) -> str:
        """ "in", "out", "too close", or "" without limits."""
        return "" if self.judged is None else self.judged.decision

    @property
    def interval(self) -> tuple[float, float, float] | None:
        """Value, low and high of a length, inches; None for a count."""
        if self.value_in is None or self.low_in is None or self.high_in is None:
            return None
        return self.value_in, self.low_in, self.high_in

    @property
    def miles(self) -> float | None:
        """An odometer's count in miles; None where there is none."""
        return None if self.count is None else self.count * MILES_PER.get(self.kind, 1.0)


class Correction(msgspec.Struct, gc=False):
    was: ReadingKept
    now: ReadingKept = msgspec.field(name="is")


class RingTurned(msgspec.Struct, gc=False):
    """Lugs told and moved, all so far, and the gap expected after, inches."""

    told: Count
    moved: Count
    total: Count
    predicted_in: Number | None = None


class LinkageChanged(msgspec.Struct, gc=False):
    """A change on rod or stop bolt, in words, at a step."""

    step: str
    what: str


class GapTells(msgspec.Struct, gc=False):
    """What the ring really did, by the gap read after it."""

    kind: str
    probability: Number
    lugs_moved: Count
    predicted_in: Number
    measured_in: Number


class ClipKept(msgspec.Struct, gc=False):
    """Where the sound of a reading is, beside the record; or why it was `lost`."""

    file: str = ""
    sha256: str = ""
    seconds: Number = 0.0
    lost: str = ""


class CardKept(msgspec.Struct, gc=False):
    """The card a job was opened with; its text is empty for common practice."""

    name: str = ""
    text: str = ""


class NoteKept(msgspec.Struct, gc=False):
    text: str
    who: str = ""


class PersonKept(msgspec.Struct, gc=False):
    """Who went on with the job: "tech" or "helper", and the code, "" where none was said."""

    who: str
    code: str = ""


class LeftUndone(msgspec.Struct, gc=False):
    """How a job was left that was closed unfinished, in words; `at` is the step it stood at, `rest`
    what is left to do, or ""; `ring` what is known of its moves, or ""; `wedges` that those of
    a new clutch are in, or ""."""

    why: str
    at: str
    pedal: str
    lock: str
    cover: str
    tag: str
    key: str
    rest: str = ""
    ring: str = ""
    wedges: str = ""


class FirstSetUp(msgspec.Struct, gc=False):
    """What was fitted new and set up first: `new` is "clutch", "brake" or "both"; `wedges`: how
    many shipping wedges and holding bolts came out, where they were counted."""

    new: str
    wedges: Count | None = None


class DueKept(msgspec.Struct, gc=False):
    """The next check: `kind` is the unit of the count."""

    count: Number
    kind: str = ""

    @property
    def miles(self) -> float:
        """The count in miles."""
        return self.count * MILES_PER.get(self.kind, 1.0)


# --- The lines of a record.

_OFF_WAY = ("halted", "repair")
LED_ON = "led on"
"""Text of a "carry on" after which the job went on, also where the helper had stopped it: records
hold it of a time when nobody asked him first."""
_NO_ANSWER = ("stop", "carry_on", "resumed", "back", "unclear")


class Line(msgspec.Struct, gc=False):
    """What all lines have: number of the event, time as written and in microseconds of UTC since
    1970, what kind of event it is, and its hash."""

    n: int = msgspec.field(default=0, name="#n")
    at: str = msgspec.field(default="", name="#at")
    us: int = msgspec.field(default=0, name="#us")
    kind: str = msgspec.field(default="", name="#kind")
    hash: str = msgspec.field(default="", name="#hash")

    @property
    def line(self) -> int:
        """Its number, from 1."""
        return self.n + 1

    @property
    def clock(self) -> str:
        """Hours, minutes and seconds, local."""
        return self.at[11:19]

    @property
    def time(self) -> datetime:
        return datetime.fromisoformat(self.at)


class Opened(Line, gc=False):
    format: str = ""
    said: list[Told] = []
    unit: str = ""
    lugcall: str = ""
    dialogs: str = ""
    card: CardKept = msgspec.field(default_factory=CardKept)
    figures: dict[str, LimitsKept] = {}
    full: bool = False
    rules: int = 0
    """See `job.state.RULES`."""


class Turn(Line, kw_only=True, gc=False):
    """An utterance taken or asked back, or a silent act, and what it changed.

    `act` is None when it was asked back; the job stood at `step` before it and at `after` after it.
    `over`: readings not taken again, since nothing moved them. `hold` is what the pedal came to:
    "asked", "held", "doubted", "releasing", "up" or "unsure".
    """

    who: str
    words: str
    step: str
    after: str
    said: list[Told]
    act: Understood | None = None
    ear: EarData | None = None
    taken: ReadingKept | None = None
    over: list[ReadingKept] = []
    corrected: Correction | None = None
    clip: ClipKept | None = None
    ring: RingTurned | None = None
    linkage: LinkageChanged | None = None
    finding: GapTells | None = None
    person: PersonKept | None = None
    hold: str | None = None
    hands: str | None = None

    def __post_init__(self) -> None:
        if self.act is not None and self.act.meaning == "carry_on" and self.after != "halted":
            self.act.text = LED_ON

    @property
    def meaning(self) -> str:
        """The meaning of its act, or ""."""
        return "" if self.act is None else self.act.meaning

    @property
    def moved(self) -> bool:
        """Whether the job stood elsewhere after it."""
        return self.after != self.step

    @property
    def takes_on(self) -> bool:
        """Whether its words took the job on: no stop, no way back, nothing but an answer."""
        taken = self.act is not None and self.act.meaning not in _NO_ANSWER
        return bool(self.words) and taken and self.moved and self.after not in _OFF_WAY

    @property
    def misunderstood(self) -> bool:
        """Whether words came and were not taken: not clear, or asked back."""
        return bool(self.words) and self.meaning in ("", "unclear")


class Unheard(Line, kw_only=True, gc=False):
    """Speech that was not taken."""

    step: str
    who: str
    said: list[Told]
    ear: EarData | None = None


class Notice(Line, gc=False):
    """Something told beside the procedure; also what an event of an unknown kind has in common.

    Where it put a lead's `question` to the technician, that is the hash of the question's line,
    `of_line` its number, from 1, and `of_record` the name of its file.
    """

    step: str = ""
    said: list[Told] = []
    who: str = ""
    words: str = ""
    question: str = ""
    of_record: str = ""
    of_line: str = ""


class Repaired(Line, gc=False):
    """A torn last line was cut off here."""

    cut_bytes: int | None = None


class LeadAct(Line, gc=False):
    """An act of the lead; `lead` is a code. `data` is all of it, whatever a version adds."""

    lead: str = ""
    text: str = ""
    about: str = ""
    data: dict[str, Any] = msgspec.field(default_factory=dict, name="#data")

    @property
    def act(self) -> str:
        """ "reviewed", "question", "accepted", "reopened", "withdrawn", or another version's."""
        return self.kind.removeprefix(LEAD)


class Closed(Line, kw_only=True, gc=False):
    """The sign-off; or, with `unfinished`, how the job was left. `lugs_by_gap` is as `lugs` where
    it is not told. `people`: who went on with it, in order. `fitted`: "clutch", "brake" where new;
    `ring_left`: lugs left on the ring as left, where somebody looked or the clutch is new."""

    code: str
    as_found: dict[str, ReadingKept]
    as_left: dict[str, ReadingKept]
    lugs: Count
    ring_moves: list[Any]
    linkage: list[LinkageChanged]
    doubts: list[str]
    notes: list[NoteKept]
    next_due: DueKept | None = None
    lugs_by_gap: Count | None = None
    unfinished: LeftUndone | None = None
    people: list[PersonKept] = []
    fitted: list[str] = []
    first_set_up: FirstSetUp | None = None
    ring_left: Count | None = None

    @property
    def by_gap(self) -> int:
        """Lugs moved as the gap readings say."""
        return self.lugs if self.lugs_by_gap is None else self.lugs_by_gap


LEAD = "lead-"
LINE = re.compile(r"\bline (\d{1,9})\b", re.ASCII | re.IGNORECASE)
"""How the text that a lead's act is about names a line of the record."""
ACTS = ("reviewed", "question", "accepted", "reopened")
"""What a lead can do; an act of another version does not change how the job stands."""
WITHDRAWN = "withdrawn"
"""The act that takes his open questions on a job back, or the one of the line that it names."""
_SHAPES: dict[str, type[Line]] = {
    "opened": Opened, "turn": Turn, "unheard": Unheard, "notice": Notice, "repaired": Repaired,
    "closed": Closed,
}  # fmt: skip
# Types are prepared here: msgspec crashes if two threads prepare the same one at once.
for _shape in (*_SHAPES.values(), LeadAct):
    msgspec.json.Decoder(_shape)


def line_of(event: Event, odd: list[str]) -> Any:
    """An event as a typed line; what is odd and left out is added to `odd`.

    Members that are not asked for are passed over, whatever they hold.

    Raises:
        NotOurs: a line of this kind cannot do without what is odd or missing.
    """
    kind, data, lead = event.kind, event.data, event.kind.startswith(LEAD)
    shape: Any = LeadAct if lead else _SHAPES.get(kind, Notice)
    places: list[str] = []
    try:
        line = msgspec.convert(data, shape)
    except msgspec.ValidationError as error:
        line = _without_odd(data, shape, error, places)
        if not lead and kind in _SHAPES:
            odd += (f"line {event.n + 1}, {place}" for place in places)
    line.n, line.at, line.kind, line.hash = event.n, event.at, kind, event.hash
    line.us = micros(event.at)
    if lead:
        line.data = data
    return line


_PLACE = re.compile(r"\.(\w+)|\[(\d+)\]")
_MOST_ODD = 200


def _without_odd(
    data: dict[str, Any], shape: type[Line], error: msgspec.ValidationError, places: list[str]
) -> Any:
    """The line without its odd members, whose places are added to `places`."""
    left = json.loads(json.dumps(data))
    for _ in range(_MOST_ODD):
        path = str(error).rpartition(" - at `$")[2].rstrip("`") if " - at `$" in str(error) else ""
        keys = [found[1] or int(found[2]) for found in _PLACE.finditer(path.split("[...]")[0])]
        if not keys:
            break
        holder: Any = left
        for key in keys[:-1]:
            holder = holder[key]
        del holder[keys[-1]]
        places.append(path.removeprefix("."))
        try:
            return msgspec.convert(left, shape)
        except msgspec.ValidationError as another:
            error = another
    refuse()


_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MICROSECOND = timedelta(microseconds=1)
_FIRST_US, _LAST_US = (
    (end.replace(tzinfo=UTC) - _EPOCH) // _MICROSECOND for end in (datetime.min, datetime.max)
)


def micros(at: str) -> int:
    """Microseconds since 1970 in UTC of a time as records write it: where its offset takes it out
    of the calendar, which is of the years 1 to 9999, the calendar's end.

    Raises:
        ValueError: there is no such day or offset.
    """
    return min(max((datetime.fromisoformat(at) - _EPOCH) // _MICROSECOND, _FIRST_US), _LAST_US)


# --- The job that the lines tell.


class ReadingTaken(msgspec.Struct, gc=False):
    """A reading in the job, and what became of it.

    Attributes:
        kept: as the record has it.
        turn: where it was taken, or put right.
        was: its figures before a correction ("?" if not known), or "".
        replaced: the next one in `JobHistory.readings` is its correction.
        reason: why it was accepted although not clearly in, by a later line; or "".
    """

    kept: ReadingKept
    turn: Turn
    was: str = ""
    replaced: bool = False
    reason: str = ""


class Move(msgspec.Struct, gc=False):
    """One move of ring, rod or stop bolt.

    Attributes:
        turn: where it was recorded; its `ring` or `linkage` says what was moved.
        quantity: the reading that it is made for, or "".
        before, after: the last reading of that before it, and the first after it and before the
            next move.
        finding: what a ring move really did, by the first gap read after it.
        recount: it is the count of the ring move before it, corrected: nobody pressed in between.
    """

    turn: Turn
    quantity: str
    before: ReadingTaken | None = None
    after: ReadingTaken | None = None
    finding: GapTells | None = None
    recount: bool = False


class PedalHold(msgspec.Struct, gc=False):
    """One time the pedal was to be held; None: it did not come so far.

    `end` is "released", "lost" (let up, or not sure, before it was asked for), "stopped" (somebody
    said stop) or "open" (the record ends here). Where it was held without being asked for, `asked`
    is `held`.
    """

    asked: Turn
    held: Turn | None = None
    told: Turn | None = None
    ended: Turn | None = None
    end: Literal["released", "lost", "stopped", "open"] = "open"

    @property
    def last(self) -> Turn:
        return self.ended or self.told or self.held or self.asked

    @property
    def seconds(self) -> float | None:
        """How long the pedal was down, or None when that is not known."""
        if self.held is None or self.ended is None:
            return None
        return max(0.0, (self.ended.us - self.held.us) / 1e6)


class CautionGiven(msgspec.Struct, gc=False):
    """A caution and, unless None, the turn that answered it.

    It is answered by the first words after it, of the one it was said to, that take the job on. A
    stop, a question, or words not understood do not count.
    """

    line: Line
    told: Told
    answer: Turn | None = None


class QuestionPut(msgspec.Struct, gc=False):
    """A lead's question that was put to the technician, and the note that answered it, or None.

    Each note answers the first question that has no answer yet.
    """

    notice: Notice
    answer: Turn | None = None


_FIXES = {q.fix: q.name for q in QUANTITIES.values() if q.fix}


def meant_by(about: str, asked: Iterable[int]) -> set[int]:
    """Of the lead's questions, by their numbers from 0, the one on the line that a text names, or
    all where it names none."""
    line = LINE.search(about)
    return {n for n in asked if line is None or n + 1 == int(line[1])}


class JobHistory:
    """One job, from the lines of its record in their order.

    Attributes:
        lines: all of them; `turns` and `acts` (of the lead) are among them.
        problem: what is wrong after the last line, or None.
        odd: what was left out as odd: "line 7, act.text".
        opened: the first line.
        closed: the sign-off, or that it was closed unfinished; or None.
        readings: in the order they were taken; a correction stands right after what it replaced.
        moves, holds, cautions, questions: in order.
    """

    def __init__(
        self, lines: Iterable[Any] = (), problem: str | None = None, odd: Iterable[str] = ()
    ) -> None:
        self.lines: list[Any] = []
        self.problem = problem
        self.odd = list(odd)
        self.opened = Opened()
        self.closed: Closed | None = None
        self.turns: list[Turn] = []
        self.acts: list[LeadAct] = []
        self.readings: list[ReadingTaken] = []
        self.moves: list[Move] = []
        self.holds: list[PedalHold] = []
        self.cautions: list[CautionGiven] = []
        self.questions: list[QuestionPut] = []
        self._unanswered: list[CautionGiven] = []
        for line in lines:
            self.take(line)
        self.settle()

    @classmethod
    def of(cls, events: Sequence[Event], problem: str | None = None) -> JobHistory:
        """For showing it to people. Raises NotOurs where there is something odd in it."""
        odd: list[str] = []
        lines = [line_of(event, odd) for event in events]
        if odd:
            refuse()
        return cls(lines, problem)

    @classmethod
    def read(cls, path: Path) -> JobHistory:
        """A record's, up to its first damage. Reads only; one still being written is fine.

        Raises:
            RecordError: not one good line is in it, or something odd; names the file.
        """
        events, problem = read_events(path)
        if not events:
            raise RecordError(f"{path.name}: {problem or 'it is empty'}")
        try:
            return cls.of(events, problem)
        except NotOurs:
            refuse(path.name)

    @property
    def state(self) -> Literal["open", "finished", "unfinished", "damaged"]:
        """How far it came, as far as can be relied on."""
        if self.problem:
            return "damaged"
        if self.closed is None:
            return "open"
        return "finished" if self.closed.unfinished is None else "unfinished"

    @property
    def signed_off(self) -> bool:
        """Whether it was signed off, and not closed unfinished."""
        return self.closed is not None and self.closed.unfinished is None

    @property
    def torn(self) -> bool:
        """Whether a last line that was being written is all that is wrong."""
        return " is torn (" in (self.problem or "")

    @property
    def standing(self) -> str:
        """How the lead left it: the last act, one of `ACTS`, or "" (not looked at)."""
        back = self.withdrawn
        return next((a.act for a in reversed(self.acts) if a.act in ACTS and a.n not in back), "")

    @property
    def withdrawn(self) -> set[int]:
        """The numbers, from 0, of the lead's questions in it that he took back."""
        asked, back = list[int](), set[int]()
        for act in self.acts:
            if act.act == "question":
                asked.append(act.n)
            elif act.act == WITHDRAWN:
                back |= meant_by(act.about, asked)
        return back

    @property
    def last_prompt(self) -> str:
        """The instruction that was told last, or ""."""
        told = (
            said for line in reversed(self.lines) for said in reversed(getattr(line, "said", ()))
        )
        return next((said.text for said in told if said.key.startswith("prompt:")), "")

    def last_read(self, stage: str) -> dict[str, ReadingKept]:
        """The reading of each quantity that stands in a stage."""
        standing = (r.kept for r in self.readings if not r.replaced)
        return {kept.quantity: kept for kept in standing if kept.stage == stage}

    def as_left(self) -> dict[str, ReadingKept]:
        """As the closing line has them; without one, the last readings of the last stage."""
        return self.last_read("final") if self.closed is None else self.closed.as_left

    def last_of(self) -> dict[str, ReadingTaken]:
        """Of a job that is not signed off: of each quantity not read as left, the last reading."""
        left = self.as_left()
        standing = (r for r in self.readings if not r.replaced and r.kept.quantity not in left)
        return {} if self.signed_off else {one.kept.quantity: one for one in standing}

    def misunderstood(self) -> Iterator[Turn | Unheard]:
        """Where words came and were not taken."""
        for line in self.lines:
            if line.kind == "unheard" or (line.kind == "turn" and line.misunderstood):
                yield line

    @property
    def own_lines(self) -> list[Any]:
        """The lines of the job itself: up to its sign-off, and without the lead's."""
        end = len(self.lines) if self.closed is None else self.closed.n + 1
        return [line for line in self.lines[:end] if not line.kind.startswith(LEAD)]

    def take(self, line: Any) -> None:
        """Take in the next line; after the last one, `settle` finishes."""
        self.lines.append(line)
        kind = line.kind
        if kind == "turn":
            self._turn(line)
        elif kind == "opened":
            self.opened = line
        elif kind == "closed":
            self.closed = line
            for quantity, left in line.as_left.items():
                if left.accepted and (standing := self._standing(quantity, "final")) is not None:
                    standing.reason = left.accepted
        elif kind.startswith(LEAD):
            self.acts.append(line)
            return
        elif kind == "notice" and line.question:
            self.questions.append(QuestionPut(line))
        for told in getattr(line, "said", ()):
            if told.key.startswith("caution:"):
                caution = CautionGiven(line, told)
                self.cautions.append(caution)
                self._unanswered.append(caution)

    def settle(self) -> None:
        """Find what only the whole shows: the reading after each move."""
        ends = [*(move.turn.n for move in self.moves[1:]), len(self.lines)]
        for move, after in zip(self.moves, ends, strict=False):
            move.after = next(
                (r for r in self.readings if r.kept.quantity == move.quantity and not r.replaced
                 and move.turn.n < r.turn.n < after),
                None,
            )  # fmt: skip

    def _turn(self, turn: Turn) -> None:
        self.turns.append(turn)
        if self._unanswered and turn.takes_on:
            self._answered(turn)
        if turn.taken is not None:
            self.readings.append(ReadingTaken(turn.taken, turn))
        self.readings += (ReadingTaken(kept, turn) for kept in turn.over)
        if turn.corrected is not None:
            self._corrected(turn, turn.corrected)
        if turn.act is not None and turn.act.meaning == "note" and turn.act.text:
            put = next((one for one in self.questions if one.answer is None), None)
            if put is not None:
                put.answer = turn
        if turn.act is not None and turn.act.meaning == "accept" and turn.moved:
            standing = self._standing()
            if standing is not None and standing.kept.decision != "in":
                standing.reason = turn.act.text or "no reason given"
        self._moved(turn)
        if turn.hold is not None:
            self._hold(turn, turn.hold)

    def _moved(self, turn: Turn) -> None:
        if turn.ring is not None:
            self._ring(turn, turn.ring)
        if turn.linkage is not None:
            quantity = _FIXES.get(turn.linkage.step, "")
            before = self._standing(quantity) if quantity else None
            self.moves.append(Move(turn, quantity, before))
        if turn.finding is not None:
            ring = next((m for m in reversed(self.moves) if m.turn.ring is not None), None)
            if ring is not None and ring.finding is None:
                ring.finding = turn.finding

    def _answered(self, turn: Turn) -> None:
        others = {"tech", "helper"} - {turn.who}
        for caution in self._unanswered:
            if caution.told.to not in others:
                caution.answer = turn
        self._unanswered = [c for c in self._unanswered if c.answer is None]

    def _corrected(self, turn: Turn, change: Correction) -> None:
        was, new = change.was, ReadingTaken(change.now, turn, change.was.figures or "?")
        for place in reversed(range(len(self.readings))):
            old, kept = self.readings[place], self.readings[place].kept
            same = kept.quantity == was.quantity and kept.stage == was.stage
            if same and kept.figures == was.figures and not old.replaced:
                old.replaced = True
                # In its place, so that it does not pass for a reading taken later.
                self.readings.insert(place + 1, new)
                return
        self.readings.append(new)

    def _standing(self, quantity: str = "", stage: str = "") -> ReadingTaken | None:
        """The last reading that stands, of a quantity and a stage where they are given."""
        for reading in reversed(self.readings):
            kept = reading.kept
            fits = quantity in ("", kept.quantity) and stage in ("", kept.stage)
            if fits and not reading.replaced:
                return reading
        return None

    def _ring(self, turn: Turn, ring: RingTurned) -> None:
        last = self.moves[-1] if self.moves else None
        recount = False
        if last is not None and last.turn.ring is not None:
            pressed = any(h.held is not None and h.held.n > last.turn.n for h in self.holds)
            recount = last.turn.ring.told == ring.told and not pressed
        self.moves.append(Move(turn, GAP, self._standing(GAP), recount=recount))

    def _hold(self, turn: Turn, state: str) -> None:
        if state == "asked" or not self.holds or self.holds[-1].ended is not None:
            if state in ("asked", "held"):
                self.holds.append(PedalHold(turn, turn if state == "held" else None))
            return
        hold = self.holds[-1]
        if state == "held":
            hold.held = hold.held or turn
        elif state == "releasing":
            hold.told = turn
        elif state == "up":
            hold.ended, hold.end = turn, "released"
        elif state == "unsure":
            hold.ended, hold.end = turn, "stopped" if turn.meaning == "stop" else "lost"
