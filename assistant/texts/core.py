"""What no edited text can weaken: the words by which safety is heard, and who is told to move what.

Dialogs can add to the words here, in whatever language; they cannot take one away, claim it for
another meaning, or let a new phrase confirm what it does not say. A step can be reworded; it cannot
order the pedal down or up, or the ring turned, unless that is what its kind is for.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from functools import lru_cache
from typing import TYPE_CHECKING

from assistant.interlocks import EXACT, presses
from assistant.quantity import PEDAL_MOVES
from assistant.texts.normal import negated, normal, shouted, without_lead
from assistant.texts.safety import counts, names_harm

if TYPE_CHECKING:
    from assistant.texts.dialogs import Caution, Meaning, Step

# --- words that are heard -------------------------------------------------------------------------


def _phrases(lines: str) -> tuple[str, ...]:
    return tuple(phrase.strip() for phrase in lines.replace("\n", "/").split("/") if phrase.strip())


CORE: dict[tuple[str, str], tuple[str, ...]] = {
    ("stop", "phrases"): _phrases("stop/stop stop/halt/whoa/freeze/emergency/stop now"),
    ("stop", "anywhere"): _phrases("stop/whoa/woah/halt/freeze/emergency"),
    ("stop", "in_hold"): _phrases(
        "ow/ouch/not clear/i'm in/help me/i'm under/i am under/still under"
    ),
    ("lost", "phrases"): _phrases(
        """lost it/slipping/my foot slipped/foot slipped/i lost it/it's coming up/can't hold it
        pedal's coming up/i can't hold it/it came up/pedal came up/i let go/let go"""
    ),
    ("lost", "anywhere"): _phrases(
        """slipping/slipped/losing it/losing the pedal/lost it/lost the pedal/coming up/came up
        came off/can't hold/cant hold/cannot hold/couldn't hold/let go/letting go/slip/oh no
        not holding/stopped holding/no longer holding"""
    ),
    ("danger", "phrases"): _phrases(
        """i'm stuck/i'm caught/my hand's caught/my arm's stuck/he's hurt/i'm hurt/get me out
        watch out/my leg's going/my foot's sliding/my foot's slipping/i'm slipping/it moved
        it's moving/something moved/it's coming up on me/the fork moved/somebody's cranking it
        he's cranking it/don't let up/my hand/my finger/back down/push it back down/tool slipped
        the bar slipped/my sleeve's caught/cramp/i've got a cramp"""
    ),
    ("clear", "phrases"): _phrases(
        """clear/i'm clear/all clear/hands clear/clear below/hands and tool clear/hands out
        hands are out/nothing in the hole"""
    ),
    ("holding", "phrases"): _phrases(
        """holding/pedal down/i'm holding/holding it/still holding/pedal down and holding
        i'm holding it/still down/still got it/yeah still holding"""
    ),
    ("holding", "anywhere"): _phrases(
        """pressing/pushing/foot is on the pedal/foot's on the pedal/pedal is going down
        pedal's going down/pedal is down/pedal down"""
    ),
    ("released", "phrases"): _phrases("released/pedal up/pedal's up/pedal released/pedal is up"),
    ("foot_off", "phrases"): _phrases("foot off/foot's off/off the pedal/my foot is off"),
    ("let_up", "phrases"): _phrases("let it up/let the pedal up/release the pedal/let it come up"),
    ("propped", "phrases"): _phrases("held and i looked"),
    ("unpropped", "phrases"): _phrases("up and i looked"),
    ("carry_on", "phrases"): _phrases("carry on/go on/continue/resume/let's go on"),
}
"""Meaning and list of `words.toml` -> what must stand in it."""
EXCEPTED = frozenset(
    _phrases(
        """stop bolt/stop bolts/stop screw/stop screws/stop nut/bumper stop/emergency brake
        stop asking/stop talking/stop worrying/stop laughing/stop singing/stop humming/stop fretting
        freeze plug"""
    )
)
"""All that a `stop` may be excepted in: parts of the truck, and what stops no job ("stop asking").
Dialogs can leave one out, add none."""
FOOT_ON = _phrases(
    """on the pedal/foot is on/foot's on/foot on/still on/still pressing/still pushing/still down
    still holding/not off"""
)
"""What a `foot_off` must be excepted in: the helper's words for a foot that is on."""
CONFIRMS = (
    *("clear", "holding", "released", "foot_off", "let_up", "carry_on"),
    *("propped", "unpropped"),
)
"""Meanings that let the pedal, or the job, move: a phrase must say so of itself."""
_ANYTIME = frozenset({"stop", "lost", "danger", "let_up", "carry_on", "foot_off"})
_SAYS = {
    "clear": r"clear|out|empty|nothing",
    "holding": r"hold\w*|held|down|floor\w*",
    "released": r"releas\w*|up|off",
    "foot_off": r"off",
    "propped": r"looked",
    "unpropped": r"looked",
    "let_up": r"let|releas\w*",
    "carry_on": r"carry|continue|resum\w*|go|going|back|start",
}
"""Words of which one must stand in a phrase that confirms it."""
_AGAINST = {
    "clear": r"in|inside|stuck|caught|under|one|left|right|other|first|half",
    "holding": r"up|off|releas\w*|let\w*|slip\w*|com\w*|lost|lift\w*|rais\w*",
    "released": r"down|hold\w*|held|press\w*|push\w*|floor\w*|slip\w*|half",
    "propped": r"up|off|releas\w*|slip\w*|half|he|they",
    "unpropped": r"down|hold\w*|held|slip\w*|half|he|they",
    "foot_off": r"on|down|hold\w*|held|press\w*|push\w*|still",
    "let_up": r"down|hold\w*|keep|stay\w*|press\w*|push\w*",
    "carry_on": r"stop\w*|hold\w*|halt\w*",
}
"""Words of which none may stand in a phrase that confirms it: they say the opposite, or a half."""


def words_problem(words: Mapping[str, Meaning], steps: Iterable[Step]) -> str:
    """One line on what of words.toml, or of the steps' answers, weakens safety, or ""."""
    return next(_words_problems(words, steps), "")


def _words_problems(words: Mapping[str, Meaning], steps: Iterable[Step]) -> Iterator[str]:
    for key in {act: None for act, _ in CORE}:
        if words[key].anytime != (key in _ANYTIME):
            yield f"words.toml, {key}: anytime must stay {str(key in _ANYTIME).lower()}"
    if words["danger"].who != "any":
        yield "words.toml, danger: who must stay any: a life hangs on who says it"
    for phrase in words["stop"].excepted:
        if phrase not in EXCEPTED:
            yield f'words.toml, stop: except may not hold "{phrase}": it hides a stop; remove it'
    for phrase in FOOT_ON:
        if phrase not in words["foot_off"].excepted:
            yield f'words.toml, foot_off: except must hold "{phrase}"; put it back'
    yield from _claimed(words, steps)
    for (key, name), phrases in CORE.items():
        for phrase in phrases:
            if phrase not in getattr(words[key], name):
                yield f'words.toml, {key}: {name} must hold "{phrase}"; put it back'
    for key in CONFIRMS:
        for phrase in words[key].phrases:
            if phrase not in CORE[key, "phrases"] and not _confirms(key, phrase):
                yield (
                    f'words.toml, {key}: "{phrase}" does not surely say {_spoken(key)}, here and '
                    "now; remove it"
                )
    yield from _drowned(words)


def _spoken(key: str) -> str:
    return CORE[key, "phrases"][0]


def _confirms(key: str, phrase: str) -> bool:
    """Whether a phrase says, of itself and now, what lets the pedal or the job move."""
    text = normal(phrase)
    if not re.search(rf"\b(?:{_SAYS[key]})\b", text):
        return False
    return counts(text, "?" in phrase, key) and not re.search(rf"\b(?:{_AGAINST[key]})\b", text)


def _claimed(words: Mapping[str, Meaning], steps: Iterable[Step]) -> Iterator[str]:
    """Phrases of another meaning, or answers of a step, that are a safety word already."""
    owner = {phrase: key for (key, _), phrases in CORE.items() for phrase in phrases}
    owner |= {normal(p): key for key in EXACT if key in words for p in words[key].phrases}

    def taken(phrase: str, by: str) -> str:
        heard = normal(phrase)
        for text in (heard, without_lead(heard)):
            if owner.get(text, by) != by:
                return f"{phrase!r} already means {owner[text]}"
        return f"{phrase!r} tells of harm" if names_harm(heard) else ""

    for step in steps:
        for piece in step.pieces:
            for phrase in piece.answers or ():
                if problem := taken(phrase.lower(), ""):
                    yield f"steps.toml, step {step.id}: {problem}; take another phrase"
    for key, meaning in words.items():
        for phrase in meaning.phrases:
            problem = taken(phrase, key)
            if problem and not (key in _HEARS_HARM and owner.get(phrase, key) == key):
                yield f"words.toml, {key}: {problem}; take another phrase"


_HEARS_HARM = frozenset({"stop", "lost", "danger", "not_sound", "no", *CONFIRMS})
"""Meanings whose phrases may name a pedal that moves, a hand or a mishap; `_confirms` looks at its
own."""


def _drowned(words: Mapping[str, Meaning]) -> Iterator[str]:
    """What is heard anywhere in a sentence may not be found in words that mean something else."""
    own = {key: [p for (k, _), ps in CORE.items() if k == key for p in ps] for key, _ in CORE}
    found: dict[tuple[str, str], Callable[[str, str], bool]] = {
        ("stop", "anywhere"): lambda phrase, text: shouted(text, (phrase,)),
        ("stop", "in_hold"): lambda phrase, text: _whole(phrase, text),
        ("lost", "anywhere"): lambda phrase, text: phrase in text,
        ("holding", "anywhere"): lambda phrase, text: phrase in text and not negated(text),
    }
    for (key, name), hears in found.items():
        for phrase in getattr(words[key], name):
            if phrase in CORE[key, name]:
                continue
            for other, texts in own.items():
                heard = next((t for t in texts if other != key and hears(phrase, t)), "")
                if heard or not phrase.strip():
                    yield (
                        f'words.toml, {key}: {name} may not hold "{phrase}": it would drown '
                        f'"{heard}", which means {other}; remove it'
                    )


def _whole(phrase: str, text: str) -> bool:
    return bool(re.search(rf"\b{re.escape(phrase)}\b", text))


# --- words that order -----------------------------------------------------------------------------

_PEDAL = r"(?:pedal|foot|feet|clutch)\b"
_IT = r"(?:it|her|him|the pedal|that pedal|your foot|the clutch|pedal|foot)"
ORDERS = {
    "the pedal held": re.compile(
        rf"(?:hold|floor)(?: {_IT}| now| here| down| still|$)|(?:keep|put|get|take|leave) {_IT} "
        rf"(?:\w+ )*(?:down|floor|in)\b|{_PEDAL} (?:(?:is|stays?|goes|all the way) )*"
        r"(?:down|to the floor|on the floor)\b"
    ),
    "the pedal pressed": re.compile(
        rf"(?:press|push|depress|pump|stamp on|stomp on|step on|stand on)"
        rf"(?: (?:on )?{_IT}| now| once| slowly| hard| down| again| again| and|$)"
        rf"|{_PEDAL} in\b|foot on\b"
    ),
    "the pedal let up": re.compile(
        rf"release(?: {_IT}| now| slowly|$)|(?:let|ease|lift|raise|bring) (?:{_IT} )?(?:\w+ )?"
        rf"(?:up|go|off)\b|(?:let|ease) up\b|(?:lift|raise) {_IT}|come off\b|{_PEDAL} "
        r"(?:\w+ )?up\b"
    ),
    "the foot off": re.compile(rf"(?:take )?(?:your |the )?{_PEDAL} off\b|off the pedal\b"),
    "the ring turned": re.compile(
        r"(?:turn|move|crank|rotate|adjust|nudge|bar|pull|tighten|loosen|set|give) "
        r"(?:\S+ )*(?:ring|lugs?)\b|turn (?:it|now|on)\b|turn$"
    ),
}
"""What may be ordered -> how a part of a sentence begins that orders it."""
_CLAUSE = re.compile(r"[.:;!?,()—–]+|\s-+\s|\b(?:and|then|or|but)\b")
_CALLED = re.compile(
    r"^(?:(?:helper|technician|tech|now|please|ok|okay|just|you|must|should|can|may|slowly|gently"
    r"|quickly|everybody|always|at once|once more|again|so|go|to|lugcall says)\b\s*)+(?=\S)"
)
_LOUD = {"HOLD": "the pedal held", "RELEASE": "the pedal let up", "TURN": "the ring turned"}


@lru_cache(maxsize=2048)
def orders(text: str) -> frozenset[str]:
    """What a text orders, of `ORDERS`."""
    found = {order for word, order in _LOUD.items() if re.search(rf"\b{word}\b", text)}
    for part in _CLAUSE.split(text.lower()):
        part = re.sub(r"\s+", " ", part).strip(" '\"")
        for clause in {part, _CALLED.sub("", part)}:
            found |= {order for order, says_so in ORDERS.items() if says_so.match(clause)}
    return frozenset(found)


HELD, PRESSED, UP, OFF, TURNED = ORDERS
_KINDS = {"hold": {HELD, PRESSED}, "turn": {TURNED}, "release": {UP, OFF}}
_OWN = {"hold": HELD, "turn": TURNED, "release": UP}
"""Kind of step -> what its own words must order."""
_REPLIES = {
    **dict.fromkeys(
        ("stopped_helper_held", "hold_on", "hold_in_stop", "hold_standing", "pedal_held_state"),
        HELD,
    ),
    "no_let_up": HELD,
    **dict.fromkeys(("stopped_helper_up", "stopped_helper_engine"), OFF),
    **dict.fromkeys(("foot_asked", "foot_heard"), OFF),
    **dict.fromkeys(("stopped_held_next", "stopped_clear_next", "release_ok"), UP),
    **dict.fromkeys(("stopped_held_code", "stopped_clear_code"), UP),
    **dict.fromkeys(("stopped_held_up", "stopped_clear_up"), UP),
    **dict.fromkeys(
        ("pedal_up_state", "pedal_came_state", "how.release", "how.gap", "how.clearance"), UP
    ),
    **dict.fromkeys(("turn_again", "move_wrong_way"), TURNED),
    "how.hold": PRESSED,
    **{"prop.hold": HELD, "prop.release": UP, "prop.up": UP},
    **{f"how.{name}": PRESSED for name in PEDAL_MOVES},
}
"""Reply, or how a thing is done -> what it may order; the others order nothing."""
ALARMS = {
    **dict.fromkeys(("hands_out", "hold_lost", "pedal_moving"), "hands out"),
    **dict.fromkeys(("stopped", "stopped_helper_held", "stopped_helper_up"), "stop"),
    **dict.fromkeys(("stopped_helper_engine", "stopped_helper_still"), "stop"),
}
"""Reply -> the words that it cannot be without, in English."""


def may_order(step: Step) -> set[str]:
    """What the words told at a step may order."""
    may = set(_KINDS.get(step.kind, ()))
    if step.id == "ring_lock":
        may.add(TURNED)  # nudged, till the lock plate seats
    if presses(step):
        may |= {PRESSED, UP, OFF}
    if not step.held and step.kind not in ("clear", "hold", "turn"):
        may.add(OFF)
    return may


def steps_problem(steps: Iterable[Step], cautions: Mapping[str, Caution], english: bool) -> str:
    """One line on words told at a step that order what its kind does not do, or ""."""
    for step in steps:
        for piece in step.pieces:
            place = f"steps.toml, step {step.id}"
            told = [(place, getattr(piece, name) or "") for name in ("say", "helper", "why")]
            told += [(f"cautions.toml, {c}", cautions[c].text) for c in piece.cautions or ()]
            for where, text in told:
                if wrong := orders(text) - may_order(step):
                    return (
                        f"{where}: {text!r} orders {min(wrong)}, which is not for step {step.id}, "
                        f"of kind {step.kind}; say it otherwise"
                    )
            own = _OWN.get(step.kind, "")
            if english and own and piece.say is not None and own not in orders(piece.say):
                return f"{place}: say must order {own}; put it back"
    return ""


def told_problem(file: str, texts: Mapping[str, str], english: bool) -> str:
    """One line on a reply, or another text of a file, that orders what it may not, or is an alarm
    without its words; or ""."""
    for key, text in texts.items():
        name = f"how.{key}" if file == "how.toml" else key
        if wrong := orders(text) - {_REPLIES.get(name, "")}:
            return f"{file}, {key}: {text!r} orders {min(wrong)}; say it otherwise"
        if english and ALARMS.get(name, "") not in text.lower():
            return f'{file}, {key}: must hold "{ALARMS[name]}"; put it back'
        if name in ALARMS and not text.strip():
            return f"{file}, {key}: an alarm needs words; put them back"
    return ""
