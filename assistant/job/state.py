"""What a job knows, of the truck and of itself; everything computed is derived from it.

A corrected reading is replaced where it stands, so whatever depended on it comes out new the next
time it is asked for. A ring move is never taken out again.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Hashable
from dataclasses import dataclass, field
from functools import partial
from typing import Any

from assistant.card import Card
from assistant.card.show import limit_text
from assistant.clutch.conformity import DEFAULT_FIGURES, Judgement, Limits, Measured, judge
from assistant.clutch.equations import Setting
from assistant.clutch.possible import Contradiction, contradiction
from assistant.hazards import Hazards
from assistant.job import plan_words
from assistant.job.plan import Plans
from assistant.quantity import (
    CLEARANCE,
    FREE_TRAVEL,
    GAP,
    JUDGED,
    LUGS,
    NEVER_TOUCHED,
    QUANTITIES,
    RING,
    RING_LEFT,
    ROD,
    STOPS,
)
from assistant.sentences import Both
from assistant.texts.dialogs import Dialogs, Step

HALTED, REPAIR, SIGNED = "halted", "repair", "signed_off"
LEAVING, LEFT = "leaving", "left_unfinished"
"""Where a job may stand besides its steps; `LEAVING` while it is closed unfinished, then `LEFT`."""

RULES = 3
"""By which a job goes on, kept with its record, so that one of an earlier time goes on by its own.
1: who goes on, whether the helper is there and the key below is answered first, and a reading that
does not repeat the one before is read again. 2: what was fitted new is set up first, in steps of
its own. 3: a reading is read again until two agree, a clearance also where only the pedal's stop
was moved; a stop or rod that a correction leaves nothing to do for is left."""
NOTHING = Setting()
"""No adjuster moved."""
NOMINAL_IN = 0.001
"""A reading this near to a figure reads that figure."""
CRITICAL = (GAP, CLEARANCE, FREE_TRAVEL, LUGS, RING_LEFT)
"""Readings that drive a move, so that they are always read back."""


@dataclass
class Taken:
    """One reading as it was taken. Lengths in inches."""

    step: str
    stage: str
    quantity: str
    who: str
    value_in: float | None
    low_in: float | None
    high_in: float | None
    count: float | None
    kind: str
    readback: str
    figures: str
    accepted: str = ""
    """Why it stands although it is not clearly in, or ""."""
    tips_in: tuple[float, ...] = ()
    """Fork clearance at the left and at the right tip, where both were read."""
    over: bool = False
    """It was not read again: nothing that moves it was touched since it was."""
    instead: Taken | None = None
    """What it was read to be later, twice, though nothing that moves it was touched since: it was
    misread."""

    @classmethod
    def of(cls, step: str, stage: str, quantity: str, who: str, reading: dict[str, Any]) -> Taken:
        """From the fields that the record keeps of a reading."""
        keys = ("value_in", "low_in", "high_in", "count", "kind", "readback", "figures")
        return cls(step, stage, quantity, who, *(reading.get(k) for k in keys))  # type: ignore[arg-type]

    @property
    def both(self) -> Both:
        """The reading in figures, which know their words."""
        return Both(self.figures, self.readback)

    @property
    def measured(self) -> Measured:
        """Value with standard uncertainty, inches."""
        assert self.value_in is not None and self.low_in is not None and self.high_in is not None
        return Measured.from_interval(self.value_in, self.low_in, self.high_in)

    @property
    def is_length(self) -> bool:
        """Whether it tells how long something is."""
        return self.value_in is not None and (self.quantity, self.high_in) != NEVER_TOUCHED

    @property
    def critical(self) -> bool:
        """Whether it drives a move or the sign-off, so that it must be confirmed."""
        return self.stage in ("ring", "set", "final") or self.quantity in CRITICAL


@dataclass
class RingMove:
    """One move of the ring: lugs, positive tightens. `at`: how many readings came before it."""

    told: int
    moved: int
    at: int


@dataclass
class LinkageMove:
    """One change on rod or stop: what was told, and how many readings came before it.

    `clearance_in`: how far a rod moved the fork, `stop_in` a stop the pedal, inches: as told, or as
    the reading after it showed. `steps`: flats of the rod, or steps of the stop; `other`: they
    moved it by another way than the card's thread or lever says.
    The maker's own procedure on a clutch that adjusts itself is kept as one too.
    """

    step: str
    what: str
    clearance_in: float
    at: int
    stop_in: float = 0.0
    steps: int = 0
    other: bool = False
    told_in: float | None = None
    """What was told, before a reading showed another."""
    remark: str = ""
    idle: int = 0
    """How it counts in `Facts.idle`."""

    @property
    def adjuster(self) -> str:
        """What it moved: `RING`, `ROD` or `STOPS`."""
        return ROD if self.step.endswith("_rod") else RING if self.step == "ring_plan" else STOPS

    @property
    def did_in(self) -> float:
        """How far it moved its part."""
        return self.stop_in if self.adjuster == STOPS else self.clearance_in

    def did(self, moved_in: float) -> None:
        """It moved its part so far."""
        if self.adjuster == STOPS:
            self.stop_in = moved_in
        else:
            self.clearance_in = moved_in


@dataclass(frozen=True, slots=True)
class Closing:
    """A job that is to be closed unfinished.

    Attributes:
        came: where it stood.
        why: why, in words, or "".
        clear: hands were called clear since it was last entered.
        lock, cover, tag: the answers so far, by the keys of `state` in unfinished.toml, or "";
            `cover` is "off" till it is said whether the hole is marked.
        rest: what is left, in words; "" without any, None before it was asked.
        begun: something was put away for it: there is no way back into the job.
    """

    came: str
    why: str = ""
    clear: bool = False
    lock: str = ""
    cover: str = ""
    tag: str = ""
    rest: str | None = None
    begun: bool = False


@dataclass
class Facts:
    """What is known of the truck."""

    card: Card
    readings: list[Taken] = field(default_factory=list)
    moves: list[RingMove] = field(default_factory=list)
    linkage: list[LinkageMove] = field(default_factory=list)
    notes: list[tuple[str, str]] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)
    """What the lead should see besides accepted readings: see `doubts`."""
    hazards: Hazards = field(default_factory=Hazards)
    """What can hurt somebody: pedal, foot, hands, cover, lock plate, key."""
    turning: bool = False
    """The ring is being turned and no count has been said yet."""
    left: set[str] = field(default_factory=set)
    """Quantities whose change was left undone: no further change is proposed for them."""
    insisted: set[str] = field(default_factory=set)
    """Quantities that the technician wants moved although they are not out."""
    again: bool = False
    """The ring is to be moved although the gap is right: the rest could not be in otherwise."""
    told: Setting = NOTHING
    """What of the plan that was told is still to be done: see `plan_words`."""
    first: Setting | None = None
    done: Setting = NOTHING
    given_up: tuple[str, ...] = ()
    reopened: set[str] = field(default_factory=set)
    """Quantities whose reading was accepted as it was, and was asked for once more."""
    reread: set[str] = field(default_factory=set)
    """Quantities read again since their readings could not all be true."""
    idle: Counter[str] = field(default_factory=Counter)
    """How often a change of a step had no effect."""
    code: str = ""
    people: list[tuple[str, str]] = field(default_factory=list)
    """Who went on with the job: "tech" or "helper", and the code, "" where none was said."""
    fitted: dict[str, int] = field(default_factory=dict)
    """What is new of `interlocks.FITTED`, and how many readings came before it was said."""
    new: str = "nothing"
    """What of it is set up first in this job, of `texts.dialogs.NEW`."""
    new_from: int = 0
    """How many readings came before that set-up: they are of the old parts, or of parts that had
    not seated."""
    wedges: int | None = None
    """How many shipping wedges and holding bolts came out of a new clutch."""
    seated: bool = False
    """What is new was worked by the pedal, so that what is read since is of parts that lie."""
    complaints: list[tuple[str, bool]] = field(default_factory=list)
    """What is complained of, by the ids of dialogs/en/causes.toml; True: since it was set."""

    def __post_init__(self) -> None:
        self.plans = Plans(self)
        self._judged: dict[Hashable, Judgement | None] = {}

    # --- readings ---

    def latest(self, quantity: str) -> Taken | None:
        """The last reading of a quantity that still describes the truck as it is now.

        What a move of ring, rod or stops has changed since (`Quantity.moved_by`) is history.
        """
        moved_by = QUANTITIES[quantity].moved_by
        since = [m.at for m in self.moves if m.moved] if RING in moved_by else []
        since += [change.at for change in self.linkage if change.adjuster in moved_by]
        since += [self.new_from] if quantity in JUDGED else []
        still = self.readings[max(since, default=0) :]
        return next((t for t in reversed(still) if t.quantity == quantity), None)

    def staged(self, quantity: str, stage: str) -> Taken | None:
        """The last reading of a quantity in one stage ("found", "ring", "set", "final")."""
        for taken in reversed(self.readings):
            if taken.quantity == quantity and taken.stage == stage:
                return taken
        return None

    def as_found(self, quantity: str) -> Taken | None:
        """The as-found reading; where it was misread, what it was read to be later."""
        taken = self.staged(quantity, "found")
        return taken.instead if taken is not None and taken.instead is not None else taken

    def lengths(self, stage: str = "") -> dict[str, Measured]:
        """The lengths of one stage, or those that still describe the truck as it is now."""
        read = self.as_found if stage == "found" else partial(self.staged, stage=stage)
        taken = (read(q) if stage else self.latest(q) for q in QUANTITIES)
        return {t.quantity: t.measured for t in taken if t is not None and t.is_length}

    # --- judging ---

    def figure(self, quantity: str) -> Limits | None:
        """The limits to judge by: the card's, or common practice, or none."""
        return self.card.figures.get(quantity)

    def limits(self, quantity: str) -> Both:
        """They in figures: `1/2 in to 9/16 in`; "?" without any."""
        figure = self.figure(quantity)
        return Both("?") if figure is None else limit_text(figure, self.card.units)

    def judged(self, taken: Taken) -> Judgement | None:
        """In, out or too close to call; None without a figure. Each reading is judged once."""
        key = (taken.quantity, taken.value_in, taken.low_in, taken.high_in)
        if key not in self._judged:
            figure = self.figure(taken.quantity) if taken.value_in is not None else None
            self._judged[key] = judge(taken.measured, figure) if figure else None
        return self._judged[key]

    def decided(self, quantity: str) -> str:
        """How the reading that still holds was judged: "in", "out", "too close"; "" without."""
        taken = self.latest(quantity)
        judgement = self.judged(taken) if taken is not None else None
        return judgement.decision if judgement is not None else ""

    def gap_right(self) -> bool:
        """Whether the gap as it is now was read and is in, or too close and accepted."""
        gap = self.latest(GAP)
        decision = self.decided(GAP)
        if self.again:
            return False
        return decision == "in" or bool(decision == "too close" and gap and gap.accepted)

    def left_alone(self) -> set[str]:
        """Quantities that stay as they are: accepted so, or their change left undone."""
        held = (self.latest(q) for q in JUDGED if q != GAP)
        return {t.quantity for t in held if t is not None and t.accepted} | (self.left - {GAP})

    @property
    def doubts(self) -> list[str]:
        """What the lead should look at: accepted readings that still stand, and remarks.

        They stand so in the record, and `review` knows them by their first words.
        """
        accepted = []
        for quantity in dict.fromkeys(t.quantity for t in self.readings):
            taken = self.latest(quantity)
            if taken is not None and taken.accepted:
                accepted.append(f"{quantity} {taken.figures} accepted: {taken.accepted}")
        _, found = self.plans.findings()
        ring = [
            f"ring move {i}: {finding.kind}"
            for i, finding in enumerate(found, 1)
            if finding is not None and finding.kind != "as planned"
        ]
        quarrel = self.plans.ratios()
        ratios = []
        if quarrel is not None and not quarrel.agree:
            ratios.append(f"pedal ratios disagree as found: {plan_words.ratios(quarrel)}")
        return [*self.remarks, *ratios, *ring, *accepted]

    def at_nominal(self, taken: Taken) -> bool:
        """Whether it reads the very figure that is aimed at, on a limit, so that no gauge at hand
        can call it."""
        figure, judgement = self.figure(taken.quantity), self.judged(taken)
        if figure is None or judgement is None or taken.value_in is None:
            return False
        usual = DEFAULT_FIGURES[taken.quantity]
        target = figure.target_in or (usual.target_in if usual is not None else None)
        near = target is not None and abs(taken.value_in - target) <= NOMINAL_IN
        near = near and figure.miss_in(taken.value_in) <= NOMINAL_IN
        return near and judgement.decision == "too close"

    def contradiction(self) -> Contradiction | None:
        """Readings that hold now and cannot all be true; None where all were read again too."""
        held = {q: t for q in JUDGED if (t := self.latest(q)) is not None and t.is_length}
        read = {q: (t.value_in, t.low_in, t.high_in) for q, t in held.items()}
        return contradiction(read, self.card.figures, self.reread)  # type: ignore[arg-type]

    def misread(self, before: Taken, now: Taken) -> None:
        """A reading that the two after it do not repeat was misread; not so where it was itself
        read more than once: then something moved."""
        earlier = self.readings[: self.plans.place(now)]
        since = [t for t in earlier if t.quantity == now.quantity and not t.over]
        if since[-1:] == [before] and (len(since) < 2 or self.plans.parted(since[-2], before)):
            before.instead = self.plans.as_before(before, now)

    # --- moves ---

    def as_told(self, change: LinkageMove) -> None:
        """What a reading said of a change is forgotten: it is as told again."""
        if change.told_in is None:
            change.told_in = change.stop_in or change.clearance_in
        change.did(change.told_in)
        if change.remark:
            self.remarks.remove(change.remark)
        self.idle[change.step] -= change.idle
        change.remark, change.idle, change.other = "", 0, False

    def works(self, change: LinkageMove) -> None:
        """Its part does move something: that an earlier change of it did not counts no more."""
        for one in self.linkage:
            if one.step == change.step or one.adjuster == change.adjuster == ROD:
                self.idle[one.step] -= one.idle
                one.idle = 0

    @property
    def by_maker(self) -> bool:
        """Whether the maker's own procedure was done."""
        return any(m.step == "ring_plan" for m in self.linkage)

    @property
    def lugs_total(self) -> int:
        """Lugs moved so far, positive tightens."""
        return sum(m.moved for m in self.moves)

    @property
    def ring_left(self) -> int | None:
        """Lugs left on the ring now: as seen, or all of a new clutch's, less those moved since."""
        seen = [(i + 1, t.count) for i, t in enumerate(self.readings) if t.quantity == RING_LEFT]
        if "clutch" in self.fitted and self.card.ring_lugs is not None:
            seen.append((self.fitted["clutch"], float(self.card.ring_lugs)))
        if not seen:
            return None
        at, count = max(seen)
        return max(0, int(count or 0) - self.plans.lugs_by_gap(at))

    @property
    def changed(self) -> bool:
        """Whether ring, rod or a stop was moved since the as-found readings."""
        return bool(self.moves or self.linkage)


@dataclass(eq=False)
class JobState:
    """Where a job stands.

    Attributes:
        dialogs: its words and steps, for this kind of truck.
        facts: what is known of the truck.
        at: the step it is in, or `HALTED`, `REPAIR`, `SIGNED`. The machine sets it.
        return_to: the step that a stop came in.
        after_hold: the step that the hold is for.
        release_halted: the pedal is let up out of a stop, which then goes on.
        wanted: the step that a detour leads to.
        fix, undone: the reading just taken is to be put right; its change is left undone.
        signing: a sign-off code that was not heard well enough and waits for its "check".
        pending: a reading that was read back and waits for its "check".
        correcting: the quantity that the next reading corrects ("lugs": the count moved), or "".
        rereading: `correcting` was asked for since the readings cannot all be true.
        unlike: the readings one of which the one to be read again should repeat: the one before,
            and those that did not repeat it.
        choice: "close" or "out": a reading waits for a finer one, or to be accepted.
        alarmed: "hands out" was called since the job was stopped.
        helper_stopped: the act by which the helper stopped the job, till he says that it may go
            on; or 0.
        foot_told: the reply that told the helper last what to do with his foot in a stop.
        turn_again: the turn was broken off before its count was said: ask for all that moved.
        given: the cautions that were said already.
        ahead: steps told to be done before they were asked for.
        from_now: the distance to the next check, while the odometer it counts from is asked.
        closing: how it is being closed unfinished, if it is.
        trouble: the kind of trouble told last, and the step it was told at.
        faulty: the step at which something was not sound, till it is repaired or accepted; or "".
        found: what was told last to be wrong inside, in its words.
        handing: who ("tech", "helper") may be another person now, till the code is said; or "".
        back: what is asked then, before anybody goes under again: "helper", "key".
        away: they broke off to go away from the truck: who comes back is asked.
        rules: see `RULES`.
        gauge: "mm" or "inch" when the technician said what his gauge shows, else "".
        full: every reading that drives a move is checked, none is taken over, and every caution
            comes whole.
        counted: how many shipping wedges were said to be out, till they are checked; or "".
        just_read: the quantity just taken without a "check", which "no" still puts right; or "".
        over: the step just entered asks for a reading that still stands.
    """

    dialogs: Dialogs
    facts: Facts
    at: str
    return_to: str = ""
    after_hold: str = "ring_turn"
    release_halted: bool = False
    wanted: str = ""
    fix: bool = False
    undone: bool = False
    signing: str = ""
    pending: Taken | None = None
    correcting: str = ""
    choice: str = ""
    rereading: bool = False
    unlike: tuple[Taken, ...] = ()
    alarmed: bool = False
    helper_stopped: int = 0
    foot_told: str = ""
    turn_again: bool = False
    given: set[str] = field(default_factory=set)
    ahead: set[str] = field(default_factory=set)
    from_now: dict[str, Any] | None = None
    gauge: str = ""
    full: bool = False
    counted: str = ""
    just_read: str = ""
    over: bool = False
    closing: Closing | None = None
    trouble: tuple[str, str] = ("", "")
    faulty: str = ""
    found: str = ""
    handing: str = ""
    back: tuple[str, ...] = ()
    away: bool = False
    rules: int = RULES

    def __post_init__(self) -> None:
        self.stand()

    def stand(self) -> None:
        """Look where it stands now."""
        self.step: Step | None = self.dialogs.by_id.get(self.at)
        """None when stopped, in repair, signed off or closed unfinished."""
        self.here: Step = self.step or Step(self.at, "", self.at, "tech", "")
        """The same, or what stands for a step there: its kind is where it is."""

    def drop(self) -> None:
        """Nothing half-said is carried along."""
        self.pending, self.correcting, self.choice, self.signing = None, "", "", ""
        self.counted = ""
        self.fix, self.undone, self.from_now = False, False, None
        self.rereading, self.unlike = False, ()

    @property
    def step_id(self) -> str:
        """The step it is at, also while it is stopped there."""
        return self.return_to if self.at == HALTED else self.at

    def past_ring(self, step_id: str) -> bool:
        """Whether a step comes after the ring is done."""
        ids = list(self.dialogs.by_id)
        return step_id in ids and ids.index(step_id) >= ids.index("fork_clearance")

    def unsettled(self) -> str:
        """The first final reading that neither is in nor was accepted, or ""."""
        facts = self.facts
        for quantity in JUDGED:
            if QUANTITIES[quantity].read_at("final") not in self.dialogs.by_id:
                continue  # not on this kind of truck
            taken = facts.latest(quantity)
            if taken is None or facts.staged(quantity, "final") is not taken:
                return quantity
            judgement = facts.judged(taken)
            if judgement is not None and judgement.decision != "in" and not taken.accepted:
                return quantity
        return ""
