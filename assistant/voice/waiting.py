"""How long to wait after words: whether what was said so far may be the beginning of more."""

from __future__ import annotations

import re

from assistant.procedure.dialog import Dialogs

from .decide import VALUES, Decision, first_name

GOES_ON = frozenset({"accept", "sign_off", "note"})
"""What is mostly followed by a reason, another figure of the code, or words."""
_UNIT = re.compile(r"\b(inch|inches|thou|thousandths?|lugs?|flats?|turns?|mill\w+|mils?|miles)\b")


def waits_for(quantity: str) -> tuple[float, float, float]:
    """Short, long and usual wait (seconds) after words, for the quantity asked or "" for none.

    Nobody pauses within "check"; within "four hundred twelve thousand ... three fifty" people do.
    """
    if not quantity:
        return 0.22, 0.45, 0.25
    return (0.3, 0.7, 0.45) if quantity == "odometer" else (0.22, 0.55, 0.35)


def may_go_on(decision: Decision, dialogs: Dialogs) -> bool:
    """Whether the words may begin others that mean something else.

    A value whole and without a unit ("eight", "eight and a half"), "sign off six", or a phrase that
    another meaning's begins with: "correct" confirms, "correct that" takes back.
    """
    name = first_name(decision)
    if name in VALUES:
        return _value_may(decision)
    own = dialogs.words.get(name)
    mine = own.phrases if own is not None else ()
    phrases = (p for meant in dialogs.words.values() for p in meant.phrases)
    begins = (p for p in phrases if p.startswith(decision.heard + " "))
    return name in GOES_ON or any(p not in mine for p in begins)


def _value_may(decision: Decision) -> bool:
    meaning = decision.ranked[0].meaning
    values = meaning[2] if isinstance(meaning, tuple) and len(meaning) > 2 else ()
    known = [v for v in values[:4] if isinstance(v, float | int)] if values else []
    whole = not known or all(float(v).is_integer() for v in known)
    return (whole or " " not in decision.heard) and not _UNIT.search(decision.heard)
