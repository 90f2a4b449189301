"""What words mean at this moment of a job, and whose words they are: what the ears decide by."""

from __future__ import annotations

from collections.abc import Hashable

from assistant.conversation.meaning import Question, understand
from assistant.conversation.normal import normal, without_lead
from assistant.procedure.dialog import Dialogs
from assistant.procedure.job import Job
from assistant.procedure.said import Act
from assistant.readings import Reading

from .decide import Interpret
from .grammar import Grammar
from .readings_heard import ASKED, SELDOM, USUAL, spread, two_amounts, usual

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
    asked: tuple[str, Reading] | None = None,
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
        act = understand(words, speaker, job, dialogs, asked)
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
