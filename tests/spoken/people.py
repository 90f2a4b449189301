"""A truck with a hidden geometry that answers to ring, rod and stops: the other end of the job.

The equations are those of a pull-type clutch on one axis (fork, bearing, clutch brake); lengths in
inches. Nothing here imports the program's own arithmetic.
"""

import random
import re
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from assistant.act import Said
from assistant.quantity import QUANTITIES
from assistant.readings import read
from assistant.texts.dialogs import Dialogs, Step

from . import callouts
from .callouts import SMALL, Line, command, figure, fits, lugs_in, same

LEAD_IN = 1 / 20
"""Rod travel a turn: a 1/2-20 thread."""


@dataclass
class Truck:
    """One truck as it stands now.

    Attributes:
        ratio: pedal travel per fork travel.
        lash: lost motion in the chain, counted at the pedal.
        gap, clearance: bearing to brake, fork to bearing.
        height: pedal at rest above the floor. total: pedal travel to the floor.
        pitch: bearing travel a lug.
        card: its truck card, TOML.
        miles: on the odometer.
        lugs_turned: in all, positive tightens.
    """

    ratio: float
    lash: float
    gap: float
    clearance: float
    height: float
    total: float
    pitch: float
    card: str
    miles: int
    lugs_turned: int = 0

    def true(self, quantity: str) -> float:
        """What a perfect gauge would show."""
        stroke = self.ratio * (self.clearance + self.gap) + self.lash
        return {
            "gap": self.gap,
            "clearance": self.clearance,
            "pedal-height": self.height,
            "total-travel": self.total,
            "free-travel": self.ratio * self.clearance + self.lash,
            "brake-contact": self.height - stroke,
        }[quantity]

    def turn_ring(self, lugs: int) -> None:
        """Turn the ring; positive tightens, the bearing goes toward the transmission."""
        self.lugs_turned += lugs
        self.gap -= lugs * self.pitch
        self.clearance += lugs * self.pitch

    def turn_rod(self, turns: float) -> None:
        """Turn the rod; positive is longer, which moves the fork away from the bearing."""
        self.clearance += turns * LEAD_IN

    def move_stop(self, what: str, by_in: float) -> None:
        """Move a stop: "height" or "total"."""
        setattr(self, what, getattr(self, what) + by_in)


def made(rng: random.Random) -> Truck:
    """A truck as found whose pedal reaches the brake and goes no lower than the floor: `_drawn`."""
    while True:
        truck = _drawn(rng)
        contact = truck.true("brake-contact")
        if 0.2 < contact < 2.0 and truck.height - contact <= truck.total <= truck.height:
            return truck


def _drawn(rng: random.Random) -> Truck:
    """A truck that can be set right: worn by 0 to 7 lugs, the rod off, a stop now and then.

    Ranges are common practice, no source; the card's limits are laid around what it can reach.
    """
    ratio, lash = rng.uniform(10.8, 12.8), 1 / 16 + rng.uniform(-0.01, 0.01)
    pitch = rng.choice((0.027, 0.027, 0.027, 0.014))
    right_gap = rng.uniform(0.524, 0.538)
    lugs = 0 if rng.random() < 0.1 else rng.randint(2, 7)
    stroke = ratio * (0.125 + right_gap) + lash
    height = round((stroke + rng.uniform(0.68, 0.82)) * 8) / 8
    total = round((stroke + rng.uniform(0.3, 0.5)) * 8) / 8
    off = rng.uniform(0.45, 0.6) * rng.choice((-1, 1)) if rng.random() < 0.2 else 0
    short = -rng.uniform(0.45, 0.6) if rng.random() < 0.15 else 0
    return Truck(
        ratio,
        lash,
        right_gap + lugs * pitch,
        rng.uniform(0.03, 0.06) if lugs else rng.uniform(0.06, 0.16),
        height + off + rng.uniform(-0.06, 0.06),
        total + short + rng.uniform(-0.06, 0.06),
        pitch,
        _card(pitch, height, total, rng.randint(100, 999)),
        rng.randint(60_000, 900_000),
    )


def _card(pitch: float, height: float, total: float, unit: int) -> str:
    return f"""unit = "S-{unit}"
[ring]
lug = "{pitch} in"
[rod]
thread = "1/2-20"
longer = "more clearance"
[pedal]
lash = "1/16 in"
[figures]
source = "invented"
gap = {{ low = "1/2 in", high = "9/16 in" }}
clearance = {{ low = "3/32 in", high = "5/32 in", target = "1/8 in" }}
free-travel = {{ low = "1-1/8 in", high = "2 in", target = "1-1/2 in" }}
pedal-height = {{ low = "{height - 0.375} in", high = "{height + 0.375} in" }}
total-travel = {{ low = "{total - 0.375} in", high = "{total + 0.375} in" }}
brake-contact = {{ low = "1/2 in", high = "1 in" }}
"""


SLIP = 0.08
"""How often the ring ends a lug too far or too short; common practice, no source."""
SPREAD = 0.02
"""Standard deviation of what rod and stops are turned, as a part of what was told."""


class Hands:
    """Turn ring, rod and stops of a truck.

    Attributes:
        lugs: turned since the ring was last planned or read; positive tightens.
    """

    def __init__(self, truck: Truck, rng: random.Random) -> None:
        self.lugs = 0
        self._truck = truck
        self._rng = rng
        self._turned = False
        self._changed = ""

    def come_to(self, step: Step) -> None:
        """Hear a prompt: what was done for another one is done with."""
        if step.id != self._changed:
            self._changed = ""
        if step.kind in ("plan", "read"):
            self._turned = False

    def turn_ring(self, text: str) -> None:
        """As "5 lugs tighter. ..." tells; told again, nothing more."""
        if self._turned:
            return
        told = lugs_in(text)
        slip = self._rng.choice((-1, 1)) if told and self._rng.random() < SLIP else 0
        self.lugs = told + slip
        self._truck.turn_ring(self.lugs)
        self._turned = True

    def change(self, step: Step, text: str) -> None:
        """Turn the rod ("1 turn 2 flats longer. ...") or a stop ("1/2 in higher ..."), once."""
        if self._changed == step.id:
            return
        self._changed = step.id
        share = 1 + self._rng.gauss(0, SPREAD)
        sign = -1 if re.search(r"shorter|lower|less", text) else 1
        if step.kind == "rod":
            turns = sum(
                int(n) * (1 if unit == "turn" else Fraction(1, 6))
                for n, unit in re.findall(r"(\d+) (turn|flat)", text)
            )
            self._truck.turn_rod(float(turns) * sign * share)
            return
        size = figure(text)
        if size is not None:
            what = "height" if step.id == "height_stop" else "total"
            self._truck.move_stop(what, size * sign * share)


# --- The technician and the helper: they hear what lugcall says, and answer as people would.
#
# They know the truck, what they said themselves and the texts of the replies; nothing of the job's
# state. A value read back is confirmed only if it is what was meant; otherwise they say no and call
# it out again, in other words the second time, in digits the third.


Turn = tuple[str, Line]
"""Who speaks, and what."""

ANSWERS = {
    "stopped_next": "carry on",
    "paused": "carry on",
    "need_repair": "repaired",
    "out_choice": "accept because the parts are worn",
    "accept_why": "accept because the parts are worn",
}
"""Replies that the technician answers always alike."""
ASKS = frozenset(f"reply:{key}" for key in (
    *ANSWERS, "confirm", "confirm_count", "confirm_code", "close_choice", "what_correct",
    "read_at_least", "read_at_most", "unlike", "which_of_two", "foot_asked"))  # fmt: skip
"""Replies that want an answer, besides prompts."""
AGAIN = ("reply:what_correct", "reply:read_at_least", "reply:read_at_most", "reply:unlike")
"""Replies that name a quantity and want its value."""
VERDICTS = frozenset({"reply:whose", "reply:stands", "reply:no_figure"})
"""Replies that begin with the value just taken."""
MISSED = frozenset({"reply:say_again", "reply:spell_it", "reply:again", "reply:ask_reading",
                    "reply:did_you_mean", "reply:did_you_mean_two"})  # fmt: skip
_MEANING = {"act": "done", "sound": "sound", "clear": "clear", "hold": "holding", "plan": "check",
            "release": "released", "rod": "done", "stop_bolt": "done"}  # fmt: skip


class People:
    """Two people at one truck.

    Args:
        truck: what their gauges see, and their hands move.
        dialogs: the phrases they were taught.
        rng: their choices of words, and their small errors.
        figures: they call every number out figure by figure.
    """

    def __init__(
        self, truck: Truck, dialogs: Dialogs, rng: random.Random, figures: bool = False
    ) -> None:
        self._figures = figures
        self.truck = truck
        self.dialogs = dialogs
        self.rng = rng
        self.meant: dict[str, Line] = {}
        """What each quantity was last called out as."""
        self.called: list[tuple[str, int]] = []
        """Every calling out of a value: quantity, and the how-many-th try of it."""
        self.hands = Hands(truck, rng)
        self.code = str(rng.randint(10, 99))
        self._ask: Said | None = None
        self._tries = 0
        self._again = 0
        self._finer = False
        self._fixing = ""
        self._quantity = ""
        self._due = False

    def hear(self, said: Sequence[Said]) -> Turn:
        """Hear the replies to the last words; returns who says what next."""
        wrong = self._wrong_verdict(said)
        before = self._ask
        for one in said:
            known = one.key.removeprefix("prompt:") in self.dialogs.by_id
            if known or one.key in ASKS:
                self._ask = one
        keys = [one.key for one in said]
        missed = not said or bool(MISSED & set(keys))
        same = before is not None and (before.key, before.text) == (self._ask.key, self._ask.text)
        self._again = self._again + 1 if missed and same else 0
        if "reply:spell_it" in keys:
            self._tries = max(self._tries, 2)  # the next one is spelled in digits
        if wrong is not None:
            self._fixing = wrong
        moved = before is None or before.key != self._ask.key
        if self._ask.key.startswith("prompt:") and moved and "reply:dropped" not in keys:
            self._finer = False
            if wrong is None:
                self._tries = 0
        if {"reply:helper_first", "reply:ready_first"} & set(keys):
            return "helper", command("ready")
        if "reply:still_holding" in keys:  # asked of the helper, whatever the technician said
            return "helper", self._phrase("holding")
        if "reply:leaving" in keys:  # nobody meant to: "carry on takes you back"
            return "tech", command("carry on")
        if "reply:confirm_clear_first" in keys:  # "hands first: say clear"
            return "tech", command("clear")
        if any(one.key == "reply:not_now" and "carry on" in one.text.lower() for one in said):
            return "tech", command("carry on")
        return self._fix() if self._fixing else self._answer(self._ask)

    def _wrong_verdict(self, said: Sequence[Said]) -> str | None:
        """The quantity whose value was taken otherwise than meant, if lugcall said such a thing."""
        for one in said:
            if one.key in VERDICTS and self._quantity:
                if same(one.text, self.meant[self._quantity]):
                    self._fixing = ""
                    return None
                return self._quantity
            if one.key == "reply:corrected":
                quantity, self._fixing = self._fixing or self._quantity, ""
                value = (
                    one.text.lower().partition(QUANTITIES[quantity].spoken)[2].strip()
                    if quantity
                    else ""
                )
                line = self.meant.get(quantity)
                return quantity if line is not None and not same(value, line) else None
        return None

    def _fix(self) -> Turn:
        """Put right what was taken wrong; while it is read back, answer that first."""
        quantity = self._fixing
        named = QUANTITIES[quantity].spoken
        other = self._ask.key in AGAIN and named not in self._ask.text
        if not other and self._ask.key in ("reply:confirm", "reply:which_of_two", *AGAIN):
            return self._answer(self._ask)
        who = "tech"
        self._ask = Said(who, "", f"fixing:{quantity}")
        if self._tries > 2 and self._again % 2 == 0:  # the word and the value one by one
            return who, command("correct that")
        line = self._value(quantity)
        name = f"{named} " if other else ""  # another one is asked for: which it is, is said
        text = f"correction, {name}{line.text}"
        return who, Line(text, f"correction {name}{line.words}", line.meant, line.kind)

    def _answer(self, ask: Said) -> Turn:
        key = ask.key.partition(":")[2]
        if ask.key.startswith("prompt:"):
            step = self.dialogs.by_id[key]
            return step.who, self._do(step, ask.text)
        if ask.key.startswith("fixing:"):
            return self._fix()
        if key in ANSWERS:
            said = ANSWERS[key]
            asked = ask.text.lower()
            if key == "stopped_next" and "let it up" in asked and said not in asked:
                said = "clear" if "say clear" in asked else "let it up"  # up first: as he is told
            return "tech", command(said)
        handler = getattr(self, f"_{key}")
        answer: Turn = handler(ask.text)
        return answer

    def _do(self, step: Step, text: str) -> Line:
        self.hands.come_to(step)
        if step.kind == "read":
            return self._read(step)
        if step.kind == "turn":
            self.hands.turn_ring(text)
            return self._value("lugs")
        if step.kind == "plan":
            return self._plan(text)
        if step.kind == "sign":
            return command(f"sign off {callouts.code(self.code)}")
        if step.kind in ("rod", "stop_bolt"):
            self.hands.change(step, text)
        return self._phrase(_MEANING[step.kind], step)

    def _phrase(self, meaning: str, step: Step | None = None) -> Line:
        """The word that was taught, mostly; else another way. The same again only once."""
        if step is not None and step.id == "helper_ready":
            meaning = "ready"
        phrases = [p for p in self.dialogs.words[meaning].phrases if _sayable(p)]
        own = [a for a in step.answers if _sayable(a)] if step is not None else []
        if self._again == 1 or (self._again == 0 and self.rng.random() < 0.6):
            return command(phrases[0])
        if self._again > 1:  # twice not understood: another way
            return command(phrases[(self._again - 1) % min(8, len(phrases))])
        return command(self.rng.choice([*phrases[:8], *own, *own]))

    def _read(self, step: Step) -> Line:
        if step.reading == "ring-left" and self._tries:
            return self._phrase("skip")
        if step.reading == "odometer":
            self._due = step.stage == "due"
            if self._due and self._tries == 0 and self.rng.random() < 0.2:
                return command("skip")
        return self._value(step.reading)

    def _value(self, quantity: str) -> Line:
        if quantity == "odometer":
            n = self.truck.miles
            n = (n // 1000 + 20) * 1000 if self._due else n
            line = callouts.miles(n, self._tries, self.rng, self._figures)
        elif quantity == "lugs":
            line = callouts.count(self.hands.lugs, self.rng)
        elif quantity == "ring-left":
            line = callouts.left(self.rng.randint(6, 9 if self._figures else 18), self.rng)
        else:
            value = self.truck.true(quantity) + self.rng.gauss(0, 0.001)
            if self._figures:
                line = callouts.in_figures(quantity, value)
            else:
                line = callouts.call(quantity, value, self._tries, self._finer, self.rng)
        self._tries += 1
        self.called.append((quantity, self._tries))
        self.meant[quantity] = line
        self._quantity = quantity
        return line

    def _plan(self, text: str) -> Line:
        if "too close" not in text:
            return self._phrase("check")
        if "finer" in text and not self._finer:
            return self._finer_reading("gap")
        return command("move it" if "move" in text else "accept")

    def _confirm(self, text: str) -> Turn:
        quantity = self._fixing or self._quantity
        who = "tech"
        text = text.lower().removeprefix(f"{QUANTITIES[quantity].spoken} ") if quantity else text
        if quantity in self.meant and same(text, self.meant[quantity]):
            return who, self._phrase("check")
        return who, self._phrase("no")

    def _foot_asked(self, text: str) -> Turn:
        return "helper", self._phrase("foot_off")

    def _confirm_count(self, text: str) -> Turn:
        return "tech", self._phrase("check" if lugs_in(text) == self.hands.lugs else "no")

    def _confirm_code(self, text: str) -> Turn:
        right = "".join(ch for ch in text if ch.isdigit()) == str(self.code)
        return "tech", self._phrase("check" if right else "no")

    def _close_choice(self, text: str) -> Turn:
        if self._quantity in SMALL and not self._finer:
            return "tech", self._finer_reading(self._quantity)
        return "tech", command("accept")

    def _finer_reading(self, quantity: str) -> Line:
        self._finer, self._tries = True, 0
        return self._value(quantity)

    def _what_correct(self, text: str) -> Turn:
        for quantity, known in QUANTITIES.items():
            if known.spoken in text and (quantity in self.meant or quantity == "lugs"):
                return "tech", self._value(quantity)
        return "tech", command("back")

    _read_at_least = _read_at_most = _unlike = _what_correct

    def _which_of_two(self, text: str) -> Turn:
        """ "Nine sixteenths or five sixteenths?": first, second, or the value in other words."""
        line = self.meant[self._quantity]
        who = "tech"
        offered = text.rstrip("?").split(" or ")
        right = [fits(read(part.lower(), self._quantity), line) for part in offered]
        if sum(right) == 1 and len(offered) == 2 and not self._again:
            self._tries += 1
            self.called.append((self._quantity, self._tries))
            return who, command(("the first", "the second")[right.index(True)])
        return who, self._value(self._quantity)


def _sayable(phrase: str) -> bool:
    return phrase.replace(" ", "").replace("'", "").isalpha() and not (
        {"dont", "cant", "doesnt"} & set(phrase.split())
    )
