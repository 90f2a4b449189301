"""What words mean at this moment of a dialogue: words and speaker to one act, or a question back.

Stop comes first, then exact phrases, readings, and likeness last.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import cache, lru_cache
from typing import TYPE_CHECKING, Any

from rapidfuzz import fuzz, process

from assistant.act import REASONS, Act
from assistant.conversation.dead_ends import dead_end
from assistant.conversation.likelihood import (
    HALF_KNOWN,
    SURE,
    SUREST,
    again,
    hint,
    likeliest,
    said_last,
)
from assistant.conversation.look import cleaned_up, fault, lugs_left, only_denied, taken_back
from assistant.conversation.meaning import NUMBERS, PARTS, Likely, likely, place, weights
from assistant.conversation.this_step import COMPLETES, of_this_step
from assistant.dialogue import Breath, Danger, Dialogue, Heard, Question
from assistant.interlocks import LOOK, presses
from assistant.job.answers import MOST_WEDGES
from assistant.job.state import LEAVING, REPAIR
from assistant.quantity import (
    BRAKE_CONTACT,
    CLEARANCE,
    FREE_TRAVEL,
    GAP,
    JUDGED,
    LUGS,
    NAMES,
    ODOMETER,
    PEDAL_HEIGHT,
    QUANTITIES,
    RING_LEFT,
    TOTAL_TRAVEL,
    name_in,
)
from assistant.readings import Reading, read
from assistant.readings.sentence import CLAUSE, among, both_tips, open_side, tips
from assistant.readings.speak import number_words
from assistant.sentences import DialogError, capital
from assistant.texts.dialogs import Meaning
from assistant.texts.normal import denied, negated, normal, shouted, turned_round, without_lead
from assistant.texts.safety import (
    HARM_IN_ACTS,
    HARM_LITTLE,
    HARM_SURE,
    MATTERS,
    as_told,
    broken_off,
    counts,
    cries,
    half_said,
    harm,
    may_he,
    names_fault,
    near_harm,
    not_yet,
    orders,
    reports,
    says,
    takes_back,
)

if TYPE_CHECKING:
    from assistant.causes.table import Table
    from assistant.texts.dialogs import Dialogs

# --- Who spoke: a line may begin `tech:` or `helper:`.
#
# A line without either is the technician's. Nothing the helper must say himself can then come from
# a line nobody put a name to.

_PREFIX = re.compile(r"\s*(tech|technician|helper|t|h)\s*:\s*(.*)$", re.I | re.S)


def split_speaker(line: str) -> tuple[str, str]:
    """("tech" or "helper", the words)."""
    m = _PREFIX.match(line)
    if m is None:
        return "tech", line.strip()
    return ("helper" if m[1].lower().startswith("h") else "tech"), m[2].strip()


# --- Whether words name a complaint: "why does it slip", "the driver says it grinds".

_COMPLAINT_LEAD = re.compile(
    r"^(?:why|how come|what makes|what|the|it|it's|it is|he|she|they|there|there's|driver|customer"
    r"|complaint|pedal|clutch|truck)\b"
)
_QUESTION = re.compile(r"^(?:why|how come|what|explain)\b")
_WHERE = re.compile(r"\b(?:near|by|just above|right above|close to|at) the (?:floor|bottom)\b")
_TOO_LOW = re.compile(r"\b(?:too|low|soft|sinks?|only|late|wrong|pumps?)\b")
""" "It squeezes near the floor" tells where, "only near the floor" what is wrong."""


def complaint(short: str, meant: str, who: str, dialogue: Dialogue) -> Act | None:
    """The act, or None when the words name no complaint, or are better taken for something else.

    At the function check, words like "it grinds into gear" say that it is not sound.

    Args:
        short: the words, normal, without a lead.
        meant: what their exact phrase means, or "".
        who: who said them.
        dialogue: where it stands.
    """
    if meant not in ("", "complaint", "not_sound"):
        return None
    if dialogue.danger().pedal:
        return Act("complaint", who) if meant == "complaint" else None
    trying = dialogue.trying
    if meant == "not_sound" and "not_sound" in dialogue.allowed() and not trying:
        return None
    if meant == "" and not _COMPLAINT_LEAD.match(short):
        return None
    try:
        complaints = names(short)
    except DialogError:
        return None
    if trying and _WHERE.search(short) and not (_TOO_LOW.search(short) or names_fault(short)):
        complaints = [one for one in complaints if one != "low"]  # where it is told, not a fault
    if trying and not _QUESTION.match(short) and (complaints or meant == "not_sound"):
        return Act("not_sound", who, text=" ".join(complaints))
    if complaints or meant == "complaint":
        asked_for = REASONS if short in _causes().reasons else ""
        return Act("complaint", who, text=" ".join(complaints) or asked_for)
    return None


def names(text: str) -> list[str]:
    """Ids of the complaints that normal words name, unless they deny them.

    Raises:
        DialogError: the table of causes is damaged.
    """
    return [] if denied(text) else _causes().heard_in(text)


def _causes() -> Table:
    from assistant.causes.table import load_table  # when it is first asked for, not before

    return load_table()


# --- Words and speaker to one act.
#
# Likeness (rapidfuzz) is tried only among what can be said at this step, never for the words that
# move a pedal, and never across a "not". Below the threshold we ask.

LIKE = 86.0
"""Likeness (0 to 100) from which a phrase counts. Set on the misheard list in the tests."""
MAYBE = 68.0
"""Likeness from which it is worth asking "did you mean"."""

_NAMED = frozenset({*JUDGED, ODOMETER, LUGS})
"""The quantities that a reading or a correction may name."""
_YES = frozenset({"yes", "check", "yep", "yeah", "that's right", "right"})
_READY = re.compile(
    r"(?:(?:ok|okay|sorry|yes|yeah|all right|alright|fine|i'm|i am|we're|now|well) )*ready"
    r"(?: now| again| when you are)?$"
)
_YES_FIRST = re.compile(r"(?:yes|yeah|yep|aye)\b")
_ORDINAL = re.compile(r"^(?:the )?(first|second|third|last)(?: one)?$")
_UNIT_ANSWER = re.compile(
    r"^(?:in |it's |they're |that's )?(thou|thousandths|millimetres|millimeters|mm|inch|inches|"
    r"thirty[- ]?seconds|sixteenths|sixty[- ]?fourths|eighths)$"
)
_NEITHER = frozenset(
    {"neither", "neither one", "neither of them", "none", "none of them", "no", "nope", "wrong"}
)
_NO_PART = frozenset({"", "a", "an", "and", "or", "inch", "inches"})
_MIL = re.compile(r"\bmil(?:l)?s?\b")
_NO_BUT = re.compile(
    r"^(?:(?:no|nope|nah|negative|wrong)\b[\s,]*)+"
    r"(?:that's |it's |it was |i said |make it |was )*(?P<rest>.+)$"
)
_CORRECT = re.compile(r"^(?:correction|correct|change|make) (?:that |it |the |my )?(?P<rest>.+)$")
_CORRECT_SO = re.compile(r"^\W*(?:\w+ )?correct\s*[,.;!]\s*(?:and|so|but|now)\b", re.I)
""" "Correct, and put down that...": it is right."""
_BEFORE = re.compile(
    r"^(?:oh |no |wait |sorry |actually )*(?:that|the|my|our) "
    r"(?P<rest>[\w ]+ (?:was|were|should be|should've been|should have been) .+)$"
)
"""A value of before told anew, while another one waits for its check."""
_NOTE = re.compile(
    r"^\W*(?:make a note|take a note|note that|note)\b[\s:,]*(?P<rest>.*)$", re.I | re.S
)
_ACCEPT = re.compile(
    r"^(?:accept(?: it| that)?|leave it)[\s,]*(?:because|since|as)?[\s,]*(?P<rest>.+)$"
)
_NOT_NOW = re.compile(
    r"^(?:it |that |be |at |as |is )*(?:in a|after|later|when|soon|tomorrow|once|if|next)\b"
    r"|\bin a (?:sec|second|minute|moment|bit|while)$"
)
_SIGN = re.compile(
    r"^(?:sign off|signing off|signed off|sign it off)[\s,]*(?:code|by|number)?\s*(?P<rest>.+)$"
)
_ONE_BACK = re.compile(
    r"\b(?:backed|put|went|took|turned)(?: it)?(?: off)? one (?:off|back)?.*?(?=\b(?:so|net)\b)"
)
""" "Backed off one, so that's three": of those three nothing is said of the way."""
_LOOSER = re.compile(r"\b(?:looser|loosened|loose|backed|back|backwards|wrong way)\b")
_TIGHTER = re.compile(r"\b(?:tighter|tightened|tight)\b")


_WAIT_ASKS = re.compile(r"^\s*wait\b[\s,.]+(?=\S[^,.;]*\?\s*$)", re.I)
""" "Wait, tighter or looser?": the question alone."""


def understand(
    words: str, who: str, dialogue: Dialogue, asked: Question | None = None
) -> Act | Question:
    """The act in `words`, or the question to ask back. Nothing is moved by it.

    Args:
        words: as typed or recognized.
        who: "tech" or "helper".
        dialogue: where it stands: what can be said now.
        asked: the open question about a reading, if there is one.
    """
    danger = dialogue.danger()
    if who == "helper" and not danger.releasing:
        words = _WAIT_ASKS.sub("", words)
    meant = _alarm(words, who, dialogue, danger) or _understood(words, who, dialogue, asked)
    meant = _with_fault(_of_this_step(meant, words, who, dialogue), words)
    if _cried(meant, words, who, dialogue):
        return Act("danger", who)
    if danger.pedal and not dialogue.stopped:
        return Act("unsure", who) if _lost(meant, who, danger.held) else meant
    if _lost_near(meant, who, danger) and not dialogue.stopped:
        return _not_sure(words, who, dialogue)
    waits = isinstance(meant, Question) or meant.meaning in ("wait", "unclear")
    if danger.cleared and waits:
        return Act("unsure", who)  # "I will be clear soon" takes a clear back
    looks = who == "tech" or dialogue.at == REPAIR
    return _looked(words, who, dialogue, meant) if looks else meant


_HEARD_AS_TALK = frozenset({"how", "why", "aside", "wait", "unclear", "where", "repeat"})
_CRIED = 0.97
"""Share of harm from which words that were taken for talk stop the job at any step."""


def _cried(meant: Act | Question, words: str, who: str, dialogue: Dialogue) -> bool:
    """Whether words that were taken for talk are most surely of danger: "who's cranking it?" """
    heard = isinstance(meant, Question) or meant.meaning in _HEARD_AS_TALK
    if not heard or dialogue.stopped:
        return False
    guess = likely(words, who, place(dialogue))
    return guess.best == "danger" and guess.harm >= _CRIED


def _with_fault(meant: Act | Question, words: str) -> Act | Question:
    """A stop that tells of a broken part keeps the words: they are for the lead as well."""
    if isinstance(meant, Question) or meant.meaning not in ("danger", "stop") or not fault(words):
        return meant
    return replace(meant, text=words.strip())


_OF_FAULTS = ("no", "correct", "note", "sound", "not_sound")


def _looked(words: str, who: str, dialogue: Dialogue, meant: Act | Question) -> Act | Question:
    """What is seen in the hole, where it would else be asked after; a fault in its words."""
    lost = isinstance(meant, Question) or meant.meaning in ("unclear", "wait", "aside")
    at = dialogue.at
    if at == REPAIR:
        told = isinstance(meant, Act) and meant.meaning in _OF_FAULTS
        inside = "sound" in dialogue.allowed() and who == "tech"
        if inside and (lost or told) and cleaned_up(words):
            return Question("was_repaired", {}, who)  # oil comes back
        if (lost or told) and taken_back(words):
            return Act("sound", who, text=words.strip())
        more = lost and "sound" in dialogue.allowed() and fault(words)
        return Act("not_sound", who, text=words.strip()) if more and who == "tech" else meant
    if at == LOOK:
        told = isinstance(meant, Act) and meant.meaning == "not_sound"
        if told and only_denied(words):
            return again(who, dialogue)  # "no oil": of the rest nothing is said
        found = fault(words) if lost else told
        what = words.strip() if len(words.strip()) > _SHORT else ""
        return Act("not_sound", who, text=what) if found else meant
    if not lost or dialogue.expects() != RING_LEFT:
        return meant
    left = lugs_left(words)
    if left == "none":
        return Act("reading", who, read("zero lugs", RING_LEFT).as_data(), doubt=True)
    return Act("skip", who) if left else meant


def _lost(meant: Act | Question, who: str, held: bool) -> bool:
    """Whether words said nothing sure: in a hold, what is not understood is not harmless."""
    if isinstance(meant, Question):
        return who == "helper" and not meant.choices and meant.reply != "ask_reading"
    if meant.meaning == "wait":
        return who == "helper" and held  # for what? the foot may be giving
    return meant.meaning == "unclear" and bool(meant.text)


def _lost_near(meant: Act | Question, who: str, danger: Danger) -> bool:
    """Whether words said nothing sure where the engine may turn, or he could step on the pedal with
    a hand in the hole; who stands below then and asks for a moment may not be out yet."""
    if not (danger.engine or (danger.pressing and who == "helper")):
        return False
    if isinstance(meant, Question):
        return not meant.choices
    below = who == "tech" and meant.meaning == "wait"
    return below or (meant.meaning == "unclear" and bool(meant.text))


_OF_TRIALS = frozenset({"sound", "not_sound", "check", "no", "done", "unsure"})


def _not_sure(words: str, who: str, dialogue: Dialogue) -> Act | Question:
    """What stops it; of an answer to a trial in which no harm is seen, only a question: what
    he is to press is not told again."""
    guess = likely(words, who, place(dialogue))
    answers = dialogue.trying and guess.best in _OF_TRIALS
    if answers and guess.harm < HARM_LITTLE and guess.known >= HALF_KNOWN:
        return Question("sound_or_not", {}, who)
    return Act("unsure", who)


_NOISE = re.compile(
    r"\b(?:a|any|some|the|there's) (?:\w+ )?(?:sounds?|noises?)\b"
    r"(?! (?:fine|good|ok|okay|right|alright|sweet|great|lovely|normal|healthy|sound))"
    r"|\bno (?:\w+ )?sounds?\b|^no noises?$|\bhear\b"
)
_BARE = frozenset({"okay", "ok", "yeah", "yep", "yes", "right", "alright", "all right", "sure"})


def _of_a_noise(meant: Act, words: str, dialogue: Dialogue) -> bool:
    """Whether an answer to "sound, or not?" may be of a noise that he hears; or, inside, whether a
    bare "okay" may be for somebody else."""
    step = dialogue.dialogs.by_id.get(dialogue.at)
    if step is None or step.kind != "sound" or meant.meaning not in (*COMPLETES, "not_sound"):
        return False
    text = normal(words)
    return bool(_NOISE.search(text)) or (step.id == LOOK and text in _BARE)


_OVER_AGAIN = re.compile(r"\b(?:over|again|beginning|top|scratch|first|one|afresh|anew|new)\b")
_KEY_AWAY = re.compile(
    r"\bkeys?\b.{0,12}\b(?:in (?:the )?(?:ignition|truck|cab|dash|door|lock|seat)"
    r"|with (?!me\b)|on (?:the )?(?:seat|dash))"
    r"|\b(?:he|she|helper|\w+o|kid|boy)(?:'s| has)(?: got)? (?:the |my )?keys?\b"
)
""" "Key's in the ignition", where it should be below."""
_KEY_KEPT = re.compile(
    r"\b(?:on me|my (?:\w+ )?(?:pocket|hand|belt)|with me|engine|off"
    r"|i(?:'ve| have)?(?: still| just)? (?:got|have)|i've (?:it|the keys?))\b"
    r"|^(?:(?:yeah|yes|ok|okay|still) )*got (?:it|(?:the |my )?keys?)\b"
)
_KEY_GIVEN = re.compile(
    r"\b(?:gave|given|giving|hand(?:ed|ing)|pass(?:ed|ing)|toss\w*|threw|thrown|his|her|him"
    r"|(?:he|she|helper|they)(?:'s|'ve| has| have)?(?: now)? (?:got|has|have|it|the|took))\b"
    r"|\b(?:helper|he|she) has\b|\bwith (?:the )?helper\b"
)
""" "Key's on me", where the helper is to get it; "I gave him my key"."""
_ONE_END = re.compile(
    r"^(?!.*\b(?:rear|back|drives?|trailer|both|all|every|each|ends|four|six|eight)\b)"
    r".*\b(?:front|fronts|steers?)\b"
    r"|^(?!.*\b(?:front|fronts|steers?|both|all|every|each|ends|four|six|eight)\b)"
    r".*\b(?:rear|rears|drives|back (?:ones|wheels|axle))\b"
)
""" "Chocks are in at the front": of the rear nothing is said."""
_FAILS = re.compile(
    r"\b(?:doesn't|does not|don't|won't|can't|didn't|not)"
    r" (?:move|go|pull|release|squeeze|work|shift|engage)\b"
)
""" "It doesn't grind, and it doesn't move"."""
_OF_KEY = frozenset({"engine_off", "key_back"})
_NO_FIRST = re.compile(r"\s*(?:no|nope|nah)\s*[,.;:!-]\s*\w+\W*$", re.I)
""" "No, grinding": the comma makes a fault of it."""


def _is_value(text: str) -> bool:
    """Whether words, but for a yes, are nothing but a value: it completes no step."""
    bare = _YES_FIRST.sub("", text).strip()
    return bool(bare != text and bare and _figures(bare) and read(bare, GAP).status == "read")


def _says_enough(meant: Act, words: str, dialogue: Dialogue) -> bool:
    """Whether words say all of what they were taken for: where the key goes below, of the key; of a
    trial that it is sound, nothing that fails; to start over, that it is once more."""
    text = normal(words)
    if meant.meaning == "start_over":
        return bool(_OVER_AGAIN.search(text))
    if meant.meaning not in COMPLETES:
        return True
    at = dialogue.at
    step = dialogue.dialogs.by_id.get(at) if _is_value(text) else None
    if step is not None and step.kind in ("act", "sound") and dialogue.pending is None:
        return False
    if at == "chocks" and _ONE_END.search(text):
        return False
    if at in (*_OF_KEY, *_ITEMS, "found_odometer") and _KEY_AWAY.search(text):
        return False
    if meant.meaning == "sound" and _NO_FIRST.match(words) and names_fault(text):
        return False
    if at == "hand_key" and _KEY_KEPT.search(text) and not _KEY_GIVEN.search(text):
        return False
    if at in _OF_KEY and re.search(r"\b(?:neutral|off|engine)\b", text):
        return bool(re.search(r"\bkeys?\b|\ball\b|\bboth\b|\beverything\b", text))
    if at == "function_release" and "squeez" in text:
        return False  # of the brake, which is asked for later
    return not (dialogue.trying and _FAILS.search(text))


_ON_IT = re.compile(
    r"(?<!sitting )(?<!sat )(?<!sit )"
    r"\b(?:down|holding|held|pressing|pressed|pushing|pushed|foot(?:'s| is)? on|on it)\b"
    r"(?! (?:the |my )?(?:floor|deck|ground|step))"
)
""" "Down", where a ready helper has his foot off."""


def _told_of_other(meant: Act, words: str, dialogue: Dialogue) -> bool:
    """Whether the helper tells what the technician has done: "she's out, I see her boots"."""
    if meant.meaning not in COMPLETES:
        return False
    step = dialogue.dialogs.by_id.get(dialogue.at)
    return step is not None and step.who == "tech" and reports(normal(words))


def _of_this_step(
    meant: Act | Question, words: str, who: str, dialogue: Dialogue
) -> Act | Question:
    """The act; where it would complete the step by words of another, it is not understood."""
    if isinstance(meant, Act) and _of_a_noise(meant, words, dialogue):
        return again(meant.who, dialogue)
    if isinstance(meant, Act) and not _says_enough(meant, words, dialogue):
        return again(who, dialogue)
    ready = isinstance(meant, Act) and meant.meaning == "ready"
    if ready and dialogue.at == "helper_ready" and _ON_IT.search(normal(words)):
        return again(who, dialogue)
    if who == "helper" and isinstance(meant, Act) and _told_of_other(meant, words, dialogue):
        return again(who, dialogue)
    completes = isinstance(meant, Act) and meant.meaning in COMPLETES and not meant.text
    if not completes or of_this_step(words, dialogue) or dialogue.asking:
        return meant
    return Act("unclear", meant.who, text=normal(words))  # no word is offered that would confirm


def _understood(words: str, who: str, dialogue: Dialogue, asked: Question | None) -> Act | Question:
    text = normal(words)
    asks = "?" in words
    if not text:
        return Act("unclear", who)
    leave = _asks_leave(text, asks, who, dialogue)
    if leave is not None:
        return leave
    short = without_lead(text)
    mine = asked is None or asked.who == who or short not in _YES | _NEITHER
    asked = asked if mine else None  # a yes or no to what the other was asked is none
    if asked is not None and asked.offer is not None and short in _YES | _NEITHER:
        return asked.offer if short in _YES else Question("say_again", {}, who)
    special = _with_more(words, text, short, asks, who, dialogue)
    meant = _phrase(text, short, who, dialogue)
    if special is not None:
        return special
    said = _beside(words, text, meant, who, dialogue)
    if said is not None:
        return said
    expected = dialogue.expects()
    figures = bool(expected) and _figures(text)
    doubts = meant in _DOUBTS and dialogue.danger().pedal
    if doubts or not (meant or figures):
        harmful = _harm(words, text, who, dialogue)
        if harmful is not None:
            denies = meant == "no" and who == "tech" and harmful.meaning == "unsure"
            return replace(harmful, text="no") if denies else harmful
    complained = complaint(short, meant, who, dialogue) if meant else _what_is(text, who)
    if complained is not None:
        return complained
    if meant and asks and meant in MATTERS:
        return again(who, dialogue)  # "clear?" is no "clear"
    if meant and (not expected or _fits(meant, dialogue)):
        return Act(meant, who)
    return _read_or_guessed(words, text, meant, who, dialogue, asked)


def _read_or_guessed(
    words: str, text: str, meant: str, who: str, dialogue: Dialogue, asked: Question | None
) -> Act | Question:
    """A reading, else what the words most likely mean; `meant` is what their exact phrase means."""
    expected = dialogue.expects()
    figures = bool(expected) and _figures(text)
    # "on the floor" is the helper's word for holding, and a reading at another step.
    found = _reading(words, text, who, dialogue, asked)
    if isinstance(found, Act):
        if figures or _chosen(text, asked, dialogue):
            return found
        if _said_with_yes(found, words, dialogue):
            return Act("check", who)
    elif found is not None and _settled(text, expected, asked):
        return found
    guess = likely(words, who, place(dialogue))
    if found is not None and not (_LETTER.search(text) and _better(guess, found)):
        return found
    if meant:
        return Act(meant, who)
    return _guessed(words, who, dialogue, guess)


def _with_more(
    words: str, text: str, short: str, asks: bool, who: str, dialogue: Dialogue
) -> Act | Question | None:
    """What says more than one word of the job: a note, several things done, a count."""
    return (
        _with_rest(words, short, asks, who, dialogue)
        or _items(words, who, dialogue)
        or _in_one_breath(words, who, dialogue)
        or _counted(text, who, dialogue)
        or _part_moved(text, who, dialogue)
    )


_YES_WORDS = re.compile(r"\b(?:yes|yep|yeah|yup|aye|yessir|right|correct|check)\b")
_SAME_IN = 0.0006


def _said_with_yes(found: Act, words: str, dialogue: Dialogue) -> bool:
    """Whether it is the value that waits for its check, said over with a yes."""
    pending, text = dialogue.pending, normal(words)
    if pending is None or found.meaning != "reading" or not _YES_WORDS.search(text):
        return False
    if "?" in words or negated(text):
        return False
    waits, said = read(pending.readback, pending.quantity), found.reading or {}
    if waits.value_in is not None and said.get("value_in") is not None:
        return bool(abs(waits.value_in - said["value_in"]) < _SAME_IN)
    return waits.count is not None and waits.count == said.get("count") and not found.way


_LOOKS_BACK = ("back", "repeat", "where", "how_long")
"""Commands that are heard in one clause, beside talk: "hang on, I missed a wedge, go back one"."""


def _in_a_clause(words: str, who: str, dialogue: Dialogue) -> Act | None:
    """One of those commands, when a clause is a phrase for it and the rest is talk."""
    clauses = [text for clause in CLAUSE.split(words) if (text := normal(clause or ""))]
    if len(clauses) < 2:
        return None
    for text in (clauses[-1], clauses[0]):
        meant = _phrase(text, without_lead(text), who, dialogue)
        if meant in _LOOKS_BACK and not negated(text):
            filled = _filled(meant, text, text, who, dialogue)
            return filled if isinstance(filled, Act) else None
    return None


_THINGS = {
    "lug": "lugs?", "flat": "flats?", "ring": "adjusting ring|adjuster ring|ring",
    "lock-plate": "lock plate|lock bracket", "brake": "clutch brake",
    "bearing": "release bearing|throw-?out bearing|bearing", "fork-pad": "fork pads?",
    "jam-nut": "jam nut", "release": "releases?", "slip": "slips?|slipping",
    "grind": "grinds?|grinding", "squeeze": "squeezes?", "free": "free travel|free play",
    "gap": "gap", "clearance": "fork clearance|clearance", "clear": "clear", "sound": "sound",
}  # fmt: skip
"""Things that are asked after by their names -> how they are called."""
_WHAT_IS = re.compile(
    r"^(?:\w+ ){0,2}?what(?:'s| is| are| does| do|s)?(?: (?:you|they|it))?"
    r"(?: (?:mean|means|meant)(?: by)?)?"
    rf"(?P<a> an?| the)? (?P<thing>{'|'.join(_THINGS.values())})"
    r"(?: (?:mean|means|is|are|anyway|again))?$"
)
_ASKED_FOR = {
    "pedal": re.compile(
        r"^(?:\w+ ){0,2}?(?:which|what) (?:pedal|one)(?: (?:do|should) i (?:press|push|use|hold)"
        r"(?: on| down)*)?(?: please)?$|^(?:press|push) which(?: (?:one|pedal))?$"
        r"|^is it the (?:left|middle|right)(?: (?:one|pedal))?$"
    ),
    "grease": re.compile(
        r"^(?:\w+ )?where (?:does|do|should) (?:the |i |this )?(?:put (?:the )?)?grease"
        r"(?: go| it)?$"
        r"|^(?:\w+ )?how much grease\b.{0,16}$|^where (?:are|is) the grease (?:fittings?|points?)$"
    ),
    "turn": re.compile(
        r"^(?:\w+ ){0,2}?(?:what|which(?: one| ring| bit| part| thing)?)"
        r" (?:do|should|am|must) (?:i|we) (?:supposed to |have to )?(?:turn|turning|move)"
        r"(?: here| now| again| then| first)?$"
    ),
}
"""What is asked for in other words -> how."""
_CHANGED = re.compile(
    r"^(?:(?:so|and|ok|okay|hey|now|well) )*what(?: all| exactly| changes| things)?"
    r"(?:'s|'ve| have| did| has| was| were)(?: all| exactly| we| i| you| been)*"
    r" (?:chang(?:e|ed)|moved?|adjust(?:ed)?|made|turned)"
    r"(?: so far| already| today| up to now| till now| on it| here)*$"
)
""" "What all have we changed": what was moved so far."""
_VALUES = ("free", "gap", "clearance")
"""Of these, "what's the gap" asks for the reading."""


def _what_is(text: str, who: str) -> Act | None:
    """The question what a thing is: "what's a lug", "what does release mean"."""
    m = _WHAT_IS.match(text)
    if m is None and _CHANGED.match(text):
        return Act("ask_changed", who)
    if m is None:
        asked = next((thing for thing, asks in _ASKED_FOR.items() if asks.search(text)), "")
        his = asked and (asked != "turn" or who == "tech")
        return Act("how", who, text=asked) if his else None
    thing = next(name for name, called in _THINGS.items() if re.fullmatch(called, m["thing"]))
    named = " mean" in text or m["a"] in (" a", " an")
    means = named or (thing not in _VALUES and m["a"] is None)
    return Act("how", who, text=thing) if means else None


def _settled(text: str, expected: str, asked: Question | None) -> bool:
    """Whether a question back is all there is to words: a bare number, or neither of two."""
    return (not expected and _figures(text)) or (asked is not None and text in _NEITHER)


_FITTED = re.compile(
    r"^(?!.*\b(?:my|needs?|order\w*|wants?|buy|would|will|going to|gonna|should|if|when|last"
    r"|ago)\b)"
    r".*\b(?:hung|fitted|put|installed|got|has|had|it's|just|bolted)\b.{0,16}\bnew (?:clutch )?"
    r"(?P<part>clutch(?! brake)|brake)\b"
)
""" "Just hung a brand new clutch in this one"."""
_SHORT = 3
"""Letters that tell nothing of a reason."""
_SIDE = re.compile(r"\b(?:in|out|on|off)\b")
_BODY = re.compile(r"\b(?:hand|finger|arm|thumb|sleeve|leg|foot|knee|eye)s?\b")


def _beside(words: str, text: str, meant: str, who: str, dialogue: Dialogue) -> Act | None:
    """What ends a job or changes its people, and what is kept word for word."""
    leaves = dialogue.at == LEAVING and meant in ("done", "no") and _SIDE.search(text)
    if leaves and not _step_answer(text, without_lead(text), dialogue):
        return Act("unclear", who, text=text)  # "on" is no answer to whether the plate is in
    handed = _hand_over(words, text, meant, who, dialogue)
    if handed is not None or meant == "takes_over":
        down = dialogue.danger().pedal and not dialogue.handing
        harmful = _harm(words, text, who, dialogue) if down else None
        stops = harmful is not None and harmful.meaning == "danger"
        return (harmful if stops else handed) or Act("takes_over", who)
    kinds = dialogue.dialogs.words[meant].kinds if meant in ("trouble", "fitted") else {}
    kind = next((k for k, said in kinds.items() if {text, without_lead(text)} & {*said}), "")
    tells = not meant and who == "tech" and not (negated(text) or dialogue.danger().pedal)
    new = _FITTED.search(text) if tells else None
    if meant == "fitted" or new is not None:
        return Act("fitted", who, text=kind if new is None else new["part"])
    if meant not in ("", "trouble", "unfinished"):
        return None
    at = dialogue.at if who == "tech" else ""
    ends = ("trouble", kind) if kind else (meant, "") if meant else None
    if ends is None and not _figures(text):
        ends = dead_end(words, at)
        if ends is not None and _as_asked(likely(words, who, place(dialogue)), dialogue):
            ends = None  # "rod ends ain't got no play"
    if not meant and ends == ("trouble", "brake_gone") and dialogue.at == LOOK and who == "tech":
        return Act("not_sound", who, text=words.strip())
    tells = dialogue.telling == "rest" or (dialogue.telling == "why" and ends is None)
    if tells and len(text) > _SHORT:
        return Act("told", who, text=words.strip())
    if ends is None:
        return None
    harmful = None if meant else _harm(words, text, who, dialogue)
    if harmful is not None:
        harm = likely(words, who, place(dialogue)).harm
        # Of a ring that will not move the helper is asked in any case: see `unfinished`.
        most = HARM_LITTLE if ends[1] == "seized" else HARM_OF_TROUBLE
        down = dialogue.danger().pedal and harm >= most
        if down or (harmful.meaning == "danger" and _BODY.search(text)):
            return harmful
    return Act(ends[0], who, text=ends[1])


def _as_asked(guess: Likely, dialogue: Dialogue) -> bool:
    """Whether words most likely say what was asked for, and no trouble."""
    best = guess.best
    wanted = (best == "reading" and bool(dialogue.expects())) or best in dialogue.allowed()
    return wanted and best in (*MATTERS, "reading") and guess.shares[best] >= SURE


_OVER = re.compile(
    r"^(?:it's |this is )?(?P<name>[\w\- ]{1,24}?)(?: takes| is taking| taking| will take| took"
    r"|'s takin'?g?) (?:it )?over\b|^(?:hand(?:ing)? (?:it )?over to|relieved by) (?P<to>[\w\-]+)$"
)
_CODE_SAID = re.compile(
    r"^(?:i'm |it's |this is |that's )?(?:my )?(?:code|number)(?:'s| is)? (?P<code>[\w\- ]+)$"
)


_FROM_BREAK = re.compile(
    r"^(?:(?:ok|okay|alright|all right|right),? )?(?:(?:we|i|they|he)(?:'re|'m|'s| are| am| is)? )?"
    r"(?:all )?back (?:now |here )?(?:from|after|off) (?:the |our |my )?(?:\w+ )?"
    r"(?:lunch|dinner|supper|breakfast|break|coffee|smoke|weekend|night)\b[\w ,]*$"
    r"|^(?:lunch|dinner|break|coffee)(?:'s| is| time is)? over\b[\w ,]*$"
)
_SHIFT = r"(?:the |your |our )?(?:night|day|late|early|next|new|other|second|third|back)s? ?shift"
_NAME = r"[A-Za-z][a-z\-]{1,15}(?: (?-i:[A-Z])[\w\-]+)?"
_CALLS_HIMSELF = re.compile(
    r"^\W*(?:(?:hi|hey|hello|ok|okay|right|alright|yes|yeah|now|morning|evening)\W+)*"
    r"(?:(?P<says>this is|it's|it is|i'm|i am|my name is|my name's|the name's|you've got|you got)"
    rf" (?:{_SHIFT}\W+)?(?P<name>{_NAME})"
    rf"|(?P<here>{_NAME})(?= (?:here|speaking|on the pedal|in the seat|in the cab|from {_SHIFT})\b)"
    rf"|(?P<of>{_NAME})(?=\W+{_SHIFT}\b)|{_SHIFT} ?(?:here)?\W+(?P<shift>{_NAME}))"
    r"(?:\W+(?:now|here|speaking|on the pedal|in the seat|in the cab|below|down here|up here"
    rf"|under here|i'm new|taking over|(?:from )?{_SHIFT}))*"
    r"(?:\W+(?:and )?(?:my )?(?:code|number)(?:'s| is)? (?P<code>[\w\-]+(?: [\w\-]+)?))?\W*$",
    re.I,
)
_SHIFT_NOW = re.compile(rf"^(?:this is |it's |we're )?{_SHIFT}(?: (?:now|here|on it))*$")
_NO_NAMES = frozenset(
    """helper technician tech mechanic boss lead foreman driver nobody somebody everybody anybody me
    us them him her you another one two the an nothing everything still all ready clear done back
    good fine right alone under down up out off on in over it that there not just only really
    smoke fire blood oil water grease fluid gas air leak heat help trouble danger
    sound released holding pressing stuck hurt caught lunch code number key""".split()
)


_OF_STATES = re.compile(r"(?:in|ing|ed|y)$")
""" "It's slippin": how something is."""


def _names_himself(words: str, who: str, dialogue: Dialogue) -> re.Match[str] | None:
    """Where somebody says who he is: "Earl here", "it's Pat now", "night shift here, Robin".

    A name has a capital and is none of our words; without a capital, nobody knows it. What may
    tell of harm or of a fault ("smoke here") is none, but where the pedal is down either stops it.
    """
    m = None if "?" in words else _CALLS_HIMSELF.match(words)
    if m is None:
        return None
    name, asked = _name_of(m), dialogue.handing == who
    first = name.split()[0].lower()
    written = name[0].isupper() and not words.isupper()
    if first in _NO_NAMES or first in _own_words(dialogue.dialogs) or fault(words):
        return None
    known = weights().knows(first) and not (asked and m["here"])
    if not written and (known or _OF_STATES.search(first)):
        return None
    if not written and not asked and (m["says"] or "").lower() in ("it's", "it is", "i'm", "i am"):
        return None
    stops = dialogue.danger().down and not dialogue.stopped
    bar = HARM_SURE if asked or written else HARM_LITTLE
    harmless = likely(words, who, place(dialogue)).harm < bar
    return m if stops or harmless else None


@lru_cache(maxsize=8)
def _own_words(dialogs: Dialogs) -> frozenset[str]:
    """All words that are said or understood in a job."""
    said = [phrase for meaning in dialogs.words.values() for phrase in meaning.phrases]
    said += [text for step in dialogs.steps for text in (step.say, step.why, *step.answers)]
    return frozenset(re.findall(r"[a-z']+", " ".join([*said, *dialogs.texts.values()]).lower()))


def _name_of(m: re.Match[str]) -> str:
    return m["name"] or m["here"] or m["of"] or m["shift"]


_HERE_NOW = re.compile(
    r"^(?:this is |it's |i'm )?(?:a |the |your )?(?:new|different|other|another) "
    r"(?:guy|man|person|helper|tech|technician|mechanic)\b(?: (?:now|here|up here"
    r"|down here|on the pedal|in the cab|in the seat|under here))*$"
)


_BARE_CODE = re.compile(
    rf"\d{{1,3}}|(?:{'|'.join(sorted(NUMBERS))})(?: (?:{'|'.join(sorted(NUMBERS))}))?"
)
""" "Twelve": longer ones may be readings that were meant for the step."""


_BARE_NAME = re.compile(r"^\W*[A-Z][a-z]{1,11}\W*$")
""" "Robin": where it is asked who goes on."""


def _hand_over(words: str, text: str, meant: str, who: str, dialogue: Dialogue) -> Act | None:
    """That another person goes on, or may: with his code, or to be asked for it."""
    plain = without_lead(text)
    himself = _names_himself(words, who, dialogue)
    if himself is not None:
        return _himself(himself, who, dialogue)
    if _FROM_BREAK.match(plain) or _HERE_NOW.match(plain) or _SHIFT_NOW.match(plain):
        return Act("takes_over", who)
    m = _OVER.match(plain)
    if m is not None and not negated(text):
        return Act("takes_over", who, text=_person(m["name"] or m["to"]))
    if not dialogue.handing:
        return None
    if not meant and dialogue.handing == who and _BARE_NAME.match(words):
        bare = normal(words)
        known = bare in _NO_NAMES | _own_words(dialogue.dialogs) or weights().knows(bare)
        return None if known else Act("takes_over", who, text=bare.upper())
    m = _CODE_SAID.match(plain)
    if m is not None and _is_code(m["code"]):
        return Act("takes_over", who, text=_code(m["code"]))
    asked = dialogue.handing == who and _BARE_CODE.fullmatch(plain)
    return Act("takes_over", who, text=_code(plain)) if asked else None


def _himself(m: re.Match[str], who: str, dialogue: Dialogue) -> Act:
    """Who names himself goes on by his code; by his name where he is asked who goes on; elsewhere
    he is asked for it."""
    if m["code"] and _is_code(normal(m["code"])):
        return Act("takes_over", who, text=_code(normal(m["code"])))
    if dialogue.handing != who:
        return Act("takes_over", who)
    return Act("takes_over", who, text=_code(_name_of(m).split()[0].lower()))


def _person(name: str) -> str:
    """His code, where the words are one: a figure; a name is none."""
    name = re.sub(r"^(?:code|number) ", "", name)
    code = _code(name) if _is_code(name) else ""
    return code if any(c.isdigit() for c in code) else ""


def _guessed(words: str, who: str, dialogue: Dialogue, guess: Likely) -> Act | Question:
    """What words mean that are no phrase and no reading."""
    text = normal(words)
    named = complaint(without_lead(text), "", who, dialogue)
    if named is not None and guess.shares["reading"] < SURE:
        return named
    if _said_again(guess, words, who, dialogue):
        return Act(guess.best, who)
    if _clear_to_let_up(guess, words, who, dialogue):
        return Act("let_up", who, text="clear")
    meaning = likeliest(words, text, "?" in words, who, dialogue, guess)
    if isinstance(meaning, Question):
        return meaning
    if meaning in ("unclear", "wait", "aside"):
        command = _in_a_clause(words, who, dialogue)
        if command is not None:
            return command
    if meaning == "unclear":
        return _like(text, who, dialogue)
    return _filled(meaning, words, text, who, dialogue)


def _in_one_breath(words: str, who: str, dialogue: Dialogue) -> Act | None:
    """The present step and the next ones, each answered by one of its own phrases, in order."""
    breath, at = dialogue.breath(), dialogue.dialogs.by_id.get(dialogue.at)
    if not breath.in_order or at is None or "?" in words or who != at.who:
        return None
    parts = _parts(words, breath)
    if not 2 <= len(parts) <= len(breath.items):
        return None
    named = [item for part, (item, phrases) in zip(parts, breath.items, strict=False)
             if part in phrases]  # fmt: skip
    meaning = "sound" if at.kind == "sound" else "done"
    return Act(meaning, who, text=" ".join(named)) if len(named) == len(parts) else None


def _parts(words: str, breath: Breath) -> list[str]:
    """Words part by part, normal: at their commas, and where nothing but phrases of items stand
    one after another, as they are heard."""
    parts = [text for part in _PARTS_OF.split(words.lower()) if (text := normal(part or ""))]
    phrases = [phrase for _, each in breath.items for phrase in each]
    return [one for part in parts for one in one_by_one(part, phrases) or [part]]


_ONE_BREATH = 200
"""Letters that are said in one breath at most."""


def one_by_one(text: str, phrases: Sequence[str]) -> list[str]:
    """The phrases that normal words are, one after another; nothing when they are anything else."""
    if text in phrases:
        return [text]
    for phrase in phrases if len(text) <= _ONE_BREATH else ():
        if text.startswith(phrase + " "):
            rest = one_by_one(text[len(phrase) + 1 :], phrases)
            if rest:
                return [phrase, *rest]
    return []


_OF_WEDGES = frozenset(
    """all of them em and wedge wedges block blocks bolt bolts piece pieces shipping holding wooden
    out came come took taken i i've that's got there were are is they're""".split()
)
""" "Four wedges and three bolts out"; any other word may say that one is still in."""


_PIECES = re.compile(
    r"\b(?:\d+|one|two|three|four|five|six|seven|eight|nine|ten|eleven|twelve)"
    r" (?:(?:of the|shipping|holding|wooden) )*(?:wedges?|bolts?|blocks|pieces)\b"
    r"|^(?:i |we |he )?(?:took|pulled) (?:out )?(?:\d+|two|three|four|five|six|eight)\b"
    r"|^(?:(?:all|that's|there's|got) )*(?:\d+|two|three|four|five|six|eight) (?:are |came )?out$"
)
""" "Four wedges out": no length, wherever it is said."""


def _counted(text: str, who: str, dialogue: Dialogue) -> Act | Question | None:
    """How many shipping wedges and holding bolts came out, all kinds together; no reading is ever
    taken from that."""
    said = text.replace("-", " ").split()
    few = _few()
    numbers = [few.get(word, int(word) if word.isdecimal() else None) for word in said]
    counted = [n for n in numbers if n is not None]
    if not counted:
        return None
    if "counted" not in dialogue.allowed():
        lost = _PIECES.search(text) and dialogue.expects() and not dialogue.danger().pedal
        return again(who, dialogue) if lost else None
    rest = {word for word, n in zip(said, numbers, strict=True) if n is None}
    known = rest <= _OF_WEDGES and sum(counted) <= MOST_WEDGES
    return Act("counted", who, text=str(sum(counted))) if known else None


@cache
def _few() -> dict[str, int]:
    return {number_words(n): n for n in range(MOST_WEDGES + 1)}


_PART_MOVED = re.compile(
    r"^(?:(?:i |i've |we )?(?:only |just )?(?:moved|turned|got|did) (?:only |just )?"
    r"(?P<count>[a-z]+|\d+)(?: lugs?| notch(?:es)?)?"
    r"|(?P<first>[a-z]+|\d+)(?: lugs?)? (?:moved|turned))(?: and| but| then| now)*(?: the)?"
    r" (?:rest|remaining|others?|next|last)(?: of (?:them|it)| ones?| \w+)?"
    r"(?:'s| is| are| won't| wont| doesn't| don't| will not| got)? ?"
    r"(?:stuck|seized|jammed|frozen|solid|move|budge|turn|go|come)(?: now| solid| fast| at all)?$"
)
""" "Moved three, rest is stuck"."""


def _part_moved(text: str, who: str, dialogue: Dialogue) -> Act | None:
    """How many lugs moved, of a ring that then went no further: read back, to be checked."""
    m = _PART_MOVED.match(text) if who == "tech" else None
    if m is None or dialogue.expects() != LUGS:
        return None
    count = read(f"{m['count'] or m['first']} lugs", LUGS)
    return Act("reading", who, count.as_data(), doubt=True) if count.status == "read" else None


_ITEMS = {
    "chocks": re.compile(r"\bchock|\bwedge|\bwheels? (?:are |is )?block|\bblocks? (?:in|under)\b"),
    "parking_brake": re.compile(
        r"(?<!\bnew )(?<!\bclutch )(?<!\bpiece )\b(?:parking |hand)?brakes?\b|\bbrake knob"
    ),
    "neutral": re.compile(r"\bneutral\b|\bout of gear\b|\boutta gear\b"),
    "key": re.compile(r"\bkeys?\b|\bengine(?:'s| is)? off\b"),
    "stands": re.compile(r"\bstands?\b|\bon the ground\b|\bflat on\b"),
    "eyes": re.compile(
        r"\bgoggles\b|\b(?:safety )?glasses\b|\bspecs\b|\beye protection\b|\bshades\b"
    ),
}
_PARTS_OF = re.compile(r"[,.;:!…](?=\s|$)|\band\b|\bthen\b|\bplus\b")
_NOT_RAISED = re.compile(
    r"\b(?:not|isn't|ain't|wasn't|never) (?:been )?(?:raised|jacked(?: up)?|lifted)\b"
)
"""A denial that says that a thing is as it should be."""


def _of_trouble(text: str, dialogue: Dialogue) -> bool:
    """Whether it is a phrase for why a job cannot go on."""
    words = dialogue.dialogs.words
    return any({text, without_lead(text)} & {*words[k].phrases} for k in ("trouble", "unfinished"))


def _items(words: str, who: str, dialogue: Dialogue) -> Act | None:
    """Several safety items said to be done in one breath; each must say so of itself."""
    safe = dialogue.at in _ITEMS or dialogue.at == "found_odometer"
    if not safe or who != "tech" or words.rstrip().endswith("?"):
        return None
    if dead_end(words) is not None or _of_trouble(normal(words), dialogue):
        return None  # "the clutch brake's in pieces" sets no parking brake
    named, breath = [], dialogue.breath()
    own = {phrase: item for item, phrases in breath.items for phrase in phrases}
    for text in _parts(words, breath):
        if text in own:
            named.append(own[text])
            continue
        text = _NOT_RAISED.sub("on the ground", text)
        found = [item for item, expression in _ITEMS.items() if expression.search(text)]
        if not found:
            if not named and dialogue.at in _ITEMS and _bare(text, who, dialogue):
                named.append(dialogue.at)
            continue
        guess = likely(text, who, found[0])
        done = guess.shares["done"] + guess.shares["check"]
        if not counts(text, False, "done") or done < SURE or len(found) > 1:
            return None
        named += found
    if len(set(named)) < 2 and (dialogue.at in named or dialogue.at == "found_odometer"):
        return None
    return Act("done", who, text=" ".join(dict.fromkeys(named))) if named else None


def _bare(text: str, who: str, dialogue: Dialogue) -> bool:
    """Whether words that name nothing say that the present step is done: "set, and ..." """
    said = likely(text, who, place(dialogue)).shares
    return counts(text, False, "done") and says(text, "safe") and said["done"] >= SURE


WELL_KNOWN = 0.55
"""Share of known words from which a reading is looked for among others: a radio has scores too."""


def _holds_reading(guess: Likely) -> bool:
    return guess.shares["reading"] > READS and guess.known > WELL_KNOWN


READS = 0.5
"""Share of a reading from which one is looked for among other words."""
_LETTER = re.compile("[a-z]")
"""Without any, nothing is said but a number, whether it can be read or not."""
_FIGURES = frozenset(
    {*NUMBERS, *PARTS, *"and a an shy fat lug lugs tighter looser turn turns flat flats".split()}
)
"""Words that are nothing but a reading."""


def _figures(text: str) -> bool:
    return _FIGURES.issuperset(text.replace("-", " ").split())


_DOUBTS = ("no", "not_sound", "correct", "measure", "back")
"""Exact phrases that may mean that something is wrong, in a hold."""


HARM_OF_TROUBLE = 0.005
"""Share of harm from which words in a hold are more than why a job cannot go on."""
_TURN = "ring_turn"


def _harm(words: str, text: str, who: str, dialogue: Dialogue) -> Act | None:
    """What words do of themselves while somebody may be hurt: stop the job, or block it."""
    guess = likely(words, who, place(dialogue))
    danger = dialogue.danger()
    if not danger.pedal and (danger.engine or danger.pressing):
        return _harm_near(text, who, dialogue, guess)
    if not danger.pedal:
        return Act("danger", who) if guess.harm >= HARM_SURE else None
    count = dialogue.expects() == LUGS and (
        read(text, LUGS).status == "read" or bool(_LOST_COUNT.search(text))
    )
    if danger.held and who == "helper":
        # Of the foot he holds it with he speaks wherever it stands, also while a count waits.
        guess = max(guess, likely(words, who, _TURN), key=lambda likely: likely.harm)
    does = harm(text, guess, who, count)
    if does == "stop" or (does and _moving(who, dialogue) and _likely_harm(guess)):
        return Act("danger", who)
    if _his_to_say(guess, words, who, dialogue):
        return None
    if does == "block" and who == "tech" and _blocked(dialogue) and guess.harm < HARM_IN_ACTS:
        return None  # nothing goes on before the helper has answered, whatever is said below
    coming = danger.releasing and who == "helper" and _COMING_UP.search(text)
    if coming and guess.best == "nothing" and guess.harm < NO_HARM_IN_IT:
        return Act("aside", who)  # as he was told: a "wait" of his would stop it
    if _of_his_own(guess, words, who, danger):
        return None
    beside = guess.best in _BESIDE and guess.harm < HARM_IN_ACTS
    half = not beside or "clear" in text.split()  # "is he clear": he may see him
    if not does and half and (who == "helper" or danger.cleared or not danger.held):
        does = "block" if half_said(text, "?" in words, who) else ""
    doubts = bool(does) and (danger.cleared or not dialogue.stopped)
    return Act("unsure", who) if doubts else None


_BESIDE = frozenset({"nothing", "ask_other", "repeat", "how", "why", "where", "how_long"})
"""What says nothing of a pedal or of hands, though it may name them: "hold what?" """
HIS, NO_HARM_IN_IT = 0.92, 0.01
"""Shares of what is his to say, and of harm in it, from and below which it is just that."""


def _surely(guess: Likely) -> bool:
    """Whether what words most likely mean is beyond doubt, and no harm is seen in them."""
    return guess.shares[guess.best] >= HIS and guess.harm < NO_HARM_IN_IT


def _his_to_say(guess: Likely, words: str, who: str, dialogue: Dialogue) -> bool:
    """Whether words are surely what this person is to say here of himself: that he holds, that it
    is up; that his hands are clear, or that it may come up."""
    if not _surely(guess) or "?" in words:
        return False
    held = guess.best == "holding" and dialogue.danger().held
    again = held and guess.shares["holding"] >= SUREST  # "ain't let up": nothing goes on by it
    turned = takes_back(normal(words)) and not again
    if turned and not said_last(words, guess.best, who, dialogue):
        return False
    own = ("holding", "released") if who == "helper" else ("clear", "let_up")
    return guess.best in own and (held or who == "tech" or guess.best in dialogue.allowed())


def _moving(who: str, dialogue: Dialogue) -> bool:
    """Whether the pedal is on its way, so that what the technician says unsurely stops it."""
    told = dialogue.danger().releasing or "holding" in dialogue.allowed()
    return who == "tech" and told and not dialogue.stopped


def _likely_harm(guess: Likely) -> bool:
    """Whether harm is the likeliest: what would stop it as not sure is then told as a danger."""
    return guess.best == "danger" and guess.harm >= SURE_ENOUGH


SURE_ENOUGH = 0.5
"""Share of harm from which a block that stops it is told as a danger."""
_OF_WORK = frozenset({"nothing", "done", "ask_other"})


_MORE_PEDAL = re.compile(r"\b(?:give (?:me|us) (?:a (?:bit|little) )?more|more,? more)\b", re.I)
""" "Give me more": the pedal is not all the way down."""


def _of_his_own(guess: Likely, words: str, who: str, danger: Danger) -> bool:
    """Whether the technician surely tells of his own work, though a word in it names a harm: "rag's
    still in". Where he has not called clear, nothing moves for it."""
    works = who == "tech" and danger.held and not danger.cleared
    if works and _MORE_PEDAL.search(words):
        return False
    return works and guess.best in _OF_WORK and _surely(guess) and guess.known >= WELL_KNOWN


def _said_again(guess: Likely, words: str, who: str, dialogue: Dialogue) -> bool:
    """Whether it is what he has said already, so that it lets nothing go on: that he still holds, a
    hold that is confirmed; that he is clear, or that it may come up, where that is under way; that
    his hands are out, where the helper is awaited."""
    danger, asked = dialogue.danger(), guess.best in dialogue.allowed()
    if who == "tech" and guess.best == "clear" and _awaits_helper(dialogue) and not asked:
        enough = guess.shares["clear"] >= SURE and guess.harm < HARM_IN_ACTS
        said = _WAITS_FOR.sub(" ", _EMPTY_HANDS.sub(" ", normal(words)))
        return enough and "?" not in words and not takes_back(said)
    if not _his_to_say(guess, words, who, dialogue):
        return False
    if who == "helper":
        return guess.best == "holding" and danger.held and not asked
    return (danger.cleared or danger.releasing) and not asked and not dialogue.stopped


_UP_NOW = re.compile(
    r"\b(?:let|bring|ease|wind|take)(?: it| '?er| her| him| that| the pedal)? (?:\w+ )?up\b"
    r"|\bup (?:it|she) comes\b|\b(?:let|bring|ease) up\b"
)


def _clear_to_let_up(guess: Likely, words: str, who: str, dialogue: Dialogue) -> bool:
    """Whether he says in one breath that he is clear and that it may come up, in a stop."""
    text = normal(words)
    if who != "tech" or not (dialogue.stopped and "let_up" in dialogue.allowed()):
        return False
    both = guess.shares["clear"] + guess.shares["let_up"]
    clear = [
        c for clause in CLAUSE.split(words) if (c := normal(clause or "")) and says(c, "clear")
    ]
    bare = _UP_NOW.sub(" ", text)
    return (
        both >= SUREST
        and guess.harm < HARM_IN_ACTS
        and _UP_NOW.search(text) is not None
        and any(counts(_UP_NOW.sub(" ", c), False, "clear") for c in clear if not _UP_NOW.match(c))
        and "?" not in words
        and not takes_back(_EMPTY_HANDS.sub(" ", bare))
    )


_EMPTY_HANDS = re.compile(r"\b(?:nothing|nothin|nowt|no \w+|none)(?: of mine)? (?:left )?in\b")
""" "Nothing in the hole": a denial that says it is clear."""
_WAITS_FOR = re.compile(r"\b(?:i'm |i am |just )?wait(?:ing|in) (?:on|for) \w+\b")


def _awaits_helper(dialogue: Dialogue) -> bool:
    """Whether nothing goes on before the helper has answered, hands out."""
    danger = dialogue.danger()
    unsure = danger.pedal and not (danger.held or danger.releasing)
    return not dialogue.stopped and (unsure or danger.foot or danger.releasing)


def _blocked(dialogue: Dialogue) -> bool:
    """Whether the helper was asked if he still holds, and has not answered."""
    danger = dialogue.danger()
    asked = danger.pedal and not (danger.releasing or "holding" in dialogue.allowed())
    return asked and _awaits_helper(dialogue)


def _harm_near(text: str, who: str, dialogue: Dialogue, guess: Likely) -> Act | None:
    """The same where the engine may turn, or a hand may be in the hole and the pedal up.

    Of the technician in the hole only what is likely to tell of harm blocks: who could hurt him is
    the helper.
    """
    danger, helper = dialogue.danger(), who == "helper"
    if danger.pressing and helper and guess.harm >= HARM_SURE:
        return Act("danger", who)
    expected = dialogue.expects()
    reading = bool(expected) and read(text, expected).status == "read"
    does = harm(text, guess, who, reading, near=True)
    if does == "stop" or (does and danger.engine and _likely_harm(guess)):
        return Act("danger", who)
    waits = dialogue.at == REPAIR or "clear" in dialogue.allowed()  # nothing is told to anybody
    below = guess.harm >= HARM_IN_ACTS and not waits
    blocks = does and (danger.engine or helper or below)
    return Act("unsure", who) if blocks else None


def _better(guess: Likely, found: Act | Question) -> bool:
    """Whether the words are rather something else than this reading, or question about one."""
    if guess.best in ("reading", "unsure", "correct"):
        return False
    if isinstance(found, Act) and guess.best in MATTERS:
        return False  # a value that waits for its check is not confirmed by another one
    reading, best = guess.shares["reading"], guess.shares[guess.best]
    if isinstance(found, Question):
        return reading < 0.15 and best > 0.4
    return reading < 0.03 and best > 0.8


_BACK = re.compile(r"\b(two|three|four|five|couple|2|3|4|5)\b")
_STEPS = {"two": 2, "couple": 2, "three": 3, "four": 4, "five": 5}
_NOTED = re.compile(
    r"^.*?\b(?:note|note down|write (?:it |that )?down|put down|put in|jot down|record|log|remark"
    r"|remember|for the record|mark down|make a mark)\b[\s:,]*(?:that |it |this |in the notes )*",
    re.I | re.S,
)
_BESIDE_NOTE = re.compile(
    r"[,.;]?\s*(?:and )?\b(?:put down|write down|note down|note|jot down|mark down) that\b.*$",
    re.I | re.S,
)
_BECAUSE = re.compile(
    r"\b(?:because|since|as(?! (?:it )?(?:is|stands)\b)|cause|'cause|cos)\b\s*(?P<rest>.+)$"
)


def _filled(meaning: str, words: str, text: str, who: str, dialogue: Dialogue) -> Act | Question:
    """The act with what its words carry: how many steps, the note, the reason, the code."""
    if meaning == "back":
        m = _BACK.search(text)
        return Act("back", who, text=str(_STEPS.get(m[1], m[1])) if m else "")
    if meaning == "note":
        return Act("note", who, text=_NOTED.sub("", words).strip() or words.strip())
    if meaning == "accept":
        m = _BECAUSE.search(text)
        return Act("accept", who, text=m["rest"] if m else text)
    if meaning == "sign_off":
        each = [_CODE.search(normal(clause or "")) for clause in CLAUSE.split(words)]
        codes = [_code(m["rest"]) for m in each if m is not None and _is_code(m["rest"])]
        code = codes[-1] if codes else ""
        return Act("sign_off", who, text=code)
    if meaning == "not_sound" and meaning not in dialogue.allowed():
        return Act("not_sound", who, text=words.strip())
    if meaning == "complaint":
        return Act("complaint", who, text=" ".join(names(text)))
    if meaning in ("correct", "no"):
        called, m = _named_in(text), _VALUE.search(text)
        # The value is of what is named before it.
        of = f"{name_in(text, called)} " if called else ""
        rests = [*([m["rest"]] if m else []), *(text[v.end() :] for v in _NEW_VALUE.finditer(text))]
        said = [correction(of + rest, who, dialogue) for rest in rests]
        if not any(act is not None and act.reading for act in said):
            said.append(correction(_with_stops(words), who, dialogue))
        valued = [act for act in said if act is not None and act.reading]
        named_ = [act for act in said if act is not None and meaning == "correct"]
        return (valued or named_ or [Act(meaning, who)])[-1]
    return Act(meaning, who)


def _with_stops(words: str) -> str:
    """Words as they are corrected from: in lower case, with what divides them; without a "not
    quite" before them."""
    clauses = CLAUSE.split(words.lower())
    while len(clauses) > 1 and not (_DIGIT.search(clauses[0]) or _CALLS.search(clauses[0])):
        clauses = clauses[1:]
    return ",".join(clauses).strip()


_CODE = re.compile(r"\b(?:code|number|initials|by|off)\s+(?:is |it's )?(?P<rest>[\w -]+)$")
_VALUE = re.compile(
    r"\b(?:was|is|were|it's|to|should be|make it|make that|that's)\s+(?:a |an )?(?P<rest>.+)$"
)
_NEW_VALUE = re.compile(r"\b(?:is|it's|to|should be|make it|make that|call it|i said)\s+(?:an? )?")
""" "The height I gave was wrong, it's seven and a half": what comes last is the value."""


def _alarm(words: str, who: str, dialogue: Dialogue, danger: Danger) -> Act | Question | None:
    """What is heard in any words that hold it: a stop, a pedal that goes, one that is pressed."""
    text, asks, heard = normal(words), "?" in words, dialogue.dialogs.words
    if _is_stop(text, heard["stop"]) and not (_OF_A_STOP.search(text) and dialogue.stopped):
        return Act("stop", who)
    helper = who == "helper"
    foot = _foot(text, asks, danger, heard["foot_off"]) if helper else None
    if foot is not None and danger.foot:
        return foot
    coming = danger.releasing and _COMING_UP.search(text)  # as it was told
    if helper and danger.pedal and not coming and _is_lost(text, heard["lost"]):
        if asks or not_yet(text):
            return Act("unsure", who, text="foot")
        down = danger.held or danger.releasing or dialogue.stopped
        never = not down and "not holding" in text  # nor was it before
        return Act("unsure" if never else "lost", who)
    told = None
    if not (_figures(text) or text in _YES):
        told = (
            _not_clear(text, who, dialogue)
            or _first_time(words, who, dialogue)
            or _cranks(text, asks, who, danger)
            or _never_done(text, asks, who, dialogue)
            or _hurt(text, asks, who, dialogue, danger)
            or _near(words, text, who, dialogue, danger)
            or _at_the_end(words, text, who, dialogue)
        )
    if told is not None:
        return told
    away = helper and danger.held and not negated(text) and _FOOT_AWAY.search(text)
    if away and not dialogue.stopped and text not in heard["foot_off"].phrases:
        asked = asks or not_yet(text)
        return Act("unsure", who, text="foot") if asked else Act("lost", who)
    if helper and danger.releasing and not asks:
        last = [normal(clause) for clause in CLAUSE.split(words) if clause and normal(clause)][-1:]
        said = text.replace("she's", "it's")
        if last and _IS_UP.match(last[0]) and counts(said, asks, "released"):
            return Act("released", who)
    came_up = helper and dialogue.stopped and danger.pedal and _CAME_UP.search(text)
    if came_up and counts(text, asks, "released") and not _FOOT_ON.search(text):
        return Act("released", who)
    if helper and "holding" in dialogue.allowed() and _GOING_DOWN.match(text):
        return Act("unsure", who)  # not down yet: he is told what to say when it is
    if (danger.pedal or danger.key) and _alarms(text, who, danger, heard["stop"]):
        return Act("stop", who)
    if helper and danger.pressing and _holds(text, heard["holding"].anywhere):
        return Act("holding", who)  # "pressing now", while hands may be in the hole
    return foot


_OF_A_STOP = re.compile(r"\b(?:why|why'd|who|what|did i|never|didn't)\b.{0,16}\bstop(?:ped)?\b")
""" "Why did you stop", while it is stopped."""
_HELP = re.compile(r"^(?:please )?help(?: (?:me|him|her|us|please|quick|now|here|help|down|up))*$")
""" "Help": where the pedal or the engine may move, no question what may be said."""


_NEVER = re.compile(
    r"\b(?:never|didn't|did not|forgot to|haven't|hadn't)(?: (?:actually|even|really))?"
    r" (?:set|put|chock\w*|do|did|done|pull\w*|take|took|block\w*)\b"
)


def _never_done(text: str, asks: bool, who: str, dialogue: Dialogue) -> Act | None:
    """That a safety item which was said to be done is not: back to it."""
    if who != "tech" or asks or not _NEVER.search(text) or dialogue.danger().down:
        return None
    ids = [step.id for step in dialogue.dialogs.steps]
    if dialogue.at not in ids:
        return None
    named = [ids.index(item) for item, of in _ITEMS.items() if item in ids and of.search(text)]
    back = ids.index(dialogue.at) - min(named, default=len(ids))
    return Act("back", who, text=str(back)) if back > 0 else None


_HITS_KEY = re.compile(
    r"\b(?:hit|bump|tap|flick|use|with)\b (?:the |that |on the )*(?:key|starter|ignition)\b"
    r"(?! (?:is |being |turned |switched )?(?:off|out|away))"
)
_MAY_I = re.compile(r"^(?:\w+ ){0,2}?(?:can|could|should|may|shall|do|is it)\b")


def _cranks(text: str, asks: bool, who: str, danger: Danger) -> Act | None:
    """That the technician would turn the engine by its starter while the key is to be below."""
    if who != "tech" or danger.key or not _HITS_KEY.search(text) or negated(text):
        return None
    if asks or _MAY_I.match(text):
        return None if danger.pedal else Act("how", who, text="starter")
    return Act("danger", who)


def _not_clear(text: str, who: str, dialogue: Dialogue) -> Act | None:
    """That he is not clear yet, where he is to say when he is: nothing waits for it but he."""
    is_not = who == "tech" and _NOT_CLEAR.match(text) and "clear" in dialogue.allowed()
    return Act("wait", who) if is_not else None


_OF_IGNITION = re.compile(
    r"^(?:(?:so|um|uh|hey|ok|okay|sorry|wait) )*(?:(?:is|was) (?:this|that|it) (?:the )?"
    r"(?:ignition|key|key ?hole|starter|switch)(?: here)?"
    r"|where(?:'s| is| does| do i put) (?:the )?(?:ignition|key ?hole|starter|switch|key)"
    r"(?: go| at| in)?"
    r"|(?:which way (?:is|do i turn|does|goes)|does) (?:the |this )?(?:key|it|ignition)"
    r"(?: go| turn| on| again)*(?: this way| in here)?"
    r"|(?:what|which(?: one| key)?) (?:do i turn|is (?:it|the ignition))|what's the ignition"
    r"|how do i (?:start|turn on|switch on) (?:it|this|the (?:engine|truck))"
    r"|(?:i'?(?:ve)? )?never (?:drove|driven|started|done|been in)(?: \w+){0,4}"
    r"|i don't know how to (?:drive|start)(?: \w+){0,3})$"
)
""" "Is this the ignition?", of a helper who has the key and is told to start it."""


def _first_time(words: str, who: str, dialogue: Dialogue) -> Act | None:
    """The question of a helper who never started a truck, where he is to; each clause is of it."""
    if who != "helper":
        return None
    clauses = [text for clause in CLAUSE.split(words) if (text := normal(clause or ""))]
    of_it = _OF_IGNITION.match(normal(words)) or all(map(_OF_IGNITION.match, clauses))
    danger = dialogue.danger() if of_it else None
    asks = danger is not None and danger.engine and not danger.pedal and not dialogue.stopped
    return Act("how", who, text="ignition") if asks else None


def _hurt(text: str, asks: bool, who: str, dialogue: Dialogue, danger: Danger) -> Act | None:
    """A cry, a hand in reach or somebody below, where the pedal or the engine may move; somebody
    else who stands by the wheels, at any step."""
    if _BY_WHEELS.search(text) and not (asks or dialogue.stopped):
        return Act("danger", who)
    pressed = _pressed_here(dialogue)
    if not (danger or pressed):
        return None
    inside = who == "tech" and not asks and _IN_REACH.search(text) and not _OUT.search(text)
    under = who == "helper" and danger.key and re.search(r"\bunder(?:neath)?\b", text)
    help_me = (danger.pedal or danger.engine) and _HELP.match(text)
    stops = (inside and (danger.key or pressed)) or (under and not negated(text)) or help_me
    return Act("danger", who) if stops or cries(text, asks) else None


_ENDS_TRIALS = re.compile(
    r"^(?:(?:ok|okay|i|just|and|yes|yeah|the|it's|it is|its|she's|i've|have) )*"
    r"(?:(?:engine|motor|truck)?(?:'s| is)? ?(?:switched |turned |shut |killed )?"
    r"(?:it |her |the engine )?(?:off|down)|(?:in )?neutral$"
    r"|(?:do|should|shall|can) i (?:turn|switch|shut) it (?:off|down)"
    r"|(?:here's|here is|giving him|got|got your) the keys?)\b"
)
""" "Switched off", "here's the key": what the end of the trials asks for."""
_KEY_ABOVE = re.compile(
    r"\b(?:engine|it|truck|she)(?:'s| is)? still (?:on|running)\b|\bignition\b"
    r"|\bengine(?:'s| is) (?:on|running)\b"
    r"|\bi(?:'ve| have)? (?:still )?(?:have|got) (?:it|the keys?)\b"
    r"|\bkeys?(?:'s| is| are)? (?:still )?(?:in|up here|with me|here)\b"
)
""" "The engine's still on", when the key was said to be below."""
_KEY_NOT = re.compile(r"\b(?:not|isn't|ain't|no longer|never)\b")
_LEFT_IN = re.compile(
    r"\b(?:left|forgot|still|there's|there is)\b.{0,24}\b(?:rag|tool|wrench|spanner|lamp|light"
    r"|bar|gauge|screwdriver|socket|bolt|phone)s?\b.{0,16}\b(?:in|under|there|housing|hole)\b"
)
""" "There's a rag left in the housing"."""
_AFTER = {"next_due": "", "sign_off": "2"}
"""Steps after the engine is off -> how many steps back that is."""


def _at_the_end(words: str, text: str, who: str, dialogue: Dialogue) -> Act | None:
    """What takes back that all is off, closed and out, when only odometer and code are left."""
    if dialogue.at not in _AFTER:
        return None
    if _KEY_ABOVE.search(text) and not ("?" in words or _KEY_NOT.search(text)):
        return Act("back", who, text=_AFTER[dialogue.at])
    left = _LEFT_IN.search(text) and not negated(text)
    return Act("danger", who, text=words.strip()) if left else None


def _near(words: str, text: str, who: str, dialogue: Dialogue, danger: Danger) -> Act | None:
    """What stops it where the pedal is up, but the engine may turn or a hand is in the hole."""
    if danger.pedal or not (danger.engine or danger.pressing) or dialogue.stopped:
        return None
    asks, helper = "?" in words, who == "helper"
    moves = danger.pressing and orders(text, helper)
    if moves and not helper and "clear" in dialogue.allowed():
        guess = likely(words, who, place(dialogue))
        if guess.best == "clear" and _his_to_say(guess, words, who, dialogue):
            return None  # "I'm out, all of me, you can step on it"
    if moves and _asks_leave(text, asks, who, dialogue) is None:
        told = helper or likely(words, who, place(dialogue)).harm >= HARM_SURE
        return Act("danger" if told else "unsure", who)
    if dialogue.at == "engine_off" and _ENDS_TRIALS.search(text):
        if who == "tech" and "key" in text:
            return None
        told = helper and not text.startswith(("do ", "should ", "shall ", "can "))
        return Act("wait" if told else "repeat", who)
    said = f"{text} ?" if asks else text
    if near_harm(said, danger.engine, helper) and not _tells_done(words, who, dialogue):
        return Act("danger", who)
    told = dialogue.trying and helper and not asks and as_told(text)
    return Act("wait", who) if told else None


def _tells_done(words: str, who: str, dialogue: Dialogue) -> bool:
    """Whether words that name a harm surely tell of something else: "the plate's in my hand"."""
    guess = likely(words, who, place(dialogue))
    if guess.known < WELL_KNOWN:
        return False
    if _MY_BODY.search(normal(words)) and not _MY_BODY_HURT.search(normal(words)):
        return guess.harm < NO_HARM_IN_IT and guess.best != "danger"
    other = guess.best in _BESIDE if "?" in words else guess.best in MATTERS
    return other and _surely(guess)


_MY_BODY = re.compile(
    r"\b(?:in|on|with|by|of) (?:my|me) (?:head|chest|arms?|back|face|hair|sleeve)\b"
)
_MY_BODY_HURT = re.compile(
    r"\b(?:hurt|caught|hit|fell|fallen|dropp|blood|cut|burn|oil|spray|stuck|got)\w*\b"
)
""" "Doing the sum on my arm", "quit shining it in my face": of a body, and of no harm."""


def _asks_leave(text: str, asks: bool, who: str, dialogue: Dialogue) -> Act | None:
    """The helper asks whether he may."""
    if who != "helper" or not (dialogue.stopped or dialogue.at in dialogue.dialogs.by_id):
        return None
    danger = dialogue.danger()
    leave = may_he(text, asks, danger.engine and not danger.pedal, bool(danger))
    return Act("unsure", who, text=leave) if leave else None


_OFF_ALONE = re.compile(
    r"^(?:(?:yes|yeah|yep|yup|aye|ok|okay) )?(?:it's|it is|they're)? ?off(?: now| it)?$"
)
""" "It's off", where it is asked whether his foot is."""


def _foot(text: str, asks: bool, danger: Danger, foot: Meaning) -> Act | None:
    """What the helper says of his foot where hands are below, or wait to go there.

    That it is on blocks; that it is off counts only where it is asked for, said of itself.
    """
    if danger.pedal or not (danger.foot or danger.pressing):
        return None
    for phrase in foot.excepted:
        if phrase in text and (negated(phrase) or not negated(text)):
            return Act("unsure", "helper")
    said = any(phrase in text for phrase in foot.anywhere) or _OFF_ALONE.match(text)
    if not danger.foot or not said:
        return None
    return Act("foot_off" if counts(text, asks, "foot_off") else "unsure", "helper")


def _pressed_here(dialogue: Dialogue) -> bool:
    step = dialogue.dialogs.by_id.get(dialogue.at)
    return step is not None and presses(step)


_BY_WHEELS = re.compile(
    r"\b(?:somebody|someone|some (?:guy|kid|man)|(?:a|the|another|this) (?:guy|man|kid|child|woman"
    r"|driver|fella|bloke)|people|kids)(?:'s| is| are)?(?: still| just| right)?"
    r"(?: (?:standing|stood|sitting|walking|kneeling|leaning|crouch\w*|lying|hanging|there|over))*"
    r"(?: right| down| up| around)?"
    r" (?:by|near|next to|beside|between|behind|in front of|at|against|around) (?:the |my |our )?"
    r"(?:(?:front|rear|back|drive|steer) )?(?:wheels|tyres|tires|(?<=front )wheel|(?<=rear )wheel"
    r"|(?<=back )wheel)\b"
)
""" "Somebody's standing by the wheels"; "behind the wheel" is where one drives."""
_IN_REACH = re.compile(
    r"\b(?:i'm|i am|hands?|hand's|arm|fingers?|feelers?|feeler's|gauges?|tools?|bar|wrench|head)\b"
    r".{0,16}\b(?:in (?:here|there|the hole|it)|still (?:in|under)|stuck|caught|pinched)\b"
    r"|\b(?:my|got|have|with)\b(?: \w+){0,2} (?:hands?|fingers?|arms?|thumb)(?:'s| is| are)?"
    r" (?:still )?(?:on|in|between|up|under|near|by)\b"
    r"|\b(?:go|goin|going|crawl\w*|get|gettin|getting|head\w*|reach\w*|look\w*|duck\w*|slid\w*"
    r"|climb\w*|pop\w*|back)\b.{0,16}\b(?:under|underneath|beneath)\b"
)
_OUT = re.compile(r"\bout (?:from|of|here)\b|\b(?:no|not|nothing|nobody|none|never)\b(?! yet)")
""" "I'm still in here", where the helper presses or the engine may turn."""
_FOOT_AWAY = re.compile(
    r"\b(?:foot|leg)(?:'s| is|s)? (?:\w+ )?(?:away|off|gone|up)\b|\bi'm off (?:it|the)\b"
)
""" "Foot is away", in a hold."""
_CAME_UP = re.compile(
    r"\b(?:all the way|fully|(?<!all )right|it's|it is|pedal's|pedal is) up\b"
    r"|\b(?:foot|leg)(?:'s| is)? off\b"
)
_IS_UP = re.compile(
    r"^(?:(?:ok|okay|and|now|there|yes|yeah|right|so|well|alright|done) )*"
    r"(?:it's|it is|she's|pedal's|pedal is|the pedal is) (?:all the way |fully )?up(?: now)?$"
)
""" "I let it up slowly... okay, it is up"."""
_FOOT_ON = re.compile(r"\bfoot(?:'s| is)? (?:still )?on\b|\b(?:down|floor\w*|holding|held)\b")
_GOING_DOWN = re.compile(
    r"^(?:(?:i'm|i am|am|ok|okay|yes|yeah|now|just) )*(?:pushing|pressing|stepping|going down"
    r"|putting it down|on (?:my|the) way(?: down)?)"
    r"(?: (?:it|her|on|the pedal|down|now|in|to the floor))*$"
)
_COMING_UP = re.compile(
    r"\b(?:com(?:ing|in|es)|came|letting|let|easing|eased) (?:it |her |him )?"
    r"(?:(?:right|straight|back|all the way) )?(?:up|go)\b"
)


def _fits(meaning: str, dialogue: Dialogue) -> bool:
    """Whether a meaning can be said now."""
    return meaning in dialogue.allowed() or dialogue.dialogs.words[meaning].anytime


def _is_stop(text: str, stop: Meaning) -> bool:
    text = re.sub(r"[^a-z']+|(?<![a-z])'|'(?![a-z])", " ", text).strip()
    if text in stop.phrases or text in stop.excepted:
        return True  # a bare "stop bolt" may well be a shout at the man on the pedal
    for phrase in stop.excepted:
        text = text.replace(phrase, " ")
    return shouted(text, stop.anywhere)


def _alarms(text: str, who: str, danger: Danger, stop: Meaning) -> bool:
    """Whether the words, while the pedal may be down, are better taken for a stop.

    Once the release is called, a technician who says no, or hold, wants it stopped.
    """
    if who == "tech" and danger.releasing and _WAITS.match(text):
        return True
    if text in ("hands clear", "hands are out", "hands out"):
        return False
    text = _NO_ALARM.sub(" ", text)
    return any(re.search(rf"\b{re.escape(phrase)}\b", text) for phrase in stop.in_hold)


_NO_ALARM = re.compile(
    r"\bow (?:do|does|did|many|much|long|about|come)\b"
    r"|\bi'm in (?:no (?:hurry|rush)|position|place|neutral|charge|love|luck"
    r"|the (?:seat|cab|chair))\b"
)
_NOT_CLEAR = re.compile(
    r"(?:(?:no|nope|nah|ok|okay|i'm|i am|am|still) )*not (?:yet )?clear(?: yet)?$"
)
_WAITS = re.compile(
    r"(?:no|nope|hold|wait|hang on|not yet|hold on|whoa|easy(?! does it)|back down)\b"
)
"""What, from the technician while the pedal comes up, wants it stopped."""


def _holds(text: str, phrases: tuple[str, ...]) -> bool:
    """Whether any phrase stands in the words, and the words do not deny it."""
    spaced = f" {text}"  # "depressing" is no pressing
    return not negated(text) and any(f" {phrase}" in spaced for phrase in phrases)


def _is_lost(text: str, lost: Meaning) -> bool:
    """Whether the helper says that the pedal is going, in any words that hold such a phrase."""
    if not any(phrase in text for phrase in lost.anywhere):
        return False
    return not re.search(
        r"\b(?:not|never|isn't|isnt|won't|wont|don't|dont|no longer|stopped) "
        r"(?:slip|coming|losing|let)",
        text,
    )


def _with_rest(words: str, short: str, asks: bool, who: str, dialogue: Dialogue) -> Act | None:
    """Meanings that carry words of their own: note, accept why, sign off code, correct which."""
    note = note_of(words)
    if note is not None:
        return Act("note", who, text=note)
    m = None if asks else _ACCEPT.match(short)
    if (
        m is not None
        and (dialogue.choosing or "accept" in dialogue.allowed())
        and not (negated(m["rest"]) or _NOT_NOW.search(m["rest"]))
    ):
        return Act("accept", who, text=m["rest"].strip())
    m = _SIGN.match(short)
    if m is not None and not (asks or broken_off(words)) and _is_code(m["rest"]):
        return Act("sign_off", who, text=_code(m["rest"]))
    m = _NO_BUT.match(short)
    if m is not None and (dialogue.pending is not None or "no" in dialogue.allowed()):
        act = correction(m["rest"], who, dialogue)
        if act is not None and act.reading:
            return act
    m = None if _CORRECT_SO.match(words) else _CORRECT.match(short)
    if m is None and not asks and dialogue.pending is not None:
        m = _BEFORE.match(short)
        if m is not None and _named_in(m["rest"]) in ("", dialogue.pending.quantity):
            return None
    return None if m is None else correction(m["rest"], who, dialogue)


def _named_in(text: str) -> str:
    """The quantity that words call by its name, of those that can be corrected; or ""."""
    return next((q for name, q in NAMES if name in text and q in _NAMED), "")


def note_of(words: str) -> str | None:
    """The words of a note, or None when it is none."""
    m = _NOTE.match(words)
    return None if m is None else m["rest"].strip()


def code_of(text: str) -> str:
    """The code in normal words, with or without "sign off" before it; "" when there is none."""
    m = _SIGN.match(text)
    rest = text if m is None else m["rest"]
    return _code(rest) if _is_code(rest) else ""


def _is_code(text: str) -> bool:
    """One word or figure, or a number in words: "sign off in a minute" carries no code."""
    one = re.fullmatch(r"[\w\-]{1,12}", text) is not None and text not in _NO_CODES
    return one or (not re.search(r"\d", text) and read(text, "odometer").count is not None)


_NO_CODES = frozenset({"later", "now", "soon", "please", "what", "who", "why", "no", "not", "here"})


def _code(text: str) -> str:
    """A technician's code: "one two" and "twelve" are 12, anything else is kept as said."""
    if not any(c.isdigit() for c in text):
        count = read(text, "odometer").count
        if count is not None and count == int(count):
            return str(int(count))
    return text.upper()  # as written: "007" stays "007"


_NO_NUMBERS = frozenset({"inch", "inches"})
_NUMBERED = re.compile(rf"\d|\b(?:{'|'.join(sorted((NUMBERS | PARTS) - _NO_NUMBERS))})\b")
"""A number, not an "inch" alone."""


def correction(rest: str, who: str, dialogue: Dialogue) -> Act | None:
    """The act of "correction REST": of what waits or was read last, if REST names nothing."""
    quantity = _named_in(rest)
    if quantity:
        before, rest = rest.split(name_in(rest, quantity), 1)
        if not _DIGIT.search(rest):
            rest = before
    elif calls := {list(_CALLED)[int((m.lastgroup or "_0")[1:])] for m in _CALLS.finditer(rest)}:
        quantity = calls.pop() if len(calls) == 1 else ""
    if quantity:
        rest = re.sub(r"^\s*(?:'s|to|is|was|at|should(?: be|'?ve been| have been))\b", "", rest)
        rest = re.sub(r"^\s*(?:really|actually|supposed to be|meant to be)\b", "", rest).strip()
    else:
        rest = re.sub(r"^(?:that )?to\b", "", rest).strip()
    waiting = dialogue.pending.quantity if dialogue.pending is not None else ""
    target = quantity or waiting or dialogue.correcting or dialogue.last_quantity()
    asked = dialogue.expects()
    if target != quantity and asked == ODOMETER and read(rest, asked).status == "read":
        return None  # "make it six hundred thousand": it is what is asked for
    if not target:
        return Act("correct", who)
    reading = read(rest, target, dialogue.units, dialogue.distance)
    doubt = reading.status != "read"
    if doubt and (quantity or waiting or not dialogue.expects()) and _NUMBERED.search(rest):
        told = among(rest, reading, dialogue.distance, dialogue.units)
        reading = reading if told is None or open_side(told) else told
    if reading.status == "read":
        data = reading.as_data()
        if waiting and target == waiting and not dialogue.correcting:
            return Act("reading", who, data, way=_way(rest), doubt=doubt)
        return Act("correct", who, data, target, way=_way(rest), doubt=doubt)
    if quantity:
        return Act("correct", who, quantity=quantity)
    return None


def _exact(
    text: str, short: str, who: str, allowed: list[str], known: Mapping[str, Meaning]
) -> str:
    """The meaning whose phrase this is, those of this step before those of any time."""
    if text == "correct" and "check" in allowed:
        return "check"
    order = [*allowed, *(k for k, m in known.items() if m.anytime)]
    order += [k for k in known if k not in order]
    for said in dict.fromkeys((text, short)):
        hits = [k for k in order if said in known[k].phrases]
        for key in hits:
            if known[key].who in ("any", who):
                return key
        if hits:
            return hits[0]
    return ""


def _phrase(text: str, short: str, who: str, dialogue: Dialogue) -> str:
    """The meaning whose phrase this is, here: an answer to this step, or any."""
    allowed, known = dialogue.allowed(), dialogue.dialogs.words
    meant = _step_answer(text, short, dialogue) or _exact(text, short, who, allowed, known)
    if meant == "foot_off" and "ready" in allowed:
        return "ready"  # what is asked for there
    if not meant and "ready" in allowed and _READY.match(text):
        return "ready"
    if meant == "accept" and meant not in allowed and "skip" in allowed:
        return "skip"  # "leave it"
    if meant == "carry_on" and "check" in allowed and _YES_FIRST.match(text):
        return "check"
    wanted = {*allowed} & {*COMPLETES, "foot_off"}
    if meant == "check" and not wanted and dialogue.at != LEAVING:
        return ""  # an "okay" where nothing wants one says nothing
    return meant


def _step_answer(text: str, short: str, dialogue: Dialogue) -> str:
    """The meaning of a phrase that answers just this step ("chocks are in")."""
    answers = dialogue.answers()
    return answers.get(text) or answers.get(short, "")


def _asked_back(reading: Reading, who: str, dialogue: Dialogue) -> Act | Question:
    """The question that a reading left; or the only one of its meanings that repeats what stands
    and is to be read finer, since nothing was moved in between."""
    several = tuple(c.as_data() for c in reading.choices)
    if dialogue.choice_in is not None and len(several) > 1:
        low, high = dialogue.choice_in
        lengths = [c for c in several if c["low_in"] is not None and c["high_in"] is not None]
        fit = [c for c in lengths if c["low_in"] <= high and low <= c["high_in"]]
        if len(fit) == 1:
            return Act("reading", who, fit[0], doubt=True)
    return Question("ask_reading", {"question": reading.why}, who, True, several)


def _way(text: str) -> str:
    text = _ONE_BACK.sub("", text)
    if "wrong way" in text and _TIGHTER.search(text):
        return "tighter"  # which way he went, in his own word
    return "looser" if _LOOSER.search(text) else "tighter" if _TIGHTER.search(text) else ""


def _reading(
    words: str, text: str, who: str, dialogue: Dialogue, asked: Question | None
) -> Act | Question | None:
    """The reading that is asked for; of two called out in one breath, its own part of the words."""
    if text == "k":  # an okay, no thousand
        return None
    if dialogue.pending is not None and (beside := _BESIDE_NOTE.sub("", words)) != words:
        words, text = beside, normal(beside)  # what is written down is no new value
    mine = two_called(words).get(dialogue.expects(), "")
    if mine:
        words, text = mine, normal(mine)
    if dialogue.expects() == ODOMETER:
        words = _DIGITS_APART.sub(" ", words)
    if _LOST_COUNT.search(text) and dialogue.expects() == LUGS:
        return Question("ask_reading", {"question": read("a few lugs", LUGS).why}, who, True)
    return _one_reading(words, text, who, dialogue, asked)


_ONES = r"(?:oh|zero|nought|one|two|three|four|five|six|seven|eight|nine)"
_DIGITS_APART = re.compile(rf",\s+(?={_ONES} {_ONES}(?: {_ONES})?\W*$)", re.I)
""" "Five two oh, zero zero zero": one number."""


def _one_reading(
    words: str, text: str, who: str, dialogue: Dialogue, asked: Question | None
) -> Act | Question | None:
    expected = dialogue.expects()
    if not expected:
        if dialogue.pending is None and read(words, "").status == "read":
            return Question("not_reading_now", {"hint": hint(who, dialogue)}, who)
        return None
    choices = asked.choices if asked is not None else ()
    if len(choices) > 1 and text in _NEITHER:
        return Question("say_again", {}, who)
    data = None if asked is None else _answer(text, asked, expected, dialogue)
    pair = tips(words, dialogue.units) if expected == CLEARANCE and data is None else None
    if pair is not None:
        return Act("reading", who, both_tips(pair))
    doubt = False
    if data is None:
        reading = read(words, expected, dialogue.units, dialogue.distance)
        read_now = reading.status == "read"
        data = reading.as_data() if read_now else _part_of_one(text, choices)
        if data is None and (one := _held(words, reading, who, dialogue)) is not None:
            data, doubt = one.as_data(), True
        if data is None and reading.status == "none":
            return None
    other = _other_named(words, text, expected, who, dialogue)
    if other is not None:
        return other
    if data is None:
        return _asked_back(reading, who, dialogue)
    if expected == ODOMETER:
        return _miles(data, text, doubt, who, dialogue)
    return Act("reading", who, data, way=_way(text), doubt=doubt)


def _held(words: str, whole: Reading, who: str, dialogue: Dialogue) -> Reading | None:
    """The reading that stands among other words, where they surely hold one."""
    guess = likely(words, who, place(dialogue))
    sure = _holds_reading(guess) or (
        guess.shares["reading"] > READS and _MIL.search(words.lower()) is not None
    )
    told = sum(guess.shares[name] for name in ("reading", "correct", "no"))
    sure = sure or (told > READS and _named_in(normal(words)) == whole.quantity)
    one = among(words, whole, dialogue.distance, dialogue.units) if sure else None
    few = one is not None and whole.quantity == ODOMETER and (one.count or 0) < LEAST_MILES
    return None if few and dialogue.at != "next_due" else one


def _miles(
    data: dict[str, Any], text: str, doubt: bool, who: str, dialogue: Dialogue
) -> Act | Question:
    """What the odometer shows, or at what distance from now the truck comes back."""
    count = data["count"] or 0
    if dialogue.at == "next_due":
        from_now = _FROM_NOW.search(text) is not None
        if count < LEAST_THOUSANDS and "miles" not in text:
            few = re.search(r"\b(?:ten|eleven|twelve|\w+teen|twenty) (?:five|two|seven)\b", text)
            count = count * (100 if few and count > 100 else 1000)
            both = Reading("read", ODOMETER, count=count, kind=data["kind"])
            data, from_now = both.as_data(), from_now or count < LEAST_MILES * 3
            doubt = True
        if from_now or count < LEAST_MILES:
            return Act("reading", who, data | {"from_now": True}, doubt=True)
        return Act("reading", who, data, doubt=doubt)
    if count < LEAST_MILES and count % 1:
        return Question("say_again", {}, who)  # "eight and a half" is of another thing
    return Act("reading", who, data, doubt=doubt or count < LEAST_MILES)


_CALLED = {
    FREE_TRAVEL: r"free (?:travel|play|pedal)",
    TOTAL_TRAVEL: r"(?:total |pedal )?(?:travel|stroke)",
    PEDAL_HEIGHT: r"(?:pedal )?height",
    CLEARANCE: r"(?:fork )?clearance|fork(?:'s| is| at)?",
    BRAKE_CONTACT: r"(?:clutch )?brake(?: contact)?|contact",
    GAP: r"gap",
}
"""How a quantity is called by those who call out two in one breath, free travel before travel."""
_CALLS = re.compile("|".join(rf"(?P<_{i}>\b{name}\b)" for i, name in enumerate(_CALLED.values())))
_JOINS = re.compile(r"^[\s,;.]*(?:and|then|with)?\b[\s,;.]*|[\s,;.]*(?:\band|\bthen)?[\s,;.]*$")


def two_called(words: str) -> dict[str, str]:
    """Two readings in one breath: each quantity and its own part of the words; else nothing.

    The names stand before their values, or after them.
    """
    found = [
        (m.start(), m.end(), list(_CALLED)[int((m.lastgroup or "_0")[1:])])
        for m in _CALLS.finditer(words.lower())
    ]
    if len(found) != 2 or found[0][2] == found[1][2]:
        return {}
    (start, end, first), (second_start, second_end, second) = found
    if _DIGIT.search(words[:start].lower()):
        parts = {first: words[:end], second: words[end:second_end]}
    else:
        parts = {first: words[start:second_start], second: words[second_start:]}
    values = {q: _CALLS.sub("", part.lower()) for q, part in parts.items()}
    if not all(_DIGIT.search(value) for value in values.values()):
        return {}
    return {q: _JOINS.sub("", value) for q, value in values.items()}


def _told_anew(words: str, who: str, dialogue: Dialogue) -> Act | None:
    """The correction that one clause of the words is, of the quantity it names."""
    for text in (normal(clause or "") for clause in CLAUSE.split(words)):
        act = correction(text, who, dialogue) if _named_in(text) else None
        if act is not None and act.reading:
            return act
    return None


_TAKES_BACK = re.compile(
    r"\b(?:wrong|wait|sorry|scratch|actually|mistake|misread|meant|oops|shoot)\b"
)
""" "No wait, that gap's three eighths": a value of before."""
_LOST_COUNT = re.compile(
    r"\bmaybe (?:it's |it was )?\w+$|\b(?:turned|went|moved|pushed)\b.*\bwrong way$"
    r"|\blost (?:the |my )?(?:count|track)\b|\b(?:not sure|no idea|don't know)\b"
)
_DIGIT = re.compile(rf"\d|\b(?:{'|'.join(sorted(NUMBERS | PARTS))})\b")


def _other_named(
    words: str, text: str, expected: str, who: str, dialogue: Dialogue
) -> Act | Question | None:
    """What words about another quantity than the one asked for bring: it is corrected where they
    take something back, else it is asked."""
    others = [q for name, q in NAMES if name in text and q in _NAMED]
    if expected == GAP and _AT_FORK.search(text):
        others = [CLEARANCE]
    if expected == RING_LEFT:
        others = [q for q in others if q != LUGS]
    if not others or expected in others:
        return None
    told = _told_anew(words, who, dialogue) if _TAKES_BACK.search(text) else None
    names = {"named": QUANTITIES[others[0]].spoken, "quantity": QUANTITIES[expected].spoken}
    return told or Question("other_quantity", names, who)


_AT_FORK = re.compile(r"\b(?:at|on|between) (?:the )?(?:fork|tips?)\b")
_FROM_NOW = re.compile(
    r"\b(?:from (?:now|here|this|today)|more|further|another|later|on top|down the road|add|plus"
    r"|every|interval|(?:thousand|miles?|k|kay|clicks|kilomet\w+) (?:on|out|time))\b|^\+"
    r"|\b(?:in|after)(?: another)? (?:\d|ten|eleven|twelve|\w+teen|\w+ty|\w+ thousand)"
)
LEAST_THOUSANDS = 1000
"""Fewer miles than a truck goes between two checks: thousands of them are meant."""
LEAST_MILES = 20_000
"""What an odometer of a truck under repair seldom shows less than: read back below it."""


def _answer(text: str, asked: Question, expected: str, dialogue: Dialogue) -> dict[str, Any] | None:
    """A reply to "thousandths or millimetres?": the unit joins the number said before."""
    unit = _UNIT_ANSWER.match(text)
    if unit:
        whole = f"{_MIL.sub('', asked.evidence.words)} {unit[1]}"
        joined = read(whole, expected, dialogue.units, dialogue.distance)
        return joined.as_data() if joined.status == "read" else None
    choices = asked.choices
    if text in _YES and len(choices) == 1:
        return choices[0]
    ordinal = _ORDINAL.match(text)
    if ordinal and choices:
        at = {"first": 0, "second": 1, "third": 2, "last": -1}[ordinal[1]]
        if at < len(choices):
            return choices[at]
    return None


def _chosen(text: str, asked: Question | None, dialogue: Dialogue) -> bool:
    """Whether the words answer the open question itself: "the second" is then no wait."""
    expected = dialogue.expects()
    return asked is not None and bool(expected and _answer(text, asked, expected, dialogue))


def _part_of_one(text: str, choices: tuple[dict[str, Any], ...]) -> dict[str, Any] | None:
    """The choice that the words are a part of ("nine"), when they are part of no other."""
    if text in _NO_PART:
        return None
    within = [c for c in choices if f" {text} " in f" {c['readback']} "]
    return within[0] if len(within) == 1 else None


def _like(text: str, who: str, dialogue: Dialogue) -> Act | Question:
    allowed, known = dialogue.allowed(), dialogue.dialogs.words
    phrases: dict[str, str] = {}
    for key, meaning in known.items():
        if key in ("lost", "danger", "trouble"):
            continue  # heard by its own words, above: nobody is asked "did you mean lost it?"
        if (key in allowed or meaning.anytime) and meaning.who in ("any", who):
            for phrase in meaning.phrases:
                if negated(phrase) == negated(text) and not turned_round(text, phrase):
                    phrases.setdefault(phrase, key)
    hits = process.extract(text, list(phrases), scorer=fuzz.ratio, limit=8, score_cutoff=MAYBE)
    if not hits:
        return Act("unclear", who, text=text)
    best, score, _ = hits[0]
    key = phrases[best]
    others = [p for p, s, _ in hits[1:] if phrases[p] != key and s > score - 6]
    if others:
        return Question("did_you_mean_two", {"first": best, "second": others[0]}, who)
    if key in MATTERS or known[key].exact:
        return again(who, dialogue)
    if score < LIKE:
        return Question("did_you_mean", {"phrase": best}, who, open=True, offer=Act(key, who))
    return Act(key, who, text=" ".join(names(best)) if key == "complaint" else "")


_OF_ANOTHER = frozenset(
    {"did_you_mean", "did_you_mean_two", "which_of_two", "other_quantity", "ask_reading"}
    | {"was_repaired"}
)
"""Questions that a yes to the present instruction does not answer."""


def yes_to(
    meant: Act | Question, words: str, newest: Question | None, dialogue: Dialogue
) -> Act | Question:
    """The act; but a yes answers the newest question put to him who says it, and nothing that
    waited before it."""
    if newest is None or newest.reply not in _OF_ANOTHER or isinstance(meant, Question):
        return meant
    text, yes = normal(words), {*_YES, *dialogue.dialogs.words["check"].phrases}
    says_yes = meant.meaning == "check" or bool({text, without_lead(text)} & yes)
    if meant.meaning not in COMPLETES or not says_yes or any(name in text for name, _ in NAMES):
        return meant
    return Question("to_what", {"hint": hint(meant.who, dialogue)}, meant.who)


# --- Speech that was not taken: what to ask, so that the next try succeeds.
#
# Lost once, people say the same again, only louder; so the second time they are told of another
# way: digits one by one, which sound less alike than fractions do.


class Missed:
    """How often in a row nothing was understood, and where."""

    def __init__(self) -> None:
        self._at = ""
        self._times = 0

    def forget(self) -> None:
        """Something was understood."""
        self._times = 0

    def again(self, who: str, dialogue: Dialogue) -> Question:
        """ "Say again", and from the second time on at the same step another way to say it."""
        self._times = self._times + 1 if self._at == dialogue.at else 1
        self._at = dialogue.at
        if self._times == 1:
            return Question("say_again", {}, who)
        example = _example(dialogue)
        if not example or dialogue.pending is not None or dialogue.choosing:
            return Question("again", {"hint": hint(who, dialogue)}, who)
        return Question("spell_it", {"example": dialogue.dialogs.say(example)}, who)


def _example(dialogue: Dialogue) -> str:
    """The reply that shows how the quantity asked for is spelled, or ""."""
    quantity = dialogue.expects()
    if quantity in ("", LUGS):
        return ""
    if quantity == ODOMETER:
        return "spelled_miles"
    long = "_long" if quantity in (PEDAL_HEIGHT, TOTAL_TRAVEL) else ""
    return f"spelled{long}{'_mm' if dialogue.units == 'mm' else ''}"


def which(who: str, alternatives: Sequence[Heard], dialogue: Dialogue) -> Question | None:
    """The question between the two likeliest meanings, or None when there are no two.

    Readings are chosen between by "first" or "nine"; a command that is meant is said again whole.

    Args:
        who: "tech" or "helper".
        alternatives: what may have been said and what it means, the likeliest first.
        dialogue: where it stands: which quantity is asked for.
    """
    found: dict[object, tuple[str, dict[str, Any] | None]] = {}
    for words, act in alternatives:
        if isinstance(act, Question) or act.meaning == "unclear":
            continue
        data = act.reading if act.meaning == "reading" else None
        key = (
            (data.get("value_in"), data.get("count"), act.way) if data else (act.meaning, act.text)
        )
        found.setdefault(key, (data["readback"] if data else words, data))
    if len(found) < 2:
        return None
    (first, one), (second, other) = list(found.values())[:2]
    if one is None or other is None or dialogue.expects() == LUGS:  # a count comes with its way
        return Question("did_you_mean_two", {"first": first, "second": second}, who)
    names = {"first": capital(first), "second": second}
    return Question("which_of_two", names, who, True, (one, other))
