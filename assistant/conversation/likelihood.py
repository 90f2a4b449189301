"""From what words may mean to the meaning that is taken, or a question."""

from __future__ import annotations

import re

from assistant.conversation.meaning import Likely, likely, place, weights
from assistant.dialogue import Dialogue, Question
from assistant.readings.sentence import CLAUSE
from assistant.texts.core import CONFIRMS
from assistant.texts.normal import normal
from assistant.texts.safety import (
    HARM_IN_ACTS,
    MATTERS,
    asks_again,
    broken_off,
    counts,
    misheard,
    names_fault,
    says,
    takes_back,
)

SUREST, SURER, SURE, IDLE, LIKELY = 0.95, 0.88, 0.75, 0.5, 0.35
"""Shares from which an act is taken that moves a pedal; one that lets the job go on where somebody
may be hurt, and elsewhere; talk that needs no answer, and any other act. Set by four writers who
were not fitted on (`bars`)."""
CERTAIN = {True: 0.975, False: 0.92}
"""Share from which words that say an act that matters, one that moves a pedal or not, need not be
among those known for it, if nothing below speaks against it: of writers who were not fitted on
(`bars`), 295 lines were so sure of an act that moves a pedal, 294 of them right; 894 of any,
889 right."""
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
        enough = SUREST if meaning in CONFIRMS else SURER if dialogue.danger() else SURE
        sure = share >= enough and may(meaning, who, dialogue)
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
    if fault and dialogue.trying and not (names_fault(text) or share >= CERTAIN[True]):
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
        share = _share(guess, _same_as(meaning))
    told = "safe" if dialogue.at in _MAKE_SAFE else meaning
    strict, few = meaning in CONFIRMS, len(text.split()) <= FEW
    terse = strict and few  # "all out", of a pedal or a hand
    if strict and len(text.split()) == 1 and text not in _BY_ITSELF:
        return False  # "hold" may be what he was told, said over
    certain = share >= CERTAIN[strict] and guess.known >= HALF_KNOWN
    if certain and terse and guess.known != 1:
        return not (asks or broken_off(words)) and said_last(words, meaning, who, dialogue)
    if broken_off(words) or not ((certain and not terse) or says(text, told)):
        return False
    if meaning in _COMPLETE and asks_again(text):
        return False
    if not certain:
        known = guess.known >= (1.0 if few or strict else KNOWN_WELL)
        speaks = max(guess.by_words.get(m, 0.0) for m in _same_as(meaning))
        if not known or speaks - guess.by_words["nothing"] < SAID:
            return False
    if counts(text, asks, meaning, certain and not strict):
        return True
    if asks:
        return False
    if not strict and meaning in _COMPLETE and _said_first(words, meaning, who, dialogue, certain):
        return True
    return certain and said_last(words, meaning, who, dialogue)


def _clauses(words: str, who: str, dialogue: Dialogue) -> list[tuple[str, Likely]]:
    """Each clause, normal, and what it may mean by itself."""
    said = [clause.strip() for clause in CLAUSE.split(words) if clause and clause.strip()]
    return [(normal(clause), likely(clause, who, place(dialogue))) for clause in said]


def _said_first(words: str, meaning: str, who: str, dialogue: Dialogue, certain: bool) -> bool:
    """Whether the words begin with what completes the step, and no other clause speaks against it:
    "blocks are under, both ends, she's not going anywhere"."""
    clauses = _clauses(words, who, dialogue)
    if len(clauses) < 2 or not counts(" ".join(normal(words).split()[:4]), False, "done"):
        return False
    said = False
    for plain, part in clauses:
        own, against = _share(part, _same_as(meaning)), _share(part, _AGAINST)
        waits = part.best == "nothing" and part.waits > 0.3 and own < 0.3
        if _DENIES.match(plain) or against > 0.4 or (not certain and waits):
            return False
        said = said or (own > SURE and counts(plain, False, meaning))
    return said


def said_last(words: str, meaning: str, who: str, dialogue: Dialogue) -> bool:
    """Whether one clause says the act and none after it takes it back: "never mind the bang, she's
    off now". What only denies that something is amiss takes nothing back."""
    strict = meaning in CONFIRMS
    said = False
    before, but, after = words.rpartition(" but ")
    if but and _leads_up(before, who, dialogue):
        words = after
    if _TURNS.search(normal(words)):
        return False
    for plain, part in _clauses(words, who, dialogue):
        if not part.known and len(plain.split()) == 1:
            continue  # a name
        own, against = _share(part, _same_as(meaning)), _share(part, _AGAINST)
        told = counts(plain, False, meaning)
        named = not strict or (says(plain, meaning) and part.known == 1)
        if told and own >= CERTAIN[strict] and named:
            said = said or len(plain.split()) > 1 or plain in _BY_ITSELF
            continue
        waits = part.best == "nothing" and part.waits > 0.3
        if strict:
            twists = against > 0.1 or part.harm > 0.02 or takes_back(plain)
        else:
            twists = against > 0.4 or not (told or (own > SURE and _only_denies(plain)))
        if twists or waits:
            said = False
    return said


def _leads_up(before: str, who: str, dialogue: Dialogue) -> bool:
    """Whether what stands before a "but" takes nothing back of what comes: "it fought me, but"."""
    text = normal(before)
    if not counts(text, False, "done") or _ALL.search(text) or _TURNS.search(text):
        return False
    return likely(before, who, place(dialogue)).harm < HARM_IN_ACTS


_BY_ITSELF = frozenset(
    "done sound ready clear holding holdin released accept skip good set greased".split()
)
"""Words that say an act alone; a "yes" may be to somebody else."""
_ALL = re.compile(r"\b(?:\w+thing|all|none|far)$")
"""Before a "but" it takes back what comes: "anything but both hands out"."""
_TURNS = re.compile(r"\b(?:if|unless|whether|but)\b")
"""What turns round what a clause of its own would say: "anything but both hands out"."""


def _only_denies(plain: str) -> bool:
    """Whether nothing but a denial keeps a clause from counting: "not a squeak out of her"."""
    return counts(_DENIED.sub(" ", plain), False, "done")


_DENIED = re.compile(r"\b(?:not|no|never|nothing|none|isn't|ain't|don't|doesn't|didn't|can't)\b")
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


def _share(guess: Likely, meanings: tuple[str, ...]) -> float:
    """What any of the meanings has of it, together."""
    return sum(guess.shares.get(m, 0.0) for m in meanings)


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
