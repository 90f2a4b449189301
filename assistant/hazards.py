"""What can hurt somebody: pedal, foot, hands, cover, lock plate, key; from whom, since when.

It is a model of its own, small enough to be tried in every state (`tests/job/test_hazards.py`).
Every word and step that touches one of these comes here as an event, and whatever moves or frees a
pedal, sends hands in or lets an engine be started needs what `NEEDS` says, also out of a stop.

Nothing here is ever assumed to be safer than was said last: a clear is spent by whatever moves the
pedal, by any word of hands, and by a step that sends them in.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import NamedTuple


class Known(NamedTuple):
    """How one thing is: `by` whom ("tech", "helper", "lugcall") it is known, since which act."""

    value: str
    by: str = "lugcall"
    since: int = 0


NEEDS: dict[str, tuple[str, ...]] = {
    "hold": ("hands_clear", "helper_there"),
    "held": ("hold_confirmed",),
    "release": ("hands_clear",),
    "pressed": ("wedges_out",),
    "seat": ("hands_clear", "helper_there", "key_below"),
    "past_ring": ("pedal_up", "lock_in"),
    "below": ("key_below",),
    "in_hole": ("cover_open",),
    "hands_below": ("foot_off",),
    "cover_closed": ("cover_closed",),
    "function": ("key_above",),
    "start_over": ("pedal_up", "lock_in", "key_below"),
    "leaving": ("pedal_up",),
    "left": ("pedal_up", "key_below"),
}
"""What is told -> what must hold at that moment, on every way to it, out of a stop as well.

"hands_below", hands at the hole or the linkage, bars no way: the step waits for the helper's word.
"""
COUNTS_IN_HOLD = frozenset({"reading", "done", "check", "accept", "correct", "no", "sound", "skip"})
"""Acts that count for nothing in a hold unless it is confirmed."""
COUNTS_BELOW = COUNTS_IN_HOLD - {"correct"} | {
    *("not_sound", "move", "measure", "same", "ready", "repaired", "clear", "start_over"),
    *("sign_off", "counted"),
}
"""Acts that count for nothing where hands go below until the helper's foot is off."""


def _start() -> dict[str, Known]:
    start = {
        "pedal": "up", "foot": "off", "hands": "clear", "cover": "on", "lock_plate": "in",
        "key": "tech", "helper": "there", "wedges": "out",
    }  # fmt: skip
    return {thing: Known(value) for thing, value in start.items()}


@dataclass(slots=True)
class Hazards:
    """The model.

    Attributes:
        known: "pedal" is "up", "asked" (told to go down), "held", "doubted" (held, asked again),
            "releasing" (told to come up) or "unsure"; the helper's "foot" is "on", which is all
            that he did not say is off since he was last to press, or "off"; "hands" are "clear"
            or "in", which is all that is not surely clear; "cover" is "on" or "off",
            "lock_plate" "in" or "out"; "key" is with the "tech" or the "helper", who may then
            have the engine running; "wedges", a new clutch's for shipping, are "in" till they are
            counted, else "out"; "helper" is "gone" once anybody said that nobody is at the
            pedal, till one says that he is "there", or the shop's own way is a "prop" for him.
        act: how many acts there were: the clock of `Known.since`.
    """

    known: dict[str, Known] = field(default_factory=_start)
    act: int = 0

    def _set(self, thing: str, value: str, by: str) -> None:
        if self.known[thing].value != value or by != "lugcall":
            self.known[thing] = Known(value, by, self.act)

    def __getitem__(self, thing: str) -> str:
        return self.known[thing].value

    # --- what holds ---

    @property
    def pedal_up(self) -> bool:
        """It was never pressed, or the helper said released."""
        return self["pedal"] == "up"

    @property
    def told_up(self) -> bool:
        """The helper himself has said that it is up, or his foot off it, and nothing since."""
        said = self._holder in (self.known["pedal"].by, self.known["foot"].by)
        return self.pedal_up and self.foot_off and said

    @property
    def came_up(self) -> bool:
        """Its holder has said that it is up, and nothing of the pedal since; his foot may be on."""
        pedal, foot = self.known["pedal"], self.known["foot"]
        return self.pedal_up and pedal.by == self._holder and pedal.since >= foot.since

    @property
    def _holder(self) -> str:
        """Who speaks of the pedal: the technician for the shop's own way of holding it."""
        return "tech" if self.propped else "helper"

    @property
    def foot_off(self) -> bool:
        """The helper has said so, and was not told to press since, nor said otherwise."""
        return self["foot"] == "off"

    @property
    def moving(self) -> bool:
        """The helper was just told to press, or to let up: no time for questions."""
        return self["pedal"] in ("asked", "releasing")

    @property
    def hold_confirmed(self) -> bool:
        """The helper has said that the pedal is down and held, and nothing has undone it."""
        return self["pedal"] == "held"

    @property
    def hands_clear(self) -> bool:
        """The technician has called clear, and nothing since has spent it."""
        return self["hands"] == "clear"

    @property
    def cover_open(self) -> bool:
        """The inspection cover is off."""
        return self["cover"] == "off"

    @property
    def cover_closed(self) -> bool:
        """It is on."""
        return not self.cover_open

    @property
    def lock_in(self) -> bool:
        """The ring's lock plate is in."""
        return self["lock_plate"] == "in"

    @property
    def wedges_out(self) -> bool:
        """No shipping wedge or holding bolt of a new clutch is in."""
        return self["wedges"] == "out"

    @property
    def key_above(self) -> bool:
        """The key is with the helper: somebody can start the engine."""
        return self["key"] == "helper"

    @property
    def key_below(self) -> bool:
        """The key is with the technician."""
        return not self.key_above

    @property
    def helper_there(self) -> bool:
        """Nobody has said that the pedal is without its helper, or he, or the shop's own way of
        holding it, has taken its place since."""
        return self["helper"] != "gone"

    @property
    def propped(self) -> bool:
        """The shop's own way, not a helper, holds the pedal, and the technician speaks of it."""
        return self["helper"] == "prop"

    def dangers(self) -> tuple[bool, bool, bool, bool]:
        """Pedal perhaps down; pressing it would hurt; key above; hold confirmed.

        Pressing hurts where nobody was asked to and a hand may be in the hole.
        """
        pressing = self.pedal_up and self.cover_open and not self.hands_clear
        return not self.pedal_up, pressing, self.key_above, self.hold_confirmed

    def holds(self, need: str) -> bool:
        """Whether one of the needs of `NEEDS` holds now."""
        return bool(getattr(self, need))

    def counts(self, meaning: str, below: bool = False) -> bool:
        """Whether an act may count as the pedal is now; `below`: hands wait for the foot."""
        barred = COUNTS_BELOW if below else COUNTS_IN_HOLD
        return not (below or self["pedal"] == "doubted") or meaning not in barred

    # --- events: what lugcall tells ---

    def tell_hold(self) -> None:
        """ "HOLD" is told: from now the pedal may be on its way down, and the clear is spent."""
        self._set("pedal", "asked", "lugcall")
        self._hands_in("lugcall")

    def tell_press(self, by: str = "lugcall") -> None:
        """The helper is to press and let up, or may have: his foot is on until he says not."""
        self._set("foot", "on", by)

    def tell_release(self) -> None:
        """ "RELEASE" is told: from now the pedal may be on its way up."""
        self._set("pedal", "releasing", "lugcall")
        self._hands_in("lugcall")

    def tell_work(self) -> None:
        """A step is told that hands may do in the hole."""
        if self.cover_open:
            self._hands_in("lugcall")

    def tell_nothing(self) -> None:
        """A step is told that only waits for a word."""

    def note(self, places: dict[str, str], by: str) -> None:
        """A step is done that changes cover, lock plate or key."""
        for thing, value in places.items():
            self._set(thing, value, by)

    # --- events: what people say ---

    def says_new_clutch(self, by: str) -> None:
        """A clutch is new: what holds it for shipping may be in."""
        self._set("wedges", "in", by)

    def says_holding(self, by: str = "helper") -> None:
        """The helper, or the shop's own way, has it down.

        It counts as a hold only where one was told, or stands.
        """
        if self["pedal"] in ("held", "doubted"):
            self._set("pedal", "held", by)
            return
        asked = self["pedal"] == "asked"
        if not asked:
            self.tell_press(by)
        self._set("pedal", "held" if asked else "unsure", by)
        self._hands_in(by)

    def says_up(self, by: str = "helper") -> None:
        """The helper has let it up: with the cover off, somebody may reach in from now on.

        Let up as told, his foot is as it was before the hold.
        """
        if self["pedal"] != "releasing":
            self.tell_press(by)
        self._set("pedal", "up", by)
        if self.cover_open:
            self._hands_in(by)

    def says_foot_off(self, by: str = "helper") -> None:
        """The helper has it off the pedal."""
        self._set("foot", "off", by)

    def says_clear(self) -> None:
        """The technician's hands and tool are out."""
        self._set("hands", "clear", "tech")

    def says_nobody(self, by: str) -> None:
        """Nobody is at the pedal."""
        self._set("helper", "gone", by)

    def uses_prop(self) -> None:
        """The technician holds the pedal by the shop's own way, where there is one."""
        self._set("helper", "prop", "tech")

    def says_there(self) -> None:
        """The helper is there."""
        self._set("helper", "there", "helper")

    def says_of_hands(self, by: str) -> None:
        """Any other word of a hand, an arm, a tool: they may be in again."""
        self._hands_in(by)

    def says_below(self) -> None:
        """The technician stops it with the key above: he may be under it till he is clear."""
        self._set("hands", "in", "tech")

    @property
    def below(self) -> bool:
        """Whether he may be under the truck while somebody can start the engine."""
        return self.key_above and self.known["hands"][:2] == ("in", "tech")

    def doubt(self, by: str) -> None:
        """Words that are not surely harmless: the clear is spent, the hold asked after again."""
        if self["pedal"] == "held":
            self._set("pedal", "doubted", by)
        if by == "helper" and self["pedal"] not in ("asked", "held", "doubted"):
            self.tell_press(by)
        if not self.pedal_up:
            self._hands_in(by)

    def distrust(self, by: str) -> None:
        """A stop, an alarm, a new start of the program: no pedal and no hand is relied on."""
        if not self.pedal_up:
            self._set("pedal", "unsure", by)
        if self.cover_open or not self.pedal_up:
            self._hands_in(by)

    def alarm(self, by: str) -> None:
        """The pedal moves, or may."""
        self._set("pedal", "unsure", by)
        self.tell_press(by)
        self._hands_in(by)

    def _hands_in(self, by: str) -> None:
        if self.hands_clear:
            self._set("hands", "in", by)
