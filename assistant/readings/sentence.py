"""A reading that stands among other words: in one part of a sentence, or one at each fork tip.

Only for words that surely hold a reading; what comes out is always read back.
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Any, NamedTuple

from assistant.quantity import (
    BRAKE_CONTACT,
    CLEARANCE,
    FREE_TRAVEL,
    GAP,
    LUGS,
    ODOMETER,
    RING_LEFT,
)
from assistant.readings.language import LEXICON
from assistant.readings.read import read
from assistant.readings.reading import Reading

CLAUSE = re.compile(r"[,.;:!?](?=\s|$)|\s-+\s|\bbut\b")
"""Where one clause ends."""
REPAIRS = re.compile(
    r"\b(?:no|nope|nah|naw|wait|sorry|scratch|correction|actually|make (?:it|that)|i mean|i meant"
    r"|my bad|tell a lie|i'm a liar)\b"
)
"""Words after which another value takes the place of the one before."""
_ZERO = re.compile(
    r"\b(?:none|zero|zip|zilch|nada|nothing|nothin|nowt|not touching"
    r"|never (?:touch|reach|hit|get)\w*"
    r"|(?:no|nae|nary a?|ain't no|isn't any|without) (?:bit of )?(?:clearance|free|play|travel|gap"
    r"|touch|slack|daylight|squeeze|brake|movement)"
    r"|(?:doesn't|don't|won't|ain't) (?:ever )?(?:touch|reach|squeez|hit|feel (?:no|any) brake)\w*"
    r"|(?:there )?(?:isn't|ain't|there's not) any|(?:ain't|haven't|hasn't) got (?:none|any)"
    r"|(?:hard|stiff|firm) (?:right|straight) ?away|not catching"
    r"|(?:right|sitting|sittin'?|riding|ridin'?) on the (?:pads?|bearing|brake|squeezer))(?!\w)"
)
_NUMBER = re.compile(
    r"\d|[½¼¾⅛⅜⅝⅞]|\b(?:half|quarters?|eighths?|sixteenths?|thou|inch|inches|mils?|millimet\w+)\b"
)
_MAY_BE_NONE = (GAP, CLEARANCE, FREE_TRAVEL, BRAKE_CONTACT)
_COUNTED = (LUGS, RING_LEFT, ODOMETER)
_TOOL = re.compile(
    r"\b(?:inch|half|(?:quarter|eighth|sixteenth|second|fourth)s?)(?: [a-z]+)?"
    r" (?:sockets?|wrench(?:es)?|spanners?|ratchets?|impact|bar|extension)\b"
)
"""A length that is the size of a tool: "the half inch swivel socket"."""
_A_WORD = re.compile(r"[a-z'.,;:!?-]+")
"""What may be left out where it is unknown: nothing that could be of a number."""
_AMBIGUOUS = re.compile(r"\bmil(?:l)?s?\b")
_GAUGED = r"(?:half|inch|mils?|quarter|\w*(?:eigh|teen)ths?|seconds?|fourths?)"
_NOT_ONE = r"(?! (?:inch|half|quarter|point|mils?|\w+ty|hundred|\w*(?:eigh|teen)ths?|million)\b)"
_COUNTS = r"(?:\d|(?:half|inch|one|two|three|four|five|six|seven|eight|nine|ten|\w+teen|\w+ty)\b)"
_A_LITTLE = r"(?:high|low|early|late|much|nudge|loose|tight|sloppy|wide|short)"
_OF_PARTS = r"\w*(?:eighth|quarter|teenth|half)"
_RESPELLED = tuple(
    (re.compile(pattern), said)
    for pattern, said in (
        (r"\b(more|bigger|wider|better|higher|taller|less|shorter|lower)'?n\b", r"\1 than"),
        (r"\b(?:higher|taller|longer|greater|wider) than\b", "more than"),
        (r"\b(?:lower|shorter|thinner|tighter) than\b", "less than"),
        (r"(?<!\w)'?(?:tween|twixt)\b", "between"),
        (r"(?<!\w)'?bout\b", "about"),
        (r"\bhun(?:d|n)erd\b", "hundred"),
        (r"\btweny\b", "twenty"),
        (r"\bhalf a million\b", "five hundred thousand"),
        (r"\btriple (\w+)", r"\1 \1 \1"),
        (r"\bdouble (\w+)", r"\1 \1"),
        (r"\b(\d)-(\d)-(\d)-(\d)-(\d)(?:-(\d))?\b", r"\1\2\3\4\5\6"),
        (rf"\b({_GAUGED}) (?:drill bit|drill|bit|block|feeler|end|one|gauge)\b(?! of)", r"\1"),
        (rf"\b(left|right|other) (?:one|un)(?:'s| is)?\b{_NOT_ONE}", r"\1's"),
        (rf"\b(?:the|that|this|last|first|which|each) one(?:'s| is)?\b{_NOT_ONE}", "it"),
        (r"\bin (?=miles|kilomet|mils?\b)|\bfor (?:sure|certain)\b", " "),
        (rf",? (?:but )?(?:not|instead of|rather than) (?=(?:an? |the )?{_COUNTS})", " ; not "),
        (r"\bcomma (?=\w)", "point "),
        (r"\btoo (?:tight|wide|high|low|short|long|small|much|far)\b(?! (?:for|to)\b)", "; "),
        (r"\b(?:won't|don't|doesn't|will not) (?:even )?(?:enter|start|fit)\b", "won't go"),
        (r"\b(?:enters?|falls?|drops?) (?:straight |right )?(?:in|through)\b", "goes"),
        (
            r"\b(?:goes|go|slides?|fits?|passes)(?: right| just)?(?: in| through)?,? "
            r"(?:snug\w*|tight|with (?:a )?(?:\w+ )?(?:of )?drag)\b",
            " ",
        ),
        (r"\b(?:bare )?(?:floor|floorboards?|boards|deck|mat|carpet)\b", "floor"),
        (rf"\b(?:a |is a )?(?:bit|little|touch) (?={_A_LITTLE}\b)", "; "),
        (r"\b(?:gets?|goes|gone|feels?|feel it get) (?:heavy|light|strong|hard|stiff)\b", "; "),
        (rf"\band an? (?:fat|strong|good|full) (?={_OF_PARTS})", "and a "),
        (r"\babout to\b|\bmore like\b|\bmore or less\b", "; "),
    )
)
"""Words as they are said in shops, and what they are called in a reading."""


class _Said(NamedTuple):
    """One number of a sentence, with the words that belong to it."""

    words: str
    reading: Reading | None
    """None where it can be read in several ways, or in none."""
    cued: bool
    """It is what counts of several: "call it five eighths"."""
    lead: str = ""
    between: str = ""
    """The words since the number before it that are none of a number."""


_NUMERIC = frozenset("d60otyTXCKPhHcQ4FGEbikMZnxqmzrwlpLN")
"""Kinds of words (`words.txt`) that are part of a number wherever they stand."""
_AROUND = frozenset("SR€J@<>uvUB!|%τg~+aAOs2e&-_If7VjD")
"""Kinds that tell how a number is meant, or nothing; in "I" is "in", an inch."""
_OF_IT = _NUMERIC | _AROUND
_JOINS = frozenset({"and", "a", "an", "&"})
_DIGITS = frozenset("d60otyTXCKhHcQ4FGEbnxq")
_WORDS = re.compile(
    r"\d+-\d+/\d+|\d[\d,./]*\d(?:[a-z\"]+)?|\d+[a-z\"]*|[a-z]+(?:'[a-z]+)*|[½¼¾⅛⅜⅝⅞]|\S"
)
_CUE = re.compile(
    r"\b(?:call (?:it|that)|make (?:it|that)|(?:i'd |i'll |i |let's )?say|so|put(?: it| down)?|use"
    r"|take|go with|i mean|meant|actually|i got|i make it|i said|no|nope|nah|wait|it's really"
    r"|correction|scratch that|sorry|instead|today it is|slow is)"
    r"(?: (?:a|an|the|it's|at|about|it was))*$"
)
_OTHERS = re.compile(r"\b(?:he|she|they|dad|spec|book|card|sticker|label) (?:says?|said|calls?)")
_NOT_COUNTED = frozenset(
    "before after earlier yesterday till until when while what how why who way ways times time"
    " which later ago next idea supposed".split()
)
"""Words of `#` in `words.txt` that do not say what is counted by the number before them."""
_NO_READING = re.compile(
    r"\b(?:don't|not|never) (?:believe|trust|buy|said)\b|\bredo\b|\bmeasure\b.*\bagain\b"
    r"|\bone of (?:th)?em\b|\bwrong side\b|\bso again$|\bread(?:ing)? it again$"
)
_MILES_MORE = re.compile(r"\b(?:plus|more|further|another|add|even|flat|exactly)\b|^\s*\+")
"""How miles from now are told: that they are, is seen by who asks for them."""
_WAS = re.compile(r"\b(?:was|were|had)\b")
_IS = re.compile(r"\b(?:it's|it is|is|now|today)(?: (?:a|an|about|it's))*$")
_TAIL = re.compile(r"(?: (?:and|but))? (?:not|no) (?:a \w+ )?(?:more|less)$")


def among(
    words: str, whole: Reading, distance: str = "miles", units: str = "inch"
) -> Reading | None:
    """The one reading that stands somewhere in words; None where there are two, or none.

    Args:
        words: as typed or recognized.
        whole: what they are read as together: no reading, or a question.
        distance, units: as for `read`.
    """
    text, quantity = respelled(words), whole.quantity
    if quantity in (LUGS, RING_LEFT):
        return _in_a_clause(words.lower(), whole, distance, units)
    if quantity == ODOMETER:
        text = _MILES_MORE.sub(" ", re.sub(r"\b(?:thou|kay)\b", "thousand", text))
    if _TOOL.search(text) or _NO_READING.search(text):
        return None
    if quantity == CLEARANCE and _ONE_SIDE.search(text) and _OF_ONE_TIP.search(text):
        return None  # of the other tip nothing sure is said
    anew = read(text, quantity, units, distance)
    if anew.status == "read":
        return anew
    found = _numbers(text, quantity, units, distance)
    if not found:
        return _none_of_it(text, whole)
    if quantity == ODOMETER:
        found = [x for x in found if x.reading is None or (x.reading.count or 0) >= 1000] or found
    last = found[-1]
    if last.reading is not None and open_side(last.reading) and len(found) > 1:
        said = [x for x in found if x.words == last.words and x.reading is not None]
        last = said[0]  # "about a half, not less than a half"
    if last.reading is not None and (last.cued or len(found) == 1):
        return last.reading
    if any(x.reading is None for x in found):
        return _in_a_clause(text, whole, distance, units)
    cued = [x for x in found if x.cued]
    read_ = [x.reading for x in (cued if len(cued) == 1 else found) if x.reading is not None]
    if all(_like(read_[0], other) for other in read_):
        return read_[0]
    ends = _both_ends(found, units) if len(found) == 2 else None
    return ends or _in_a_clause(text, whole, distance, units)


def _in_a_clause(text: str, whole: Reading, distance: str, units: str) -> Reading | None:
    """The one that a clause holds, where the others hold none; the last one where it repairs."""
    one = whole.choices[0] if len(whole.choices) == 1 else None
    if one is not None and (one.count or (whole.quantity in _COUNTED and _ZERO.search(text))):
        return one
    clauses = CLAUSE.split(text)
    counts = whole.quantity in (LUGS, RING_LEFT)
    readings = [_first(clause, whole.quantity, units, distance, counts) for clause in clauses]
    # "The last one", "the starting one" count no lugs beside another number.
    more = any(r is not None and r.count != 1 for r in readings)
    found = [
        r
        for r, clause in zip(readings, clauses, strict=True)
        if r is not None and (r.count != 1 or not more or "lug" in clause)
    ]
    repaired = REPAIRS.search(text) is not None
    if not found or (whole.status != "none" and not repaired):
        return None
    return found[-1] if repaired or len({(r.value_in, r.count) for r in found}) == 1 else None


def _first(words: str, quantity: str, units: str, distance: str, counts: bool) -> Reading | None:
    """The words as a reading, as they are; those of a count without words that no reading has."""
    tried = [words]
    if counts:
        plain = (
            w for w in words.split() if w.strip(".,;:!?") in LEXICON or not _A_WORD.fullmatch(w)
        )
        tried.append(" ".join(plain))
    for said in dict.fromkeys(tried):
        reading = read(said, quantity, units, distance)
        if reading.status == "read":
            return reading
    return None


def _none_of_it(text: str, whole: Reading) -> Reading | None:
    """No play, no gap, or a brake that is never touched; else the one thing that is asked."""
    quantity, choices = whole.quantity, whole.choices
    if quantity in _MAY_BE_NONE and _ZERO.search(text) and not _NUMBER.search(text):
        return read("never touches" if quantity == BRAKE_CONTACT else "zero", quantity)
    one = choices[0] if len(choices) == 1 else None
    return one if one is not None and (one.value_in or one.count or open_side(one)) else None


def _both_ends(found: list[_Said], units: str) -> Reading | None:
    """More than one and less than the other: between them."""
    ends = [x.reading for x in found if x.reading is not None and open_side(x.reading)]
    if len(ends) != 2 or {end.qualifier for end in ends} != {"below", "above"}:
        return None
    low, high = (
        x.words for x in sorted(found, key=lambda x: x.reading.qualifier if x.reading else "")
    )
    between = read(f"between {low} and {high}", ends[0].quantity, units)
    return between if between.status == "read" else None


def open_side(reading: Reading) -> bool:
    """Whether a length's reading tells one side only: "less than an eighth"."""
    return reading.kind == "length" and reading.value_in is None


@lru_cache(maxsize=1024)
def respelled(words: str) -> str:
    """Words in lower case, those of a shop's talk as readings have them."""
    text = words.lower().replace("’", "'")
    text = re.sub(r"(?<=[a-z])-(?=[a-z])", " ", text)
    for pattern, said in _RESPELLED:
        text = pattern.sub(said, text)
    return text


def _like(a: Reading, b: Reading) -> bool:
    """Whether two readings are of one value, perhaps in two units."""
    if a.value_in is None or b.value_in is None:
        ends = (a.low_in, a.high_in, a.count)
        return ends == (b.low_in, b.high_in, b.count)
    return abs(a.value_in - b.value_in) <= max(0.02, 0.01 * a.value_in)


def _numbers(text: str, quantity: str, units: str, distance: str) -> list[_Said]:
    """Every number of a sentence that may be a reading, in order."""
    tokens = _WORDS.findall(text)
    kinds = [_kind(token) for token in tokens]
    joins = {","} if quantity == ODOMETER else set()  # "seven oh three thousand, one fifty"
    found: list[_Said] = []
    start = told = 0
    while start < len(tokens):
        end = start
        while end < len(tokens) and (kinds[end] in _OF_IT or tokens[end] in joins):
            end += 1
        if _DIGITS.intersection(kinds[start:end]) or "i" in kinds[start:end]:
            counted = end < len(tokens) and kinds[end] == "#" and tokens[end] not in _NOT_COUNTED
            if not counted:
                run = [t for t in tokens[start:end] if t != ","]
                before = " ".join(tokens[told:start])
                more = _said(run, before, quantity, units, distance)
                was = bool(found) and _WAS.search(" ".join(tokens[:told])) is not None
                if more and was and _IS.search(f"{before} {more.lead}".strip()):
                    more = more._replace(cued=True)
                found += [more] if more else []
            told = end
        start = max(end, start + 1)
    return _without_halves(found)


def _kind(token: str) -> str:
    if token[0].isdigit() or token in "½¼¾⅛⅜⅝⅞":
        return "n"
    known = LEXICON.get(token)
    return known[0] if known is not None else "?"


def _said(run: list[str], before: str, quantity: str, units: str, distance: str) -> _Said | None:
    """The number in a run of words that tell of nothing else; None where it is denied."""
    while run and run[-1] in _JOINS:
        run = run[:-1]
    kinds = [_kind(token) for token in run]
    numeric = [i for i, kind in enumerate(kinds) if kind in _DIGITS]
    if not numeric:
        at = kinds.index("i")
        lead = [t for t in run[:at] if t not in ("a", "an", "the")]
        run = [*lead, "one", *run[at:]]
        kinds = [_kind(token) for token in run]
        numeric = [len(lead)]
    first, last = numeric[0], numeric[-1]
    while last + 1 < len(kinds) and kinds[last + 1] in _NUMERIC:
        last += 1
    lead_words = " ".join(run[:first])
    around = f"{before} {lead_words}".strip()
    cued = (_CUE.search(around) or REPAIRS.search(before)) and not _OTHERS.search(around)
    if re.search(r"\b(?:not|isn't|ain't|wasn't)(?: (?:a|an|the))?$", around):
        return None
    number, whole = " ".join(run[first : last + 1]), " ".join(run)
    bare = _TAIL.sub("", whole)
    changed = {*kinds[:first], *kinds[last + 1 :]} & {*"!|%<>uvBg~U+-_"}
    tried = (whole, bare) if changed and bare == whole else (whole, bare, number)
    for said in dict.fromkeys(tried):
        reading = _taken(said, quantity, units, distance)
        if reading is not None:
            break
    return _Said(number, reading, bool(cued), lead_words, re.sub(r"\W+", " ", before).strip())


def _taken(words: str, quantity: str, units: str, distance: str) -> Reading | None:
    """Words as a reading; of a question only what can be meant alone."""
    reading = read(words, quantity, units, distance)
    if reading.status == "read":
        return reading
    one = reading.choices[0] if len(reading.choices) == 1 else None
    if one is not None and (open_side(one) or _AMBIGUOUS.search(words)):
        return one
    return None


def _without_halves(found: list[_Said]) -> list[_Said]:
    """Without what was begun and then said in full: "five... five eighths"; "the one"."""
    kept: list[_Said] = []
    cued = False
    for i, x in enumerate(found):
        begun = i + 1 < len(found) and f" {x.words} " in f" {found[i + 1].words} "
        again = i > 0 and not x.between and f" {x.words} " in f" {found[i - 1].words} "
        begun = begun and x.words != found[i + 1].words
        part = (begun or again) and " " not in x.words
        if part or (x.words == "one" and not x.cued and (len(found) > 1 or x.between)):
            cued = cued or x.cued
            continue
        kept.append(x._replace(cued=x.cued or cued))
        cued = False
    return kept


# --- both fork tips

_LEFT = r"left|driver'?s?(?: side)?|port|izquierda"
_RIGHT = r"right|passenger'?s?(?: side)?|starboard|derecha"
_SIDE = re.compile(
    rf"\b(?:the )?(?:(?P<left>{_LEFT})|(?P<right>{_RIGHT})"
    r"|(?P<other>(?:the )?other(?: side| one| tip)?))"
    r"(?:'s(?: got| about)?| is| has| he)?(?: hand)?(?: (?:side|tip|fork)(?:'s| is)?)?(?!\w)"
)
_BOTH_TIPS = re.compile(
    r"\b(?:both(?: sides| tips)?(?: the same)?|each(?: side| tip)?|either(?: side)?|on both"
    r"|all round|a side|a piece|apiece|the pair of (?:th)?em|same (?:on|each)\b.*|left and right"
    r"|the same the both of them|both of them)(?!\w)"
)
_NO_TIP = re.compile(
    r"\b(?:none|nothing|nothin|zero|nowt|touch\w*|no (?:gap|clearance|daylight)|not a (?:bit|thing)"
    r"|divil a bit)(?!\w)"
)
_TWO_ALIKE = re.compile(r"^(?:[a-z' ]+, )?(?P<a>[^,]+?) and (?P<b>[^,]+?)(?:, [a-z ]+)?$")
_OF_ONE_TIP = re.compile(rf"{_NO_TIP.pattern}|\b(?:more|less|can't|cannot)\b")
_ONE_SIDE = re.compile(
    r"\b(?:left|the other|one of (?:th)?em)\b|\b(?:on the right|right (?:one|side|tip|hand|is))\b"
    r"|\bright's\b"
)
_TIP_UNIT = re.compile(r"\b(?:mils?|mm|millimet\w+|thou\w*)\b")


def tips(words: str, units: str = "inch") -> tuple[Reading, Reading] | None:
    """Fork clearance at the left and at the right tip, where words give both."""
    text = re.sub(r"\bleft and right\b", "both sides", respelled(words))
    if not (_SIDE.search(text) or _BOTH_TIPS.search(text) or " and " in text):
        return None
    unit = _TIP_UNIT.search(text)
    order = re.search(r",? left (?:first|then right)$", text)
    if order is not None:
        return _two_alike(text[: order.start()], units, True)
    sides = list(_SIDE.finditer(text))
    if {bool(m["left"]) for m in sides} != {True, False}:
        if _BOTH_TIPS.search(text) is None:
            return None if sides else _two_alike(text, units, False)
        tip = _tip(_BOTH_TIPS.sub(" ; ", text), units, "")
        return None if tip is None else (tip, tip)
    if len(sides) != 2:
        return None
    first, second = sides
    parts = text[: first.start()], text[first.end() : second.start()], text[second.end() :]
    has = [_NO_TIP.search(p) is not None or bool(_numbers(p, CLEARANCE, units, "")) for p in parts]
    if re.search(r"\bsame\b", parts[1] + parts[2]) and sum(has) == 1:
        pair = (parts[has.index(True)],) * 2
    elif has[0] and has[1] and not has[2]:
        pair = parts[0], parts[1]
    elif has[2] and (has[1] or has[0]):
        pair = parts[1] if has[1] else parts[0], parts[2]
    else:
        return None
    shared = "" if unit is None else unit[0]
    one, other = (_tip(part, units, shared) for part in pair)
    if one is None or other is None:
        return None
    return (one, other) if first["left"] or second["right"] else (other, one)


def _two_alike(text: str, units: str, ordered: bool) -> tuple[Reading, Reading] | None:
    """ "An eighth and an eighth": both tips, where they are alike, or the left is called first."""
    m = _TWO_ALIKE.search(text)
    if m is None:
        return None
    one, other = (_tip(m[side], units, "") for side in "ab")
    if one is None or other is None or not (ordered or _like(one, other)):
        return None
    return one, other


def _tip(part: str, units: str, unit: str) -> Reading | None:
    """The clearance at one tip; `unit` is what was said of the other one, or ""."""
    found = _numbers(part, CLEARANCE, units, "miles")
    if not found:
        return read("zero", CLEARANCE) if _NO_TIP.search(part) else None
    last = found[-1]
    reading = last.reading
    if reading is None and unit and not _TIP_UNIT.search(part):
        reading = _taken(f"{last.words} {unit}", CLEARANCE, units, "miles")
    one = len(found) == 1 or last.cued
    return reading if one and reading is not None and reading.value_in is not None else None


def both_tips(pair: tuple[Reading, Reading]) -> dict[str, Any]:
    """Both tips as one reading that the record keeps: the smaller, since it is taken up first."""
    least = min(pair, key=lambda tip: tip.value_in or 0.0)
    return least.as_data() | {"tips_in": [tip.value_in for tip in pair]}
