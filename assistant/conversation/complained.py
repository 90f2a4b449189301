"""Whether words name a complaint: "why does it slip", "the driver says it grinds"."""

from __future__ import annotations

import re

from assistant.procedure.complaining import LONG
from assistant.procedure.dialog import DialogError
from assistant.procedure.job import Job
from assistant.procedure.said import Act

from .normal import negated

_LEAD = re.compile(
    r"^(?:why|how come|what makes|what|the|it|it's|it is|he|she|they|there|there's|driver|customer"
    r"|complaint|pedal|clutch|truck)\b"
)
_QUESTION = re.compile(r"^(?:why|how come|what|explain)\b")


def complaint(short: str, meant: str, who: str, job: Job) -> Act | None:
    """The act, or None when the words name no complaint, or are better taken for something else.

    At the function check, words like "it grinds into gear" say that it is not sound.

    Args:
        short: the words, normal, without a lead.
        meant: what their exact phrase means, or "".
        who: who said them.
        job: where it stands.
    """
    if job.facts.hold != "up":
        return Act("complaint", who) if meant == "complaint" else None
    step = job.step
    trial = step is not None and step.kind == "sound" and step.phase == "final"
    if meant == "not_sound" and "not_sound" in job.allowed() and not trial:
        return None
    if meant not in ("", "complaint", "not_sound") or (meant == "" and not _LEAD.match(short)):
        return None
    try:
        named = names(short)
    except DialogError:
        return None
    if trial and not _QUESTION.match(short) and (named or meant == "not_sound"):
        return Act("not_sound", who, text=" ".join(named))
    if named or meant == "complaint":
        return Act("complaint", who, text=" ".join(named) or _reasons(short))
    return None


def names(text: str) -> list[str]:
    """Ids of the complaints that normal words name, unless they deny them.

    Raises:
        DialogError: the table of causes is damaged.
    """
    from assistant.causes.load import load_table

    return [] if denied(text) else load_table().heard_in(text)


def denied(text: str) -> bool:
    """Whether the words deny a complaint: "it doesn't slip"; "no free travel" and "does not
    release" are complaints themselves."""
    return negated(text) and not any(w in text for w in ("free travel", "free play", "releas"))


def _reasons(short: str) -> str:
    from assistant.causes.load import load_table

    return LONG if short in load_table().reasons else ""
