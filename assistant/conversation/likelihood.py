"""From what words may mean to the meaning that is taken, or a question."""

from __future__ import annotations

import re

from assistant.conversation.meaning import Likely, likely, place, weights
from assistant.dialogue import Dialogue, Question
from assistant.readings.sentence import CLAUSE
from assistant.texts.core import CONFIRMS
from assistant.texts.normal import normal
from assistant.texts.safety import (
    MATTERS,
    broken_off,
    counts,
    misheard,
    names_fault,
    says,
    takes_back,
)

SUREST, SURE, IDLE, LIKELY = 0.95, 0.8, 0.5, 0.35
"""Shares from which an act that lets the job go on is taken where somebody may be hurt, and
elsewhere; talk that needs no answer, and any other act. Fitted on the tuning writers."""
CERTAIN = 0.97
"""Share from which words that say an act that matters need not be among those known for it: of the
lines of writers left out that were so sure, 99 in 100 were right."""
KNOWN_WELL = 0.7
"""Share of words the writers used, from which an act that matters is taken; all of them where it
moves a pedal or the words are few: what is only like a word may be another."""
HALF_KNOWN = 0.5
"""Share of words the writers used, below which nothing is certain: "chek" may be anything."""
FAULT = 0.8
"""Share from which something is not sound, where that can be said."""
FEW = 6
"""Words so few that each of them must be known."""
SAID = 0.25
"""How much more the words themselves must speak for an act that matters than for small talk."""
UNDONE = 0.15
"""Share of small talk from which a denied or planned act is just that, and nothing is asked."""
ALARMS_AGAIN = 0.9
"""Share of harm from which a danger is told once more where all stands and the pedal is up."""
_COMPLETE = ("check", "ready", "sound", "done")
"""What completes a step: people say one for the other."""


def likeliest(
    words: str, text: str, asks: bool, who: str, dialogue: Dialogue, guess: Likely
) -> str | Question:
    """The meaning that the words most likely have, if they are sure enough for it.

    "unclear" where they are not; "wait" and "aside" for what moves nothing.

    Args:
        words, text: as said, and normal.
        asks: a question mark stood among them.
        who: "tech" or "helper".
        dialogue: where it stands.
        guess: what they may mean.
    """
    shares = dict(guess.shares)
    completes = next((m for m in _COMPLETE if m in dialogue.allowed()), "")
    if completes:
        shares[completes] = sum(shares.pop(m, 0.0) for m in _COMPLETE)
    meaning = max(shares, key=lambda m: shares[m])
    share = shares[meaning]
    if meaning in MATTERS:
        danger = meaning in CONFIRMS or bool(dialogue.danger())
        sure = share >= (SUREST if danger else SURE) and may(meaning, who, dialogue)
        if sure and _said(words, text, asks, meaning, who, dialogue, guess, share):
            return meaning
        if misheard(text):
            return "unclear"
        planned = not (asks or counts(text, asks, meaning))
        if planned and shares["nothing"] > UNDONE:
            return "wait"
        return again(who, dialogue) if may(meaning, who, dialogue) else "unclear"
    fault = meaning == "not_sound" and "sound" in dialogue.allowed()
    denied = fault and counts(text, asks, "sound")
    if denied and share < FAULT:
        return "unclear"  # "no grinding at all"
    if fault and dialogue.trying and not names_fault(text):
        return again(who, dialogue)  # a trial that is told to have failed ends the job
    if meaning == "nothing":
        if share < IDLE or not guess.known:
            return "unclear"
        return "wait" if guess.waits > 0.5 else "aside"
    if share < LIKELY or meaning in ("unsure", "reading") or not may(meaning, who, dialogue):
        return "unclear"
    idle = dialogue.stopped and not dialogue.danger().pedal
    if meaning == "danger" and idle and guess.harm < ALARMS_AGAIN:
        return "unclear"
    return meaning


def _said(
    words: str,
    text: str,
    asks: bool,
    meaning: str,
    who: str,
    dialogue: Dialogue,
    guess: Likely,
    share: float,
) -> bool:
    """Whether the words say an act that matters, of themselves and now.

    As a whole; or in one of their clauses, where no other clause takes it back.
    """
    bare = _without_names(words) if guess.known < 1 else words
    if bare != words:
        words, text, guess = bare, normal(bare), likely(bare, who, place(dialogue))
        share = sum(guess.shares.get(m, 0.0) for m in _same_as(meaning))
    told = "safe" if dialogue.at in _MAKE_SAFE else meaning
    all_known = guess.known == 1 or (meaning not in CONFIRMS or len(text.split()) > FEW)
    certain = share >= CERTAIN and guess.known >= HALF_KNOWN and all_known
    if broken_off(words) or not (certain or says(text, told)):
        return False
    if not certain:
        few = len(text.split()) <= FEW
        known = guess.known >= (1.0 if few or meaning in CONFIRMS else KNOWN_WELL)
        speaks = max(guess.by_words.get(m, 0.0) for m in _same_as(meaning))
        if not known or speaks - guess.by_words["nothing"] < SAID:
            return False
    if counts(text, asks, meaning, certain and meaning not in CONFIRMS):
        return True
    clauses = [c for c in CLAUSE.split(words) if c and c.strip()]
    strict = meaning in CONFIRMS
    if len(clauses) < 2 or asks or not (certain if strict else meaning in _COMPLETE):
        return False
    if strict and _ALL_BUT.search(text):
        return False
    if not (strict or counts(" ".join(text.split()[:4]), False, "done")):
        return False
    said = False
    for clause in clauses:
        part, plain = likely(clause.strip(), who, place(dialogue)), normal(clause)
        own = sum(part.shares.get(m, 0.0) for m in _same_as(meaning))
        against = sum(part.shares.get(m, 0.0) for m in _AGAINST)
        waits = part.best == "nothing" and part.waits > 0.3 and own < 0.3
        if _DENIES.match(plain) or (not certain and (against > 0.4 or waits)):
            return False
        mine = own > (CERTAIN if strict else SURE) and counts(plain, False, meaning)
        if strict and mine:
            mine = says(plain, meaning)
        elif strict and (against > 0.1 or waits or part.harm > 0.02 or takes_back(plain)):
            return False
        said = said or mine
    return said


_ALL_BUT = re.compile(r"\b(?:any|every|no)?(?:thing|all) but\b")
""" "Anything but both hands out"."""
_ASIDE = re.compile(
    r"^((?:(?:yes|yeah|yep|aye|ok|okay|right|so|well|hey) )*)([A-Za-z]+),\s+"
    r"|,\s*([A-Za-z]+)\s*([.!,]|$)"
)
""" "Yes Roy, I'm holding": one word by itself, before a comma or after one."""


def _without_names(words: str) -> str:
    """The words without those that nobody of the writers used and that stand by themselves: names.

    Such a word denies nothing: those that do are known.
    """
    knows = weights().knows

    def bare(m: re.Match[str]) -> str:
        name = (m[2] or m[3]).lower()
        return m[0] if knows(name) else (m[1] or "") if m[2] else (m[4] or "")

    return _ASIDE.sub(bare, words).strip()


def _same_as(meaning: str) -> tuple[str, ...]:
    return _COMPLETE if meaning in _COMPLETE else (meaning,)


_MAKE_SAFE = frozenset({"chocks", "parking_brake", "neutral", "key", "stands", "eyes"})
"""Steps that a mere "aye" does not complete: what was done must be said."""
_DENIES = re.compile(r"(?:not|never|nope|nah|nay)\b(?! (?:a |one )?(?:thing|loose|bit|speck|drop))")
_AGAINST = ("not_sound", "danger", "no", "unsure", "correct", "measure")
"""What in another clause takes back that something is done."""


_OF_PEDAL = ("holding", "released")
"""What the helper may say of the pedal at any time while it is, or may be, down."""
_ANYWHERE = ("no", "same", "danger", "not_sound", "measure", "skip", "repaired", "accept")
"""What moves nothing where it is not asked for: the job says so."""


def may(meaning: str, who: str, dialogue: Dialogue) -> bool:
    """Whether it can be said now, and by this person."""
    known = dialogue.dialogs.words.get(meaning)
    now = meaning in _OF_PEDAL and dialogue.danger().pedal
    return (
        known is not None
        and known.who in ("any", who)
        and (known.anytime or now or meaning in dialogue.allowed() or meaning in _ANYWHERE)
    )


def hint(who: str, dialogue: Dialogue) -> str:
    """The present instruction as far as it is for him: the technician's is not the helper's."""
    for said in reversed(dialogue.prompt()):
        if who == "tech" or said.to != "tech":
            return said.text
    return str(dialogue.dialogs.say("helper_wait"))


def again(who: str, dialogue: Dialogue) -> Question:
    """The present instruction, where words came only near an act that matters: he says it himself.

    What would confirm is never offered to him; who is led says yes.
    """
    return Question("again", {"hint": hint(who, dialogue)}, who)
