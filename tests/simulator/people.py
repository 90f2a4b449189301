"""The technician and the helper: they do what the screen tells, on the simulated truck.

They know the screen alone: what is expected, from whom, and the prompt's words. Now and then they
misread a gauge, turn the wrong way, or turn or say a wrong count; some of that they notice.
"""

import random
import re
from collections import Counter
from dataclasses import dataclass, field
from typing import Any

from assistant.conversation import Session
from tests.simulator import gauges
from tests.simulator.gauges import Gauge
from tests.simulator.kinds import Job

SMALL = ("gap", "clearance")
MOST = 300
"""Utterances after which a job will not end any more."""
_LENGTH = r"(?:(\d+)[- ])?(\d+)/(\d+)|(\d+(?:\.\d+)?)"


@dataclass(frozen=True)
class Habits:
    """How often each thing goes wrong, per chance that it has."""

    misread: float = 0.02
    wrong_way: float = 0.02
    wrong_count: float = 0.04
    notices: float = 0.6


CAREFUL = Habits(0.0, 0.0, 0.0)


class Unsafe(Exception):
    """The dialogue let somebody do what must not be."""


@dataclass
class Told:
    """The last reading of a quantity as it was said, inches; `wrong`: it is a misreading."""

    value: float
    gauge: Gauge
    wrong: bool


@dataclass
class Crew:
    """Two people, one truck, one job."""

    job: Job
    session: Session
    rng: random.Random
    habits: Habits
    told: dict[str, Told] = field(default_factory=dict)
    moves: Counter[str] = field(default_factory=Counter)
    mishaps: list[str] = field(default_factory=list)
    lines: list[str] = field(default_factory=list)
    doubts: list[str] = field(default_factory=list)
    said: int = 0
    given_up: str = ""
    misheard: int = 0

    def __post_init__(self) -> None:
        self.truck, self.dialogue = self.job.truck, self.session.dialogue
        self.fine = {q: self._gauge(q) for q in (*self.job.limits, "total-travel", "pedal-height")}
        self.has_dial = self.rng.random() < 0.7
        self.state = {"lock_plate": "in", "cover": "on", "pedal": "up"}
        self.tries: Counter[str] = Counter()
        self.turned, self.count, self.zeros, self.stalled = 0, 0, 0, 0
        self.late, self.at_end = "", False

    def _gauge(self, quantity: str) -> Gauge:
        if self.job.millimetres:
            return gauges.CALIPER_MM if quantity in SMALL else gauges.RULE_MM
        if quantity not in SMALL:
            return gauges.RULE16
        return self.rng.choice((gauges.RULE32, gauges.DIAL, gauges.DIAL))

    # --- a whole job ---

    def work(self) -> str:
        """Until it is signed off or closed unfinished: "signed", "left", or "stuck"."""
        while not self.dialogue.finished:
            if self.said >= MOST or self.stalled >= 12:
                return "stuck"
            before = self._where()
            who, words = self._next()
            self._say(who, words)
            self.stalled = 0 if self._where() != before else self.stalled + 1
        return "left" if "unfinished" in self.dialogue.at else "signed"

    def _where(self) -> object:
        d, facts = self.dialogue, self.session.job.facts
        kept = [(t.quantity, t.value_in, t.accepted) for t in facts.readings]
        held = d.pending and (d.pending.quantity, d.pending.figures)
        return d.at, held, d.choosing, d.expects(), d.allowed(), kept, d.telling

    def _say(self, who: str, words: str) -> None:
        self.said += 1
        replies = self.session.hear(who, words)
        self.lines.append(f"{self.dialogue.at}: {who}: {words}")
        self.lines += [f"    {one.to}: {one.text}" for one in replies]

    def _next(self) -> tuple[str, str]:
        d = self.dialogue
        if self.stalled >= 3:
            if hint := re.findall(r"[Ss]ay ([a-z ]+)[.;,]", self._screen()):
                return d.whose(), self.rng.choice(hint)
            return d.whose(), self.rng.choice([*self._phrases(), "carry on"])
        if d.at == "leaving":
            return self._leaving()
        if d.allowed() == ["foot_off"]:
            return "helper", "foot off"
        if d.handing:
            return d.handing, "code 12"
        if d.pending is not None:
            return self._check()
        if self.late and not d.correcting and d.last_quantity() == self.late:
            quantity, self.late = self.late, ""
            return d.whose(), "correction " + self._read(quantity, self.told[quantity].gauge, 0.0)
        if d.choosing:
            return self._choose()
        return self._at_step()

    def _screen(self) -> str:
        return " ".join(one.text for one in self.dialogue.prompt())

    def _phrases(self) -> list[str]:
        words = self.dialogue.dialogs.words
        return [words[meaning].phrases[0] for meaning in self.dialogue.allowed()]

    # --- readings ---

    def _read(self, quantity: str, gauge: Gauge, misread: float | None = None) -> str:
        """Look at the gauge, and the words for it."""
        if self.session.asked is not None and quantity in self.told:  # not understood: in figures
            return gauges.plain(self.told[quantity].value, self.told[quantity].gauge)
        if quantity in SMALL and self.state["cover"] == "on":
            raise Unsafe(f"{quantity} read with the cover on")
        shown = gauge.shows(self.truck.read(quantity))
        wrong = self.rng.random() < (self.habits.misread if misread is None else misread)
        if wrong:
            step = 1 / 16 if quantity in SMALL else 1 / 4
            shown = gauge.shows(max(0.0, shown + self.rng.choice((-1, 1)) * step))
            self.mishaps.append(f"misread {quantity}")
        self.told[quantity] = Told(shown, gauge, wrong)
        if quantity == "brake-contact" and shown == 0.0:
            return "never touches"
        return gauges.called(shown, gauge, self.rng)

    def _finer(self, quantity: str) -> Gauge | None:
        now = self.told[quantity].gauge if quantity in self.told else self.fine[quantity]
        if quantity in SMALL:
            return gauges.DIAL if self.has_dial and now.step > 0.004 else None
        if self.job.millimetres:
            return None
        return gauges.RULE32 if now.step > 1 / 32 else None

    def _reading(self) -> tuple[str, str]:
        """What is expected: a length, a count of the ring, or the odometer."""
        d = self.dialogue
        quantity = d.expects()
        if quantity == "odometer":
            return d.whose(), self.rng.choice(("skip", "skip", "412350"))
        if quantity in self.fine:
            gauge = self.fine[quantity]
            if quantity in self.told and self.told[quantity].gauge.step < gauge.step:
                gauge = self.told[quantity].gauge  # once taken out, the finer one stays at hand
            words = self._read(quantity, gauge)
            if self.told[quantity].wrong and self.rng.random() < self.habits.notices / 2:
                self.late = quantity
            return d.whose(), words
        if "skip" in d.allowed() and self.rng.random() < 0.5:
            return d.whose(), "skip"
        return d.whose(), str(self.truck.lugs_left - self.truck.set.lugs)

    def _check(self) -> tuple[str, str]:
        """What was read back: is it what was said, and was that right?"""
        pending: Any = self.dialogue.pending
        who = pending.who
        if pending.quantity in self.told:
            told = self.told[pending.quantity]
            if pending.value_in is None or abs(pending.value_in - told.value) > 0.003:
                self.misheard += 1
                self.lines.append(f"    MISHEARD: {pending.figures}, said {told.value:.4f}")
                return who, "no"
            if told.wrong and self.late != pending.quantity:
                if self.rng.random() < self.habits.notices:
                    return who, "no"
                told.wrong = True
        elif pending.quantity == "lugs" and abs(int(pending.count)) != abs(self.count):
            self.misheard += 1
            return who, "no"
        return who, "check"

    def _choose(self) -> tuple[str, str]:
        """A reading that is too close, or out with nothing that would change it."""
        d, who = self.dialogue, self.dialogue.whose()
        quantity = d.expects() or d.last_quantity()
        self.tries[d.at] += 1
        finer = self._finer(quantity)
        if finer is not None and self.tries[d.at] <= 2:
            return who, self._read(quantity, finer, 0.0)
        if self.tries[d.at] == 1:
            return who, self._read(quantity, self.told[quantity].gauge, 0.0)
        if self.tries[d.at] > 6:
            return self._give_up(f"{quantity} will not do")
        return "tech", "accept" if "finer" in self._screen() else "accept, the parts are worn"

    # --- steps ---

    def _at_step(self) -> tuple[str, str]:
        d = self.dialogue
        step = d.dialogs.by_id.get(d.at)
        kind = step.kind if step is not None else d.at
        at = getattr(self, f"at_{kind}", None)
        if at is not None and not d.correcting:
            return at()
        if d.expects():
            return self._reading()
        phrases = [*(step.answers if step is not None else ()), *self._phrases()]
        return d.whose(), self.rng.choice(phrases) if phrases else "carry on"

    def at_act(self) -> tuple[str, str]:
        step = self.dialogue.dialogs.by_id[self.dialogue.at]
        self.state.update(step.sets)
        done = "ready" if "ready" in self.dialogue.allowed() else "done"
        answers = [a for a in step.answers if "not" not in a]
        return step.who, self.rng.choice([done, done, *answers])

    def at_sound(self) -> tuple[str, str]:
        step = self.dialogue.dialogs.by_id[self.dialogue.at]
        if self.dialogue.trying:
            good = self.truck.bearing_travel >= 0.35 and self.truck.free_travel > 0
            if self.job.brake:
                good = good and self.truck.brake_contact > 0
            return step.who, "sound" if good else "not sound"
        return step.who, "not sound" if self.job.loose and "loose" in step.id else "sound"

    def at_repair(self) -> tuple[str, str]:
        if self.job.loose:
            self.truck.lash -= self.job.loose
            self.job.loose = 0.0
            return "tech", "repaired"
        return self._give_up("it does not work")

    def at_clear(self) -> tuple[str, str]:
        return "tech", "clear"

    def at_hold(self) -> tuple[str, str]:
        self.state["pedal"], self.turned = "down", 0
        return "helper", self.rng.choice(("holding", "it's down", "pedal down"))

    def at_release(self) -> tuple[str, str]:
        self.state["pedal"] = "up"
        return "helper", self.rng.choice(("released", "pedal up"))

    def at_halted(self) -> tuple[str, str]:
        asked = "ready" in self.dialogue.allowed()  # the helper has stopped it
        return ("helper", "ready") if asked else ("tech", "carry on")

    def at_sign(self) -> tuple[str, str]:
        self.doubts = list(self.session.job.facts.doubts)
        return "tech", "sign off 12"

    def at_plan(self) -> tuple[str, str]:
        screen = self._screen()
        if self.zeros >= 2:
            return self._give_up("the ring is at its end")
        if "check" in screen:
            return "tech", "check"
        self.tries["plan"] += 1
        if self.tries["plan"] > 12:
            return self._give_up("the ring never lands")
        finer = self._finer("gap")
        if "accept" in screen:
            if finer is not None:
                return "tech", self._read("gap", finer, 0.0)
            return "tech", "move" if "move" in screen and self.rng.random() < 0.3 else "accept"
        if self.tries["stuck"]:
            return self._give_up("no whole lug lands in limits")
        self.tries["stuck"] += 1
        return "tech", self._read("gap", finer or self.fine["gap"], 0.0)

    def at_maker(self) -> tuple[str, str]:
        if "accept" in self._screen():
            return self.at_plan()
        self.tries["maker"] += 1
        if self.tries["maker"] > 2:
            return self._give_up("the maker's procedure does not help")
        low, high = self.job.limits["gap"]
        self.truck.by_maker(self.rng.uniform(low, high) + self.job.stays_out)
        self.moves["maker"] += 1
        return "tech", "done"

    def at_turn(self) -> tuple[str, str]:
        if self.state["pedal"] != "down" or self.state["lock_plate"] != "out":
            raise Unsafe("the ring was turned without hold, or with its lock plate in")
        found = re.search(r"(\d+) lugs?(?: (tighter|looser))?", self._screen())
        told = int(found[1]) * (-1 if found[2] == "looser" else 1) if found else 0
        if self.session.asked is None and self.stalled == 0 and told:
            self._turn_ring(told)
        lugs = f"{gauges.number(abs(self.count))} lug{'' if abs(self.count) == 1 else 's'}"
        if self.count == 0:
            return "tech", "zero"
        way = " looser" if self.count < 0 else " tighter"
        other = self.count * told < 0
        return "tech", lugs + (way if other else "")

    def _turn_ring(self, told: int) -> None:
        wanted = told - self.turned
        if self.rng.random() < self.habits.wrong_way:
            wanted = -wanted
            self.mishaps.append("ring the wrong way")
        elif self.rng.random() < self.habits.wrong_count:
            wanted += self.rng.choice((-1, 1))
            self.mishaps.append("ring a lug off")
        went = self.truck.turn_ring(wanted)
        self.turned += went
        self.moves["ring"] += went != 0
        # What it really was, if noticed; else what it should have been.
        noticed = went != wanted or self.rng.random() < self.habits.notices
        self.count = self.turned if noticed else told
        self.zeros += went == 0 and wanted != 0

    def at_rod(self) -> tuple[str, str]:
        screen = self._screen()
        if self.at_end:
            return self._give_up("the rod is at its end")
        flats = sum(
            int(count) * (6 if unit == "turn" else 1)
            for count, unit in re.findall(r"(\d+) (turn|flat)s?", screen)
        )
        away = "more clearance" in screen or (
            "clearance" not in screen
            and ("longer" in screen) == (self.job.longer_gives == "more clearance")
        )
        if self.stalled == 0 and flats:
            turn = flats if away else -flats
            if self.rng.random() < self.habits.wrong_way:
                turn = -turn
                self.mishaps.append("rod the wrong way")
            elif self.rng.random() < self.habits.wrong_count:
                turn += self.rng.choice((-1, 1))
                self.mishaps.append("rod a flat off")
            self.at_end = self.truck.turn_rod(turn) != turn
            self.moves["rod"] += 1
        return "tech", "done"

    def at_stop_bolt(self) -> tuple[str, str]:
        screen = self._screen()
        found = re.search(rf"(?:{_LENGTH}) ?(turns?|in|mm)? (higher|lower|more|less)", screen)
        if found is None or self.stalled:
            return "tech", "done"
        whole, n, of, plain, unit, way = found.groups()
        size = float(plain) if plain else float(whole or 0) + int(n) / int(of)
        height = "pedal stop" in screen or way in ("higher", "lower")
        if unit and unit.startswith("turn"):
            size *= self.job.rest_turn if height else self.job.low_turn
        elif unit == "mm":
            size /= 25.4
        by = size if way in ("higher", "more") else -size
        by += self.rng.uniform(-1 / 64, 1 / 64)
        if height:
            self.truck.raise_rest(by)
        else:
            self.truck.lower_end(by)
        self.moves["rest" if height else "low"] += 1
        return "tech", "done"

    # --- the unfinished end ---

    def _give_up(self, why: str) -> tuple[str, str]:
        self.given_up = why
        return "tech", f"unfinished {why}"

    def _leaving(self) -> tuple[str, str]:
        d = self.dialogue
        allowed = d.allowed()
        if "sign_off" in allowed:
            self.doubts = list(self.session.job.facts.doubts)
            return "tech", "sign off 12"
        for meaning, words in (("clear", "clear"), ("foot_off", "foot off"), ("skip", "skip")):
            if meaning in allowed:
                return "helper" if meaning == "foot_off" else "tech", words
        return "tech", "done" if "done" in allowed else self.given_up or "parts worn"
