"""What in an utterance must stop or block a job, and when words may count for an act that matters.

Safety fails closed: in a hold, what is not surely harmless stops or blocks; and an act that lets a
pedal move, or a step count as done, needs words that say so of themselves, now, by the one who
does it. Questions, plans, half-done work, denials and reports of others never count.

The words here are those of English: dialogs can add to what alarms, and take nothing from it.
"""

from __future__ import annotations

import re
from functools import cache, lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

from assistant.texts.normal import negated

if TYPE_CHECKING:
    from assistant.conversation.meaning import Likely

# --- harm: words while somebody may be hurt ------------------------------------------------------

HARM_SURE = 0.85
"""Share of harm from which it stops: so that of 320 harmless lines in `hold` under 3 % do."""
HARM_IN_TALK = {"tech": 0.01, "helper": 0.012}
"""Share of harm below which small talk passes in a hold: danger hides in it. Of 1,054 dangers of
writers who were not fitted on two lie below it; other rules hold these."""
HARM_IN_ACTS, HARM_LITTLE = 0.06, 0.2
"""The same of what asks or tells something that lugcall knows, and of what holds the count that was
asked for."""
HARM_NEAR = 0.005
"""That of small talk where the pedal is up, but the engine may turn or a hand is in the hole."""
KNOWN = 0.5
"""Words of which fewer are known say nothing sure."""


@cache
def _words() -> dict[str, list[str]]:
    """The sections of `safety.txt`."""
    found: dict[str, list[str]] = {}
    section: list[str] = []
    for line in Path(__file__).with_name("safety.txt").read_text(encoding="utf-8").splitlines():
        if line[:1].isalpha():
            section = found.setdefault(line.partition(":")[0], [])
        elif not line.startswith("#"):
            section += line.split()
    return found


def _any(section: str, without: str = "") -> re.Pattern[str]:
    """Finds any word of a section, but for those of another."""
    left_out = _words().get(without, [])
    words = [word for word in _words()[section] if word not in left_out]
    return re.compile(r"\b(?:" + "|".join(words).replace("_", " ") + r")\b")


_NAMED = re.compile(
    r"(?:\b(?:not|can't|cannot|never|no longer|barely|hardly)|n't)\b.{0,20}"
    r"\b(?:hold\w*|down|floor|floored)\b"
    r"|\b(?:leg|foot|feet|knee|calf|thigh|ankle|toe|boot|shoe|heel)s?(?:'s| is| are| was| has)? ?"
    r"(?:\w+ )?(?:go(?:ing|in|ne)?|cramp\w*|slip\w*|slid\w*|shak\w*|numb|asleep|tired|burn\w*"
    r"|giv\w*|dead|quit\w*)\b"
    r"|\b(?:hands?|fingers?|arm|thumb|sleeve|glove)s?(?:'s| is| are|'re)? "
    r"(?:still |stuck |back )*in\b"
    r"|\b(?:tool|bar|wrench|spanner|socket|ratchet|screwdriver|gauge|lamp|light|rag)s?"
    r"(?:'s| is| are|'re)? (?:still|stuck|back|caught|stayed|left|jammed)\b"
    r"|\b(?:com|lift|ris|creep|spring|eas|bring|let)\w* (?:\w+ )?up\b"
    r"|\b(?:crank\w*|starter|ignition)\b|\bkey (?:is |'s )?in\b"
    r"|\b(?:my|his|her|me) (?:hand|finger|arm|thumb)s?\b|\bstuck\b|\bunder the truck\b"
    r"|\b(?:don't|dont|do not|didn't)(?: \w+){0,2} (?:let|release|come off|let go)\b|\blet go\b"
    r"|\b(?:scream\w*|holler\w*)\b|\blosing (?:it|this|her|him)\b"
    r"|\b(?:hasn't|haven't|isn't|not|won't|doesn't|didn't|never|no)(?: \w+)?"
    r" (?:answer\w*|repl(?:y|ied))\b"
    r"|\bgive (?:me|us) (?:a (?:bit|little) )?more\b|\bstill with (?:me|us)\b"
    r"|\b(?:ring|adjuster)\b.{0,16}\b(?:stiff\w*|tight|hard\w*|heavy|heavier)\b(?! enough)"
    r"|^(?:oh |ah |aw )*(?:wh?oops\w*|oops\w*|uh oh|oh no|argh\w*|ow+|ouch|hey|oi|yikes|jeez|jesus"
    r"|christ|damn|shit|crap|hell|god|whoa)(?: \w+)?$"
)
"""A pedal not down, a foot that gives, hands, the starter, a cry, a ring that turns hard, as it
does with the pedal up: never let pass in a hold."""
_CRY = re.compile(
    r"^(?:a{3,9}h{0,9}|a{1,9}h{2,9}|a{1,9}r{1,9}g{1,9}h{0,9}|o{1,9}w{1,9}|no{3,9}|(?:ah ?){3,}"
    r"|(?:no ?){3,}|(?:(?:ow+|ouch|argh|aua|ay|au)(?: |$))+)$"
)
"""Nothing but a cry: "aaah", "ow", "ay ay ay"."""
_FAULTS = frozenset({"not_sound", "no", "measure", "trouble", "complaint"})
"""What may be wrong with a clutch."""
_DOUBTFUL = frozenset({"danger", "unsure", "not_sound", "no", "measure", "trouble"})
"""What never passes in a hold, however little harm is seen in it."""


_CALLED = re.compile(
    r"^(?!(?:what|now|up|down|clear|ready|yes|no|ok|okay|right|done|who|why|how|wait|hold\w*"
    r"|sound|check|easy|good|yeah|yep|released|steady|stop)\b)([a-z]+)\b\W+\1\b\W*$"
)
""" "Stan? Stan?": somebody is called again who does not answer."""


def cries(text: str, asks: bool = False) -> bool:
    """Whether normal words are nothing but a cry, or a name called again."""
    return bool(_CRY.match(text) or (asks and _CALLED.match(text)))


@lru_cache(maxsize=4096)
def names_harm(text: str) -> bool:
    """Whether normal words name what must never pass in a hold, whatever else they say."""
    return bool(_NAMED.search(text))


_GOES = _any("gone wrong")
"""The truck goes, a cry heard, somebody hurt, missing or in the way: where somebody may be hurt."""
_WELL = re.compile(r"\b(?:are you|you) (?:ok|okay|alright|all right|hurt|there|good) \?$|\bfire$")
""" "Piotr, are you okay?" """
_ENGINE = _any("engine on")
"""With the engine on: nobody says this of work that goes well."""
_HOLE = _any("foot on")
"""With hands in the hole, of the helper: a foot where none may be."""


_ORDERS = _any("orders")
""" "Pump it once for me": told to the helper by the one who has his hands below."""
_STARTS = _any("starts")
"""A key turned where nobody may."""


def orders(text: str, helper: bool) -> bool:
    """Whether words would have a pedal pressed, or an engine started, over an open hole: who stands
    below and asks for it, or who is above and tells of it."""
    return bool(_STARTS.search(text)) or (not helper and bool(_ORDERS.search(text)))


def near_harm(text: str, engine: bool, helper: bool) -> bool:
    """Whether words name what stops a job where the engine may turn (`engine`), or a hand may be in
    the open hole, the pedal up."""
    if _GOES.search(text) or _WELL.search(text):
        return True
    if engine and _ENGINE.search(text):
        return True
    return helper and not engine and bool(_HOLE.search(text)) and not negated(text)


def harm(
    text: str, likely: Likely, who: str = "tech", count: bool = False, near: bool = False
) -> str:
    """ "stop", "block" or "": what words must do while somebody may be hurt.

    Args:
        text: normal words.
        likely: what they may mean.
        who: "tech" or "helper".
        count: they hold the count, or the reading, that was asked for.
        near: the pedal is up, but the engine may turn, or a hand is in the open hole: there what
            may be wrong with a clutch is an answer, and danger hides less in talk.
    """
    named = names_harm(text)
    if likely.harm >= HARM_SURE or cries(text):
        return "stop"
    if count and not named and likely.harm < HARM_LITTLE:
        return ""
    best = likely.best
    if near and best in _FAULTS and likely.harm < HARM_LITTLE:
        return ""
    if named or best in _DOUBTFUL or likely.known < KNOWN:
        return "block"
    talk = best in ("nothing", "ask_other", "why")  # or asks what lugcall cannot answer
    in_talk = HARM_NEAR if near else HARM_IN_TALK[who]
    return "" if likely.harm < (in_talk if talk else HARM_IN_ACTS) else "block"


# --- acts that matter ----------------------------------------------------------------------------

MATTERS = frozenset(
    {"done", "ready", "sound", "check", "holding", "released", "clear", "let_up", "carry_on"}
    | {"skip", "accept", "sign_off", "repaired", "move", "foot_off"}
    | {"shop_way", "propped", "unpropped"}
)
"""Acts that let the job go on."""
_OWN = frozenset({"holding", "clear", "released", "ready", "let_up", "carry_on", "foot_off"})
"""Those that count only for the speaker himself."""

_ASKS = re.compile(
    r"^(?:(?:and|so|but|hey|um|uh|er|well|ok|okay|yo|oi|boy|son|lass|mate|man|kid) )*"
    r"(?:(?:is|are|am|was|were) (?:it|that|this|he|she|they|we|you|i|the|all|every\w*|there|ever|my"
    r"|your|his|her|those|these)"
    r"|do|does|did|can|could|should|shall|would|will|may|might|have you|has"
    r"|who|whose|what|what's|whats|when|where|where's|why|how|how's|which|any|d'you|ain't|isn't"
    r"|ya (?:holding|holdin|got|done|on|off|ready|clear|want|sure|there|think|need)"
    r"|you (?:holding|holdin|got|done|on|off|ready|clear|want|sure|there))\b"
    r"|\b(?:right|yeah|yes|no|ok|okay|innit|eh|huh) \?$|\bor (?:not|what|no)$|\bwhat about\b"
    r"|\b(?:ready|done) (?:for what|to do what|how|when(?! (?:you|you're|y'all|ye|yous|u)\b)|why"
    r"|what|where)\b"
    r"|\b(?:for|to) what$"
    r"|\b(?:tell me (?:if|when)|wonder if|not sure|don't know|dunno|no idea|can't tell|can't see)\b"
)
_LATER = _any("later")
_LATER_SURELY = _any("later", "mostly later")
_DOING = _any("doing")
_MISHEARD = _any("misheard")
_REPORTS = _any("reports")
_REPORTED = _any("reported")
_DANGLING = re.compile(
    r"(?:\.\.+|…|,|-)\s*$|\b(?:the|my|a|an|and|or|of|to|with|plus|at|from|his|their|our|its|it's"
    r"|that's|for|into|onto|i've|i'm|got|just)$"
    r"|(?<!\bit )(?<!\bhe )(?<!\bshe )(?<!\bthat )(?<!\bthere )(?<!\bi )(?<!\bwe )(?<!\byou )"
    r"(?<!\bthey )(?<!\bkid )\b(?:is|are|was)$"
    r"|(?<!sweet )(?<!solid )(?<!easy )(?<!smooth )(?<!tight )(?<!good )\bas$"
)
"""Half a sentence."""
_TWICE = re.compile(
    r"\b(?:not|never|no longer|isn't|ain't)\b (?:quite )?"
    r"(?:no|not|nothing|nothin|nowt|none|never)\b"
)
"""A denial denied."""
_YET = re.compile(r"\bno(?:t yet| longer)\b")
_FAULT = (
    r"(?:loose|play|slop|sloppy|slack|wiggle|wobble|leak\w*|fray\w*|bent|bend\w*|bind\w*|rub\w*|catch\w*"
    r"|stick\w*|grind\w*|crack\w*|wrong|problems?|issues?|noise\w*|drag\w*|wear|worn|broken|missing"
    r"|hang\w*|trouble|clunk\w*|damage\w*|rattl\w*|scrap\w*|touch\w*|hit\w*|snag\w*|movement|give|delay"
    r"|lag|rust|fight\w*|grumbl\w*|crunch\w*|fuss|drama|resist\w*|tight spots?|odd|weird|funny|bad"
    r"|shak\w*|jump\w*|dead|lost|fault\w*|bound|complain\w*|amiss|crooked|twist\w*)"
)
_NO_FAULT = re.compile(
    r"\b(?:no|nothing(?:'s)?|nothin'?|none|not|isn't|ain't|don't|doesn't|never|without|nowt|any|zero"
    r"|can't) "
    rf"(?:\w+ ){{0,3}}?{_FAULT}\b"
    r"|\bnot (?:(?:a )?(?:thing|problem|bother)|a bit|budge|bad)\b"
    r"|\bno (?:sir|ma'am|boss|worries)\b"
)
""" "Nothing loose", "no play": a denial that says it is sound."""


_EMPTY = re.compile(
    r"\b(?:nothing|nothin|nobody|none|no (?:hands?|tools?|fingers?|arms?|rags?))"
    r"(?: (?:of (?:mine|me|my \w+)|else|left|is|at all))*"
    r" (?:in (?:the |that )?hole|in there|inside|under)\b"
)
""" "Nothing in the hole": a denial that says it is clear."""
_NONE_LEFT = _any("none left")
""" "Nobody under", "nothing left in there": a denial, or a report, that says it is so."""
_STILL = _any("holds still")
""" "Ain't moved", "never let go", "no change": a denial that says it is held."""
_LET_UP = re.compile(r"\b(?:(?:you )?can )?(?:let|bring|ease) (?:it|her|him|that|the pedal) up\b")
_FAULTY = _any("faulty")
_NOT_TRIED = re.compile(
    r"\b(?:never|not|\w+n't)\b(?: \w+){0,2} (?:check\w*|tr(?:y|ied)|test\w*|look\w*|done|did|do)\b"
)


def names_fault(text: str) -> bool:
    """Whether normal words name a fault, or deny that something is as it should be: what was never
    looked at is none."""
    return bool(_FAULTY.search(text) or negated(text)) and not _NOT_TRIED.search(text)


_UN = re.compile(
    r"\b(?:un|in|dis|non|mis)[- ]?(?:check|correct|confirm|done|sound|lock|set|finish|clear|tight"
    r"|held|hold|releas|repair|ready|sign|chock|safe)\w*"
)


_SAID_BY = (
    "done safe sound clear holding released foot_off let_up carry_on skip accept sign_off move"
)
_SAYS = {meaning: _any(meaning) for meaning in _SAID_BY.split()}


def says(text: str, meaning: str) -> bool:
    """Whether a word is there that means the act: what is only like one says nothing."""
    return bool(_SAYS.get(meaning, _SAYS["done"]).search(text))


def broken_off(words: str) -> bool:
    """Whether words are half a sentence: "key's in my", "out of the..."."""
    return bool(_DANGLING.search(words.lower().strip()))


def misheard(text: str) -> bool:
    """Whether a word may be a misheard "in", "out", "off" or "done"."""
    return bool(_MISHEARD.search(text))


_MAY_SKIP = re.compile(
    r"^(?:\w+ ){0,2}?(?:can|can't|could|may|shall) (?:we|i|you) (?:just |please |maybe )*"
    r"(?=(?:skip|leave|pass|miss|drop)\b)"
)
_I_WILL = re.compile(
    r"\b(?:i'll|i will|we'll|we will|let's|let us) (?:just )?(?=(?:take|accept|live|leave|go|skip"
    r"|sign|move|keep|carry|continue|pass|call|close)\b)"
)
""" "I'll take it as it is": said by who does it with these words."""
_CHECK_AGAIN = re.compile(
    r"\b(?:check|try|measure) (?:\w+ )?again\b"
    r"|(?<!that's )(?<!it's )(?<!is )(?<!all )\bcorrect (?:that|it|this|the|my)\b"
)
""" "Aye, correct that": it is not right yet."""
_BY_WORDS = ("accept", "skip", "sign_off", "move", "carry_on")
_RECKONS = re.compile(r"(?<!he )(?<!she )(?<!they )(?<!who )\b(?:i )?reckon(?: that)?\b")
"""How some say what they have seen."""
_AS_ASKED = re.compile(
    r"\b(?:just )?(?:as|like|the way) (?:you|he|she|it|they) (?:asked|said|told|ordered|wanted)"
    r"(?: me| us)?\b"
)
""" "Slowly, like you said": it was done as told."""
_GOES_ON_HOLDING = re.compile(
    r"\b(?:until|till|unless)\b.*\b(?:says?|tells?|told|otherwise|different|further)\b.*$"
    r"|\b(?:i'll|i will|i shall) (?:be (?:right )?here|not (?:move|budge|shift))\b"
)
""" "I'm staying on it until told": it is held, and will be."""
_BOTH_WAYS = re.compile(r"\bholding\b.*\breleased?\b|\breleased?\b.*\bholding\b")
"""A pedal said to be down and up in one breath is neither."""


def counts(text: str, asks: bool, meaning: str, certain: bool = False) -> bool:
    """Whether words may count as an act that matters, if that is what they say.

    Args:
        text: normal words.
        asks: a question mark stood behind them.
        meaning: one of `MATTERS`.
        certain: what they mean is beyond doubt, but for what these rules are for: words that tell
            a plan only in most places may stand among them.
    """
    if meaning == "skip" and _MAY_SKIP.match(text):
        asks, text = False, _MAY_SKIP.sub("", text)  # asked so politely, it is meant
    if asks or _ASKS.search(text) or misheard(text):
        return False
    text = _AS_ASKED.sub(" ", text)
    if meaning in _BY_WORDS:
        text = _I_WILL.sub("", text)
    if certain and meaning not in _OWN:
        text = _RECKONS.sub(" ", text)
    if meaning == "clear":
        text = _LET_UP.sub(" ", _EMPTY.sub(" ", text))
    if meaning in ("sound", "check", "done", "clear", "ready"):
        text = _NONE_LEFT.sub(" ", text)
        if _TWICE.search(text) or _REPORTED.search(text) or _YET.search(text):
            return False
        text = _NO_FAULT.sub(" ", text)
    if meaning in ("holding", "released") and _BOTH_WAYS.search(text):
        return False
    if meaning in ("released", "foot_off") and text.endswith((" slow", " slowly")):
        return False  # on its way: it is what he was told, said over
    if meaning == "holding":
        text = _STILL.sub(" ", _GOES_ON_HOLDING.sub(" ", text))
    if meaning == "let_up":
        text = _LET_UP.sub("up", text)
    later = _LATER_SURELY if certain and meaning not in _OWN else _LATER
    if negated(text) or later.search(text) or _UN.search(text) or _REPORTED.search(text):
        return False
    if meaning in ("sound", "repaired") and _FAULTY.search(text):
        return False
    if meaning not in ("let_up", "carry_on") and _DOING.search(text):
        return False
    return not (meaning in _OWN and _REPORTS.search(text))


def asks_again(text: str) -> bool:
    """Whether words want a thing put right, or looked at once more: "aye, correct that"."""
    return bool(_CHECK_AGAIN.search(text))


def reports(text: str) -> bool:
    """Whether words tell of somebody else."""
    return bool(_REPORTS.search(text) or _REPORTED.search(text))


def takes_back(text: str) -> bool:
    """Whether words beside an act that matters may take it back: a denial, a plan, a question, one
    that may be misheard."""
    told = negated(_STILL.sub(" ", text)) or _LATER.search(text) or _ASKS.search(text)
    return bool(told or _UN.search(text) or misheard(text))


def half_said(text: str, asks: bool, who: str) -> bool:
    """Whether words speak of the hold, or of clear, without saying that it is so: "do I hold?" """
    told = ["holding"] if who == "helper" and says(text, "holding") else []
    told += ["clear"] if "clear" in text.split() else []
    return any(not counts(text, asks, meaning) for meaning in told)


# --- what the helper asks leave for, or does as he was told ---------------------------------------

_PEDAL_ACT = (
    r"(?:press|push|step|stomp|pull|pump|hold|keep|let (?:it |her |him )?(?:go|up|off)|let up|lift"
    r"|ease|release|come (?:off|up)|go|move|get off|take (?:my|the) (?:foot|leg) off"
    r"|put (?:my|the) foot|foot (?:on|off)|off it|up)"
)
_KEY_ACT = (
    r"(?:start|crank|fire|turn (?:on )?(?:the |a )?(?:key|engine|motor|truck|it on)|bump"
    r"|switch (?:it|on))"
)


def _leave(act: str) -> str:
    """What asks leave for an act: "can I", "want me to", "is it okay to"."""
    return (
        rf"^(?:\w+ ){{0,3}}?(?:can|could|should|shall|may|must|do|am) i\b(?:.{{0,16}}\b)?{act}\b"
        rf"|\bwant me to\b(?:.{{0,12}}\b)?{act}\b"
        rf"|\b(?:(?:ok|okay|safe|time) to|good to (?!go\b)) ?{act}\b"
    )


_MAY_HE = re.compile(
    rf"{_leave(_PEDAL_ACT)}|\bi (?:can )?{_PEDAL_ACT}(?: \w+){{0,3}} \?$"
    r"|^(?:up|down|let up)(?: okay)? \?$"
    rf"|\b(?:he|she|boss) (?:wants?|says?|said|say)\b.{{0,16}}\b{_PEDAL_ACT}\b.* \?$"
    r"|\bpress or (?:take )?off\b"
    r"|^(?:ok |okay |so )*i (?:go|leave|get (?:out|off|down))\b"
)
""" "Can I let go now?", "want me to push it?": what a helper asks leave for, or is about to do."""
_MAY_HE_START = re.compile(
    rf"{_leave(_KEY_ACT)}|\bi (?:can )?{_KEY_ACT}(?: \w+){{0,3}}\b|^{_KEY_ACT}(?: \w+){{0,3}} \?$"
)
""" "Should I turn the key a little?" """


_MAY_HE_DO = re.compile(
    r"^(?:\w+ ){0,4}?(?:can|could|may|might|shall|should|must) i\b"
    r"(?! (?:ask|say|tell|hear|see|help))"
    r"|\bam i (?:allowed|free|ok|okay|good) to\b|\b(?:ok|okay|alright|all right|mind|cool) if i\b"
    r"|\bwhat (?:happens )?if i\b|\bi (?:need|want|have|got|gotta|wanna) (?:to )?"
    r"(?:stretch|go|leave|answer|take|get|change|swap|switch|move|sneeze|pee)\b"
)
""" "Phone is ringing, can I answer?", "what if I change foot?" """


_TOLD_TO = re.compile(
    r"\b(?:he|she|boss|they|you|somebody|someone) (?:says?|said|wants?|told|yell\w*)\b"
)
""" "He says let go": his foot has not moved yet."""
_AS_TOLD = re.compile(
    r"^(?:(?:ok|okay|right|yes|yeah|so|now|just|i'm|i am|am|gonna|and|well|alright|all right) )*"
    r"(?:(?:start|crank|fir|turn)(?:ing|in) (?:it|her|him|the engine|the key|the truck)?"
    r"(?: (?:up|over|on|now))*"
    r"|(?:press|push)(?:ing|in) (?:it|her|the pedal|the clutch)?(?: (?:down|in|now|slowly|again))*"
    r"|(?:try|shift|test)(?:ing|in)(?: (?:it|her|first|second|reverse|now|again|the gears))*"
    r"|(?:lett?|eas)(?:ing|in) (?:it |her )?up(?: (?:now|slow|slowly))*"
    r"|(?:engine's|engine is|engine|it's|she's) (?:on|running|idling|started)(?: now)?"
    r"|(?:it|she|engine|the engine)(?: (?:won't|will not|doesn't|don't|not))+"
    r" (?:start|catch|fire)(?: up)?"
    r"|(?:it's |i'm |she's )?in neutral(?: now)?"
    r"|pedal's (?:down|going down)|foot's going down|down(?: it| she)? goes)$"
)
""" "Starting her now": what a trial asks the helper to do."""


def may_he(text: str, asks: bool, trial: bool, danger: bool) -> str:
    """What the helper asks leave for, in normal words.

    Args:
        text: normal words.
        asks: a question mark stood behind them.
        trial: the engine may turn, and he is to press and to shift.
        danger: somebody may be hurt.

    Returns:
        "foot", "key", where somebody may be hurt "other", or "".
    """
    said = f"{text} ?" if asks else text
    if _MAY_HE_START.search(said) and not negated(text):
        return "key"
    if trial:
        told = re.search(r"\b(?:press|push|shift|gear|pump|let (?:it |her )?up|ease)\b", text)
        return "foot" if told and _MAY_HE.search(said) else "other" if _leaves(said) else ""
    return "foot" if _MAY_HE.search(said) else "other" if danger and _leaves(said) else ""


def not_yet(text: str) -> bool:
    """Whether words of a foot that goes only ask leave, or tell of an order: "he says let go"."""
    return bool(_MAY_HE_DO.search(text) or _TOLD_TO.search(text))


def as_told(text: str) -> bool:
    """Whether normal words say that the helper does what a trial asks for: "starting her now"."""
    return bool(_AS_TOLD.match(text))


def _leaves(said: str) -> bool:
    return bool(_MAY_HE_DO.search(said) or _MAY_HE.search(said))
