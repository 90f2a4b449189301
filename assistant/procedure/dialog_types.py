"""What dialogs are made of: phases, steps, cautions, meanings; and the job of one kind of truck."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from . import variants
from .variants import Instead, Traits, When

KINDS = (
    "act",
    "sound",
    "read",
    "clear",
    "hold",
    "turn",
    "release",
    "plan",
    "maker",
    "rod",
    "stop_bolt",
    "sign",
)
SIGNALS = ("DANGER", "WARNING", "CAUTION", "NOTICE")
"""Signal words, most severe first (ANSI Z535.6)."""
WHO = ("tech", "helper", "any")
STAGES = ("found", "ring", "set", "final", "due")
MAX_WORDS = 16
"""A prompt longer than this is not heard to its end over a compressor; aim for 12."""
RESERVED = frozenset(
    {"halted", "repair", "signed_off", "prompt", "to_hold", "to_release", "past_ring", "fix"}
)

PLACEHOLDERS: dict[str, tuple[str, ...]] = {
    "plan": ("lugs", "way", "gap_now", "gap_after", "plan_why"),
    "turn": ("lugs", "way", "gap_now", "gap_after", "plan_why"),
    "maker": ("gap_now", "limits"),
    "rod": ("rod", "rod_way", "rod_why"),
    "stop_bolt": ("stop_move",),
    "sign": ("sign_summary",),
}


class DialogError(Exception):
    """One clear line: which file, which entry, what is wrong, what to do."""


@dataclass(frozen=True, slots=True)
class Phase:
    """A numbered part of the job."""

    id: str
    name: str
    heading: str


@dataclass(frozen=True, slots=True)
class Step:
    """One prompt and what may answer it. See `dialogs/en/steps.toml` for the fields."""

    id: str
    phase: str
    kind: str
    who: str
    say: str
    why: str = ""
    minutes: float = 1.0
    cautions: tuple[str, ...] = ()
    reading: str = ""
    stage: str = ""
    optional: bool = False
    needs_hold: bool = False
    sets: tuple[tuple[str, str], ...] = ()
    answers: tuple[str, ...] = ()
    helper: str = ""
    when: When = ()
    instead: tuple[Instead, ...] = ()

    @property
    def held(self) -> bool:
        """Whether the pedal must be held down in this step."""
        return self.kind == "turn" or self.needs_hold


@dataclass(frozen=True, slots=True)
class Caution:
    """A signal word and one sentence."""

    id: str
    signal: str
    text: str
    once: bool = False


@dataclass(frozen=True, slots=True)
class Meaning:
    """Phrases that mean one thing, from whom they count, and when."""

    id: str
    who: str
    phrases: tuple[str, ...]
    anytime: bool = False
    exact: bool = False
    excepted: tuple[str, ...] = ()
    anywhere: tuple[str, ...] = ()
    in_hold: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Pieces:
    """What the job of every kind of truck is composed from."""

    phases: tuple[Phase, ...]
    steps: tuple[Step, ...]
    replies: dict[str, str]
    others: tuple[tuple[When, dict[str, str]], ...] = ()
    made: dict[tuple[str, ...], Dialogs] = field(default_factory=dict, compare=False)


@dataclass(frozen=True, slots=True)
class Dialogs:
    """All of one language, for one kind of truck."""

    language: str
    phases: tuple[Phase, ...]
    steps: tuple[Step, ...]
    cautions: dict[str, Caution]
    words: dict[str, Meaning]
    replies: dict[str, str]
    fingerprint: str
    pieces: Pieces
    by_id: dict[str, Step] = field(default_factory=dict)
    traits: Traits = field(default_factory=lambda: variants.USUAL)

    def for_truck(self, traits: Traits) -> Dialogs:
        """The same language for a truck of another kind."""
        pieces, key = self.pieces, tuple(traits[name] for name in variants.TRAITS)
        if key not in pieces.made:
            steps = variants.steps_for(pieces.steps, traits)
            pieces.made[key] = replace(
                self,
                steps=steps,
                phases=variants.phases_for(pieces.phases, steps),
                replies=variants.replies_for(pieces.replies, pieces.others, traits),
                by_id={s.id: s for s in steps},
                traits=dict(traits),
            )
        return pieces.made[key]

    def phase_of(self, step: Step) -> Phase:
        """The phase a step belongs to."""
        return next(p for p in self.phases if p.id == step.phase)

    def say(self, reply: str, **fields: object) -> str:
        """A reply with its blanks filled in."""
        return self.replies[reply].format_map(fields)
