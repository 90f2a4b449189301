"""One solver for all settings: lugs, flats and stop steps that put everything in, or what cannot.

The ring comes first: where a whole lug puts the gap in, the gap is never given up for what the
linkage could not do. Where no setting puts every quantity in, the fewest quantities are given up,
those that come last in the trade's order before the others, and ``condemned`` says which part
that points at.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from itertools import combinations
from typing import Literal, NamedTuple

from assistant.clutch.adjusters import Setting
from assistant.clutch.conformity import conformance_probability
from assistant.clutch.effects import ORDER, Effects, sureness
from assistant.clutch.settings_rank import ENOUGH, GRADES, Found, grade_of
from assistant.clutch.settings_search import possible, search, widest
from assistant.clutch.uncertainty import Measured, normal_quantile

Kind = Literal["chosen", "as it is", "a lug looser", "a lug tighter", "widest margin"]


class Out(NamedTuple):
    """A quantity that no setting puts in with the rest, and by how much it then misses (inches).

    Below zero it is under its low limit.
    """

    quantity: str
    miss_in: float


@dataclass(frozen=True, slots=True)
class Candidate:
    """One setting and what it costs.

    ``tightest`` is the quantity that sits worst, ``sure`` its depth in standard uncertainties and
    ``chance`` its probability to be in. ``out`` names what would be outside.
    """

    kind: Kind
    setting: Setting
    after: dict[str, Measured]
    tightest: str
    sure: float
    chance: float
    out: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Settings:
    """The solver's answer. ``given_up`` is empty when everything can be in.

    ``may_be`` names the quantities any one of which, given up alone, lets the rest be in.
    """

    judged: tuple[str, ...]
    chosen: Candidate
    given_up: tuple[Out, ...]
    may_be: tuple[str, ...]
    candidates: tuple[Candidate, ...]
    grade: int

    @property
    def possible(self) -> bool:
        """Whether some setting puts every quantity in."""
        return not self.given_up

    @property
    def sure(self) -> bool:
        """Whether all of them then count as "in", not only as likely."""
        return self.possible and self.grade == GRADES


def solve(
    effects: Effects,
    confidence: float = 0.95,
    *,
    with_candidates: bool = True,
    lugs: int | None = None,
) -> Settings:
    """The best setting of all adjusters, as ``settings_rank`` ranks them.

    With ``lugs`` the ring's count is given already, and the rest is found for it.

    Raises:
        ValueError: there is no figure for the gap.
    """
    judged = effects.judged()
    if "gap" not in judged:
        raise ValueError("There is no figure for the gap: put the maker's on the truck card.")
    given = None if lugs is None else (lugs,)
    wanted, counts, found, may_be = _within_reach(effects, judged, confidence, given)
    setting = found.setting if found is not None else Setting(next(iter(counts or [0])))
    chosen = candidate(effects, "chosen", setting, judged)
    given_up = tuple(
        Out(q, _miss(effects, q, chosen.after[q].value_in)) for q in judged if q not in wanted
    )
    others = (
        tuple(_others(effects, judged, wanted, setting, confidence, counts))
        if with_candidates
        else ()
    )
    return Settings(
        judged,
        chosen,
        given_up,
        may_be,
        (chosen, *others),
        grade_of(max(0.0, chosen.sure), normal_quantile(confidence)),
    )


def _within_reach(
    effects: Effects,
    judged: tuple[str, ...],
    confidence: float,
    lugs: tuple[int, ...] | None,
) -> tuple[frozenset[str], tuple[int, ...] | None, Found | None, tuple[str, ...]]:
    """What can be had together, the ring's counts to use, the best of them, and who is odd."""
    everything = frozenset(judged)
    if (found := search(effects, everything, confidence, lugs)) is not None:
        return everything, lugs, found, ()
    keep, gap_out = everything, not possible(effects, {"gap"}, lugs)
    if gap_out:
        lugs, keep = lugs or (nearest_lugs(effects),), keep - {"gap"}
        if (found := search(effects, keep, confidence, lugs=lugs)) is not None:
            return keep, lugs, found, ("gap",)
    loose = [q for q in reversed(ORDER) if q in keep and q != "gap"]
    for size in range(1, len(loose) + 1):
        odd = [
            drop for drop in combinations(loose, size) if possible(effects, keep - set(drop), lugs)
        ]
        if odd:
            rest = keep - set(odd[0])
            alone = tuple(drop[0] for drop in odd) if size == 1 and not gap_out else ()
            return rest, lugs, search(effects, rest, confidence, lugs=lugs), alone
    return frozenset(), lugs, None, ()


def nearest_lugs(effects: Effects) -> int:
    """The count that brings the gap nearest to its limits; the fewest lugs of equals."""
    move, limits = effects.adjusters, effects.limits("gap")
    gap = effects.readings.gap.value_in
    counts = sorted(range(-move.max_lugs, move.max_lugs + 1), key=lambda n: (abs(n), -n))
    return min(counts, key=lambda n: round(limits.miss_in(gap - n * move.lug_in), 9))


def candidate(effects: Effects, kind: Kind, setting: Setting, judged: Collection[str]) -> Candidate:
    """What a setting gives and costs."""
    after = effects.after(setting)
    sure = {q: sureness(after[q].value_in, after[q].u_in, effects.limits(q)) for q in judged}
    tightest = min(sure, key=lambda q: sure[q])
    return Candidate(
        kind,
        setting,
        after,
        tightest,
        sure[tightest],
        conformance_probability(after[tightest], effects.limits(tightest)),
        tuple(q for q in judged if sure[q] < -1e-6),
    )


def _miss(effects: Effects, quantity: str, value_in: float) -> float:
    limits = effects.limits(quantity)
    low = limits.low_in
    return limits.miss_in(value_in) * (-1.0 if low is not None and value_in < low else 1.0)


def _others(
    effects: Effects,
    judged: tuple[str, ...],
    wanted: frozenset[str],
    setting: Setting,
    confidence: float,
    lugs: tuple[int, ...] | None,
) -> Iterator[Candidate]:
    """What else could be done, each only once: nothing, a lug either way, the widest margin."""
    shown = {setting}
    worst = candidate(effects, "chosen", setting, wanted).sure if wanted else ENOUGH
    tries: list[tuple[Kind, Found | None]] = []
    neighbours: tuple[tuple[Kind, int], ...] = (
        ("a lug looser", setting.lugs - 1),
        ("a lug tighter", setting.lugs + 1),
    )
    for kind, count in neighbours:
        if abs(count) <= effects.adjusters.max_lugs:
            tries.append((kind, search(effects, wanted, confidence, lugs=(count,))))
    if worst < ENOUGH:  # else nothing is gained by more moves
        tries.append(("widest margin", widest(effects, wanted, lugs)))
    if setting != Setting():
        shown.add(Setting())
        yield candidate(effects, "as it is", Setting(), judged)
    for kind, found in tries:
        if found is not None and found.setting not in shown:
            shown.add(found.setting)
            yield candidate(effects, kind, found.setting, judged)
