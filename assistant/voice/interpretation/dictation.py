"""Free words: a note's own, and the reason of an "accept", which no grammar can hold."""

from __future__ import annotations

import re
from collections.abc import Sequence

from assistant.act import Act, Said
from assistant.dialogue import Conversation, Dialogue
from assistant.texts.normal import negated, normal
from assistant.voice.interpretation import POLICY, VALUES, Decision
from assistant.voice.recognition.recognizer import Hearing

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
        """ "note", "accept", or "" when the words are not free ones.

        Args:
            who: "tech" or "helper".
            decision: what they are inside the grammar; no stop.
            heard: the words inside the grammar, and as each engine heard them freely.
            said_s: how long they took.
            dialogue: whether something can be accepted now.
        """
        if self._what and self._who == who:
            sure = (
                decision.kind == "accept"
                and decision.probability >= POLICY["accept"]["kept_unchecked"]
            )
            command = sure and decision.name not in ("accept", *VALUES)
            return "" if command and self._what == "accept" else self._what
        may = dialogue.choosing or "accept" in dialogue.allowed()
        long = said_s >= POLICY["dictation"]["reason_s"]
        return "accept" if long and may and any(map(_ACCEPT.match, heard)) else ""


def free_act(what: str, words: str, who: str, conversation: Conversation) -> Act | None:
    """What free words do: a note, or an "accept" for a reason; None when there are none.

    An alarm among them is one. "Accept" is never taken from words that deny or ask.
    """
    before = _BEFORE[what].match(words)
    rest = words[before.end() if before is not None else 0 :].strip()
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
