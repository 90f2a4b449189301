"""What the index takes from an event, as msgspec decodes it: only these members are read.

A member of another type than here is not a fault: `loosely` then takes the same event as plain
JSON, where an odd value becomes nothing. Both give the same shapes, and the fold knows no others.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, Any

import msgspec
import orjson

from assistant.review.plain import number, table, text, whole

Count = Annotated[int, msgspec.Meta(gt=-(1 << 62), lt=1 << 62)]
Number = Annotated[float, msgspec.Meta(gt=-1e300, lt=1e300)]


class Said(msgspec.Struct, gc=False):
    """One thing lugcall said."""

    key: str
    text: str = ""
    to: str = ""
    signal: str = ""


class Act(msgspec.Struct, gc=False):
    """What words were taken for."""

    meaning: str
    text: str = ""


class Guess(msgspec.Struct, gc=False):
    """One alternative of the ears."""

    words: str = ""
    engines: list[Any] | None = None


class Ear(msgspec.Struct, gc=False):
    """How an utterance was heard; `seconds` of decoding."""

    mic: str
    decision: str = ""
    probability: Number | None = None
    seconds: Number | None = None
    alternatives: list[Guess] = []


class Judged(msgspec.Struct, gc=False):
    """A reading against its limits."""

    decision: str = ""
    probability: Number | None = None
    low_in: Number | None = None
    high_in: Number | None = None
    source: str = ""


class Taken(msgspec.Struct, gc=False):
    """A reading as it was kept; lengths in inches."""

    stage: str
    quantity: str
    who: str = ""
    value_in: Number | None = None
    low_in: Number | None = None
    high_in: Number | None = None
    count: Number | None = None
    kind: str = ""
    figures: str = ""
    judged: Judged | None = None
    accepted: str = ""


class Was(msgspec.Struct, gc=False):
    """A reading that was corrected, of which only the figures count."""

    figures: str = ""


class Corrected(msgspec.Struct, gc=False):
    """A reading put right: what it was, and what it is."""

    was: Was
    now: Taken = msgspec.field(name="is")


class Turn(msgspec.Struct, gc=False):
    """An utterance taken or asked back, or a silent act; `hold` is what the pedal came to."""

    step: str
    after: str
    who: str
    words: str
    said: list[Said]
    act: Act | None = None
    ear: Ear | None = None
    taken: Taken | None = None
    corrected: Corrected | None = None
    clip: dict[str, Any] | None = None
    ring: dict[str, Any] | None = None
    linkage: dict[str, Any] | None = None
    finding: dict[str, Any] | None = None
    hold: str | None = None


class Unheard(msgspec.Struct, gc=False):
    """Speech that was not taken."""

    step: str
    who: str
    said: list[Said]
    ear: Ear | None = None


class Card(msgspec.Struct, gc=False):
    """The card a job was opened with."""

    name: str = ""
    text: str = ""


class Opened(msgspec.Struct, gc=False):
    """The first event."""

    format: str
    said: list[Said]
    unit: str = ""
    lugcall: str = ""
    card: Card = msgspec.field(default_factory=Card)


class Left(msgspec.Struct, gc=False):
    """A reading as left, of which only the closing line tells why it was accepted."""

    accepted: str = ""


class Due(msgspec.Struct, gc=False):
    """The next check: `kind` is the unit of the count."""

    count: Number | None = None
    kind: str = ""


class Closed(msgspec.Struct, gc=False):
    """The sign-off; `lugs_by_gap` is as `lugs` where it is not told."""

    lugs: Count
    as_left: dict[str, Left]
    code: str = ""
    lugs_by_gap: Count | None = None
    next_due: Due | None = None
    doubts: list[str] = []


_QUICKLY: dict[str, Callable[[bytes], Any]] = {
    "turn": msgspec.json.Decoder(Turn).decode,
    "unheard": msgspec.json.Decoder(Unheard).decode,
    "opened": msgspec.json.Decoder(Opened).decode,
    "closed": msgspec.json.Decoder(Closed).decode,
}


def quickly(kind: str, data: bytes) -> Any:
    """An event's data from its JSON: a shape if its kind has one, else a dict.

    Raises:
        ValueError: it is no JSON.
        KeyError, TypeError, AttributeError: it holds what lugcall does not write.
    """
    decode = _QUICKLY.get(kind)
    if decode is None:
        return orjson.loads(data)
    try:
        return decode(data)
    except msgspec.ValidationError:
        return loosely(kind, orjson.loads(data))


def wholly(kind: str, data: bytes) -> Any:
    """As `quickly`, with every byte of it decoded. Raises as that does."""
    return loosely(kind, orjson.loads(data))


def loosely(kind: str, data: dict[str, Any]) -> Any:
    """The same from data that is decoded already, with odd values left out.

    Raises:
        KeyError, TypeError, AttributeError: it holds what lugcall does not write.
    """
    if kind == "unheard":
        return Unheard(text(data["step"]), text(data["who"]), _said(data), _ear(data.get("ear")))
    if kind == "opened":
        card = table(data.get("card"))
        return Opened(
            text(data.get("format")), _said(data), text(data.get("unit")),
            text(data.get("lugcall")), Card(text(card.get("name")), text(card.get("text"))),
        )  # fmt: skip
    if kind == "closed":
        return _closed(data)
    if kind != "turn":
        return data
    for name in ("step", "after", "who", "words"):
        if type(data[name]) is not str:
            raise TypeError("a turn names its step, who and words as text")
    act, was, clip = data.get("act"), data.get("corrected"), data.get("clip")
    return Turn(
        data["step"], data["after"], data["who"], data["words"], _said(data),
        act=None if act is None else Act(_meaning(act["meaning"]), text(act.get("text"))),
        ear=_ear(data.get("ear")),
        taken=_taken(table(data["taken"])) if "taken" in data else None,
        corrected=None if was is None else _corrected(was),
        clip=clip if isinstance(clip, dict) else None,
        ring=table(data["ring"]) if "ring" in data else None,
        linkage=table(data["linkage"]) if "linkage" in data else None,
        finding=table(data["finding"]) if "finding" in data else None,
        hold=text(data["hold"]) if "hold" in data else None,
    )  # fmt: skip


def _closed(data: dict[str, Any]) -> Closed:
    due = table(data.get("next_due"))
    left = {
        q: Left(text(table(kept).get("accepted"))) for q, kept in table(data["as_left"]).items()
    }
    return Closed(
        whole(data["lugs"]) or 0, left, text(data.get("code")), whole(data.get("lugs_by_gap")),
        Due(number(due.get("count")), text(due.get("kind"))) if due else None,
        [text(words) for words in data.get("doubts", [])],
    )  # fmt: skip


def _said(data: dict[str, Any]) -> list[Said]:
    """What lugcall said in an event.

    Raises:
        KeyError, TypeError: it is not as lugcall writes it.
    """
    said = []
    for one in data["said"]:
        key = text(one["key"])
        words, to, signal = text(one.get("text")), text(one.get("to")), text(one.get("signal"))
        said.append(Said(key, words, to, signal))
    return said


def _meaning(value: Any) -> str:
    """Words were taken for something, if for nothing that lugcall knows."""
    return value if isinstance(value, str) else "?" if value else ""


def _ear(value: Any) -> Ear | None:
    if not value:
        return None
    ear = table(value)
    got = ear.get("alternatives")
    guesses = [_guess(one) for one in got] if isinstance(got, list) else []
    numbers = number(ear.get("probability")), number(ear.get("seconds"))
    return Ear(text(ear.get("mic")), text(ear.get("decision")), *numbers, guesses)


def _guess(value: Any) -> Guess:
    engines = table(value).get("engines")
    words = text(value.get("words")) if isinstance(value, dict) else text(value)
    return Guess(words, engines if isinstance(engines, list) else None)


def _corrected(value: dict[str, Any]) -> Corrected:
    return Corrected(Was(text(table(value["was"]).get("figures"))), _taken(value["is"]))


def _taken(kept: dict[str, Any]) -> Taken:
    judged = table(kept.get("judged"))
    return Taken(
        text(kept["stage"]), text(kept["quantity"]), text(kept.get("who")),
        number(kept.get("value_in")), number(kept.get("low_in")), number(kept.get("high_in")),
        number(kept.get("count")),
        text(kept.get("kind")), text(kept.get("figures")),
        Judged(
            text(judged.get("decision")), number(judged.get("probability")),
            number(judged.get("low_in")), number(judged.get("high_in")), text(judged.get("source")),
        ) if judged else None,
        text(kept.get("accepted")),
    )  # fmt: skip
