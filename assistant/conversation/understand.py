"""Words made comparable: case, punctuation, a leading "okay"."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

from rapidfuzz import fuzz, process

from assistant.act import Act
from assistant.job import words as said_words
from assistant.job.asides import LONG
from assistant.job.job import Job
from assistant.readings import Reading, read
from assistant.readings.settle import capital
from assistant.sentences import DialogError
from assistant.texts.dialogs import Dialogs, Meaning

_PUNCTUATION = re.compile(r"[^\w\s'/.\-+½¼¾⅛⅜⅝⅞\"]+|[.\-](?=\s|$)")
_SPACES = re.compile(r"\s+")
_LEAD = re.compile(
    r"^(?:(?:okay|ok|all right|alright|right|uh|um|er|hey|well|so|and|yeah|yes|now)\s+)+(?=\S)"
)
_NEGATION = re.compile(
    r"\b(?:not|no|never|nothing|cannot|without|un|\w+n't"
    r"|isnt|doesnt|wont|cant|dont|didnt|aint|wasnt|arent|hasnt|havent|wouldnt|couldnt)\b"
)
_UN = re.compile(r"\b(?:un|in|non|dis)(\w{3,})")
_REPEATED = re.compile(r"(.)\1+")
_SPELLED = re.compile(r"^(?:\w ){2,}\w$")


def normal(words: str) -> str:
    """Lower case, without punctuation, single spaces."""
    text = words.replace("’", "'").lower()
    return _SPACES.sub(" ", _PUNCTUATION.sub(" ", text)).strip()


def without_lead(text: str) -> str:
    """The same without "okay", "uh" and the like before it."""
    return _LEAD.sub("", text)


_OPPOSITES = (("in", "out"), ("on", "off"), ("up", "down"), ("press", "release"))


def turned_round(text: str, phrase: str) -> bool:
    """Whether `text` says the opposite: "unsound" for "sound", "hands in" for "hands out"."""
    said = set(phrase.split())
    heard = set(text.split())
    for a, b in _OPPOSITES:
        if (a in heard and b in said) or (b in heard and a in said):
            return True
    return any(m[1] in said and m[0] not in said for m in _UN.finditer(text))


def squeezed(text: str) -> str:
    """For finding a shouted word: "stopppp" and "s t o p" are "stop"."""
    if _SPELLED.match(text):
        text = text.replace(" ", "")
    return _REPEATED.sub(r"\1", text)


def negated(text: str) -> bool:
    """Whether the words deny something: "not clear" must never pass for "clear"."""
    return bool(_NEGATION.search(text))


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


def complaint(short: str, meant: str, who: str, job: Job) -> Act | None:
    """The act, or None when the words name no complaint, or are better taken for something else.

    At the function check, words like "it grinds into gear" say that it is not sound.

    Args:
        short: the words, normal, without a lead.
        meant: what their exact phrase means, or "".
        who: who said them.
        job: where it stands.
    """
    if job.facts.hold != "up":
        return Act("complaint", who) if meant == "complaint" else None
    step = job.step
    trial = step is not None and step.kind == "sound" and step.phase == "final"
    if meant == "not_sound" and "not_sound" in job.allowed() and not trial:
        return None
    if meant not in ("", "complaint", "not_sound") or (
        meant == "" and not _COMPLAINT_LEAD.match(short)
    ):
        return None
    try:
        named = names(short)
    except DialogError:
        return None
    if trial and not _QUESTION.match(short) and (named or meant == "not_sound"):
        return Act("not_sound", who, text=" ".join(named))
    if named or meant == "complaint":
        return Act("complaint", who, text=" ".join(named) or _reasons(short))
    return None


def names(text: str) -> list[str]:
    """Ids of the complaints that normal words name, unless they deny them.

    Raises:
        DialogError: the table of causes is damaged.
    """
    from assistant.causes.table import load_table

    return [] if denied(text) else load_table().heard_in(text)


def denied(text: str) -> bool:
    """Whether the words deny a complaint: "it doesn't slip"; "no free travel" and "does not
    release" are complaints themselves."""
    return negated(text) and not any(w in text for w in ("free travel", "free play", "releas"))


def _reasons(short: str) -> str:
    from assistant.causes.table import load_table

    return LONG if short in load_table().reasons else ""


# --- Words and speaker to one act: stop first, then exact phrases, readings, and likeness last.
#
# Likeness (rapidfuzz) is tried only among what can be said at this step, never for the words that
# move a pedal, and never across a "not". Below the threshold we ask.

LIKE = 86.0
"""Likeness (0 to 100) from which a phrase counts. Set on the misheard list in the tests."""
MAYBE = 68.0
"""Likeness from which it is worth asking "did you mean"."""

_NAMES: tuple[tuple[str, str], ...] = (
    ("fork clearance", "clearance"),
    ("clearance", "clearance"),
    ("free travel", "free-travel"),
    ("free play", "free-travel"),
    ("free pedal", "free-travel"),
    ("pedal height", "pedal-height"),
    ("total travel", "total-travel"),
    ("stroke", "total-travel"),
    ("brake contact", "brake-contact"),
    ("contact height", "brake-contact"),
    ("odometer", "odometer"),
    ("mileage", "odometer"),
    ("gap", "gap"),
    ("lugs", "lugs"),
    ("lug count", "lugs"),
)
_NOT_AS_A_QUESTION = frozenset(
    {"holding", "clear", "released", "let_up", "done", "ready", "sound", "repaired", "check"}
)
_UNIT_ANSWER = re.compile(
    r"^(?:in |it's |they're |that's )?(thou|thousandths|millimetres|millimeters|mm|inch|inches|"
    r"thirty[- ]?seconds|sixteenths|sixty[- ]?fourths|eighths)$"
)
_NEITHER = frozenset(
    {"neither", "neither one", "neither of them", "none", "none of them", "no", "nope", "wrong"}
)
_NO_PART = frozenset({"", "a", "an", "and", "or", "inch", "inches"})
_MIL = re.compile(r"\bmil(?:l)?s?\b")
_CORRECT = re.compile(r"^(?:correction|correct|change|make) (?:that |it |the |my )?(?P<rest>.+)$")
_NOTE = re.compile(
    r"^\W*(?:make a note|take a note|note that|note)\b[\s:,]*(?P<rest>.*)$", re.I | re.S
)
_ACCEPT = re.compile(
    r"^(?:accept(?: it| that)?|leave it)[\s,]*(?:because|since|as)?[\s,]*(?P<rest>.+)$"
)
_SIGN = re.compile(
    r"^(?:sign off|signing off|signed off|sign it off)[\s,]*(?:code|by|number)?\s*(?P<rest>.+)$"
)
_LOOSER = re.compile(r"\b(?:looser|loosened|loose|backed|back|backwards|wrong way)\b")
_TIGHTER = re.compile(r"\b(?:tighter|tightened|tight)\b")


@dataclass(frozen=True, slots=True)
class Question:
    """Nothing was acted on: what to ask back. `reading` is kept for the answer ("thousandths")."""

    reply: str
    fields: dict[str, str]
    reading: Reading | None = None


def understand(
    words: str, who: str, job: Job, dialogs: Dialogs, asked: tuple[str, Reading] | None = None
) -> Act | Question:
    """The act in `words`, or the question to ask back.

    Args:
        words: as typed or recognized.
        who: "tech" or "helper".
        job: where the job stands: what can be said now.
        dialogs: the phrases.
        asked: the words and reading of the last question about a reading, if it was one.
    """
    text = normal(words)
    asks = words.rstrip().endswith("?")
    stop = dialogs.words["stop"]
    if _is_stop(text, stop):
        return Act("stop", who)
    if who == "helper" and job.facts.hold != "up" and _is_lost(text, dialogs.words["lost"]):
        if asks or text.startswith(("can i ", "should i ", "may i ")):
            return Question("hold_standing", {})
        return Act("lost", who)
    danger = job.facts.hold != "up" or job.key_above()
    if danger and _alarms(text, who, job, stop):
        return Act("stop", who)
    if (
        who == "helper"
        and job.pressing_is_danger()
        and _holds(text, dialogs.words["holding"].anywhere)
    ):
        return Act("holding", who)  # "pressing now", while hands may be in the hole
    if not text:
        return Act("unclear", who)
    short = without_lead(text)
    special = _with_rest(words, short, asks, who, job)
    if special is not None:
        return special
    meant = _step_answer(text, short, job) or _exact(text, short, who, job, dialogs)
    complained = complaint(short, meant, who, job) if meant else None
    if complained is not None:
        return complained
    if meant and asks and meant in _NOT_AS_A_QUESTION:
        return Question("did_you_mean", {"phrase": short})  # "clear?" is no "clear"
    if meant and (not job.expects() or _fits(meant, job, dialogs)):
        return Act(meant, who)
    # "on the floor" is the helper's word for holding, and a reading at another step.
    found = _reading(words, text, who, job, asked)
    if found is not None:
        return found
    if meant:
        return Act(meant, who)
    return complaint(short, meant, who, job) or _like(short, who, job, dialogs)


def _fits(meaning: str, job: Job, dialogs: Dialogs) -> bool:
    """Whether a meaning can be said now."""
    return meaning in job.allowed() or dialogs.words[meaning].anytime


def _is_stop(text: str, stop: Meaning) -> bool:
    text = re.sub(r"[^a-z']+|(?<![a-z])'|'(?![a-z])", " ", text).strip()
    if text in stop.phrases or text in stop.excepted:
        return True  # a bare "stop bolt" may well be a shout at the man on the pedal
    for phrase in stop.excepted:
        text = text.replace(phrase, " ")
    heard = {squeezed(text), *(squeezed(word) for word in text.split())}
    return any(squeezed(word) in heard for word in stop.anywhere)


def _alarms(text: str, who: str, job: Job, stop: Meaning) -> bool:
    """Whether the words, while the pedal may be down, are better taken for a stop.

    Once the release is called, a technician who says no, or hold, wants it stopped.
    """
    if who == "tech" and job.state == "ring_release" and text in ("no", "hold", "nope", "no no"):
        return True
    if text in ("hands clear", "hands are out", "hands out"):
        return False
    return any(re.search(rf"\b{re.escape(phrase)}\b", text) for phrase in stop.in_hold)


def _holds(text: str, phrases: tuple[str, ...]) -> bool:
    """Whether any phrase stands in the words, and the words do not deny it."""
    return not negated(text) and any(phrase in text for phrase in phrases)


def _is_lost(text: str, lost: Meaning) -> bool:
    """Whether the helper says that the pedal is going, in any words that hold such a phrase."""
    if not any(phrase in text for phrase in lost.anywhere):
        return False
    return not re.search(
        r"\b(?:not|never|isn't|isnt|won't|wont|don't|dont|no longer|stopped) "
        r"(?:slip|coming|losing|let)",
        text,
    )


def _with_rest(words: str, short: str, asks: bool, who: str, job: Job) -> Act | None:
    """Meanings that carry words of their own: note, accept why, sign off code, correct which."""
    m = _NOTE.match(words)
    if m is not None:
        return Act("note", who, text=m["rest"].strip())
    m = _ACCEPT.match(short)
    if (
        m is not None
        and not asks
        and not negated(m["rest"])
        and (job.choice or "accept" in job.allowed())
    ):
        return Act("accept", who, text=m["rest"].strip())
    m = _SIGN.match(short)
    if m is not None and not asks and _is_code(m["rest"]):
        return Act("sign_off", who, text=_code(m["rest"]))
    m = _CORRECT.match(short)
    if m is not None:
        return _correction(m["rest"], who, job)
    return None


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


def _correction(rest: str, who: str, job: Job) -> Act | None:
    quantity = ""
    for name, key in _NAMES:
        if name in rest:
            quantity = key
            rest = re.sub(r"^\s*(?:to|is|was|at|should be)\b", "", rest.split(name, 1)[1]).strip()
            break
    else:
        rest = re.sub(r"^(?:that )?to\b", "", rest).strip()
    waiting = job.pending.quantity if job.pending is not None else ""
    target = quantity or waiting or job.correcting or job.last_quantity()
    if not target:
        return Act("correct", who)
    card = job.facts.card
    reading = read(rest, target, card.units, card.distance)
    if reading.status == "read":
        data = as_data(reading)
        if waiting and target == waiting and not job.correcting:
            return Act("reading", who, data, way=_way(rest))
        return Act("correct", who, data, target, way=_way(rest))
    if quantity:
        return Act("correct", who, quantity=quantity)
    return None


def _exact(text: str, short: str, who: str, job: Job, dialogs: Dialogs) -> str:
    """The meaning whose phrase this is, those of this step before those of any time."""
    allowed = job.allowed()
    if text == "correct" and "check" in allowed:
        return "check"
    order = [*allowed, *(k for k, m in dialogs.words.items() if m.anytime)]
    order += [k for k in dialogs.words if k not in order]
    for said in dict.fromkeys((text, short)):
        hits = [k for k in order if said in dialogs.words[k].phrases]
        for key in hits:
            if dialogs.words[key].who in ("any", who):
                return key
        if hits:
            return hits[0]
    return ""


def _step_answer(text: str, short: str, job: Job) -> str:
    """The meaning of a phrase that answers just this step ("chocks are in")."""
    step = job.step
    if step is None or job.pending is not None or not ({text, short} & set(step.answers)):
        return ""
    return {"sound": "sound", "act": "ready" if step.id == "helper_ready" else "done"}.get(
        step.kind, "done"
    )


def _way(text: str) -> str:
    return "looser" if _LOOSER.search(text) else "tighter" if _TIGHTER.search(text) else ""


def as_data(reading: Reading) -> dict[str, object]:
    """The fields of a reading that the record keeps."""
    return {
        "value_in": reading.value_in,
        "low_in": reading.low_in,
        "high_in": reading.high_in,
        "count": reading.count,
        "kind": reading.kind,
        "readback": reading.readback,
        "figures": reading.figures,
    }


def _reading(
    words: str, text: str, who: str, job: Job, asked: tuple[str, Reading] | None
) -> Act | Question | None:
    expected = job.expects()
    if not expected:
        stray = read(words, "")
        if stray.status == "read" and job.pending is None:
            return Question("not_reading_now", {"hint": job.prompt()[-1].text})
        return None
    named = [key for name, key in _NAMES if name in text]
    card = job.facts.card
    if asked is not None and len(asked[1].choices) > 1 and text in _NEITHER:
        return Question("say_again", {})
    answered = _answer(text, asked, expected, job)
    reading = answered or read(words, expected, card.units, card.distance)
    if reading.status != "read" and asked is not None:
        reading = _part_of_one(text, asked[1].choices) or reading
    if reading.status == "none":
        return None
    if named and expected not in named and reading.status == "read":
        return Question(
            "other_quantity",
            {"named": said_words.spoken(named[0]), "quantity": said_words.spoken(expected)},
        )
    if reading.status == "read":
        return Act("reading", who, as_data(reading), way=_way(text))
    return Question("ask_reading", {"question": reading.why}, reading)


def _answer(
    text: str, asked: tuple[str, Reading] | None, expected: str, job: Job
) -> Reading | None:
    """A reply to "thousandths or millimetres?": the unit joins the number said before."""
    if asked is None:
        return None
    words, question = asked
    card = job.facts.card
    unit = _UNIT_ANSWER.match(text)
    if unit:
        joined = read(f"{_MIL.sub('', words)} {unit[1]}", expected, card.units, card.distance)
        return joined if joined.status == "read" else None
    if (
        text in ("yes", "check", "yep", "yeah", "that's right", "right")
        and len(question.choices) == 1
    ):
        return question.choices[0]
    ordinal = re.match(r"^(?:the )?(first|second|third|last)(?: one)?$", text)
    if ordinal and question.choices:
        at = {"first": 0, "second": 1, "third": 2, "last": -1}[ordinal[1]]
        if at < len(question.choices):
            return question.choices[at]
    return None


def _part_of_one(text: str, choices: tuple[Reading, ...]) -> Reading | None:
    """The choice that the words are a part of ("nine"), when they are part of no other."""
    if text in _NO_PART:
        return None
    within = [c for c in choices if f" {text} " in f" {c.readback} "]
    return within[0] if len(within) == 1 else None


def _like(text: str, who: str, job: Job, dialogs: Dialogs) -> Act | Question:
    allowed = job.allowed()
    phrases: dict[str, str] = {}
    for key, meaning in dialogs.words.items():
        if key == "lost":
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
        return Question("did_you_mean_two", {"first": best, "second": others[0]})
    if score < LIKE or dialogs.words[key].exact:
        return Question("did_you_mean", {"phrase": best})
    return Act(key, who, text=" ".join(names(best)) if key == "complaint" else "")


# --- Speech that was not taken: what to ask, so that the next try succeeds.
#
# Lost once, people say the same again, only louder; so the second time they are told of another
# way: digits one by one, which sound less alike than fractions do.

_LONG = ("pedal-height", "total-travel")


class Missed:
    """How often in a row nothing was understood, and where."""

    def __init__(self) -> None:
        self._at = ""
        self._times = 0

    def forget(self) -> None:
        """Something was understood."""
        self._times = 0

    def again(self, job: Job, dialogs: Dialogs) -> Question:
        """ "Say again", and from the second time on at the same step another way to say it."""
        self._times = self._times + 1 if self._at == job.state else 1
        self._at = job.state
        if self._times == 1:
            return Question("say_again", {})
        example = _example(job)
        if not example or job.pending is not None or job.choice:
            return Question("again", {"hint": job.prompt()[-1].text})
        return Question("spell_it", {"example": dialogs.say(example)})


def _example(job: Job) -> str:
    """The reply that shows how the quantity asked for is spelled, or ""."""
    quantity, metric = job.expects(), job.facts.card.units == "mm"
    if quantity in ("", "lugs"):
        return ""
    if quantity == "odometer":
        return "spelled_miles"
    long = "_long" if quantity in _LONG else ""
    return f"spelled{long}{'_mm' if metric else ''}"


def which(ear: dict[str, Any], who: str, job: Job, dialogs: Dialogs) -> Question | None:
    """The question between the two likeliest meanings, or None when there are no two.

    Readings are chosen between by "first" or "nine"; a command that is meant is said again whole.

    Args:
        ear: `alternatives` holds what may have been said, the likeliest first: texts, or objects
            with the text as `words`.
        who: "tech" or "helper".
        job: where it stands: which quantity is asked for.
        dialogs: the phrases.
    """
    found: dict[object, tuple[str, Reading | None]] = {}
    for alternative in ear.get("alternatives", ()):
        text = alternative.get("words", "") if isinstance(alternative, dict) else alternative
        got = understand(str(text), who, job, dialogs)
        if not isinstance(got, Act) or got.meaning == "unclear":
            continue
        reading = _reading_of(str(text), job) if got.meaning == "reading" else None
        key = (reading.value_in, reading.count, got.way) if reading else (got.meaning, got.text)
        found.setdefault(key, (reading.readback if reading else str(text), reading))
    if len(found) < 2:
        return None
    (first, one), (second, other) = list(found.values())[:2]
    if one is None or other is None or job.expects() == "lugs":  # a count comes with its direction
        return Question("did_you_mean_two", {"first": first, "second": second})
    why = f"{capital(first)} or {second}?"
    asked = Reading("ask", job.expects(), why=why, choices=(one, other))
    return Question("which_of_two", {"first": capital(first), "second": second}, asked)


def _reading_of(text: str, job: Job) -> Reading:
    card = job.facts.card
    return read(text, job.expects(), card.units, card.distance)
