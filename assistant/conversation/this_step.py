"""Whether words that complete a step are of this step: of its things, and the way they should be.

"Plate's out" does not say that the flywheel was turned, nor "pins are good" that the lever moves.
What a step is about is read off its own words in `steps.toml`; English, as in `safety`.
"""

from __future__ import annotations

import re
from functools import lru_cache

from assistant.dialogue import Dialogue
from assistant.readings.sentence import CLAUSE
from assistant.texts.normal import normal, without_lead

COMPLETES = ("done", "check", "sound", "ready")
"""What completes a step of one of these kinds."""
_KINDS = ("act", "sound", "rod", "stop_bolt", "seat")

_THINGS = {
    "chock": r"chock|wedge",
    "brake": r"brakes?\b|handbrake",
    "gear": r"neutral|gears?\b|shift|transmission|stick\b|levers?\b",
    "key": r"keys?\b|engine|ignition",
    "stand": r"stands?\b|jack|raised|ground",
    "glasses": r"glasses|goggles|specs\b|eye",
    "pedal": r"pedals?\b",
    "lever": r"levers?\b|cross ?shaft",
    "pin": r"pins?\b|clevis|brackets?\b|joints?\b|cotter|rod ends?",
    "cable": r"cable|sheath|fray",
    "fluid": r"fluid|leak|spong|bled\b|bleed",
    "cover": r"covers?\b|plug|lid\b|plates?\b",
    "flywheel": r"flywheel",
    "plate": r"plates?\b|bracket|keeper",
    "under": r"(?:out )?from under|i'm (?:all )?out\b|i am out\b",
    "tool": r"tools?\b|bar\b",
    "rod": r"rods?\b|adjuster|pushrod|jam nut|lock nut|locknut|nuts?\b|shorten|lengthen",
    "inside": r"in there\b|inside\b",
    "squeeze": r"squeez\w*",
    "slip": r"slip\w*|pull(?:s|ing)?\b|bites?\b",
    "grease": r"greas(?:e|ed|ing)\b|lub(?:e|ed|ing|ricat\w*)\b|zerk|oiled",
}
_OF_CHAIN = {
    "tight": r"tight|snug|loose|play\b",
    "free": r"free(?:ly)?\b|mov(?:e|es|ing|ed)\b|straight|bent|rubb|bind|stick(?:s|ing)?\b",
}
"""What is looked for in the chain from pedal to lever, more at each of its steps."""
_OF_VALUES = ("brake", "gear", "lever")
"""Things that are also named with a value."""
_NAMED = {thing: re.compile(rf"\b(?:{words})") for thing, words in (_THINGS | _OF_CHAIN).items()}
_SIDES = re.compile(r"\b(?:in|out|on|off)\b")
_AT_END = re.compile(
    r"\b(?P<side>in|out|on|off)(?: (?:now|again|then|too|yep|yeah|mate|boss|done"
    r"|of (?:the |that )?(?:hole|there|way)|from under(?: it| her)?))*$"
)
"""The way something is now: as people end on it."""
_BARE = re.compile(
    r"\b(?:bang|spot|dead|carry|go|going|moving|move|check|come|right|hang|hold|knock|sort) \w+$"
)
"""What ends so and tells of nothing: "moving on", "right on"."""
_LIKE = {"in": {"in", "on"}, "on": {"in", "on"}, "out": {"out", "off"}, "off": {"out", "off"}}
"""A plate is in, or on; nobody minds."""
_MORE = {"neutral": "out", "brake": "out", "grease": "in"}
"""Out of gear, the brake's knob out, grease in: said, but not by the steps."""
_LEADS = re.compile(r"(?:yes|yeah|yep|yup|aye|right|ok|okay|well|sure|good|so|and|um|uh|\s)*")


def of_this_step(words: str, dialogue: Dialogue) -> bool:
    """Whether words that were taken to complete the present step may do so.

    The first clause that says anything tells. One that names nothing ("done", "all good") may; so
    may any where the step is unknown.
    """
    step = dialogue.dialogs.by_id.get(dialogue.at)
    planned = step is not None and step.kind == "plan"
    if step is None or not (planned or step.kind in _KINDS or dialogue.pending is not None):
        return True
    told = [text for clause in CLAUSE.split(words) if (text := normal(clause or ""))]
    text = next((text for text in told if not _LEADS.fullmatch(text)), "")
    named = {thing for thing, like in _NAMED.items() if like.search(text)}
    if planned or dialogue.pending is not None:  # "cover's off" does not say that a value is right
        m = _AT_END.search(without_lead(text))
        aside = m is not None and not _BARE.search(m.string[: m.end("side")])
        return not (aside or named - {*_OF_CHAIN, *_OF_VALUES})
    trial = step.kind == "sound" and step.phase == "final"
    things, sides = _own(step.say, "" if trial else step.why, step.answers)
    if not trial:
        named -= {"slip", "squeeze"}
    if step.phase not in ("safe", "chain"):
        named -= _OF_CHAIN.keys()
    parts = named - _OF_CHAIN.keys()  # "lever moves" is of the lever, whatever moves besides
    if things and named and not (parts or named) & things:
        return False
    m = None if step.kind in ("rod", "stop_bolt") else _AT_END.search(without_lead(text))
    return m is None or bool(_BARE.search(m.string[: m.end("side")])) or m["side"] in sides


@lru_cache(maxsize=256)
def _own(say: str, why: str, answers: tuple[str, ...]) -> tuple[frozenset[str], frozenset[str]]:
    """The things that a step's words name, and the sides that it brings them to."""
    said = " ".join((say, *answers)).lower()
    about = f"{said} {why.lower()}"
    things = frozenset(thing for thing, words in _NAMED.items() if words.search(about))
    sides = {like for side in _SIDES.findall(said) for like in _LIKE[side]}
    return things, frozenset(sides | {side for what, side in _MORE.items() if what in said})
