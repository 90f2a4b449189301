"""One utterance to one reading: relations between amounts, units, plausibility.

The words become kinds (`language`), the kinds become amounts joined by relations (a *shape*,
analysed once and kept), and the shape is evaluated with the sentence's numbers for the quantity
asked. Nothing is guessed: two plausible meanings make a question.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import lru_cache

from assistant.quantity import (
    BRAKE_CONTACT,
    BY_NAME,
    CLEARANCE,
    FREE_TRAVEL,
    GAP,
    LUGS,
    Quantity,
    quantity_named,
)
from assistant.readings.amounts import AmountAt, find, split_mixed
from assistant.readings.language import RELATIONS, tokenize
from assistant.readings.lugs import counted
from assistant.readings.reading import Reading, asked, nothing
from assistant.readings.settle import Plan, ask_between, settle
from assistant.readings.written import STRANGE
from assistant.sentences import capital

SAYS_NOTHING = frozenset("ţļƒ€£¥↑δναfOasiIDYLNVKk{}7oMmZjrwlpCdtyTX6nPz=?^*0")
MEANS_THE_SAME = (
    ("¥^", ";"), ("a€", "R"), ("U£", "@"), ("!}", "!%"),
    ("{U}", "~"), ("+Ug", "~"), ("gU+", "~"), ("+Ag", "~"),
)  # fmt: skip
"""Kinds in a row that say what one kind says: "give or take", "plus or minus", "make that"."""
_PART_ALONE = frozenset("QG4FHWEbchx")
"""What is left of a number without its amount: "sixteenths" alone."""
_RELATIONS = [(operation, re.compile(part.pattern)) for operation, part in RELATIONS]
_TOO_TIGHT = re.compile(r"sţ[sf^]*(?=&)|(?<=&)f*αs[ţRS]")
_TOO_LOOSE = re.compile(r"sļ[sf^]*(?=&)|(?<=&)f*αsļ")
"""Between a gauge and what it is tried in: "too tight for the half", "the half is too loose"."""
_NEVER_TOUCHES = re.compile(
    r"never (?:touch|reach)|(?:doesn't|does not|doesnt|don't) (?:touch|reach)|hits the floor"
    r"|floor first"
)
_MAY_NOT_TOUCH = re.compile(r"on the floor|no contact")
_NONE_OF_IT = re.compile(
    r"(?:there's |there is |got |i got |i've got |it's )?(?:no|zero) "
    r"(?:free travel|free play|free pedal|play|clearance|gap|travel)"
)
_COMPARES = re.compile(
    r"[,;]?\s+(?:it's|its|it is|that's|thats|that is|which is|so)\s+(?:(?:just|only|about) )?"
    r"(?:an? )?(?:(?:hair|touch|bit|shade|tad|smidge|whisker|little) )?"
    r"(?:under|over|below|above|past|shy of|short of|less than|more than)\b"
)
"""A clause that compares the value said before it: "seven sixteenths, it's a hair under half"."""
_AND_A = re.compile(
    r"(?i)(?<=\w) an'? (?=(?:an? (?:half|quarter|eighth|sixteenth)|half|quarter"
    r"|\w+ (?:quarter|eighth|sixteenth|thirty.second|sixty.fourth)s?)\b)"
)
""" "Seven an a half": and, as many say it."""
MAX_CHARACTERS = 300
"""Nobody calls out a reading longer than this."""


def read(words: str, quantity: str = "", units: str = "inch", distance: str = "miles") -> Reading:
    """Read `words` as a value of `quantity`.

    Args:
        words: what was typed or recognized.
        quantity: a name from `quantity.QUANTITIES`, or "" when nothing particular was asked.
        units: what the shop prefers, "inch" or "mm"; settles bare numbers in a metric shop.
        distance: "miles" or "kilometres", for an odometer number said without a unit.

    Returns:
        A `Reading`; never raises on words. ValueError for an unknown quantity name.
    """
    reading = _heard_before(words, quantity, units, distance)
    if reading.status == "read" or quantity != LUGS:
        return reading
    lugs = counted(words)
    return reading if lugs is None else Reading("read", LUGS, count=float(lugs), kind=LUGS)


@lru_cache(maxsize=4096)
def _heard_before(words: str, quantity: str, units: str, distance: str) -> Reading:
    # A shop says the same few hundred things all day, and readings never change once made.
    q = BY_NAME.get(quantity) or quantity_named(quantity)
    if len(words) > MAX_CHARACTERS:
        return nothing(q, "too_long")
    compared = _COMPARES.search(words.lower())
    if compared is not None:
        before = _heard_before(words[: compared.start()], quantity, units, distance)
        if before.status == "read":
            return before
    if " an" in words:
        words = _AND_A.sub(" and ", words)
    kinds, values = tokenize(words)
    if STRANGE in kinds:
        return nothing(q) if "#" in kinds else asked(q, "figures")
    shape = analyse(kinds)
    if isinstance(shape, str):
        return _no_amount(shape, kinds, words.lower(), q)
    readings = [settle(plan, kinds, values, q, units, distance) for plan in shape]
    return readings[0] if len(readings) == 1 else _best(readings, q)


def _best(readings: list[Reading], q: Quantity) -> Reading:
    """One reading of several ways to take the words: the only plausible one, or a question."""
    distinct = {(r.value_in, r.count): r for r in reversed(readings) if r.status == "read"}
    if len(distinct) > 1:
        return ask_between([r for r in readings if r in distinct.values()], q)
    order = ("read", "ask", "refused", "none")
    return min(readings, key=lambda r: order.index(r.status))


def _no_amount(why: str, kinds: str, words: str, q: Quantity) -> Reading:
    if why in ("lost", "mil", "vague", "seconds"):
        return asked(q, why)
    if q.name == BRAKE_CONTACT and (_NEVER_TOUCHES.search(words) or _MAY_NOT_TOUCH.search(words)):
        return _never(q, bool(_NEVER_TOUCHES.search(words)))
    none = "|" in kinds and q.name in (CLEARANCE, FREE_TRAVEL, GAP) and _NONE_OF_IT.match(words)
    if why != "zero?" and not none:
        return nothing(q)
    zero = Reading("read", q.name, 0.0, 0.0, q.rule_half_in, None, "length", "", ((0.0, ("f", 1)),))
    if q.unit != "in":
        zero = Reading("read", q.name, count=0.0, kind=q.unit)
    return asked(q, "zero", (zero,))


def _never(q: Quantity, sure: bool) -> Reading:
    """The brake is not touched before the floor: no height, and below every limit."""
    parts = ((0.0, ("f", 1)),)
    never = Reading("read", q.name, 0.0, 0.0, 0.0, None, "length", "", parts, "never")
    return never if sure else asked(q, "one_of", (never,), meanings=capital(never.readback))


_NO_AMOUNT = (
    ("mil", re.compile(r"[faO^]*m[fO]*")),
    ("vague", re.compile(r".*¢O?a?[LNV].*")),
    ("lost", re.compile(r"(?=.*[QG4FHWEbchx])[faO@J=^AsSRu2]*[QGFWHcbE4]+[OaifAs]*")),
    ("zero?", re.compile(r"[faO^]*\*[faOAi]*")),
)
"""What words without an amount may be."""


@lru_cache(maxsize=20_000)
def analyse(kinds: str) -> tuple[Plan, ...] | str:
    """The ways to take a string of kinds, or one word why it holds no amount."""
    if re.fullmatch(r"[fO@J=^A]*Te[faO]*", kinds):
        return "seconds"
    nodes = find(kinds)
    if "B" in kinds and len(nodes) == 1:
        nodes = split_mixed(nodes[0], kinds) or nodes
    if not nodes:
        return next((why for why, pattern in _NO_AMOUNT if pattern.fullmatch(kinds)), "none")
    plans = [plan for soft in _ways(nodes) if (plan := _relate(kinds, nodes, soft)) is not None]
    # A sound-alike taken as a number must not turn one sentence into two loose readings.
    good = [p for p in plans if p.op not in ("many", "odd", "join")]
    return tuple(good or plans) or "none"


def _ways(nodes: list[AmountAt]) -> Iterator[tuple[bool, ...]]:
    """Which sound-alikes count as the numbers they sound like: every choice of the first three."""
    soft_at = [i for i, n in enumerate(nodes) if n.soft][:3]
    for mask in range(1 << len(soft_at)):
        taken = {at for bit, at in enumerate(soft_at) if mask >> bit & 1}
        yield tuple(i in taken for i in range(len(nodes)))


def _relate(kinds: str, nodes: list[AmountAt], soft: tuple[bool, ...]) -> Plan | None:
    """Reduce kinds to relations between amounts and find the operation they spell."""
    text = _with_amounts(kinds, nodes, soft)
    for seen, said in MEANS_THE_SAME:
        text = text.replace(seen, said)
    if _is_chatter(text, kinds, nodes):
        return None
    text = text.replace("»", "v")
    if re.search(r"&[fO]*Aa?$", text):
        return Plan("withdrawn", tuple(nodes), soft, "")  # "eight and a": the end was lost
    text = _TOO_TIGHT.sub("<", _TOO_LOOSE.sub(">", text))
    text = re.sub(r"[vδ]f*ƒ", "", text)  # "above the floor" says where, not how much
    doubt = _doubt(text)
    for seen, said in (("↑2", "<"), ("gτ", "<"), ("Sτ", "<"), ("τ", "")):
        text = text.replace(seen, said)
    reduced = "".join(c for c in text if c not in SAYS_NOTHING)
    which = list(range(len(nodes)))
    repair = reduced.rfind(";")
    if repair >= 0:  # self-repair: what follows the last one counts
        before, reduced = reduced[:repair], reduced[repair + 1 :]
        if "&" not in reduced:
            return Plan("withdrawn", tuple(nodes), soft, doubt) if "&" in before else None
        which = which[before.count("&") :]
        reduced = reduced.lstrip("|!A^")
    reduced, which = _without_no(reduced, which)
    if _PART_ALONE.intersection(reduced):
        return _plan("lost", which, nodes, soft, doubt)
    # "and" and "to" matter only between two amounts, or before a vague "bit".
    reduced = re.sub(r"[A2]+(?=[^&J%!|<>uvRS2A]|$)", "", reduced)
    reduced = re.sub(r"(?<!&)2+", "", reduced)
    reduced = re.sub(r"^A+", "", reduced)
    for op, pattern in _RELATIONS:
        m = pattern.fullmatch(reduced)
        if m is not None:
            if op == "sum":
                op += m["rest"].replace("&", "")
            return _plan(op, _order(m, reduced, which), nodes, soft, doubt)
    return None


def _plan(
    op: str, which: list[int], nodes: list[AmountAt], soft: tuple[bool, ...], doubt: str
) -> Plan:
    return Plan(op, tuple(nodes[i] for i in which), tuple(soft[i] for i in which), doubt)


def _with_amounts(kinds: str, nodes: list[AmountAt], soft: tuple[bool, ...]) -> str:
    """The kinds with & for each amount; "to" stays before one where it is not taken as two."""
    out: list[str] = []
    at = 0
    for node, taken in zip(nodes, soft, strict=True):
        out.append(kinds[at : node.start])
        if node.soft in ("whole", "inch", "prefix", "num") and not taken:
            out.append("2" if kinds[node.start] == "2" else "")
        out.append("&")
        at = node.end
    return "".join(out) + kinds[at:]


def _is_chatter(text: str, kinds: str, nodes: list[AmountAt]) -> bool:
    """Whether the amounts are no readings: numbers of things, times of day, "this one"."""
    if "#" in text or "e" in text or re.search(r"&\?", text):
        return True
    if re.fullmatch(r"[f^]*&A&[f]*", text) and all(n.end - n.start == 1 for n in nodes):
        return True  # "half and half"
    if "&»" in text and nodes[-1].unit is None:
        return True  # "a quarter past three"
    first = nodes[0]
    this_one = re.search(r"^[fA|]*[;^]&|(?<![;f])\^&", text.replace("»", "v")) is not None
    return this_one and first.unit is None and kinds[first.start : first.end] == "d"


def _doubt(text: str) -> str:
    """Why amounts may be no reading: an unknown word, a move, somebody's wish."""
    if "?" in text:
        return "unknown"
    if text[:1] in ("α", "¥") or "ν" in text or re.search(r"\{.*&", text):
        return "doubt"
    return "change" if "δ" in text or ("↑" in text and "↑2" not in text) else ""


def _without_no(reduced: str, which: list[int]) -> tuple[str, list[int]]:
    """What counts after a "no", which repairs where it stands between two amounts."""
    if "%" in reduced:
        only_goes = "!" not in reduced and "|" not in reduced and reduced.count("&") > 1
        return (reduced.replace("%", "") if only_goes else reduced), which
    cut = reduced.rfind("|")
    if cut >= 0 and "&" in reduced[:cut] and "&" in reduced[cut:]:
        return reduced[cut + 1 :], which[reduced[:cut].count("&") :]
    return reduced.replace("|J", "!J").replace("|", ""), which


def _order(m: re.Match[str], reduced: str, which: list[int]) -> list[int]:
    """Amount indices in the order the operation wants them."""
    groups = m.groupdict()
    for first, second in (("g", "n"), ("a", "b")):
        if groups.get(first) and groups.get(second):
            return [which[reduced[: m.start(k)].count("&")] for k in (first, second)]
    return which
