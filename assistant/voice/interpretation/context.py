"""What was said before at this moment, and how it bears on what is said now.

Values that were denied, words said again, words that undo one another, words that may go on after a
pause, the rest of a reading that a pause cut off, and free words that were asked for.
"""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Hashable, Sequence
from dataclasses import dataclass, replace

from rapidfuzz import fuzz

from assistant.act import Act, Said
from assistant.conversation.dead_ends import dead_end
from assistant.conversation.understand import one_by_one
from assistant.dialogue import Conversation, Dialogue
from assistant.quantity import ODOMETER
from assistant.texts.normal import negated, normal
from assistant.texts.safety import counts
from assistant.voice.detection.endpointer import EndWaits
from assistant.voice.devices.audio import Samples
from assistant.voice.interpretation import POLICY, VALUES, Decision, Meaning, identity, name_of
from assistant.voice.interpretation.ranking import decide, denies, reading_interpreter
from assistant.voice.recognition.recognizer import Hearing

PRIOR, ACCEPT, RETRY, WAIT, REST = (
    POLICY[name] for name in ("prior", "accept", "retry", "wait", "rest")
)
VAIN_MOST = 3
"""Times that words said in vain weigh less each time."""
OPPOSITE = {
    "check": ("no", "correct"),
    "done": ("no", "correct"),
    "sound": ("not_sound",),
    "clear": ("stop",),
    "holding": ("lost", "stop"),
    "released": ("lost", "stop"),
    "foot_off": ("holding", "stop"),
    "carry_on": ("stop",),
}
"""Meanings that let something pass, and those that would have held it up and sound alike: "that's
right" and "not right"."""


def contradicted(decision: Decision) -> bool:
    """Whether the opposite of the likeliest meaning may have been said as well, or its denial."""
    against, passes = OPPOSITE.get(decision.name, ()), decision.name in OPPOSITE
    return any(
        name_of(other.meaning) in against
        or (passes and negated(other.words) and not negated(decision.heard))
        for other in decision.ranked[1:]
        if other.probability >= ACCEPT["opposite_maybe"]
    )


class Denials:
    """Meanings denied at the present step of the job, or said there in vain: whoever says a reading
    again did not say what was read back and denied."""

    def __init__(self) -> None:
        self._at = ""
        self._denied: set[Hashable] = set()
        self._in_vain: Counter[Hashable] = Counter()
        self._asked: Hashable = None

    def took(self, at: str, asks: bool, meaning: Meaning | None, unasked: bool = False) -> None:
        """An utterance that most likely meant `meaning` was taken, `unasked` or not. The job is now
        at the step `at`, where a value may be read back and wait for its "check" (`asks`)."""
        key = None if meaning is None else identity(meaning)
        if at != self._at:
            self._at, self._asked, self._denied, self._in_vain = at, None, set(), Counter()
        elif unasked:
            self._in_vain[key] += 1
        value = name_of(meaning) in VALUES
        gone = not asks or (value and key != self._asked)  # a "no", or another in its place
        if self._asked is not None and gone:
            self._denied.add(self._asked)
        if not asks or value or self._asked is None:
            self._asked = key if asks else None

    def prior(self, meaning: Meaning) -> float:
        """Little for what was denied, less than usual for what was said in vain."""
        key = identity(meaning)
        if key in self._denied:
            return float(PRIOR["denied"])
        return float(PRIOR["in_vain"] ** min(self._in_vain[key], VAIN_MOST))


class Retries:
    """What was heard and not taken since the job last moved; it still counts when said again.

    Two hearings of one meaning are taken for independent: the noise under them is another, the
    voice is not. So at most `RETRY["earlier_most"]` earlier ones count.
    """

    def __init__(self) -> None:
        self._at: Hashable = None
        self._doubts: dict[Hashable, list[float]] = {}

    def joined(self, at: Hashable, decision: Decision) -> Decision:
        """The decision of this hearing alone, in the light of those before it; where the job
        stands now is `at`, and what was heard elsewhere is forgotten."""
        if at != self._at:
            self._at, self._doubts = at, {}
        if decision.meaning is None or decision.kind == "nothing":
            return decision
        earlier = self._doubts.get(identity(decision.meaning), [])[-RETRY["earlier_most"] :]
        probability = 1.0 - math.prod(earlier, start=1.0 - decision.probability)
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


def waits_for(dialogue: Dialogue) -> EndWaits:
    """How long to wait after words, for what is asked."""
    quantity = dialogue.expects()
    name = "odometer_s" if quantity == ODOMETER else "reading_s" if quantity else "command_s"
    return EndWaits(*WAIT["items_s" if dialogue.breath().items else name])


def said_in_breath(words: str, dialogue: Dialogue) -> set[str]:
    """The phrases of items that words are, one after another; nothing if they are anything else."""
    phrases = [phrase for _, each in dialogue.breath().items for phrase in each]
    return {*one_by_one(words.replace(" and ", " "), phrases)}


def surely_said(meaning: Act, hearings: Sequence[Hearing], dialogue: Dialogue) -> Act | None:
    """Of things said done, one or several in one breath, those that were heard freely as well;
    None when there are none, or when the free words deny, ask or tell of trouble."""
    breath, free = dialogue.breath(), [hearing.free for hearing in hearings if hearing.free]
    phrases = sorted((p for _, each in breath.items for p in each), key=len, reverse=True)
    own = re.compile(rf"\b(?:{'|'.join(map(re.escape, phrases))})\b")
    rests = [own.sub(",", normal(words)) for words in free]
    asks = any("?" in words for words in free)
    if any(not counts(r, asks, meaning.meaning) or dead_end(r) is not None for r in rests):
        return None
    if not meaning.text:
        return meaning
    known, kept = dict(breath.items), []
    for item in meaning.text.split():
        alike = (fuzz.partial_ratio(p, normal(w)) for p in known.get(item, ()) for w in free)
        if max(alike, default=0.0) >= ACCEPT["item_alike"]:
            kept.append(item)
        elif breath.in_order:
            break  # nothing is done before what comes before it
    return replace(meaning, text=" ".join(kept)) if kept else None


def may_go_on(decision: Decision, dialogue: Dialogue) -> bool:
    """Whether the words may begin others that mean something else.

    A value whole and without a unit ("eight", "eight and a half"), "sign off six", an item where
    others may be said in one breath with it, or a phrase that another meaning's begins with:
    "correct" confirms, "correct that" takes back.
    """
    meaning, words, dialogs = decision.meaning, decision.heard, dialogue.dialogs
    if isinstance(meaning, Act) and meaning.meaning in VALUES:
        data = meaning.reading or {}
        known = [v for k in ("value_in", "low_in", "high_in", "count") if (v := data.get(k))]
        whole = all(float(v).is_integer() for v in known)
        return (whole or " " not in words) and not _UNIT.search(words)
    said, items = said_in_breath(words, dialogue), dialogue.breath().items
    if items and denies(words, dialogue):
        return True  # a denial counts for the whole breath
    if said:
        return any(not said.intersection(phrases) for _, phrases in items)
    own = dialogs.words.get(decision.name)
    mine = own.phrases if own is not None else ()
    phrases = (p for meant in dialogs.words.values() for p in meant.phrases)
    return decision.name in _GOES_ON or any(
        p not in mine for p in phrases if p.startswith(words + " ")
    )


@dataclass(frozen=True, slots=True)
class TakenReading:
    """A reading that was taken, and is heard once more together with a rest that a pause cut off:
    the microphone's role, what it was asked for as, how it was heard, and the time (by the clock of
    the frames) before which words that begin are mostly not an answer but its end."""

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


# --- Free words: a note's own, and the reason of an "accept", which no grammar can hold.

_OPENED_BY = {"reply:note_empty": "note", "reply:accept_why": "accept"}
"""Replies after which the next words are free ones."""
_NOTE = re.compile(
    r"(?:make a note|take a note|note that|note)\b[\s:,]*(?:[\w'-]+[\s,]+)[\w'-]+", re.I
)
_ACCEPT = re.compile(r"\W*(?:accept|except|leave it)\b", re.I)
_BEFORE = {
    "note": re.compile(r"\W*(?:make a note|take a note|note that|notes?)?\b[\s,.:]*", re.I),
    "accept": re.compile(
        r"\W*(?:(?:accepted|accept|except|leave)(?: it| that)?\b)?[\s,.]*"
        r"(?:(?:because|'?cause|since|as)\b)?[\s,]*",
        re.I,
    ),
}
_SENTENCE = re.compile(r"(?<=[.!?])\s+")
_ALARMS = ("stop", "lost", "holding")


def noted(hearings: Sequence[Hearing]) -> str:
    """What was heard freely, if that is "note" and two words or more; else "".

    They are written down as they were heard, wrong words included: a note moves nothing. What the
    model says again and again when the sound is over is said once.
    """
    for hearing in hearings:
        if _NOTE.match(hearing.free):
            sentences = dict.fromkeys(_SENTENCE.split(hearing.free.strip()))
            return " ".join(sentences).rstrip(".")
    return ""


class Dictation:
    """What is to be taken down as free words: what follows "note" or "accept" alone, from whoever
    said it, and an "accept" with its reason in one breath."""

    def __init__(self) -> None:
        self._what, self._who = "", ""

    def answered(self, who: str, said: Sequence[Said]) -> None:
        """The replies to `who`: one of them may ask for the words."""
        what = _OPENED_BY.get(said[0].key, "") if said else ""
        if what or self._who == who:
            self._what, self._who = what, who

    def wanted(
        self, who: str, decision: Decision, heard: Sequence[str], said_s: float, dialogue: Dialogue
    ) -> str:
        """ "note", "accept", or "" when the words of `who` are not free ones.

        Inside the grammar they are `decision` (no stop); `heard` are their words there and as each
        recognizer heard them freely, and `said_s` is how long they took.
        """
        if self._what and self._who == who:
            sure = (
                decision.probability >= ACCEPT["command_amid_words"] and decision.kind == "accept"
            )
            command = sure and decision.name not in ("accept", *VALUES)
            return "" if command and self._what == "accept" else self._what
        may = dialogue.choosing or "accept" in dialogue.allowed()
        long = said_s >= POLICY["dictation"]["reason_s"]
        return "accept" if long and may and any(map(_ACCEPT.match, heard)) else ""


def free_act(what: str, words: str, who: str, conversation: Conversation) -> Act | None:
    """What free words do: a note, or an "accept" for a reason; None when there are none. An alarm
    among them is one; "accept" is never taken from words that deny or ask."""
    rest = _BEFORE[what].sub("", words, count=1).strip()
    if not rest.strip("."):
        return None
    meant = conversation.understood(words, who)
    if isinstance(meant, Act) and meant.meaning in _ALARMS:
        return meant
    if what == "note":
        return Act("note", who, text=rest)
    reason = normal(rest)
    if negated(reason) or rest.endswith("?"):
        return Act("unclear", who, text=reason)
    return Act("accept", who, text=reason)
