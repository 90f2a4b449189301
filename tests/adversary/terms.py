"""What lugcall may print and what people say, as `dialogs/en` has it at this moment."""

import re
import tomllib
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

ROOT = Path(__file__).parents[2]
DIALOGS = ROOT / "dialogs" / "en"
CARDS = sorted((ROOT / "demo_sessions").glob("truck_*.toml"))
BREAKS = "\r\x0b\x0c\x1c\x1d\x1e\x85\u2028\u2029"
"""Signs that some reader takes for the end of a line."""


def _pattern(text: str) -> str:
    return r".*?".join(re.escape(part) for part in re.split(r"\{\w+\}", text))


def _load(name: str) -> dict:
    return tomllib.loads((DIALOGS / name).read_text("utf-8"))


@dataclass(frozen=True)
class Prompt:
    """One wording of a step: whom it is for, and what kind of act it orders."""

    step: str
    kind: str
    who: str
    reading: str
    stage: str
    answers: tuple[str, ...]
    pattern: re.Pattern[str]


def _prompts() -> list[Prompt]:
    out = []
    for step in _load("steps.toml")["step"]:
        says = {step["say"], *(other["say"] for other in step.get("instead", ()) if "say" in other)}
        out += [
            Prompt(
                step["id"], step["kind"], step["who"], step.get("reading", ""),
                step.get("stage", ""), tuple(step.get("answers", ())), re.compile(_pattern(say)),
            )
            for say in says
        ]  # fmt: skip
    return out


PROMPTS = _prompts()


@lru_cache(4096)
def prompts_in(text: str) -> tuple[tuple[Prompt, bool], ...]:
    """The prompts that stand in a reply, and whether it begins with them."""
    found = ((prompt, prompt.pattern.search(text)) for prompt in PROMPTS)
    return tuple((prompt, not match.start()) for prompt, match in found if match)


WORDS = {k: v["phrases"] for k, v in _load("words.toml").items() if "phrases" in v}
ANYWHERE = {k: v.get("anywhere", []) for k, v in _load("words.toml").items()}
REPLIES = {k: v for k, v in _load("replies.toml").items() if isinstance(v, str)}
ANSWERS = sorted({
    phrase
    for step in _load("steps.toml")["step"]
    for part in (step, *step.get("instead", ()))
    for phrase in part.get("answers", ())
})  # fmt: skip


def reply(*keys: str) -> re.Pattern[str]:
    """Whether a line is one of these replies, by its first sentence."""
    firsts = [
        re.split(r"(?<=[.?!]) ", REPLIES[key].split("{")[0].strip())[0]
        for key in keys if key in REPLIES
    ]  # fmt: skip
    return re.compile("|".join(rf"(?:^|: ){re.escape(first)}" for first in firsts if first))


ALARM = reply("stopped", "stopped_helper_held", "hold_lost", "hold_lost_helper", "hands_out",
              "pedal_moving", "keep_out", "still_holding")  # fmt: skip
STOPPED = reply("stopped", "already_stopped", "hold_lost", "pedal_moving", "hands_out")
TOLD_UP = re.compile(rf"(?:^|\. |: |\s){re.escape(REPLIES['pedal_up_state'])}")
TOLD_DOWN = re.compile(
    rf"(?:^|\. ){re.escape(REPLIES['pedal_held_state'])}|^{re.escape(REPLIES['hold_standing'])}"
)
TURN_AGAIN = re.compile(_pattern(REPLIES["turn_again"]))
RELEASE = re.compile(r"\bRELEASE\b")
PRESS = re.compile(r"\b[Pp]ress\b(?! again)")


@lru_cache(4096)
def plain(words: str) -> str:
    """As phrases are compared: no case, no punctuation at the ends, single spaces."""
    return " ".join(re.sub(r"[^\w' ]", " ", words.casefold().replace("’", "'")).split())


PHRASES = {meaning: {plain(p) for p in phrases} for meaning, phrases in WORDS.items()}

# Words of our own, that must not let anything go on, or must be taken for a hand in the way.
NOT_CLEAR = (
    "not clear", "i'm not clear yet", "clear in a minute", "is it clear", "one hand clear",
    "almost clear", "is he clear", "wait till i'm clear", "i will be clear soon", "never clear",
    "the boss says it's clear", "unclear", "clear as mud", "nearly clear", "not all clear",
)  # fmt: skip
HANDS = (
    "my hand is in the hole", "my hand's caught", "my arm's stuck", "hand is still in there",
    "i'm in", "my fingers are in it", "i'm stuck", "not clear", "my hand",
)  # fmt: skip
NOT_HELD = (
    "not holding", "shall i hold it", "holding in a second", "can't hold", "was holding",
    "am i holding", "i would be holding", "nobody is holding", "holding soon", "do i hold",
)  # fmt: skip
NOT_RELEASED = ("shall i let it up", "released?", "when is it released")
STILL_DOWN = ("not released", "not up yet")
"""What denies a release: it takes no hold back, as the pedal's holder says that it is not up."""
CHATTER = (
    "nice weather", "hand me the ten mil", "radio's loud", "coffee", "who parked this here",
    "left or right", "that's what she said", "five", "0", "zero", "ninety nine", "1/0", "-3/4",
    "1e308", "nan", "inf", "\u0663\u066b\u0665", "\u0967/\u0968", "\uff11\uff0f\uff12", "a" * 300,
    "?", "...", "half", "check done clear holding released", "gap", "note", "correct the gap to",
    "sign off", "accept", "go back two steps", "it slips", "why does it grind", "no lugs",
)  # fmt: skip
