"""What is known of a truck before anybody crawls under it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from assistant.clutch.conformity import DEFAULT_FIGURES, Limits
from assistant.clutch.linkage.stroke import NO_LOAD, Linkage, Load
from assistant.clutch.thread import lead_in

DEFAULT_THREAD = "1/2-20"
"""Rod thread when the card names none: common practice, no source. Check the rod itself."""

CHOICES: Mapping[str, tuple[str, ...]] = {
    "shop.units": ("inch", "mm"),
    "shop.distance": ("miles", "kilometres"),
    "shop.checks": ("short", "full"),
    "truck.transmission": ("non-synchronized", "synchronized"),
    "truck.clutch": ("manual", "self-adjusting"),
    "truck.linkage": ("rod", "cable", "hydraulic"),
    "truck.cover": ("bottom", "side", "plug"),
    "ring.lock": ("plate", "bracket"),
    "ring.type": ("coarse", "fine"),
    "rod.longer": ("more clearance", "less clearance"),
}
"""What a key of the card may be, the common one first."""


@dataclass(frozen=True, slots=True)
class Left:
    """What a job left on a truck: quantities in inches, and the record that says so."""

    record: str
    by: str
    lugs: int
    readings_in: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Card:
    """One truck. Lengths in inches.

    Attributes:
        unit: the fleet's number of the truck, or "".
        holds_pedal: the shop's own way of holding the pedal with nobody at it, or "": never so
            unless the card has the line.
        checks: "full" where the shop wants every check and every caution whole each time.
        cover, lock: what closes the inspection hole, and what locks the ring.
        ring: "coarse", "fine", or "" when the card does not say.
        lug_in: bearing travel a lug, or None when the card does not say.
        ring_lugs: lugs the ring moves from new to its end, or None when the card does not say.
        thread: designation of the rod's thread.
        longer: what a longer rod gives ("more clearance", "less clearance"), or "".
        per_fork: rod travel per fork travel (the outer lever against the fork's arm).
        ratio: pedal travel per fork travel, or None when not known.
        lash_known: whether the card says the slack in the chain, counted at the pedal: `lash_in`.
        height_turn_in: pedal travel by one turn of its upper stop's bolt, or None; total_turn_in
            by one of its lower stop's.
        geometry: the linkage as a model, when the card has its dimensions; load: at the fork.
        figures: limits by quantity; those the card leaves out are common practice.
        defaulted: the dotted keys that the card does not give, so that they can be shown as such.
        sources: section ("ring", "rod", "pedal") -> whose its values are, where the card says.
        left: what the job before left, where the card was made from its record.
        text: the card as it was read, kept in the record.
    """

    unit: str = ""
    transmission: str = "non-synchronized"
    linkage: str = "rod"
    clutch: str = "manual"
    units: str = "inch"
    distance: str = "miles"
    lug_in: float | None = None
    ring_lugs: int | None = None
    thread: str = DEFAULT_THREAD
    longer: str = ""
    per_fork: float = 1.0
    ratio: float | None = None
    lash_in: float = 0.0
    lash_known: bool = False
    height_turn_in: float | None = None
    total_turn_in: float | None = None
    geometry: Linkage | None = None
    load: Load = NO_LOAD
    figures: Mapping[str, Limits | None] = field(default_factory=lambda: dict(DEFAULT_FIGURES))
    defaulted: tuple[str, ...] = ()
    text: str = ""
    name: str = ""
    cover: str = "bottom"
    lock: str = "plate"
    ring: str = ""
    sources: Mapping[str, str] = field(default_factory=dict)
    left: Left | None = None
    holds_pedal: str = ""
    checks: str = "short"

    @property
    def full(self) -> bool:
        """Whether the shop wants every check and every caution whole."""
        return self.checks == "full"

    @property
    def lead_in(self) -> float:
        """Rod travel a turn, inches."""
        return lead_in(self.thread)

    @property
    def traits(self) -> dict[str, str]:
        """What the steps of the job are chosen by: see `texts.dialogs.TRAITS`."""
        names = ("transmission", "linkage", "clutch", "cover", "lock", "ring", "units")
        traits: dict[str, str] = {name: getattr(self, name) for name in names}
        return {**traits, "ring": self.ring or "unsaid"}

    def unsupported(self) -> str:
        """One line why the step-by-step job cannot be run with this card, or ""."""
        if self.figures.get("gap") is not None:
            return ""
        return (
            "no clutch brake, so no common figure for the gap: "
            "put the one of the maker's manual on the card, figures.gap"
        )


def default_card() -> Card:
    """No card: common-practice figures, each marked as such; the maker's manual decides."""
    keys = ("ring.lug", "rod.thread", "rod.longer", "rod.per_fork", "pedal.ratio")
    figures = tuple(f"figures.{name}" for name in DEFAULT_FIGURES)
    return Card(defaulted=keys + figures)
