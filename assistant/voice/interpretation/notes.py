"""A note's own words, and the reason of an "accept": what no grammar can hold."""

from __future__ import annotations

import re
from collections.abc import Sequence

from assistant.act import Said
from assistant.job.job import Job
from assistant.voice.interpretation.decide import KEPT, VALUES, Decision, first_name
from assistant.voice.recognition.recognizer import Hearing

OPEN = {"reply:note_empty": "note", "reply:accept_why": "accept"}
"""Replies after which the next words are free ones."""
REASON_S = 1.1
"""Words longer than this are more than "accept it"."""

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


def dictated(hearings: Sequence[Hearing]) -> str:
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
        what = OPEN.get(said[0].key, "") if said else ""
        if what or self._who == who:
            self._what, self._who = what, who

    def wanted(
        self, who: str, decision: Decision, heard: Sequence[str], said_s: float, job: Job
    ) -> str:
        """ "note", "accept", or "" when the words are not free ones.

        Args:
            who: "tech" or "helper".
            decision: what they are inside the grammar; no stop.
            heard: the words inside the grammar, and as each engine heard them freely.
            said_s: how long they took.
            job: whether something can be accepted now.
        """
        if self._what and self._who == who:
            sure = decision.kind == "accept" and decision.probability >= KEPT
            command = sure and first_name(decision) not in ("accept", *VALUES)
            return "" if command and self._what == "accept" else self._what
        may = job.choice or "accept" in job.allowed()
        return "accept" if said_s >= REASON_S and may and any(map(_ACCEPT.match, heard)) else ""


def said_after(what: str, words: str) -> str:
    """Words taken down after "note" or "accept", with it before them once: "note ..."."""
    rest = words[_before(what, words) :].strip()
    if not rest.strip("."):
        return what
    return f"note {rest}" if what == "note" else f"accept because {rest.rstrip('.')}"


def _before(what: str, words: str) -> int:
    match = _BEFORE[what].match(words)
    return match.end() if match else 0
