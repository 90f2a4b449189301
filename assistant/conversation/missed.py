"""Speech that was not taken: what to ask, so that the next try succeeds.

Lost once, people say the same again, only louder; so the second time they are told of another way:
digits one by one, which sound less alike than fractions do.
"""

from __future__ import annotations

from typing import Any

from assistant.procedure.dialog import Dialogs
from assistant.procedure.job import Job
from assistant.procedure.said import Act
from assistant.readings import Reading, read
from assistant.readings.asking import capital

from .meaning import Question, understand

_LONG = ("pedal-height", "total-travel")


class Missed:
    """How often in a row nothing was understood, and where."""

    def __init__(self) -> None:
        self._at = ""
        self._times = 0

    def forget(self) -> None:
        """Something was understood."""
        self._times = 0

    def again(self, job: Job, dialogs: Dialogs) -> Question:
        """ "Say again", and from the second time on at the same step another way to say it."""
        self._times = self._times + 1 if self._at == job.state else 1
        self._at = job.state
        if self._times == 1:
            return Question("say_again", {})
        example = _example(job)
        if not example or job.pending is not None or job.choice:
            return Question("again", {"hint": job.prompt()[-1].text})
        return Question("spell_it", {"example": dialogs.say(example)})


def _example(job: Job) -> str:
    """The reply that shows how the quantity asked for is spelled, or ""."""
    quantity, metric = job.expects(), job.facts.card.units == "mm"
    if quantity in ("", "lugs"):
        return ""
    if quantity == "odometer":
        return "spelled_miles"
    long = "_long" if quantity in _LONG else ""
    return f"spelled{long}{'_mm' if metric else ''}"


def which(ear: dict[str, Any], who: str, job: Job, dialogs: Dialogs) -> Question | None:
    """The question between the two likeliest meanings, or None when there are no two.

    Readings are chosen between by "first" or "nine"; a command that is meant is said again whole.

    Args:
        ear: `alternatives` holds what may have been said, the likeliest first: texts, or objects
            with the text as `words`.
        who: "tech" or "helper".
        job: where it stands: which quantity is asked for.
        dialogs: the phrases.
    """
    found: dict[object, tuple[str, Reading | None]] = {}
    for alternative in ear.get("alternatives", ()):
        text = alternative.get("words", "") if isinstance(alternative, dict) else alternative
        got = understand(str(text), who, job, dialogs)
        if not isinstance(got, Act) or got.meaning == "unclear":
            continue
        reading = _reading(str(text), job) if got.meaning == "reading" else None
        key = (reading.value_in, reading.count, got.way) if reading else (got.meaning, got.text)
        found.setdefault(key, (reading.readback if reading else str(text), reading))
    if len(found) < 2:
        return None
    (first, one), (second, other) = list(found.values())[:2]
    if one is None or other is None or job.expects() == "lugs":  # a count comes with its direction
        return Question("did_you_mean_two", {"first": first, "second": second})
    why = f"{capital(first)} or {second}?"
    asked = Reading("ask", job.expects(), why=why, choices=(one, other))
    return Question("which_of_two", {"first": capital(first), "second": second}, asked)


def _reading(text: str, job: Job) -> Reading:
    card = job.facts.card
    return read(text, job.expects(), card.units, card.distance)
