"""What was said and how it was heard, into rows: utterances, cautions, edits, the way of the job.

Every utterance of every job comes through here, so this is written to be quick.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from assistant.review import fold_taken
from assistant.review.plain import number, table, text

if TYPE_CHECKING:
    from assistant.review.fold import Fold

TYPED = "typed"
_EDITS = ("back", "correct")
_PLAIN = 6
"""Members of a turn that changed nothing: act, after, said, step, who, words."""
VISITS, TURNS, AGAIN = 2, 4, 5
TO, ACKNOWLEDGED = 5, 7
"""Places in the row of a caution."""


def turn(fold: Fold, n: int, now: int, data: dict[str, Any]) -> None:
    """Take in a turn."""
    step, after, who, words = data["step"], data["after"], data["who"], data["words"]
    if not type(step) is type(after) is type(who) is type(words) is str:
        raise TypeError("a turn names its step, who and words as text")
    act = data.get("act")
    meaning = "" if act is None else act["meaning"]
    moved = after != step
    if words:
        again = not meaning or meaning == "unclear"
        _utterance(fold, n, now, step, who, again, meaning, words, data.get("ear"))
        if moved and fold.unanswered:
            _acknowledged(fold, now, who)
    told(fold, n, now, data, after)
    if len(data) > _PLAIN or meaning == "accept":
        fold_taken.taken(fold, {"n": n, "at_utc": now}, data)
    if not fold.step and step:
        fold.at_step(step)[VISITS] += 1
    if after != (fold.step or step):
        fold.at_step(after)[VISITS] += 1
    else:
        fold.at_step(after)
    fold.step = after
    if meaning == "skip" and moved:
        skipped = f"{step.replace('_', ' ')} skipped"
        fold.doubt({"n": n, "at_utc": now}, "skipped", skipped)


def unheard(fold: Fold, n: int, now: int, data: dict[str, Any]) -> None:
    """Take in speech that was not taken."""
    step, who = text(data["step"]), text(data["who"])
    _utterance(fold, n, now, step, who, True, "", "", data.get("ear"))
    told(fold, n, now, data, step)


def told(fold: Fold, n: int, now: int, data: dict[str, Any], step: str) -> None:
    """Take in the cautions among what lugcall said."""
    for one in data["said"]:
        key = one["key"]
        if key[:8] == "caution:":
            told_to, words = text(one.get("to")), text(one.get("text"))
            cautions = fold.rows["cautions"]
            fold.unanswered.append(len(cautions))
            signal = text(one.get("signal"))
            cautions.append([n, now, step, key[8:], signal, told_to, words, None, "", None])


def _utterance(
    fold: Fold,
    n: int,
    now: int,
    step: str,
    who: str,
    again: bool,
    meaning: str,
    words: str,
    ear: Any,
) -> None:
    job, row = fold.job, fold.at_step(step)
    job["turns"] += 1
    row[TURNS] += 1
    if again:
        job["say_agains"] += 1
        row[AGAIN] += 1
    elif meaning in _EDITS:
        job["edits"] += 1
    mic, heard = TYPED, ("", None, None, None)
    guesses: list[Any] = []
    if ear:
        job["voice"] = True
        ear = table(ear)
        mic = text(ear.get("mic")) or "unnamed"
        got = ear.get("alternatives")
        guesses = got if isinstance(got, list) else []
        engines = table(guesses[0]).get("engines") if guesses else None
        heard = (
            text(ear.get("decision")),
            number(ear.get("probability")),
            len(engines) if isinstance(engines, list) else None,
            number(ear.get("seconds")),
        )  # type: ignore[assignment]
    said = (words or _guessed(guesses)) if again else ""
    named = "" if again else text(meaning)
    fold.rows["hearing"].append([n, now, step, who, mic, not again, again, *heard, named, said])


def _guessed(guesses: list[Any]) -> str:
    return " / ".join(text(g.get("words")) if isinstance(g, dict) else text(g) for g in guesses)


def _acknowledged(fold: Fold, now: int, who: str) -> None:
    """An answer that moved the job on answers the cautions given to that person before it."""
    left = []
    for place in fold.unanswered:
        row = fold.rows["cautions"][place]
        if row[TO] in (who, "both"):
            row[ACKNOWLEDGED:] = now, who, max(0.0, (now - row[1]) / 1e6)
        else:
            left.append(place)
    fold.unanswered = left
