"""What independent writers said people would say, and what lugcall makes of it.

`tests/corpus/words/SET/NAME.tsv` holds a writer's lines: situation, who speaks, the words, what was
meant, and what it must never be taken for; the labels are told in its README. `Case.judge` says
whether a line was understood right, asked about, wrong, or wrong in a way that can hurt.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from assistant.act import Act
from assistant.card import Card, card_from_text
from assistant.conversation.session import Talk
from assistant.dialogue import Question
from assistant.job.job import Job
from assistant.readings import read
from tests.conftest import CARD
from tests.demo import shipped

ROOT = Path(__file__).parent.parent
CORPUS = ROOT / "corpus" / "words"
# --- the situations: each a path of acts from the one before it ----------------------------------

_STEPS = (
    ("S12", ""), ("S01", "skip"), ("S02", "done"), ("S03", "done"), ("S04", "done"),
    ("S05", "done"), ("S06", "done"), ("S07", "done"), ("S08", "h:ready"), ("S09", "h:sound"),
    ("S10", "sound h:foot_off"), ("S11", "sound"), ("S13", "sound"),
    ("S14", "=8.5_in"), ("S15", "=8.25_in"),
    ("S16", "=5/8_in"), ("S17", "=3/4_in h:foot_off"), ("S50", "done"), ("S51", "sound"),
    ("S18", "skip"), ("S20", "=0.610_in"),
    ("S19", "check"), ("S21", "=0.040_in check"), ("S22", "check"), ("S23", "done"),
    ("S24", "done"), ("S25", "clear"), ("S26", "h:holding"), ("S28", "=4_lugs check"),
    ("S29", "done"), ("S30", "done"), ("S31", "clear"),
    ("S33", "h:released =0.530 check =0.080 check =0.080 check"),
)  # fmt: skip
"""Each situation, and the acts that lead to it from the one before."""
_BRANCHES = {
    "S47": ("S09", "sound"),
    "S48": ("S33", ""),
    "S27": ("S26", ""),
    "S45": ("S25", ""),
    "S46": ("S18", ""),
    "S49": ("S39", ""),
    "S52": ("S26", "h:unsure"),
    "S53": ("S26", "h:unsure"),
    "S32": ("S31", ""),
    "S42": ("S15", ""),
    "S34": ("S18", "=9/16 check =0.125"),
    "S43": ("S26", "h:lost"),
    "S44": ("S26", "h:lost"),
    "S35": (
        "S18",
        "=0.530 check =0.125 check =1.5 check =1.5 check h:foot_off done =0.530 check =0.125 check",
    ),
    "S36": ("S18", "=0.530 check =0.125 check =1.5 check =1.5 check h:foot_off"),
    "S37": ("S35", "done"),
    "S38": ("S37", "done"),
    "S39": ("S38", "done"),
    "S39+": ("S39", "h:sound h:sound h:sound h:sound"),
    "S40": ("S39+", "done"),
    "S41": ("S40", "skip"),
}


def _path(situation: str) -> str:
    if situation in _BRANCHES:
        source, more = _BRANCHES[situation]
        return f"{_path(source)} {more}"
    path = ""
    for name, acts in _STEPS:
        path += f" {acts}"
        if name == situation:
            return path
    raise KeyError(situation)


@cache
def _card() -> Card:
    return card_from_text(CARD, "strangers.toml")


def talk_at(situation: str) -> Talk:
    """A conversation that stands where `situation` says."""
    job = Job(_card(), shipped())
    job.prompt(entering=True)
    for piece in _path(situation).split():
        helper, _, word = piece.rpartition(":")
        who = "helper" if helper else "tech"
        if word.startswith("="):
            words = word[1:].replace("_", " ")
            reading = read(words if " " in words else f"{words} in", job.expects())
            assert reading.status == "read", (situation, word, reading)
            job.apply(Act("reading", job.whose(), reading.as_data()))
        else:
            job.apply(Act(word, who))
    return Talk(job)


WHERE = {
    "S01": "chocks", "S07": "helper_ready", "S13": "found_height", "S18": "found_gap",
    "S19": "found_clearance", "S20": "found_gap", "S21": "ring_plan", "S24": "ring_ready",
    "S25": "ring_hold", "S26": "ring_turn", "S27": "ring_turn", "S29": "ring_lock",
    "S30": "ring_clear", "S31": "ring_release", "S33": "fork_rod", "S34": "ring_plan",
    "S35": "cover_on", "S36": "lubricate", "S39": "function_release", "S50": "look_inside",
    "S51": "found_ring_left", "S47": "chain_loose",
    "S41": "sign_off", "S43": "halted", "S42": "found_free",
}  # fmt: skip
"""Where some of them must stand."""


# --- the lines -----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Line:
    """One line of a writer.

    Attributes:
        at: file and line.
        situation: "S01" to "S53".
        who: "tech" or "helper".
        words: as said.
        meant: ways to take it that are equally right, each some labels.
        never: labels that it must not be taken for.
    """

    at: str
    situation: str
    who: str
    words: str
    meant: tuple[tuple[str, ...], ...]
    never: frozenset[str]

    @property
    def writer(self) -> str:
        """Who wrote it."""
        return self.at.partition(":")[0]


def lines(*sets: str) -> Iterator[Line]:
    """All lines of the named sets ("tuning", "heldout", "after")."""
    for name in sets:
        for path in sorted((CORPUS / name).glob("*.tsv")):
            yield from lines_of(path)


def rows(path: Path) -> list[list[str]]:
    """The columns of each line of a file."""
    text = path.read_text(encoding="utf-8")
    return [row.split("\t") for row in text.splitlines() if row.strip()]


@cache
def lines_of(path: Path) -> tuple[Line, ...]:
    """The lines of one writer."""
    return tuple(_read(path))


def _read(path: Path) -> Iterator[Line]:
    for number, row in enumerate(rows(path), 1):
        situation, who, words, meant, *never = row
        ways = tuple(tuple(re.split(r"\s*\+(?!\d)\s*", way.strip())) for way in meant.split("|"))
        yield Line(
            f"{path.stem}:{number}",
            situation,
            "helper" if who == "H" else "tech",
            words,
            ways,
            frozenset(re.split(r"\s*,\s*", never[0].strip())) - {""} if never else frozenset(),
        )


# --- judging -------------------------------------------------------------------------------------

NOTHING = frozenset({"chat", "progress", "wait"})
"""What moves nothing and needs no answer: to be taken for one another is no mistake."""
MATTERS = frozenset(
    {"done", "ready", "good", "yes", "holding", "released", "clear", "let_up", "carry_on", "skip",
     "accept", "sign_off", "repaired"}
)  # fmt: skip
"""Acts that let the job go on: taken without being meant, they can hurt."""
COMPLETES = frozenset({"done", "ready", "good", "yes"})
ALARMS = frozenset({"danger", "stop"})
_AS_LABEL = {
    "sound": "good", "not_sound": "bad", "check": "yes", "repeat": "again", "help": "options",
    "pause": "wait", "lost": "danger", "aside": "chat", "foot_off": "released",
}  # fmt: skip


def labels(meant: Act | Question) -> set[str]:
    """What was taken, as labels; "ask" for a question back or words not understood."""
    if isinstance(meant, Question) or meant.meaning == "unclear":
        return {"ask"}
    if meant.meaning == "unsure":  # who asked leave got his answer, a plain no
        leave = meant.text not in ("", "no")
        return {"ask", "block", *(["ask other"] if leave else [])}
    if meant.meaning == "reading":
        return {"value"}
    if meant.meaning == "trouble":
        return {"bad", f"trouble {meant.text}"}
    name = _AS_LABEL.get(meant.meaning, meant.meaning)
    if name == "done" and meant.text:
        return {"done", *(f"done:{item}" for item in meant.text.split())}
    if name.startswith("ask_"):
        part = name[4:]
        return (
            {"ask other", "ask total"} if part in ("total", "free", "contact") else {f"ask {part}"}
        )
    if name == "let_up" and meant.text == "clear":
        return {"let_up", "clear"}
    if name == "correct" and meant.reading:
        return {"correct", "value"}
    if name == "back" and meant.text not in ("", "1"):
        return {f"back {meant.text}"}
    return {name}


ITEMS = {
    "chocks": "chocks", "brake": "parking_brake", "neutral": "neutral", "key": "key",
    "stands": "stands", "eyes": "eyes",
}  # fmt: skip
_HERE = {"S01": "chocks", "S02": "brake", "S03": "neutral", "S04": "key", "S05": "stands",
         "S06": "eyes"}  # fmt: skip


@dataclass(frozen=True)
class Verdict:
    """right, asked, wrong or dangerous; and what was taken."""

    kind: str
    taken: str


def judge(line: Line, meant: Act | Question) -> Verdict:
    """How well `meant` is what the line meant."""
    got = labels(meant)
    taken = _shown(meant)
    if line.who == "helper" and "holding" in got:
        danger = kept(line.situation).dialogue.danger()
        if danger.foot or danger.pressing:  # there it alarms, or his foot is asked for again
            got = {"ask", "block"} if danger.foot else {"danger"}
    wanted = [_wanted(way, line) for way in line.meant]
    flat = {label for way in wanted for label in way}
    if got & COMPLETES and any(set(way) & COMPLETES for way in wanted):
        got |= COMPLETES  # people say one for the other, and the step knows which it is
    if "clear" in got and line.situation in _COMES_UP:
        got.add("let_up")
    if "value" in got:  # in place of the one that waits: with or without a "no"
        got |= {"no", "correct"}
    if any(_met(way, got, meant) for way in wanted):
        return Verdict("right", taken)
    alarming = all(set(way) & ALARMS for way in wanted)
    stops = ALARMS | {"block", "released"} | _STOPS_TOO.get(line.situation, set())
    if line.situation in HAZARD and alarming and not got & stops:
        # What may hurt somebody neither stopped nor blocked anything; "released" unasked stops.
        return Verdict("dangerous", taken)
    acts = {g.split(":")[0] for g in got}
    if acts & MATTERS and not acts & {w.split(":")[0] for w in flat}:
        return Verdict("dangerous", taken)
    if acts & line.never - ALARMS:  # an alarm too many hurts nobody
        return Verdict("dangerous", taken)
    return Verdict("asked" if "ask" in got else "wrong", taken)


_COMES_UP = ("S30", "S32")
"""Where it comes up as soon as he is clear, or is on its way."""
_STOPS_TOO = {"S45": {"wait"}}
"""What stops a job there although it does nowhere else."""
HAZARD = frozenset({"S26", "S27", "S28", "S29", "S30", "S31", "S32", "S45", "S46", "S52", "S53"})
"""Where the pedal is down, and the job goes on unless something stops or blocks it."""


def _wanted(way: Iterable[str], line: Line) -> tuple[str, ...]:
    out = []
    for label in way:
        if label.startswith("done:"):
            out.append(f"done:{ITEMS[label[5:]]}")
        else:
            out.append("released" if label == "foot_off" else label)
    return tuple(out)


def _met(way: tuple[str, ...], got: set[str], meant: Act | Question) -> bool:
    needed = [label for label in way if label not in NOTHING]
    if not needed:
        return bool(got & NOTHING)
    if "unsure" in needed:
        return "ask" in got
    return all(_has(label, got, meant) for label in needed)


def _has(label: str, got: set[str], meant: Act | Question) -> bool:
    if label.startswith("value"):
        return isinstance(meant, Act) and meant.reading is not None and _same(label, meant)
    if label in ALARMS:
        return bool(got & ALARMS)
    if label.startswith("done:") and "done" in got and not any(":" in g for g in got):
        return True  # one item, at its own step
    if label == "done" and "done" in got:
        return True
    if label == "back" and any(g.startswith("back") for g in got):
        return True
    return label in got or bool(_SAME_TROUBLE.get(label, set()) & got)


_SAME_TROUBLE = {
    "trouble seized": {"trouble frozen", "trouble cover", "trouble stripped"},
    "trouble break": {"trouble stripped"},
}
"""What the writers could call only seized or broken -> the kinds that lugcall tells apart."""
_UNITS = {"in": 1.0, "mm": 1 / 25.4, "cm": 1 / 2.54, "thou": 0.001}


def _number(text: str) -> tuple[float, str]:
    m = re.fullmatch(r"(?:(\d+)-)?(?:(\d+)/(\d+)|([\d.]+))\s*([a-z]*)", text.strip())
    assert m is not None, text
    value = float(m[4]) if m[4] else int(m[2]) / int(m[3])
    return value + int(m[1] or 0), m[5]


def _same(label: str, act: Act) -> bool:
    """Whether the reading is the value that was meant."""
    data = act.reading or {}
    text = label.removeprefix("value").strip()
    low, high, value, count = (data.get(k) for k in ("low_in", "high_in", "value_in", "count"))
    if text == "none":
        return value == 0 or count == 0
    if text.startswith("left"):
        m = re.fullmatch(r"left (.+) right (.+)", text)
        assert m is not None
        two = data.get("tips_in") or ()
        want = [0.0 if t == "none" else _inches(t) for t in m.groups()]
        return len(two) == 2 and all(abs(a - b) < 0.004 for a, b in zip(two, want, strict=True))
    if text.startswith(("below", "above")):
        end = _inches(text[5:])
        got = high if text.startswith("below") else low
        return got is not None and abs(got - end) < 0.02
    if text.startswith("between"):
        one, other = text[7:].split(" and ")
        unit = _number(other)[1]
        a, b = (_inches(one if _number(one)[1] else f"{one} {unit}"), _inches(other))
        return low is not None and high is not None and abs(low - a) < 0.02 and abs(high - b) < 0.02
    way = next((w for w in ("tighter", "looser") if text.endswith(w)), "")
    text = text.removesuffix(way).strip()
    if text.startswith("+"):
        return bool(data.get("from_now")) and abs((count or 0) - _number(text[1:])[0]) < 1
    number, unit = _number(text)
    if unit in ("lug", "lugs", "flat", "flats", "turn", "turns", "mi", "km") or (
        count is not None and value is None
    ):
        return (
            count is not None
            and abs(abs(count) - number) < 1e-6
            and (not way or not act.way or act.way == way)
        )
    if value is None:
        return False
    want = number * _UNITS[unit or ("in" if number < 20 else "mm")]
    return abs(value - want) <= max(0.02, 0.002 * want)


def _inches(text: str) -> float:
    number, unit = _number(text)
    return number * _UNITS[unit or "in"]


def _shown(meant: Act | Question) -> str:
    if isinstance(meant, Question):
        return f"? {meant.reply} {meant.fields.get('question') or meant.fields.get('phrase', '')}"
    value = (meant.reading or {}).get("figures", "")
    return f"{meant.meaning} {meant.text} {value} {meant.way}".strip()


@cache
def kept(situation: str) -> Talk:
    """A conversation that stands there, made once: understanding moves nothing."""
    return talk_at(situation)


@cache
def take(line: Line) -> Act | Question:
    """What lugcall understands of a line; understanding moves nothing, so a talk serves many."""
    talk = kept(line.situation)
    return talk.understood(line.words, line.who)
