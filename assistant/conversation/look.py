"""What is seen in the open hole, in more words than the phrases of `dialogs/`: a fault of what is
looked at, and lugs left on the ring without a number.

English, as in `safety`. A fault taken where there is none costs a question; one that is missed
costs a clutch: so whatever names a fault and does not deny it is one.
"""

from __future__ import annotations

import re

from assistant.readings.sentence import CLAUSE
from assistant.texts.normal import negated, normal

_FAULT = re.compile(
    r"\b(?:oil\w*|wet\w*|leak\w*|drip\w*|weep\w*|sweat\w*|blue\w*|hot|burn\w*|glaz\w*|rough\w*"
    r"|growl\w*|howl\w*|nois\w*|grumbl\w*|knackered|shot|junk|crack\w*|broke\w*|bent|worn|wore"
    r"|finished|missing|eaten|groove\w*|scored?|chewed|torn|tore|loose|bad|gone|ruined|scrap"
    r"|down to (?:the )?(?:metal|rivets|steel)|bar the|but the|except)\b"
)
_DENIED = re.compile(
    r"\b(?:no|not|nothing|nothin|nowt|nae|none|never|without|ain't|isn't|isnae|don't|cannae|can't"
    r"|was|sound|fine|ok|okay|good enough|serious|ordinary)\b"
)
_BUT = re.compile(r"\b(?:but|bar|except|only)\b (?P<rest>.+)$")
_ASKS = re.compile(r"^(?:how|what|which|why|is|are|do|does|should|can|could|will|would)\b|\?")


def fault(words: str) -> bool:
    """Whether words say that something in there is wrong: "bearing is blue"."""
    text = normal(words)
    m = _BUT.search(text)
    if _ASKS.search(text) or "?" in words:
        return False
    if m is not None and "sound" not in m["rest"] and "ok" not in m["rest"].split():
        return bool(_FAULT.search(text))
    return bool(_FAULT.search(text)) and not _DENIED.search(text)


_A_DENIAL = re.compile(
    r"\b(?:no|not|nothing|nothin|nowt|none|never|without|ain't|isn't|aren't|don't|doesn't)\b"
)


def only_denied(words: str) -> bool:
    """Whether words name faults only to deny them, clause by clause: "pads aren't worn, no oil"."""
    clauses = [text for part in CLAUSE.split(words) if (text := normal(part or ""))]
    told = [(bool(_FAULT.search(text)), bool(_A_DENIAL.search(text))) for text in clauses]
    denies = any(fault for fault, _ in told) and all(fault == denied for fault, denied in told)
    return denies and "?" not in words


_NO_FAULT_AFTER_ALL = re.compile(
    r"\b(?:false alarm|my mistake|my bad|scratch that|forget (?:it|that)|never ?mind"
    r"|take (?:it|that) back"
    r"|(?:it|that|they|there)(?:'s| is|'re| are| was| were)? (?:nothing|fine|sound|ok|okay|good)"
    r"|(?:was|were|is|'s|only|just) (?:only |just |nothing but )+(?:a |an |some |the |old )*"
    r"(?:grease|dirt|dust|grime|shadow|light|hair|rust|mark|scratch|smear|stain|mud|paint)"
    r"|wiped (?:it |right |clean )?(?:off|clean|away)|wipes off)\b"
)


_MENDED = re.compile(r"\b(?:now|fixed|mended|repaired|replaced|tightened|new|swapped|after)\b")
"""What was put right was a fault."""


def taken_back(words: str) -> bool:
    """Whether words say that what was told of is no fault: "crack was only grease"."""
    text = normal(words)
    if _ASKS.search(text) or "?" in words or _MENDED.search(text):
        return False
    return bool(_NO_FAULT_AFTER_ALL.search(text))


_CLEANED = re.compile(r"\b(?:clean(?:ed)?|dry|dried)\b")
_REPAIRED = re.compile(r"\b(?:repaired|fixed|mended|replaced)\b")
_WIPED = re.compile(r"\bwip(?:ed|es)\b")


def cleaned_up(words: str) -> bool:
    """Whether words say no more than that what was seen is clean now: whether it was repaired is
    another question."""
    text = normal(words)
    told = (not _WIPED.search(text) and taken_back(words)) or _REPAIRED.search(text)
    return bool(_CLEANED.search(text)) and "?" not in words and not (told or negated(text))


_NONE_LEFT = re.compile(
    r"\b(?:(?:none|nothing|nothin) left|bottomed out|used up|at (?:the|its) end"
    r"|no more adjustment|last thread|ring(?:'s| is) finished|out of (?:road|lugs))\b"
)
_MANY = re.compile(
    r"\b(?:plenty|loads?|lots?|enough|years in (?:it|her)|near new|hardly been touched|good bit"
    r"|more(?:'n| than) half)\b"
)
_NO_COUNT = re.compile(
    r"\b(?:can't|cannot|can not|couldn't|cannae) (?:see|tell|count)|\bno telli?ng?\b"
    r"|\bhard to say\b|\bnever mind the ring\b|\btoo (?:dark|dirty)\b"
)
_NUMBER = re.compile(
    r"\b(?:\d+|one|two|three|four|five|six|seven|eight|nine|ten|eleven|twelve|\w+teen|twenty|dozen)\b"
)


def lugs_left(words: str) -> str:
    """Lugs left without a number: "none", or "skip" where nobody can say how many; else ""."""
    text = normal(words)
    if _ASKS.search(text) or "?" in words or _NUMBER.search(text):
        return ""
    if _NONE_LEFT.search(text):
        return "none"
    return "skip" if _MANY.search(text) or _NO_COUNT.search(text) else ""
