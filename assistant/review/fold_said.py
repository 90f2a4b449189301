"""What was said and how it was heard, into rows: utterances, cautions, edits, the way of the job.

Every utterance of every job comes through here, so this is written to be quick.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.review import doubtful, fold_taken
from assistant.review.columns import places
from assistant.review.shapes import Ear, Guess, Said, Turn, Unheard

if TYPE_CHECKING:
    from assistant.review.fold import Fold, List

TYPED = "typed"
_STEP, _CAUTION = places("steps"), places("cautions")
_VISITS, _TURNS, _AGAIN = _STEP["visits"], _STEP["turns"], _STEP["say_agains"]
_AT, _TO, _ACKNOWLEDGED = _CAUTION["at_utc"], _CAUTION["to"], _CAUTION["acknowledged_utc"]


def turn(fold: Fold, n: int, now: int, data: Turn) -> None:
    """Take in a turn."""
    step, after, act = data.step, data.after, data.act
    meaning = "" if act is None else act.meaning
    moved = after != step
    here = fold.at_step(step) if data.words or (step and not fold.step) else None
    if data.words:
        assert here is not None
        again = not meaning or meaning == "unclear"
        _utterance(fold, n, now, here, data.who, again, meaning, data.words, data.ear)
        if moved and fold.unanswered:
            _acknowledged(fold, now, data.who)
    told(fold, n, now, data.said, after)
    fold_taken.taken(fold, n, now, data, meaning)
    there = fold.at_step(after)
    if not fold.step and step:
        assert here is not None
        here[_VISITS] += 1
    if after != (fold.step or step):
        there[_VISITS] += 1
    fold.step = after
    if moved and meaning == "skip":
        assert act is not None
        fold.doubt(n, now, "skipped", doubtful.skipped(step, act.text))


def unheard(fold: Fold, n: int, now: int, data: Unheard) -> None:
    """Take in speech that was not taken."""
    _utterance(fold, n, now, fold.at_step(data.step), data.who, True, "", "", data.ear)
    told(fold, n, now, data.said, data.step)


def told(fold: Fold, n: int, now: int, said: list[Said], step: str) -> None:
    """Take in the cautions among what lugcall said."""
    for one in said:
        if one.key[:8] == "caution:":
            cautions = fold.rows["cautions"]
            fold.unanswered.append(len(cautions))
            cautions.append(
                [n, now, step, one.key[8:], one.signal, one.to, one.text, None, "", None]
            )


def _utterance(
    fold: Fold,
    n: int,
    now: int,
    at_step: List,
    who: str,
    again: bool,
    meaning: str,
    words: str,
    ear: Ear | None,
) -> None:
    at_step[_TURNS] += 1
    if again:
        at_step[_AGAIN] += 1
        meaning = ""
    elif meaning in ("back", "correct"):
        fold.job["edits"] += 1
    said = words if again else ""
    row: List
    if ear is None:
        row = [
            n,
            now,
            at_step[0],
            who,
            TYPED,
            not again,
            again,
            "",
            None,
            None,
            None,
            meaning,
            said,
        ]
    else:
        fold.job["voice"] = True
        guesses = ear.alternatives
        engines = guesses[0].engines if guesses else None
        row = [
            n, now, at_step[0], who, ear.mic or "unnamed", not again, again,
            ear.decision, ear.probability, None if engines is None else len(engines), ear.seconds,
            meaning, said if words or not again else _guessed(guesses),
        ]  # fmt: skip
    fold.rows["hearing"].append(row)


def _guessed(guesses: list[Guess]) -> str:
    return " / ".join(guess.words for guess in guesses)


def _acknowledged(fold: Fold, now: int, who: str) -> None:
    """An answer that moved the job on answers the cautions given to that person before it."""
    left = []
    for place in fold.unanswered:
        row = fold.rows["cautions"][place]
        if row[_TO] in (who, "both"):
            row[_ACKNOWLEDGED:] = now, who, max(0.0, (now - row[_AT]) / 1e6)
        else:
            left.append(place)
    fold.unanswered = left
