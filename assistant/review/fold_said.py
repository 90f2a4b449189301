"""What was said and how it was heard, into rows: utterances, cautions, edits."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from assistant.review.plain import number, rows, table, text

if TYPE_CHECKING:
    from assistant.review.fold import Fold

TYPED = "typed"
_EDITS = ("back", "correct")


def said(fold: Fold, base: dict[str, Any], kind: str, data: dict[str, Any]) -> None:
    """Take in what an event says was spoken, either way."""
    if kind != "opened" and (data.get("words") or kind == "unheard"):
        _utterance(fold, base, kind, data)
    if kind == "turn":
        _acknowledged(fold, base["at_utc"], data)
    for one in rows(data.get("said")):
        key = text(one.get("key"))
        if key.startswith("caution:"):
            fold.unanswered.append(len(fold.rows["cautions"]))
            fold.rows["cautions"].append(
                {
                    **base,
                    "step": text(data.get("after")) or text(data.get("step")),
                    "key": key.removeprefix("caution:"),
                    "signal": text(one.get("signal")),
                    "to": text(one.get("to")),
                    "text": text(one.get("text")),
                    "acknowledged_utc": None,
                    "acknowledged_by": "",
                    "acknowledged_s": None,
                }
            )


def _utterance(fold: Fold, base: dict[str, Any], kind: str, data: dict[str, Any]) -> None:
    ear, act, step = table(data.get("ear")), table(data.get("act")), text(data.get("step"))
    meaning = text(act.get("meaning"))
    again = not meaning or meaning == "unclear"
    guesses = ear.get("alternatives")
    guesses = guesses if isinstance(guesses, list) else []
    job, row = fold.job, fold.at_step(step)
    job["turns"] += 1
    row["turns"] += 1
    job["voice"] = job["voice"] or bool(ear)
    job["edits"] += meaning in _EDITS
    if again:
        job["say_agains"] += 1
        row["say_agains"] += 1
    first = table(guesses[0]) if guesses else {}
    engines = first.get("engines")
    fold.rows["hearing"].append(
        {
            **base,
            "step": step,
            "who": text(data.get("who")),
            "microphone": (text(ear.get("mic")) or "unnamed") if ear else TYPED,
            "taken": not again,
            "again": again,
            "decision": text(ear.get("decision")),
            "p_heard": number(ear.get("probability")),
            "engines": len(engines) if isinstance(engines, list) else None,
            "decode_s": number(ear.get("seconds")),
            "meaning": "" if again else meaning,
            "words": (text(data.get("words")) or _guessed(guesses)) if again else "",
        }
    )


def _guessed(guesses: list[Any]) -> str:
    return " / ".join(text(g.get("words")) if isinstance(g, dict) else text(g) for g in guesses)


def _acknowledged(fold: Fold, now: int, data: dict[str, Any]) -> None:
    """An answer that moved the job on answers the cautions given to that person before it."""
    if not fold.unanswered or data.get("after") == data.get("step") or not data.get("words"):
        return
    who = text(data.get("who"))
    left = []
    for place in fold.unanswered:
        row = fold.rows["cautions"][place]
        if row["to"] in (who, "both"):
            row["acknowledged_utc"], row["acknowledged_by"] = now, who
            row["acknowledged_s"] = max(0.0, (now - row["at_utc"]) / 1e6)
        else:
            left.append(place)
    fold.unanswered = left
