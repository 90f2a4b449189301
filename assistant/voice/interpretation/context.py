"""Words that undo one another and sound alike: "that's right" and "not right"."""

from __future__ import annotations

import re
from collections.abc import Hashable
from dataclasses import replace

from assistant.texts.dialogs import Dialogs
from assistant.voice.interpretation.decide import VALUES, Decision, Interpret, first_name, named

OPPOSITE = {
    "check": ("no", "correct"),
    "done": ("no", "correct"),
    "sound": ("not_sound",),
    "clear": ("stop",),
    "holding": ("lost", "stop"),
    "released": ("lost", "stop"),
    "carry_on": ("stop",),
}
"""Meanings that let something pass, and those that would have held it up."""
DOUBT = 0.05
"""From this probability of the opposite on, what lets something pass is asked for again."""


def contradicted(meaning: str, decision: Decision) -> bool:
    """Whether the opposite of `meaning`, the likeliest one, may have been said as well."""
    against = OPPOSITE.get(meaning, ())
    return any(
        named(other.meaning) in against and other.probability >= DOUBT
        for other in decision.ranked[1:]
    )


# --- What was read back and denied: whoever says the reading again did not say that.

VAIN = 0.2
"""Weight left to words that nobody asked for and that came to nothing at this step: who says them
again most likely says something else."""
DENIED = 0.03
"""Weight left to a value that was denied. Not nothing: a "no" may have been misheard too."""


class Refused:
    """Meanings denied at the present step of the job."""

    def __init__(self) -> None:
        self._at = ""
        self._denied: set[Hashable] = set()
        self._vain: set[Hashable] = set()
        self._asked: Hashable = None

    def took(self, at: str, asks: bool, meaning: Hashable, unasked: bool = False) -> None:
        """An utterance was taken.

        Args:
            at: the step the job is at now.
            asks: whether a value is read back now and waits for its "check".
            meaning: of the utterance.
            unasked: nothing of the kind was asked for.
        """
        if at != self._at:
            self._at, self._asked, self._denied, self._vain = at, None, set(), set()
        elif unasked:
            self._vain.add(meaning)
        value = named(meaning) in VALUES
        gone = not asks or (value and meaning != self._asked)  # a "no", or another in its place
        if self._asked is not None and gone:
            self._denied.add(self._asked)
        if not asks:
            self._asked = None
        elif value or self._asked is None:
            self._asked = meaning

    def weighed(self, interpret: Interpret) -> Interpret:
        """The same meanings, with little weight for those denied."""

        def less(words: str) -> tuple[Hashable, float] | None:
            got = interpret(words)
            if got is None:
                return None
            left = DENIED if got[0] in self._denied else VAIN if got[0] in self._vain else 1.0
            return got[0], got[1] * left

        return less


# --- The same words said again: each hearing that was not sure enough still counts for the next.

AGAIN = 0.6
"""Probability, all hearings together, from which words said again are taken."""
LEAST = 0.2
"""A hearing below this counts for nothing later: a noise may sound twice alike."""


class Repeats:
    """What was heard and not taken since the job last moved.

    Two hearings of one meaning are taken for independent: the noise under them is another, the
    voice is not. So at most two earlier ones count.
    """

    def __init__(self) -> None:
        self._at: Hashable = None
        self._doubts: dict[Hashable, list[float]] = {}

    def joined(self, at: Hashable, decision: Decision) -> Decision:
        """The decision in the light of what was heard before at the same moment of the job.

        Args:
            at: says where the job stands; anything before a change of it is forgotten.
            decision: of this hearing alone.
        """
        if at != self._at:
            self._at, self._doubts = at, {}
        if not decision.ranked or decision.kind == "nothing":
            return decision
        doubt = 1.0 - decision.probability
        for earlier in self._doubts.get(decision.ranked[0].meaning, ())[-2:]:
            doubt *= earlier
        probability = 1.0 - doubt
        if probability <= decision.probability:
            return decision
        kind = "accept" if probability >= AGAIN else decision.kind
        first = replace(decision.ranked[0], probability=probability)
        ranked = (first, *decision.ranked[1:])
        return replace(decision, kind=kind, probability=probability, ranked=ranked)

    def missed(self, decision: Decision) -> None:
        """This hearing alone was not enough."""
        if decision.ranked and decision.kind != "nothing" and decision.probability >= LEAST:
            meaning = decision.ranked[0].meaning
            self._doubts.setdefault(meaning, []).append(1.0 - decision.probability)


# --- How long to wait after words: whether what was said so far may be the beginning of more.

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
