"""One utterance to one reading: relations between amounts, units, plausibility.

The words become kinds (`tokens`), the kinds become amounts joined by relations (a *shape*, analysed
once and kept), and the shape is evaluated with the sentence's numbers for the quantity asked.
Nothing is guessed: two plausible meanings make a question.
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import NamedTuple

from assistant.quantity import ANY, QUANTITIES, Quantity, quantity_named
from assistant.readings import amounts, settle
from assistant.readings import settle as asking
from assistant.readings.amounts import Amount, Node
from assistant.readings.language import RELATIONS, Value, tokenize
from assistant.readings.reading import Reading

_DROP = frozenset("ƒ€£¥↑δναfOasiIDYLNVKk{}7oMmZjrwlpCdtyTX6nPz=?^*0")
# What is left of a number without its amount: "sixteenths" alone.
_LOST = frozenset("QG4FHWEbchx")


class Plan(NamedTuple):
    """One way to take a shape: an operation over some of its amounts."""

    op: str
    nodes: tuple[Node, ...]
    soft: tuple[bool, ...]
    doubt: str
    """"" | "unknown" (a strange word) | "change" (up, off: a move?) | "doubt" (is it a...?)."""


_RELATIONS = [(operation, re.compile(part.pattern)) for operation, part in RELATIONS]
_shapes: dict[str, tuple[Plan, ...] | str] = {}
_NEVER_TOUCHES = re.compile(
    r"never (?:touch|reach)|(?:doesn't|does not|doesnt|don't) (?:touch|reach)|hits the floor"
    r"|floor first|on the floor|no contact"
)
_SHAPES_KEPT = 20_000
MAX_CHARACTERS = 300
"""Nobody calls out a reading longer than this."""


def read(
    words: str, quantity: str | Quantity = "", units: str = "inch", distance: str = "miles"
) -> Reading:
    """Read `words` as a value of `quantity`.

    Args:
        words: what was typed or recognized.
        quantity: a name from `quantity.QUANTITIES`, or "" when nothing particular was asked.
        units: what the shop prefers, "inch" or "mm"; settles bare numbers in a metric shop.
        distance: "miles" or "kilometres", for an odometer number said without a unit.

    Returns:
        A `Reading`; never raises on words. ValueError for an unknown quantity name.
    """
    if isinstance(quantity, str):
        return _heard_before(words, quantity, units, distance)
    return _read(words, quantity, units, distance)


@lru_cache(maxsize=4096)
def _heard_before(words: str, quantity: str, units: str, distance: str) -> Reading:
    # A shop says the same few hundred things all day, and readings never change once made.
    return _read(words, quantity_named(quantity), units, distance)


def _read(words: str, q: Quantity, units: str, distance: str) -> Reading:
    if len(words) > MAX_CHARACTERS:
        return Reading("none", q.name, why="that is too long to be one reading")
    kinds, values = tokenize(words)
    shape = _shapes.get(kinds)
    if shape is None:
        shape = analyse(kinds)
        if len(_shapes) >= _SHAPES_KEPT:
            _shapes.clear()
        _shapes[kinds] = shape
    if isinstance(shape, str):
        return _nothing(shape, kinds, words, q)
    if len(shape) == 1:
        return settle.settle(shape[0], kinds, values, q, units, distance)
    return _best([settle.settle(plan, kinds, values, q, units, distance) for plan in shape], q)


def _best(readings: list[Reading], q: Quantity) -> Reading:
    """One reading of several ways to take the words: the only plausible one, or a question."""
    read_ones = [r for r in readings if r.status == "read"]
    distinct: list[Reading] = []
    for r in read_ones:
        if not any(r.value_in == d.value_in and r.count == d.count for d in distinct):
            distinct.append(r)
    if len(distinct) == 1:
        return distinct[0]
    if distinct:
        return asking.ask_between(distinct, q)
    for status in ("ask", "refused", "none"):
        for r in readings:
            if r.status == status:
                return r
    raise AssertionError("every shape has a way to take it")


def _nothing(why: str, kinds: str, words: str, q: Quantity) -> Reading:
    if why == "lost":
        return Reading("ask", q.name, why="I heard a fraction without its number. Say it again.")
    if why == "mil":
        return Reading("ask", q.name, why="Mil: how many, thousandths or millimetres?")
    if why == "vague":
        return Reading("ask", q.name, why="Exactly how many?")
    if why == "seconds":
        return Reading("ask", q.name, why="Thirty-seconds: how many?")
    if (
        why == "zero?"
        or (q.name == "brake-contact" and _NEVER_TOUCHES.search(words.lower()))
        or (
            "|" in kinds
            and q.name in ("clearance", "free-travel", "gap")
            and re.match(
                r"^(?:there's |there is |got |i got |i've got |it's )?(?:no|zero) "
                r"(?:free travel|free play|free pedal|play|clearance|gap|travel)",
                words.lower(),
            )
        )
    ):
        if q.unit != "in":
            zero = Reading("read", q.name, count=0.0, kind=q.unit)
        else:
            zero = Reading(
                "read", q.name, 0.0, 0.0, q.rule_half_in, None, "length", "", ((0.0, ("f", 1)),)
            )
        return Reading("ask", q.name, why="Zero, or no reading yet?", choices=(zero,))
    return Reading("none", q.name, why="no reading in these words")


def analyse(kinds: str) -> tuple[Plan, ...] | str:
    """The ways to take a string of kinds, or one word why it holds no amount."""
    if re.fullmatch(r"[fO@J=^A]*Te[faO]*", kinds):
        return "seconds"
    nodes = amounts.find(kinds)
    if "B" in kinds and len(nodes) == 1:
        nodes = amounts.split_mixed(nodes[0], kinds) or nodes
    if not nodes:
        if re.fullmatch(r"[faO^]*m[fO]*", kinds):
            return "mil"
        if re.search(r"¢O?a?[LNV]", kinds):
            return "vague"
        if re.fullmatch(r"[faO@J=^AsSRu2]*[QGFWHcbE4]+[OaifAs]*", kinds) and any(
            k in _LOST for k in kinds
        ):
            return "lost"
        if re.fullmatch(r"[faO^]*\*[faOAi]*", kinds):
            return "zero?"
        return "none"
    plans: list[Plan] = []
    soft_at = [i for i, n in enumerate(nodes) if n.soft]
    masks = range(1 << min(len(soft_at), 3))
    for mask in masks:
        soft = [False] * len(nodes)
        for bit, i in enumerate(soft_at[:3]):
            soft[i] = bool(mask >> bit & 1)
        plan = _relate(kinds, nodes, tuple(soft))
        if plan is not None:
            plans.append(plan)
    if not plans:
        return "none"
    # A sound-alike taken as a number must not turn one sentence into two loose readings.
    good = [p for p in plans if p.op not in ("many", "odd", "join")]
    return tuple(good or plans)


def _relate(kinds: str, nodes: list[Node], soft: tuple[bool, ...]) -> Plan | None:
    """Reduce kinds to relations between amounts and find the operation they spell."""
    out: list[str] = []
    which = list(range(len(nodes)))
    at = 0
    for i, node in enumerate(nodes):
        out.append(kinds[at : node.start])
        if node.soft in ("whole", "inch", "prefix", "num") and not soft[i]:
            out.append("2" if kinds[node.start] == "2" else "")
        out.append("&")
        at = node.end
    out.append(kinds[at:])
    text = "".join(out)
    if "#" in text or "e" in text or re.search(r"&\?", text):
        return None
    text = text.replace("¥^", ";").replace("a€", "R").replace("U£", "@").replace("!}", "!%")
    if re.fullmatch(r"[f^]*&A&[f]*", text) and nodes[0].end - nodes[0].start == 1 == (
        nodes[1].end - nodes[1].start
    ):
        return None  # "half and half"
    if "»" in text:
        if "&»" in text and nodes[-1].unit is None:
            return None  # "a quarter past three"
        text = text.replace("»", "v")
    if re.search(r"^[fA|]*[;^]&|(?<![;f])\^&", text) and nodes[0].how == "seq":
        lone = nodes[0]
        if lone.unit is None and lone.end - lone.start == 1 and kinds[lone.start] == "d":
            return None  # "this one", "wait one"
    text = text.replace("{U}", "~").replace("+Ug", "~")
    if re.search(r"&[fO]*Aa?$", text):
        return Plan("withdrawn", tuple(nodes), soft, "")  # "eight and a": the end was lost
    text = re.sub(r"[vδ]f*ƒ", "", text)  # "above the floor" says where, not how much
    doubt = "unknown" if "?" in text else ""
    if text.startswith("α") or "ν" in text or text.startswith("¥") or re.search(r"\{.*&", text):
        doubt = doubt or "doubt"
    if "δ" in text or ("↑" in text and "↑2" not in text):
        doubt = doubt or "change"
    text = text.replace("↑2", "<")
    text = (
        text.replace("gτ", "<")
        .replace("Sτ", "<")
        .replace("τ", "")
        .replace("{U}", "~")
        .replace("+Ug", "~")
    )
    text = text.replace("gU+", "~").replace("+Ag", "~")
    reduced = "".join(c for c in text if c not in _DROP)
    # Self-repair: what follows the last repair counts.
    cut = reduced.rfind(";")
    if cut >= 0:
        tail = reduced[cut + 1 :]
        if "&" in tail:
            first = reduced[:cut].count("&")
            reduced, which = tail, which[first:]
            reduced = reduced.lstrip("|!A^")
        else:
            reduced = reduced[:cut]
            if "&" in reduced:
                return Plan("withdrawn", tuple(nodes), soft, doubt)
            return None
    if "%" not in reduced:
        cut = reduced.rfind("|")
        if cut >= 0 and "&" in reduced[:cut] and "&" in reduced[cut:]:
            first = reduced[:cut].count("&")
            reduced, which = reduced[cut + 1 :], which[first:]
        elif cut >= 0:
            reduced = reduced.replace("|J", "!J").replace("|", "")
    elif "&" in reduced and not ("!" in reduced or "|" in reduced) and reduced.count("&") > 1:
        reduced = reduced.replace("%", "")
    if _LOST.intersection(reduced):
        return Plan("lost", tuple(nodes[i] for i in which), tuple(soft[i] for i in which), doubt)
    reduced = _trim_and(reduced)
    for op, pattern in _RELATIONS:
        m = pattern.fullmatch(reduced)
        if m is None:
            continue
        order = _order(m, reduced, which)
        if op == "sum":
            op += "".join(c for c in m["rest"] if c != "&")
        return Plan(
            op,
            tuple(nodes[i] for i in order),
            tuple(soft[i] for i in order),
            doubt,
        )
    return None


def _trim_and(reduced: str) -> str:
    """ "and" and "to" matter only between two amounts, or before a vague "bit"."""
    reduced = re.sub(r"[A2]+(?=[^&J%!|<>uvRS2A]|$)", "", reduced)
    reduced = re.sub(r"(?<!&)2+", "", reduced)
    return re.sub(r"^A+", "", reduced)


def _order(m: re.Match[str], reduced: str, which: list[int]) -> list[int]:
    """Amount indices in the order the operation wants them."""
    positions = [i for i, c in enumerate(reduced) if c == "&"]
    groups = m.groupdict()
    if groups.get("g"):
        return [which[positions.index(m.start("g"))], which[positions.index(m.start("n"))]]
    if groups.get("a") and groups.get("b"):
        return [which[positions.index(m.start("a"))], which[positions.index(m.start("b"))]]
    return [which[i] for i in range(len(positions))]


__all__ = ["ANY", "QUANTITIES", "Amount", "Quantity", "Reading", "Value", "analyse", "read"]
