"""What was said before at this moment, and how it bears on what is said now.

Values that were denied, words said again, words that undo one another, words that may go on after a
pause, and the rest of a reading that a pause cut off.
"""

from __future__ import annotations

import re
from collections.abc import Hashable, Sequence
from dataclasses import dataclass, replace

from assistant.act import Act
from assistant.quantity import ODOMETER
from assistant.texts.dialogs import Dialogs
from assistant.voice.devices.audio import Samples
from assistant.voice.interpretation import (
    POLICY,
    VALUES,
    Decision,
    Meaning,
    identity,
    name_of,
)
from assistant.voice.interpretation.ranking import decide, reading_interpreter
from assistant.voice.recognition.recognizer import Hearing

PRIOR, ACCEPT, RETRY, WAIT, REST = (
    POLICY[name] for name in ("prior", "accept", "retry", "wait", "rest")
)
OPPOSITE = {
    "check": ("no", "correct"),
    "done": ("no", "correct"),
    "sound": ("not_sound",),
    "clear": ("stop",),
    "holding": ("lost", "stop"),
    "released": ("lost", "stop"),
    "carry_on": ("stop",),
}
"""Meanings that let something pass, and those that would have held it up and sound alike: "that's
right" and "not right"."""


def contradicted(decision: Decision) -> bool:
    """Whether the opposite of the likeliest meaning may have been said as well."""
    against = OPPOSITE.get(decision.name, ())
    return any(
        name_of(other.meaning) in against and other.probability >= ACCEPT["opposite_maybe"]
        for other in decision.ranked[1:]
    )


# --- What was read back and denied: whoever says the reading again did not say that.


class Denials:
    """Meanings denied at the present step of the job, or said there in vain."""

    def __init__(self) -> None:
        self._at = ""
        self._denied: set[Hashable] = set()
        self._in_vain: set[Hashable] = set()
        self._asked: Hashable = None

    def took(self, at: str, asks: bool, meaning: Meaning | None, unasked: bool = False) -> None:
        """An utterance was taken.

        Args:
            at: the step the job is at now.
            asks: whether a value is read back now and waits for its "check".
            meaning: of the utterance, the likeliest as it was heard.
            unasked: nothing of the kind was asked for.
        """
        key = None if meaning is None else identity(meaning)
        if at != self._at:
            self._at, self._asked, self._denied, self._in_vain = at, None, set(), set()
        elif unasked:
            self._in_vain.add(key)
        value = name_of(meaning) in VALUES
        gone = not asks or (value and key != self._asked)  # a "no", or another in its place
        if self._asked is not None and gone:
            self._denied.add(self._asked)
        if not asks:
            self._asked = None
        elif value or self._asked is None:
            self._asked = key

    def prior(self, meaning: Meaning) -> float:
        """Little for what was denied, less than usual for what was said in vain."""
        key = identity(meaning)
        if key in self._denied:
            return float(PRIOR["denied"])
        return float(PRIOR["in_vain"]) if key in self._in_vain else 1.0


# --- The same words said again: each hearing that was not sure enough still counts for the next.


class Retries:
    """What was heard and not taken since the job last moved.

    Two hearings of one meaning are taken for independent: the noise under them is another, the
    voice is not. So at most `RETRY["earlier_most"]` earlier ones count.
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
        if decision.meaning is None or decision.kind == "nothing":
            return decision
        doubt = 1.0 - decision.probability
        for earlier in self._doubts.get(identity(decision.meaning), ())[-RETRY["earlier_most"] :]:
            doubt *= earlier
        probability = 1.0 - doubt
        if probability <= decision.probability:
            return decision
        kind = "accept" if probability >= RETRY["taken"] else decision.kind
        first = replace(decision.ranked[0], probability=probability)
        ranked = (first, *decision.ranked[1:])
        return replace(decision, kind=kind, probability=probability, ranked=ranked)

    def missed(self, decision: Decision) -> None:
        """This hearing alone was not enough."""
        counts = decision.kind != "nothing" and decision.probability >= RETRY["counts_from"]
        if decision.meaning is not None and counts:
            doubts = self._doubts.setdefault(identity(decision.meaning), [])
            doubts.append(1.0 - decision.probability)


# --- How long to wait after words: whether what was said so far may be the beginning of more.

_GOES_ON = frozenset({"accept", "sign_off", "note"})
"""What is mostly followed by a reason, another figure of the code, or words."""
_UNIT = re.compile(r"\b(inch|inches|thou|thousandths?|lugs?|flats?|turns?|mill\w+|mils?|miles)\b")


def waits_for(quantity: str) -> tuple[float, float, float]:
    """Short, long and usual wait (seconds) after words, for the quantity asked or "" for none."""
    name = "odometer_s" if quantity == ODOMETER else "reading_s" if quantity else "command_s"
    short, long, usual = WAIT[name]
    return short, long, usual


def may_go_on(decision: Decision, dialogs: Dialogs) -> bool:
    """Whether the words may begin others that mean something else.

    A value whole and without a unit ("eight", "eight and a half"), "sign off six", or a phrase that
    another meaning's begins with: "correct" confirms, "correct that" takes back.
    """
    meaning, words = decision.meaning, decision.heard
    if isinstance(meaning, Act) and meaning.meaning in VALUES:
        data = meaning.reading or {}
        known = [v for k in ("value_in", "low_in", "high_in", "count") if (v := data.get(k))]
        whole = all(float(v).is_integer() for v in known)
        return (whole or " " not in words) and not _UNIT.search(words)
    own = dialogs.words.get(decision.name)
    mine = own.phrases if own is not None else ()
    phrases = (p for meant in dialogs.words.values() for p in meant.phrases)
    return decision.name in _GOES_ON or any(
        p not in mine for p in phrases if p.startswith(words + " ")
    )


# --- The rest of a reading that a pause cut off: heard once more together with the reading.


@dataclass(frozen=True, slots=True)
class TakenReading:
    """A reading that was taken.

    Attributes:
        role: of the microphone it was said into.
        quantity, metric: what it was asked for as.
        words, samples: as they were heard.
        until_s: words that begin before are mostly not an answer but its end, by the clock of the
            frames.
    """

    role: str
    quantity: str
    metric: bool
    words: str
    samples: Samples
    until_s: float

    def whole(self, hearings: Sequence[Hearing]) -> str | None:
        """The words of the reading and what followed, heard as one: "" when they say the same as
        before, None when they are unclear and what followed must stand for itself."""
        interpret = reading_interpreter(self.quantity, self.metric)
        if not hearings:
            return None
        decision = decide(hearings, interpret)
        now, before = decision.meaning, interpret(self.words)
        if now is None or decision.probability < REST["whole_taken"]:
            return None
        if before is not None and identity(before[0]) == identity(now):
            return ""
        longer = len(decision.heard) > len(self.words)
        return decision.heard if longer and isinstance(now, Act) else None
