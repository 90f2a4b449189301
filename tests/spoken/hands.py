"""The technician's hands: what lugcall tells them to turn is turned, with small errors."""

from __future__ import annotations

import random
import re
from fractions import Fraction

from assistant.texts.dialogs import Step

from .readback import figure, lugs_in
from .truck import Truck

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
