"""What words mean at this moment of a job, and whose words they are: what the ears decide by."""

from __future__ import annotations

import re
from collections.abc import Hashable

from assistant.act import Act
from assistant.conversation.understand import understand
from assistant.dialogue import Question
from assistant.job.job import Job
from assistant.readings import Reading, read
from assistant.texts.dialogs import Dialogs
from assistant.texts.normal import normal, without_lead
from assistant.voice.interpretation.decide import Interpret
from assistant.voice.recognition.grammar import Grammar

LOOSE = 0.2
"""Weight of words outside the grammar that mean something all the same: likeness is a guess, and
the ear has guessed once already."""
ASIDE = 0.12
"""Weight of words that can be said at any time while others were asked for. This and the next two
were chosen by eye from a few closed-loop sessions, not fitted."""
OVER = 0.05
"""Weight of a new reading while one waits to be checked: most people say "no" first."""
CASUAL = 0.4
"""Weight of "yup", which is nearer to "no" than "check" is, where it would confirm a value."""
_CASUAL = frozenset({"yup", "yep", "yeah", "okay", "good"})
REFUSED = 0.05
"""Weight of words that would only be refused at this step: "it's on" where "sound" was asked."""
_PEDAL = frozenset({"holding", "released", "clear"})
"""Out of order these are alarms."""
_AS_ASKED = frozenset({"stop", "accept", "sign_off"})
"""Never held less likely: what must not be missed, and what nobody says by accident."""
_FREE_WORDS = frozenset({"note", "accept", "sign_off"})


def interpreter(
    job: Job,
    dialogs: Dialogs,
    who: str,
    grammar: Grammar,
    asked: Question | None = None,
) -> Interpret:
    """Meanings of words said now.

    Args:
        job: where the job stands.
        dialogs: the phrases.
        who: "tech" or "helper"; "" for a microphone that both speak into.
        grammar: what may be said; other words count less.
        asked: the question about a reading that waits for its answer, if any.
    """

    def interpret(words: str) -> tuple[Hashable, float] | None:
        speaker = who or speaker_of(words, job, dialogs)
        act = understand(words, speaker, job, asked)
        if isinstance(act, Question):
            return ("question", act.reply, tuple(sorted(act.fields.items()))), ASKED
        if act.meaning == "unclear":
            return None
        weight = _weight(act, job, dialogs, words)
        if act.reading is None and act.meaning not in _FREE_WORDS and not grammar.accepts(words):
            weight *= LOOSE
        return _key(act), weight

    return interpret


def speaker_of(words: str, job: Job, dialogs: Dialogs) -> str:
    """Who said `words` into a shared microphone: by the words, then by whose step it is."""
    text = normal(words)
    short = without_lead(text)
    if text.startswith("helper "):
        return "helper"
    whose = {
        meaning.who
        for key, meaning in dialogs.words.items()
        if (meaning.anytime or key in job.allowed()) and {text, short} & set(meaning.phrases)
    }
    if len(whose) == 1 and "any" not in whose:
        return whose.pop()
    step = job.step
    return step.who if step is not None and job.pending is None else "tech"


def _key(act: Act) -> Hashable:
    reading = act.reading or {}
    values = tuple(reading.get(k) for k in ("value_in", "low_in", "high_in", "count", "kind"))
    return (act.meaning, act.who, values, act.quantity, act.text, act.way)


def _weight(act: Act, job: Job, dialogs: Dialogs, words: str) -> float:
    if act.reading is None:
        if act.meaning == "lost":  # nothing can be lost but a pedal that is held
            return USUAL if job.facts.hold != "up" else REFUSED
        if act.meaning == "stop" and job.state == "halted":
            return ASIDE  # it has stopped already, and "carry on" sounds like "hang on"
        if job.pending is not None and words in _CASUAL:
            return CASUAL
        if act.meaning in _AS_ASKED or act.meaning in job.allowed():
            return USUAL
        said_anywhere = dialogs.words[act.meaning].anytime or act.meaning in _PEDAL
        return ASIDE if said_anywhere else REFUSED
    value = act.reading.get("value_in")
    named = act.quantity or job.expects()
    seldom = act.meaning == "reading" and two_amounts(words)
    factor = SELDOM if seldom else USUAL
    if act.meaning == "reading" and job.pending is not None:
        factor = OVER
    factor *= spread(act.reading.get("low_in"), act.reading.get("high_in"))
    return factor * usual(value if isinstance(value, float) else None, named, words)


# --- What words mean as a reading: the interpretation that `lugcall hear` decides by.

MOSTLY_IN = {
    "gap": (0.2, 1.1),
    "clearance": (0.0, 0.5),
    "bearing-travel": (0.2, 1.1),
    "free-travel": (0.2, 3.5),
    "pedal-height": (4.0, 12.0),
    "total-travel": (4.0, 12.0),
    "brake-contact": (0.2, 3.5),
}
"""Where most trucks' readings lie, as found or as left; common practice, no source."""
USUAL = 1.0
ODD = 0.3
"""Weight of a length outside `MOSTLY_IN`."""
SELDOM = 0.2
"""Weight of a range or a repair: a mishearing makes one more often than a person does."""
WIDE_IN = 0.26
"""Nobody who reads a rule says "between" two values further apart."""
WIDE = 0.05
_TWO = re.compile(r"\b(?:to|no|nope|correction|sorry|scratch|mean|make|wait)\b")
_PARTS = (("quarters", 4), ("eighths", 8), ("sixteenths", 16), ("thirty second", 32),
          ("sixty fourth", 64))  # fmt: skip
ASKED = 0.1
"""Weight of words that would only make a question."""


def reading_interpreter(quantity: str, metric: bool = False) -> Interpret:
    """Meanings of words as readings of `quantity`: value, ends and count."""
    units = "mm" if metric else "inch"

    def interpret(words: str) -> tuple[Hashable, float] | None:
        reading = read(words, quantity, units)
        if reading.status in ("none", "refused"):
            return None
        return meaning(reading), weight(reading, quantity, words)

    return interpret


def meaning(reading: Reading) -> Hashable:
    """What two readings must share to be the same."""
    if reading.status != "read":
        return (reading.status, reading.why)
    return (reading.value_in, reading.low_in, reading.high_in, reading.count, reading.kind)


def weight(reading: Reading, quantity: str, words: str = "") -> float:
    """How likely such a reading is for the quantity, before anything was heard."""
    if reading.status != "read":
        return ASKED
    factor = SELDOM if two_amounts(words) else USUAL
    factor *= spread(reading.low_in, reading.high_in)
    return factor * usual(reading.value_in, quantity, words)


def spread(low_in: float | None, high_in: float | None) -> float:
    """`USUAL`, or `WIDE` for a length that lies anywhere in too wide an interval."""
    wide = low_in is not None and high_in is not None and high_in - low_in > WIDE_IN
    return WIDE if wide else USUAL


def usual(value_in: float | None, quantity: str, words: str = "") -> float:
    """`USUAL` within what trucks mostly show, `ODD` outside, less for "thirty thirty-seconds"."""
    if value_in is None or quantity not in MOSTLY_IN:
        return USUAL
    low, high = MOSTLY_IN[quantity]
    factor = SELDOM if unreduced(words, value_in) else USUAL
    return factor * (USUAL if low <= value_in <= high else ODD)


def unreduced(words: str, value_in: float) -> bool:
    """Whether a fraction was called that a rule shows in coarser parts: "six eighths"."""
    parts = [den for name, den in _PARTS if name in words]
    if len(parts) != 1:
        return False
    ticks = value_in * parts[0]
    return abs(ticks - round(ticks)) < 1e-6 and round(ticks) % 2 == 0


def two_amounts(words: str) -> bool:
    """Whether the words hold a range "to" something, or a repair."""
    return _TWO.search(words) is not None
