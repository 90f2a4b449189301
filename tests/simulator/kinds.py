"""Random trucks of every kind, each with the card that its shop has of it, or none.

Every figure is invented. What a truck is like (its ratio, its slack) is drawn apart from what its
card says; where a card says it, it says it rightly, within the makers' spread.
"""

import random
from collections.abc import Callable
from dataclasses import dataclass

from tests.simulator.truck import Setting, Truck

KINDS = tuple(
    f"{linkage}{traits}"
    for linkage in ("rod", "cable", "hydraulic")
    for traits in (
        "-card-coarse", "-card-fine", "-nocard-coarse", "-nocard-fine",
        "-card-synchronized", "-card-self", "-card-self-synchronized", "-card-mm",
    )
)  # fmt: skip
THREADS = {
    "1/2-20": 1 / 20, "7/16-20": 1 / 20, "5/8-18": 1 / 18, "3/8-24": 1 / 24,
    "M8x1.25": 1.25 / 25.4, "M10x1.25": 1.25 / 25.4, "M12x1.75": 1.75 / 25.4,
}  # fmt: skip
Limits = dict[str, tuple[float, float]]
COMMON: Limits = {
    "gap": (1 / 2, 9 / 16), "clearance": (3 / 32, 5 / 32), "free-travel": (1.125, 2.75),
    "brake-contact": (0.5, 1.0),
}  # fmt: skip
TRAVEL = ("bearing-travel", (0.5, 99.0))
"""At least half an inch. Not read, so no verdict hangs on it; but a plan may rightly give up."""


@dataclass
class Job:
    """A truck and what is known of it: the limits to judge by, the card's text or ""."""

    kind: str
    truck: Truck
    limits: Limits
    card: str = ""
    brake: bool = True
    manual: bool = True
    millimetres: bool = False
    longer_gives: str = ""
    rest_turn: float = 0.0
    low_turn: float = 0.0
    fault: str = ""
    """What is wrong with its parts, that no setting mends, where that was meant."""
    loose: float = 0.0
    """Slack that a repair of the chain takes out, and that its check shows."""
    stays_out: float = 0.0
    """How far the maker's procedure leaves the gap outside."""


FAULTS = ("worn pins", "gives", "ring used up", "wrong lever", "narrow gap", "rod at its end")


def make(kind: str, rng: random.Random) -> Job:
    traits = set(kind.split("-"))
    linkage = next(iter(traits & {"rod", "cable", "hydraulic"}))
    card, brake = "card" in traits, "synchronized" not in traits
    fault = rng.choice(FAULTS) if rng.random() < 0.15 else ""
    ratio = rng.uniform(9.5, 13.5) * (rng.choice((0.6, 1.5)) if fault == "wrong lever" else 1.0)
    lash = rng.choice((0.0, 1 / 16, rng.uniform(0, 0.2)))
    slack = lash + (rng.uniform(0.5, 1.5) if fault == "worn pins" else 0.0)
    give = rng.uniform(0.5, 2.0) if fault == "gives" else rng.uniform(0, _GIVE[linkage])
    fine = "fine" in traits or (not {"coarse"} & traits and rng.random() < 0.3)
    lug = (0.014 if fine else 0.027) * rng.uniform(0.97, 1.03)
    limits = dict(COMMON)
    if card:
        limits["free-travel"] = rng.choice(((1.125, 2.0), (1.125, 2.75), (1.0, 2.25)))
    if fault == "narrow gap" and card:
        limits["gap"] = (0.515, 0.530)
    if not brake:
        low = round(rng.uniform(0.55, 0.8), 2)
        limits["gap"] = (low, low + rng.choice((0.05, 0.06, 0.08)))
        del limits["brake-contact"]
    # Where it would stand when well set, and how far the years have taken it from there.
    gap = sum(limits["gap"]) / 2
    touched = slack + ratio * (0.125 + gap) + give
    rest = touched + rng.uniform(0.55, 0.95)
    if fault in ("worn pins", "gives", "wrong lever"):
        rest = rng.uniform(7.5, 9.5)
    rest = min(max(rest, 6.0), 12.0)
    low = rng.choice((0.0, 0.25, rng.uniform(0.0, 0.4)))
    worn = rng.choice((0.0, rng.uniform(0.02, 0.35), rng.uniform(0.02, 0.2), -rng.uniform(0, 0.1)))
    off = rng.choice((0.0, 0.0, rng.uniform(-0.06, 0.1)))
    if card and rng.random() < 0.25:  # its height was set wrongly by somebody
        limits["pedal-height"] = (rest + 0.3, rest + 1.0)
    elif card:
        limits["pedal-height"] = (rest - rng.uniform(0.3, 0.6), rest + rng.uniform(0.3, 0.6))
    if card:
        total = rest - low
        wrong = rng.choice((0.0, 0.0, 0.0, 0.7))
        limits["total-travel"] = (total - 0.8 - wrong, total + 0.8 - wrong)
    per_fork = rng.choice((1.0, rng.uniform(1.0, 2.0)))
    thread = rng.choice(tuple(THREADS)) if card or rng.random() < 0.3 else "1/2-20"
    flat = THREADS[thread] / per_fork / 6
    truck = Truck(
        brake_face=gap + 10.0,
        bearing=10.0 - worn,
        tips=10.0 - 0.125 - off,
        ratio=ratio,
        curve=rng.choice((0.0, 0.0, rng.uniform(-0.002, 0.002))),
        lash=slack,
        give=give,
        lug=lug,
        lugs_left=rng.randrange(0, 3) if fault == "ring used up" else rng.randrange(18, 30),
        lugs_back=rng.randrange(8, 30),
        flat=flat,
        flats_free=rng.randrange(2, 5) if fault == "rod at its end" else 180,
        brake=brake,
        fluid=linkage == "hydraulic",
        set=Setting(0, 0, rest, low),
    )
    job = Job(kind, truck, limits, brake=brake, manual="self" not in traits, fault=fault)
    job.millimetres = "mm" in traits
    if rng.random() < 0.05:
        job.loose = 0.3
        truck.lash += job.loose
    if not job.manual and fault == "ring used up":
        job.stays_out = 0.1
    job.longer_gives = rng.choice(("more clearance", "less clearance")) if card else ""
    if card:
        job.rest_turn = rng.choice((0.0, rng.choice((0.125, 0.1875, 0.25))))
        job.low_turn = rng.choice((0.0, rng.choice((0.125, 0.1875, 0.25))))
        job.card = _card(job, linkage, thread, per_fork, lash, fine, rng)
    return job


def _geometry(truck: Truck, length: Callable[[float], str]) -> list[str]:
    """The chain itself, measured: levers, and a cable that stretches or the bores of the fluid."""
    fork = 1.8
    if not truck.fluid:
        pedal, load = truck.ratio / fork, 300.0
        stiff = min(pedal * load / fork / max(truck.give, 1e-6), 1e6)
        chain = [f"pedal_lever = {pedal:.3f}", f"stiffness = {stiff:.0f}", f"load = {load}"]
    else:
        bores = {"master_bore": 0.75, "slave_bore": 0.75 * (truck.ratio / 5 / fork) ** 0.5}
        strokes = {"master_stroke": 3.0, "slave_stroke": 3.0}
        chain = [f"{name} = {length(value)}" for name, value in (bores | strokes).items()]
        chain.append("pedal_lever = 5.0")
    return ["[linkage]", f"fork_lever = {fork}", *chain]


_GIVE = {"rod": 0.04, "cable": 0.12, "hydraulic": 0.1}
_UNITS = 25.4


def _card(
    job: Job, linkage: str, thread: str, per_fork: float, lash: float, fine: bool,
    rng: random.Random,
) -> str:  # fmt: skip
    def length(value: float) -> str:
        return f'"{value * _UNITS:.2f} mm"' if job.millimetres else f'"{value:.3f} in"'

    lines = [f'unit = "S-{rng.randrange(100, 999)}"', "[truck]"]
    lines.append(f'transmission = "{"non-" if job.brake else ""}synchronized"')
    lines.append(f'linkage = "{linkage}"')
    lines.append(f'clutch = "{"manual" if job.manual else "self-adjusting"}"')
    if job.millimetres:
        lines += ["[shop]", 'units = "mm"', 'distance = "kilometres"']
    if job.manual:
        lines += ["[ring]", f"lug = {length(0.014 if fine else 0.027)}"]
    lines += ["[rod]", f'thread = "{thread}"', f'longer = "{job.longer_gives}"']
    lines.append(f"per_fork = {per_fork:.3f}")
    lines += ["[pedal]", f"lash = {length(lash)}"] if lash else ["[pedal]"]
    if rng.random() < 0.4:
        lines.append(f"ratio = {job.truck.ratio:.2f}")
    elif linkage != "rod" and rng.random() < 0.5 and job.fault != "gives":
        lines += _geometry(job.truck, length)
    turns = {"height": job.rest_turn, "total": job.low_turn}
    stops = [f"{name} = {length(turn)}" for name, turn in turns.items() if turn]
    lines += ["[stops]", *stops, "[figures]", 'source = "simulated (invented)"']
    for name, (low, high) in job.limits.items():
        lines.append(f"{name} = {{ low = {length(low)}, high = {length(high)} }}")
    return "\n".join(lines) + "\n"
