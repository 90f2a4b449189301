"""What in an utterance must stop or block a job, and when words may count for an act that matters.

Safety fails closed: in a hold, what is not surely harmless stops or blocks; and an act that lets a
pedal move, or a step count as done, needs words that say so of themselves, now, by the one who
does it. Questions, plans, half-done work, denials and reports of others never count.
"""

from __future__ import annotations

import re

from assistant.conversation.meaning import Likely
from assistant.texts.normal import negated

HARM_SURE, HARM_HINTED, HARM_NONE, SAFE = 0.75, 0.4, 0.06, 0.8
"""Shares of harm: from the first on it stops; from the second on, if a word hints at it; below the
third, and with no such word, it is harmless. Fitted on the tuning writers."""

_HINTS = re.compile(
    r"\b(?:pedals?|foot|feet|leg|legs|knee|knees|calf|toe|toes|boot|shoe|heel|cramp\w*|slip\w*|slid\w*"
    r"|sink\w*|sank|ris(?:e|es|ing)|rose|creep\w*|crept|drift\w*|mov(?:e|es|ed|in|ing)|com(?:e|es|in|ing)"
    r"|came|spring|sprung|springin|bounc\w*|let|lettin|letting|lost|los(?:e|ing|in)|gone|goin|going"
    r"|eas(?:e|ed|ing)|drop\w*|giv(?:e|es|ing|in)|gave|tired|numb|asleep|shak\w*|shaky|quiver\w*"
    r"|trembl\w*|hold\w*|held|floor|down|up|off|engine|motor|key|keys|ignition|crank\w*|start\w*"
    r"|starter|turn(?:s|ed|in|ing)? over|fire|fired|batter(?:y|ies)|roll\w*|hands?|fingers?|thumb|arm|arms|elbow|wrist|sleeve"
    r"|glove|gloves|hair|ring|head|face|eye|eyes|skin|knuckles?|caught|catch\w*|snag\w*|pinch\w*|pinn\w*"
    r"|stuck|jam\w*|trap\w*|crush\w*|squeez\w*|bit|bitten|bleed\w*|blood|cut|hurt\w*|hit|ow|ouch"
    r"|burn\w*|help|scream\w*|yell\w*|holler\w*|careful|watch|out|danger\w*|wrong|bad|weird|funny|fork"
    r"|jump\w*|shift\w*|clunk\w*|bang|snap\w*|crack\w*|broke\w*|loose|tool|bar|wrench)\b"
)
"""Words of pedal, foot, engine, body and mishap."""


def harm(text: str, likely: Likely, count: bool = False) -> str:
    """ "stop", "block" or "": what words must do while the pedal is, or may be, down.

    Args:
        text: normal words.
        likely: what they may mean.
        count: they hold the count that was asked for.
    """
    safe = 1.0 - sum(likely.shares.get(m, 0.0) for m in _UNSAFE)
    hinted = bool(_HINTS.search(text))
    surely = (count or safe >= SAFE) and likely.harm < HARM_HINTED
    if likely.harm >= HARM_SURE or (hinted and likely.harm >= HARM_HINTED):
        return "stop"
    return "" if surely or likely.harm < HARM_NONE else "block"


_UNSAFE = ("danger", "let_up", "released", "unsure")


# --- acts that matter -----------------------------------------------------------------------------

MATTERS = frozenset(
    {"done", "ready", "sound", "check", "holding", "released", "clear", "let_up", "carry_on",
     "skip", "accept", "sign_off", "repaired"}
)  # fmt: skip
"""Acts that let the job go on."""

_ASKS = re.compile(
    r"^(?:(?:and|so|but|hey|um|uh|er|well|ok|okay|yo|oi|boy|son|lass|mate|man|kid) )*"
    r"(?:is|are|am|was|were|do|does|did|can|could|should|shall|would|will|may|might|have you|has"
    r"|who|whose|what|what's|whats|when|where|where's|why|how|how's|which|ready when|any"
    r"|you (?:holding|holdin|got|done|on|off|ready|clear|want|sure|there)|ya |d'you|did|ain't|isn't)\b"
    r"|\b(?:right|yeah|yes|no|ok|okay|innit|eh|huh) \?$|\bor (?:not|what|no)$|\bwhat about\b|\btell me (?:if|when)\b"
    r"|\b(?:i wonder|wonder if|not sure|don't know|dunno|no idea|can't tell|can't see)\b"
)
_LATER = re.compile(
    r"\b(?:gonna|going to|goin to|gunna|about to|bout to|'bout|fixin|fixing to|almost|nearly|near enough|just about"
    r"|not quite|in a (?:sec|second|minute|min|mo|bit|moment|jiffy)|soon|when|once (?!slow|more|and)|after|before|until|till|til"
    r"|unless|if|wait|waiting|hang on|hold on|hold up|lemme|let me|let's|trying|tryin|try|tries|tried|want|wanna|wants"
    r"|need|needs|needin|have to|has to|gotta|got to|ought|should|shoulda|would|could|might|may|must|supposed|maybe|probably|perhaps"
    r"|think|thought|guess|reckon|suppose|hope|hopefully|believe|seems|sort of|sorta|kind of|kinda|halfway|half way"
    r"|part way|partway|partly|half done|one more|except|but|only|working on|workin on|gimme|give me"
    r"|will|i'll|he'll|she'll|it'll|we'll|they'll|you'll|won't|ready to|next|tomorrow|later|one side|one of|other one|first one|yet|so far"
    r"|whenever|as soon|almost|close|closer|getting there|gettin there"
    r"|pretend|imagine|remember|forgot|forget|last time|yesterday|used to|like last|joking|kidding|as if|far from|anything but|hardly|barely|scarcely"
    r"|less than|no longer|stopped|quit|undone|unset|unlocked|would be|not)\b|'ll\b"
)
_DOING = re.compile(
    r"\b(?:i'm|im|i am|we're|he's|she's|still|now|just|currently|busy|be)? ?"
    r"(?:putting|puttin|getting|gettin|taking|takin|setting|settin|doing|doin|pulling|pullin|pushing"
    r"|pushin|pressing|pressin|working|workin|looking|lookin|checking|checkin|coming|comin|going|goin"
    r"|moving|movin|turning|turnin|finishing|finishin|tightening|tightenin|greasing|greasin|climbing"
    r"|climbin|crawling|crawlin|sliding|slidin|shoving|shovin|kicking|kickin|hunting|huntin|fetching"
    r"|grabbing|grabbin|bolting|boltin|threading|threadin|wiggling|wigglin|easing|easin|letting|lettin)\b"
)
_OTHERS = re.compile(
    r"\b(?:he|he's|she|she's|they|they're|you|you're|ya|him|his|her|kid|boy|everybody|everyone)\b"
)
_NO_FAULT = re.compile(
    r"\b(?:no|nothing|nothin|none|not|isn't|ain't|don't|doesn't|never|without|nowt|any|zero|can't) (?:\w+ ){0,3}?(?:loose|play|slop|slack"
    r"|wiggle|wobble|leak\w*|fray\w*|bent|bend\w*|bind\w*|rub\w*|catch\w*|stick\w*|grind\w*|crack\w*|wrong|problems?"
    r"|issues?|noise\w*|drag\w*|wear|worn|broken|missing|complain\w*|hang\w*|trouble|clunk\w*|damage\w*|rattl\w*|scrap\w*"
    r"|touch\w*|hit\w*|snag\w*|movement|give|delay|lag|rust|fight\w*|grumbl\w*|crunch\w*|fuss|drama|resist\w*|tight spots?|odd|weird|funny|bad|sloppy|shak\w*|jump\w*|dead|lost|fault\w*)\b"
    r"|\bnot? (?:a )?(?:thing|bit|budge|problem|bother|bad)\b|\bno (?:sir|ma'am|boss|worries)\b"
)
_STILL_OWN = frozenset({"holding", "clear", "released", "ready", "let_up", "carry_on"})
"""Acts that count only for the speaker himself."""


def counts(text: str, asks: bool, meaning: str) -> bool:
    """Whether words may count as an act that matters, if that is what they say.

    Args:
        text: normal words.
        asks: a question mark stood behind them.
        meaning: one of `MATTERS`.
    """
    if asks or _ASKS.search(text):
        return False
    if meaning in ("sound", "check", "done", "clear"):
        text = _NO_FAULT.sub(" ", text)
    if negated(text) or _LATER.search(text):
        return False
    if meaning not in ("let_up", "carry_on") and _DOING.search(text):
        return False
    return not (meaning in _STILL_OWN and _OTHERS.search(text))
