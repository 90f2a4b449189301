"""What can be meant while a card is made: each value of a choice, and what steers."""

from __future__ import annotations

from dataclasses import replace

from assistant.card.questions import QUESTIONS
from assistant.procedure.dialog import Dialogs, Meaning

from .card_spelling import THREADS
from .card_words import CardWords

_STEERS = (
    *("stop", "pause", "carry_on", "back", "repeat", "where", "why", "help", "correct", "note"),
    *("skip", "done", "check", "no", "sign_off"),
)


def steering(dialogs: Dialogs) -> dict[str, Meaning]:
    """What steers here; the words of pedal and truck would only be misheard for something else."""
    words = {key: dialogs.words[key] for key in _STEERS}
    # Nobody is in danger: a stop is one plain word, not a shout to be heard at any price.
    words["stop"] = replace(words["stop"], phrases=("stop", "stop now"), anywhere=(), in_hold=())
    return words


def meanings(texts: CardWords) -> dict[str, Meaning]:
    """Each value of each choice as a meaning of its own, and the commands."""
    out = {}
    for question in QUESTIONS:
        said = texts.questions[question.words].phrases
        if question.kind == "thread":
            said = THREADS
        for value, phrases in said.items():
            key = f"{question.key}={value}"
            out[key] = Meaning(key, "any", phrases)
    for name, phrases in texts.commands.items():
        out[name] = Meaning(name, "any", phrases, anytime=name == "start_over")
    return out
