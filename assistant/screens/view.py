"""What the bench and the cab show of a dialogue: plain data, made anew from it for every message.

Nothing here moves anything, and nothing is remembered: a page that comes back is shown the truth.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from assistant.act import Act, Said
from assistant.dialogue import Danger, Dialogue, Question
from assistant.sentences import Sentences, printable, sentences

WORDS = ("press", "hold", "release", "stop", "wait", "foot", "turn")
"""The one word of the cab: "press" where he is told to press and hold, "hold" while he does; "foot"
and "turn" where he is asked for his foot, or to press and let up, look or read. Its wording and
sentence stand in `dialogs/`, screens.toml."""
_IN_HOLD = ("holding", "lost", "repeat", "stop")
_CAB_ANSWERS = {"press": _IN_HOLD, "hold": _IN_HOLD, "release": ("released", "stop")}
"""What the touches of the cab mean beside a word; phrases of words.toml say it."""
_BENCH_ANSWERS = (
    *("check", "no", "done", "sound", "not_sound", "clear", "accept", "measure", "move"),
    *("let_up", "carry_on", "repeat", "stop"),
)
_ALWAYS = ("repeat", "stop")


def reading_of(meant: Act | Question | None, words: str) -> dict[str, str]:
    """The words of a reading and what it was understood as; nothing for anything else."""
    reading = meant.reading if isinstance(meant, Act) else None
    return {"words": words, "as": str(reading["figures"])} if reading else {}


def words_of() -> Sentences:
    """The sentences of the screens."""
    return sentences("screens")


@dataclass(frozen=True, slots=True)
class Broken:
    """A job whose record could not be written: it stands still until that is put right.

    Attributes:
        why: one line that says what to do; "" where the fault is lugcall's own.
        down: whether the pedal is down, or may be.
    """

    why: str
    down: bool

    @property
    def line(self) -> str:
        """What happened and what to do, for the technician."""
        names = words_of()
        return self.why.replace("lugcall resume", names.say("answer.again")) or names.say(
            "broken.fault"
        )


def broken_said(broken: Broken) -> list[Said]:
    """What is said at once, to both: hands out first, where the pedal is down."""
    say, told = words_of().say, Said("tech", broken.line, "screen:broken", "WARNING")
    alarm = Said("tech", say("broken.hands_out"), "screen:hands_out", "DANGER", "STOP")
    cab = Said("helper", say("broken.cab"), "screen:broken", cue="STOP")
    return [*([alarm] if broken.down else []), told, cab]


def cab_word(dialogue: Dialogue, prompt: Sequence[Said]) -> str:
    """One of `WORDS`: what the foot in the cab must do now, as the present `prompt` has it.

    "release" stands only where this very moment's prompt tells the helper to, and so does "press";
    "hold" wherever the pedal is down and nothing else is told.
    """
    if dialogue.finished:
        return "wait"
    if dialogue.stopped:
        return "stop"
    cues = [said for said in prompt if said.cue and said.to != "tech"]
    if cues:
        told = cues[-1].cue.lower()
        return "press" if told == "hold" and cues[-1].key.startswith("prompt:") else told
    danger = dialogue.danger()
    if danger.held or danger.pedal:
        return "hold"
    if _asks_code(dialogue):
        return "turn"
    if danger.foot:
        return "foot"
    asked = any(said.to != "tech" for said in prompt)
    his = dialogue.whose() == "helper" or _reads_back(dialogue)
    return "turn" if asked and his else "wait"


def _reads_back(dialogue: Dialogue) -> bool:
    """Whether a reading of the helper's waits for a "check" that he may say."""
    return dialogue.pending is not None and dialogue.pending.who == "helper"


def _asks_code(dialogue: Dialogue) -> bool:
    """Whether the helper is asked who he is."""
    return dialogue.asking == "code" and dialogue.whose() == "helper"


def presses(dialogue: Dialogue, word: str) -> bool:
    """Whether the cab asks for a press that nobody's "clear" came before: hands may be below."""
    return word == "turn" and not dialogue.asking and _moves_untold(dialogue)


def _moves_untold(dialogue: Dialogue) -> bool:
    """Whether the helper is to press where somebody may still be under the truck."""
    return dialogue.pressing and not dialogue.danger().key


def safe_word(danger: Danger) -> str:
    """What a cab shows that has lost its link: the foot stays as it is."""
    return "hold" if danger.pedal or danger.held else "wait"


def cab_answers(dialogue: Dialogue, word: str) -> list[dict[str, str]]:
    """The large touches: each the words that it says, and its label."""
    if dialogue.finished:
        return []
    danger, allowed = dialogue.danger(), dialogue.allowed()
    meanings: tuple[str, ...] | None = _CAB_ANSWERS.get(word)
    if word == "stop":
        ready = ("ready",) if "ready" in allowed else ()
        foot = ("released", "holding") if danger.pedal else ("foot_off",)
        meanings = (*ready, *foot, "repeat")
    elif word == "turn" and _reads_back(dialogue):
        meanings = ("check", "no", "stop")
    elif word == "turn" and "sound" in allowed:
        meanings = ("sound", "not_sound", "stop")
    elif word == "turn" and "done" in allowed and dialogue.whose() == "helper":
        meanings = ("done", "stop")
    elif meanings is None:
        # Where both are asked, the foot tells that he is there as well.
        off = "foot_off" in allowed or (danger.foot and not _asks_code(dialogue))
        wanted = "foot_off" if off else "ready" if "ready" in allowed else "repeat"
        meanings = (wanted, "stop")
    return _answers(dialogue, meanings)


def bench_answers(dialogue: Dialogue) -> list[dict[str, str]]:
    """Touches of the technician: what is taken now, then "again" and "stop"."""
    if dialogue.finished:
        return []
    now = dialogue.allowed()
    meanings = [m for m in _BENCH_ANSWERS if m in now or m in _ALWAYS]
    if dialogue.whose() == "helper":
        meanings = [m for m in meanings if m in _ALWAYS or m in ("carry_on", "let_up", "clear")]
    return _answers(dialogue, meanings)


def _answers(dialogue: Dialogue, meanings: Iterable[str]) -> list[dict[str, str]]:
    names = words_of()
    return [
        {
            "means": meaning,
            "words": dialogue.dialogs.words[meaning].phrases[0],
            "label": names.say(f"answer.{meaning}"),
        }
        for meaning in meanings
    ]


def cab_view(
    dialogue: Dialogue, broken: Broken | None = None, warned: bool = True
) -> dict[str, Any]:
    """All that a cab shows; of a `broken` job that the foot stays as it is.

    `warned`: whether the technician was shown that the pedal will move; no press is asked before.
    """
    names = words_of()
    if broken is not None:
        safe = "hold" if broken.down else "wait"
        return {
            "word": "stop",
            "shown": names.say("word.stop"),
            "line": names.say("broken.cab"),
            "answers": [],
            "asks": "",
            "label": "",
            "unit": "",
            "safe": safe,
            "safe_shown": names.say(f"word.{safe}"),
            "finished": False,
        }
    prompt = dialogue.prompt()
    word = cab_word(dialogue, prompt)
    held = not warned and presses(dialogue, word)
    word = "wait" if held else word
    safe = safe_word(dialogue.danger())
    asks = dialogue.expects() if word == "turn" and dialogue.pending is None else ""
    unit = names.say(f"unit.{dialogue.units}") if asks else ""
    asks = "code" if word in ("turn", "stop") and _asks_code(dialogue) else asks
    return {
        "word": word,
        "shown": names.say(f"word.{word}"),
        "line": names.say("cab.unwarned") if held else _cab_line(dialogue, prompt, word),
        "answers": cab_answers(dialogue, word),
        "asks": asks,
        "label": names.say("cab.code" if asks == "code" else "cab.say"),
        "unit": unit,
        "safe": safe,
        "safe_shown": names.say(f"word.{safe}"),
        "finished": dialogue.finished,
    }


def _cab_line(dialogue: Dialogue, prompt: Sequence[Said], word: str) -> str:
    """What the helper is told beside the word: in a stop what he was told of his foot, and what he
    is asked; else what he is asked, or what he goes on doing. What is the technician's to say is
    not shown as his."""
    his = ("helper", "both") if word == "turn" or _asks_code(dialogue) else ("helper",)
    told = [said.text for said in prompt if said.to in his]
    meanwhile = dialogue.meanwhile()
    stands = [meanwhile.text] if meanwhile is not None else []
    if word == "stop":
        told = [*stands, *told]
    else:
        told = (told if dialogue.asking else told[-1:]) or stands
    return printable(" ".join(told)) or words_of().say(f"line.{word}")


_HEAD = re.compile(r"(\d[^:.]*(?:\.\d[^:.]*)*)[.:] ")
MOST_FIGURE = 24
"""Signs that still read at two metres."""


def figure(dialogue: Dialogue, prompt: Sequence[Said]) -> str:
    """What must read at two metres: a value that waits for its check, else the number that the
    prompt begins with ("5 lugs tighter"), else nothing."""
    if dialogue.pending is not None:
        return printable(dialogue.pending.figures)
    found = _HEAD.match(prompt[-1].text) if prompt else None
    return printable(found[1]) if found and len(found[1]) <= MOST_FIGURE else ""


def bench_view(
    dialogue: Dialogue,
    heard: dict[str, str],
    last: dict[str, str],
    broken: Broken | None = None,
) -> dict[str, Any]:
    """All that a bench shows; `heard` is the last utterance: who, words; `last` the last reading:
    its words, and as what it was understood."""
    if broken is not None:
        label = words_of().say("answer.again")
        return {
            "now": printable(broken.line),
            "figure": "",
            "warn": "",
            "word": "stop",
            "shown": words_of().say("word.stop"),
            "down": broken.down,
            "heard": {},
            "last": {},
            "answers": [{"means": "again", "words": label, "label": label}],
            "finished": False,
        }
    prompt = dialogue.prompt()
    mine = [said for said in prompt if said.to != "helper"]
    word, say = cab_word(dialogue, prompt), words_of().say
    moves = word in ("press", "release") or (not dialogue.asking and _moves_untold(dialogue))
    now, down = str(say("bench.helper_first")), dialogue.danger().down
    now = printable(mine[-1].text) if mine else now
    now = str(say("bench.helper_code")) if _asks_code(dialogue) and not down else now
    return {
        "now": now,
        "figure": figure(dialogue, mine),
        "warn": say("bench.pedal_moves") if moves and not dialogue.stopped else "",
        "word": word,
        "shown": say(f"word.{word}"),
        "down": down,
        "heard": {key: printable(value) for key, value in heard.items()},
        "last": {key: printable(value) for key, value in last.items()},
        "answers": bench_answers(dialogue),
        "finished": dialogue.finished,
    }


def _line(said: Said) -> dict[str, str]:
    data = said.as_data()
    return {**data, "text": printable(said.text)}


def lines(said: Iterable[Said], to: str) -> list[dict[str, str]]:
    """What was just said, for the screen of "tech" or "helper"."""
    return [_line(one) for one in said if one.to in (to, "both")]
