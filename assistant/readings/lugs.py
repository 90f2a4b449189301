"""How many lugs words count, as people count aloud: "one, two, three, and four. There."

Only where every word is one of a count: with any other in it, it may be of something else, and in a
hold what is not surely a count must not pass for one.
"""

from __future__ import annotations

import re
from itertools import pairwise

_NUMBERS = {
    word: n
    for n, words in enumerate(
        "zero/none one two three four five six seven eight nine ten eleven twelve".split()
    )
    for word in (*words.split("/"), str(n))
}
_N = rf"(?:{'|'.join(_NUMBERS)})"
_RESPELLED = (
    (r"(?<=\w)in'(?!\w)", "ing"),
    (r"\b(?:uno, dos, tres|eins, zwei, drei)\b", "one, two, three"),
    (rf"\b({_N})(?:'s| is| are)\b", r"\1"),
)
_LEFT_OVER = re.compile(
    rf"\b{_N} (?:more )?(?:to go|left|(?:still )?to come|more to go|remains?|more)\b(?: to go)?"
    rf"|\b(?:out of|outta|outa|of) {_N}\b"
    rf"|\b(?:went|i went|that's|it's)? ?{_N} (?:lug )?(?:over|too (?:many|far|much))\b"
    rf"|\b(?:not|no more than|said|you said|won't take) (?:the )?{_N}\b"
    r"|\b(?:won't|wouldn't|doesn't|don't|didn't|can't|couldn't) (?:\w+ ){0,2}(?:the )?fourth\b"
)
"""Numbers that are not how many were moved: what is left, the plan, what was too many."""
_DENIED = re.compile(
    rf"\b(?:not|didn't|don't|doesn't|won't|can't|couldn't|ain't|never|no) (?:\w+ ){{0,2}}{_N}\b"
    r"|\bstill going\b|\b(?:first|last|next|this|other|starting|the) one\b"
)
_BACKED = re.compile(r"\bback(?:ed)?\b")
_WORDS = frozenset(
    (
        "a accident again ain't all alone alright an and another any are as at bad bag because"
        " been bit boss but by can't cause chief clean click clicked clicks come couldn't count"
        " counted counting counts damn did didn't doesn't don't done dot down each easy even every"
        " everyone exactly extra far final finally finish finished first for full further gave get"
        " go goes going gone good got had hard harder has have heavy her here him how i i'd i'll"
        " i'm i've in is it it'll it's job just last like lovely lug lugs make makes man manage"
        " managed many mate me mistake money more move moved moves my net nice no notch notches"
        " now of off oh ok okay on only oops our outta over overshooting overshot past perfect"
        " planned right ring round said say says she she's should smooth so solid sorry stiff"
        " stiffer still straight stubborn sure tell than thank thanks that that's the them then"
        " there there's they they're this tight tighter till to told too took tooth total turn"
        " turned turning up us was way we we're we've well went were what what's with won't workin"
        " working wouldn't yeah yep yes you you're your yup"
    ).split()
)
"""All else that is said with a count."""
_WAY = frozenset({"looser", "loose", "backwards", "tighter", "tight"})
_KNOWN = _WORDS | _WAY | {*_NUMBERS, "fourth", "backed", "back", "put"}
_REPAIR = re.compile(r"\b(?:no|nope|wait|sorry|scratch that|correction|i mean|make it)\b,?")
_SO = re.compile(rf"\b(?:so|makes?|net|total|now|we're at|leaves?|it's)\b[\w' ]*?\b({_N})\b")


def counted(words: str) -> int | None:
    """The lugs moved, or None where the words are not a count alone, or one that is in doubt."""
    text = words.lower().replace("’", "'")
    for pattern, said in _RESPELLED:
        text = re.sub(pattern, said, text)
    if "?" in text or re.search(r"\d[./]\d", text):
        return None
    tokens = re.findall(r"[a-z0-9']+", text)
    if not (_KNOWN.issuperset(tokens) and any(t in _NUMBERS for t in tokens)):
        return None
    rest = _LEFT_OVER.sub(" ; ", text)
    if _DENIED.search(rest):
        return None
    if _BACKED.search(text):
        last = _SO.findall(rest)  # "backed off one, so that's three"
        return _NUMBERS[last[-1]] if last else None
    found = _said(_REPAIR.split(rest)[-1]) or _said(rest)
    if not found:
        return None
    aloud = all(b == a + 1 for a, b in pairwise(found))
    if aloud or found[: found[-1]] == list(range(1, found[-1] + 1)):
        return found[-1]
    return found[0] if len(set(found)) == 1 else None


def _said(text: str) -> list[int]:
    return [_NUMBERS[t] for t in re.findall(r"[a-z0-9']+", text) if t in _NUMBERS]
