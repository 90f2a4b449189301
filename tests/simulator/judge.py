"""One simulated truck from its seed to the verdict."""

import random
import shutil
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Mapping
from copy import deepcopy
from dataclasses import dataclass, field
from pathlib import Path

from assistant.card import Card, card_from_text, default_card
from assistant.conversation import Session
from tests.demo import shipped
from tests.simulator import brute, gauges
from tests.simulator.kinds import KINDS, Job, make
from tests.simulator.people import CAREFUL, SMALL, Crew, Habits, Unsafe

FAST = Path("/dev/shm")
GOOD = (
    "in tolerance", "honestly refused", "refused, on the edge", "misread last",
    "accepted as too close", "closed: a part at its end", "refused, with a part to repair",
)  # fmt: skip
"""Ends that the house may have; all others are failures."""
TO_REPAIR = ("worn pins", "gives", "wrong lever")
"""Faults that a setting can hide but not mend: whoever refuses such a truck is right."""


@dataclass
class Verdict:
    """What became of one truck.

    Attributes:
        end: one of `GOOD`, or "wrongly refused", "signed out", "signed out, doubt named", "stuck",
            "unsafe", "fault".
        best: fewest adjusters to touch, None where no setting will do.
        moves: how often an adjuster was moved.
        why: a line on what is wrong.
    """

    seed: int
    kind: str
    end: str
    utterances: int = 0
    checks: int = 0
    moves: int = 0
    best: int | None = None
    mishaps: list[str] = field(default_factory=list)
    why: str = ""
    seconds: float = 0.0
    misheard: int = 0
    fault: str = ""
    gap_half: float = 0.0
    """Half a step of the gauge that the gap was read by last."""
    lines: list[str] = field(default_factory=list)

    @property
    def line(self) -> str:
        mishaps = ", ".join(self.mishaps) or "none"
        return f"{self.seed} {self.kind} {self.end}: {self.why} [mishaps: {mishaps}]"


def judged(seed: int, kinds: tuple[str, ...] = KINDS, habits: Habits | None = None) -> Verdict:
    """Play the truck of a seed, and judge what it left. One in two crews makes mistakes."""
    rng = random.Random(seed)
    kind = kinds[seed % len(kinds)]
    job = make(kind, rng)
    careful = CAREFUL if rng.random() < 0.5 else Habits()
    before, start = deepcopy(job), time.perf_counter()
    before.truck.lash -= job.loose
    card = card_from_text(job.card, "simulated.toml") if job.card else default_card()
    verdict = _played(job, card, rng, habits or careful, Verdict(seed, kind, "fault"))
    verdict.seconds = time.perf_counter() - start
    verdict.fault = job.fault
    by_maker = _as_left(before, job)
    found = possible(before, {})
    verdict.best = None if found is None else found.moves + by_maker
    if verdict.end in ("left", "accepted"):
        seen = verdict.why.endswith("at its end") and verdict.best is not None
        verdict.end = "closed: a part at its end" if seen else refused(before, verdict)
    return verdict


GAUGE = 1 / 32
"""A gap this much out may be read as in: the coarsest gauge's half step."""


def _as_left(before: Job, job: Job) -> bool:
    """Whether the maker's procedure was done: only it moves the bearing of a clutch that adjusts
    itself, and nobody says where to. What could be done is judged by where it is left, and by a
    gap that the gauge shows as in."""
    done = before.truck.bearing != job.truck.bearing
    before.truck.bearing = job.truck.bearing
    low, high = before.limits["gap"]
    gap = before.truck.gap
    if not (job.manual or job.stays_out) and low - GAUGE <= gap <= high + GAUGE:
        before.limits["gap"] = (min(low, gap), max(high, gap))
    return done


def refused(before: Job, verdict: Verdict) -> str:
    """What a refusal was worth: whether a setting would do, and with how much room."""
    if verdict.best is None:
        return "honestly refused"
    if before.fault in TO_REPAIR:
        return "refused, with a part to repair"
    small, large = (0.004, 1 / 50) if before.millimetres else (1 / 64, 1 / 32)
    spare = {q: small if q in SMALL else large for q in before.limits}
    if not before.manual:
        # Nothing but the procedure moves this gap. Where it left it nearer to a limit than half a
        # step of the gauge that it was read by last, that gauge may show it as outside.
        spare["gap"] = min(verdict.gap_half, GAUGE)
    sure = possible(before, spare)
    return "wrongly refused" if sure is not None else "refused, on the edge"


def possible(job: Job, spare: Mapping[str, float]) -> brute.Best | None:
    """Whether a setting would do, with the maker's procedure first where a clutch needs it."""
    found = brute.best(job, spare)
    low, high = job.limits["gap"]
    if found is not None or job.manual or job.stays_out or low <= job.truck.gap <= high:
        return found
    by_maker = deepcopy(job)
    by_maker.truck.by_maker((low + high) / 2)
    found = brute.best(by_maker, spare)
    return None if found is None else brute.Best(found.moves + 1, found.setting)


def _played(job: Job, card: Card, rng: random.Random, habits: Habits, verdict: Verdict) -> Verdict:
    folder = Path(tempfile.mkdtemp(dir=FAST if FAST.is_dir() else None))
    try:
        session, _ = Session.begin(card, shipped(), folder)
        crew = Crew(job, session, rng, habits)
        try:
            verdict.end = crew.work()
        except Unsafe as unsafe:
            verdict.end, verdict.why = "unsafe", str(unsafe)
        except Exception:
            verdict.end, verdict.why = "fault", traceback.format_exc().splitlines()[-1]
            crew.lines.append(traceback.format_exc())
        session.close()
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    verdict.utterances, verdict.moves = crew.said, sum(crew.moves.values())
    if "gap" in crew.told:
        verdict.gap_half = crew.told["gap"].gauge.half
    verdict.checks = sum(": check" in line for line in crew.lines)
    verdict.mishaps, verdict.misheard, verdict.lines = crew.mishaps, crew.misheard, crew.lines
    if verdict.end == "stuck":
        verdict.why = f"at {crew.dialogue.at}: {crew.lines[-1].strip()}"
    elif verdict.end == "left":
        verdict.why = crew.given_up
    elif verdict.end == "signed":
        verdict.end, verdict.why = signed(job, crew)
    return verdict


def signed(job: Job, crew: Crew) -> tuple[str, str]:
    """How a truck stands that was signed off: by the parts, with the gauge's half step."""
    accepted = [d for d in crew.doubts if "accepted" in d and "too close" not in d]
    out, far, misread, unnamed = [], [], [], []
    for quantity, (low, high) in job.limits.items():
        true, told = job.truck.read(quantity), crew.told.get(quantity)
        half = told.gauge.half if told is not None else gauges.RULE32.half
        if low - half - 1e-9 <= true <= high + half + 1e-9:
            continue
        out.append(f"{quantity} {true:.3f} not {low:.3f} to {high:.3f}")
        if told is not None and told.wrong:
            misread.append(quantity)
        elif not any(doubt.startswith(quantity) for doubt in crew.doubts):
            unnamed.append(quantity)
        elif not low - 2 * half - 0.002 <= true <= high + 2 * half + 0.002:
            far.append(quantity)
    why = "; ".join([*out, *accepted])
    if unnamed:
        return "signed out", why
    if misread:
        return "misread last", why
    if accepted:
        return "accepted", why
    if not out:
        return "in tolerance", ""
    return "signed out, doubt named" if far else "accepted as too close", why


def tally(verdicts: list[Verdict]) -> Counter[str]:
    return Counter(verdict.end for verdict in verdicts)
