"""The technician and the helper: they hear what lugcall says, and answer as people would.

They know the truck, what they said themselves and the texts of the replies; nothing of the job's
state. A value read back is confirmed only if it is what was meant; otherwise they say no and call
it out again, in other words the second time, in digits the third.
"""

from __future__ import annotations

import random
from collections.abc import Sequence

from assistant.act import Said
from assistant.quantity import QUANTITIES
from assistant.readings import read
from assistant.texts.dialogs import Dialogs, Step

from . import callouts
from .callouts import SMALL, Line, command
from .hands import Hands
from .readback import fits, lugs_in, same
from .truck import Truck

Turn = tuple[str, Line]
"""Who speaks, and what."""

ASKS = frozenset(
    f"reply:{key}"
    for key in (
        "confirm",
        "confirm_count",
        "confirm_code",
        "close_choice",
        "out_choice",
        "accept_why",
        "what_correct",
        "stopped_next",
        "paused",
        "need_repair",
        "which_of_two",
    )
)
"""Replies that want an answer, besides prompts."""
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
    """

    def __init__(self, truck: Truck, dialogs: Dialogs, rng: random.Random) -> None:
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
            if one.key.startswith("prompt:") or one.key in ASKS:
                self._ask = one
        assert self._ask is not None
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
                self._fixing = ""
                return None
        return None

    def _fix(self) -> Turn:
        """Put right what was taken wrong; while it is read back, answer that first."""
        assert self._ask is not None
        if self._ask.key in ("reply:confirm", "reply:what_correct", "reply:which_of_two"):
            return self._answer(self._ask)
        quantity = self._fixing
        who = "helper" if quantity == "odometer" and not self._due else "tech"
        self._ask = Said(who, "", f"fixing:{quantity}")
        if self._tries > 2 and self._again % 2 == 0:  # the word and the value one by one
            return who, command("correct that")
        line = self._value(quantity)
        text = f"correction, {line.text}"
        return who, Line(text, f"correction {line.words}", line.meant, line.kind)

    def _answer(self, ask: Said) -> Turn:
        key = ask.key.partition(":")[2]
        if ask.key.startswith("prompt:"):
            step = self.dialogs.by_id[key]
            return step.who, self._do(step, ask.text)
        if ask.key.startswith("fixing:"):
            return self._fix()
        handler = getattr(self, f"_{key}")
        answer: Turn = handler(ask.text)
        return answer

    # --- prompts ---

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
        if step.reading == "odometer":
            self._due = step.stage == "due"
            if self._due and self._tries == 0 and self.rng.random() < 0.2:
                return command("skip")
        return self._value(step.reading)

    def _value(self, quantity: str) -> Line:
        if quantity == "odometer":
            n = self.truck.miles
            n = (n // 1000 + 20) * 1000 if self._due else n
            line = callouts.miles(n, self._tries, self.rng)
        elif quantity == "lugs":
            line = callouts.count(self.hands.lugs, self.rng)
        else:
            value = self.truck.true(quantity) + self.rng.gauss(0, 0.001)
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

    # --- replies that want an answer ---

    def _confirm(self, text: str) -> Turn:
        quantity = self._fixing or self._quantity
        who = "helper" if quantity == "odometer" and not self._due else "tech"
        if quantity in self.meant and same(text, self.meant[quantity]):
            return who, self._phrase("check")
        return who, self._phrase("no")

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

    def _out_choice(self, text: str) -> Turn:
        return "tech", command("accept because the parts are worn")

    _accept_why = _out_choice

    def _what_correct(self, text: str) -> Turn:
        for quantity, known in QUANTITIES.items():
            if known.spoken in text and (quantity in self.meant or quantity == "lugs"):
                return (
                    "helper" if quantity == "odometer" and not self._due else "tech"
                ), self._value(quantity)
        return "tech", command("back")

    def _stopped_next(self, text: str) -> Turn:
        return "tech", command("carry on")

    _paused = _stopped_next

    def _need_repair(self, text: str) -> Turn:
        return "tech", command("repaired")

    def _which_of_two(self, text: str) -> Turn:
        """ "Nine sixteenths or five sixteenths?": first, second, or the value in other words."""
        line = self.meant[self._quantity]
        who = "helper" if self._quantity == "odometer" and not self._due else "tech"
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
