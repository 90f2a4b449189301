"""A truck's clutch as parts on one axis, moved by a pedal; it shares no code with `assistant`.

The axis runs along the input shaft, in inches, positive toward the transmission. Without load the
fork's tips stand `clearance` ahead of the bearing's pads, and the bearing `gap` ahead of the brake
(or of the face that a synchronized transmission's manual names). From where the chain between
pedal and fork is drawn tight, a pedal that goes on by v pulls the tips rearward by

    v/R * (1 + curve*v)

which is an ordinary lever's R with a ratio that changes a little along the stroke. Before that the
pedal takes up lash; once the bearing is carried, stretch (cable), air (fluid) or flex give way.
"""

import math
from dataclasses import dataclass, replace


@dataclass(frozen=True)
class Setting:
    """What can be turned: lugs (positive tightens), flats (positive: away from the pads), where
    the pedal rests and where it ends, inches above the floor."""

    lugs: int
    flats: float
    rest: float
    low: float


@dataclass
class Truck:
    """Where the parts are. Lengths in inches; travel of pedal and lash counted at the pedal."""

    brake_face: float
    bearing: float
    """With the ring as found."""
    tips: float
    """Of the fork at rest, as found."""
    ratio: float
    curve: float
    lash: float
    give: float
    lug: float
    """Travel of the bearing by one lug; the ring has `lugs_left` to go tighter, `lugs_back`
    looser."""
    lugs_left: int
    lugs_back: int
    flat: float
    """Travel of the tips by one flat; the thread has `flats_free` either way."""
    flats_free: int
    brake: bool
    fluid: bool
    set: Setting
    rest_found: float = 0.0

    def __post_init__(self) -> None:
        self.rest_found = self.set.rest

    def at(self, setting: Setting) -> "Truck":
        there = replace(self, set=setting)
        there.rest_found = self.rest_found
        return there

    # --- the chain ---

    def fork_by(self, pedal: float) -> float:
        """Fork travel by pedal travel, from where the chain is tight."""
        return pedal / self.ratio * (1.0 + self.curve * pedal)

    def pedal_by(self, fork: float) -> float:
        """Pedal travel that moves the fork so far."""
        if abs(self.curve) < 1e-9 or fork <= 0.0:
            return fork * self.ratio
        root = math.sqrt(1.0 + 4.0 * self.curve * self.ratio * fork)
        return (root - 1.0) / (2.0 * self.curve)

    @property
    def slack(self) -> float:
        """Pedal travel before the fork starts. Fluid rests by itself, so there a pedal that rests
        higher has more of it, and one that rests below the port has none."""
        higher = self.set.rest - self.rest_found if self.fluid else 0.0
        return max(0.0, self.lash + higher)

    @property
    def between(self) -> float:
        """Pads less tips; below zero the parts want the same place."""
        rise = self.set.rest - self.rest_found
        drawn = rise / self.ratio  # rods and a taut cable draw the fork with the pedal
        if self.fluid:
            drawn = min(0.0, self.lash + rise) / self.ratio
        pads = self.bearing + self.set.lugs * self.lug
        return pads - (self.tips - self.set.flats * self.flat - drawn)

    # --- what can be read ---

    @property
    def gap(self) -> float:
        free = self.brake_face - self.bearing - self.set.lugs * self.lug
        pushed = -self.between - self.slack / self.ratio
        return max(0.0, free - max(0.0, pushed))

    @property
    def clearance(self) -> float:
        return max(0.0, self.between)

    @property
    def free_travel(self) -> float:
        return max(0.0, self.slack + self.pedal_by(self.between))

    @property
    def to_brake(self) -> float:
        """Pedal travel at which the brake is touched."""
        carried = self.between + self.brake_face - self.bearing - self.set.lugs * self.lug
        return self.slack + self.pedal_by(carried) + self.give

    @property
    def brake_contact(self) -> float:
        """Pedal height at which the brake is touched; 0.0 when the pedal ends before it."""
        height = self.set.rest - max(0.0, self.to_brake)
        return height if height >= max(self.set.low, 0.0) else 0.0

    @property
    def pedal_height(self) -> float:
        return self.set.rest

    @property
    def total_travel(self) -> float:
        return self.set.rest - self.set.low

    @property
    def bearing_travel(self) -> float:
        """With the pedal fully down."""
        pulled = self.fork_by(max(0.0, self.total_travel - self.slack - self.give))
        free = pulled - max(self.between, -self.slack / self.ratio)
        return max(0.0, min(free, self.gap) if self.brake else free)

    def read(self, quantity: str) -> float:
        """What a perfect gauge would show."""
        return float(getattr(self, quantity.replace("-", "_")))

    # --- what hands do ---

    def turn_ring(self, lugs: int) -> int:
        """Turn it so far, positive tightens; returns how far it went before its end."""
        went = max(-self.lugs_back - self.set.lugs, min(self.lugs_left - self.set.lugs, lugs))
        self.set = replace(self.set, lugs=self.set.lugs + went)
        return went

    def turn_rod(self, flats: float) -> float:
        """Toward more clearance; its thread ends. Returns how far it went."""
        free = self.flats_free
        before, after = self.set.flats, max(-free, min(free, self.set.flats + flats))
        self.set = replace(self.set, flats=after)
        return after - before

    def raise_rest(self, by: float) -> None:
        self.set = replace(self.set, rest=self.set.rest + by)

    def lower_end(self, by: float) -> None:
        self.set = replace(self.set, low=max(0.0, self.set.low - by))

    def by_maker(self, gap: float) -> None:
        """The maker's procedure on a clutch that adjusts itself."""
        self.bearing = self.brake_face - gap
