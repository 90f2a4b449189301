"""What may be said now, as one grammar: the phrases of `dialogs/`, the step's answers, readings.

`readings.language` says how amounts and relations are built and in which words; here stands what a
quantity can be, since a narrower grammar is a better ear: wholes within its bounds, fractions in
lowest terms, and what people say around them. Nearly all of it is read as a value.
"""

from __future__ import annotations

import re
from functools import cache, lru_cache

from assistant.dialogue import Breath, Dialogue, Question
from assistant.quantity import FLATS, LUGS, ODOMETER, QUANTITIES, RING_LEFT, TURNS, Quantity
from assistant.readings.language import (
    FAT,
    FRACTION,
    HUNDREDS,
    IN_A_ROW,
    NUMBER,
    OH,
    ONE_TO_9,
    PARTS,
    SHY,
    TEEN,
    TEN,
    WHOLE,
    Rule,
    alt,
    amount,
    opt,
    relations,
    seq,
    weighted,
    words_of,
)
from assistant.readings.speak import number_words
from assistant.readings.units import MM_PER_IN
from assistant.texts.normal import negated, normal
from assistant.voice.recognition.grammar import Grammar

SMALL = NUMBER.said()
"""1 to 99."""
FIGURE = alt(OH.said(), ONE_TO_9.said())
_TWO_PLACES = alt(TEEN.said(), seq(TEN.said(), opt(ONE_TO_9.said())))
_INCH = opt(alt("inch", "inches"))
_MM, _THOU = alt("millimetres", "millimeters"), alt("thou", "thousandths")
_AND: dict[str, Rule | None] = {"and": "and"}  # a word that is no name in Python


def _numbers(low: float, high: float, step: int = 1) -> Rule:
    """The numbers from `low` to `high`, in words."""
    return alt(*(number_words(n) for n in range(int(low), int(high) + 1, step)))


def _over(den: int) -> Rule:
    """Fractions over `den`: mostly odd numerators, since a rule is read in lowest terms."""
    one, several = PARTS[den]
    single = seq(alt("an" if den == 8 else "a", "one"), one)
    top = _numbers(3, den - 1, 2)
    if den in (16, 32):
        top = weighted((0.97, top), (0.03, _numbers(2, den - 1, 2)))
    return alt(single, seq(top, several))


_OVER = alt(*(_over(den) for den in PARTS))
_PART = FRACTION.said(over=_OVER)
"""Below one, to 64ths: "nine sixteenths", "a half", "a thirty second"."""


def _hundreds(low: float, high: float) -> Rule:
    """Figures of three places, hundreds `low` to `high`: "four eighty five", "four hundred"."""
    return IN_A_ROW.said(hundreds=_numbers(max(low, 1), min(high, 9)))


def _length(q: Quantity, metric: bool) -> Rule:
    """One length within what `q` can be, with or without its unit."""
    low, high = q.plausible_in
    top = int(min(high, q.possible_in[1]))
    whole = _numbers(max(1, low), top) if top else None
    places = alt(seq(FIGURE, opt(FIGURE, opt(FIGURE))), _TWO_PLACES)
    before = opt(alt("zero", "oh")) if low < 1 else None
    forms: list[tuple[float, Rule]] = []
    if q.possible_in[0] < 1:
        an_inch = opt(alt("inch", "of an inch", *(("an inch",) if q.small else ())))
        forms.append((4 if q.small else 1, amount("frac", an_inch, over=_OVER)))
    if q.small:
        places = alt(places, _hundreds(1, 9))
        below = alt(SMALL, HUNDREDS.said(hundreds=opt("a")))
        forms.append((3, amount("seq", opt(_THOU), seq=_hundreds(1, high * 10))))
        forms.append((1, amount("seq", _THOU, seq=below)))
    if whole is not None:
        forms.append((4, amount("mixed", _INCH, unit_and=None, whole=whole, part=_PART)))
        if low <= 1:  # "an inch and a quarter"
            forms.append((1, amount("mixed", whole=None, part=_PART)))
        forms.append((2, amount("seq", _INCH, seq=whole)))
        before = alt(before, whole) if before is not None else whole
    forms.append((2, amount("dec", _INCH, before_point=before, places=places)))
    forms.append((2, _millimetres(q, opt(_MM) if metric else _MM)))
    return weighted(*forms)


def _millimetres(q: Quantity, unit: Rule) -> Rule:
    low, high = q.plausible_mm
    if not high:
        low, high = (bound * MM_PER_IN for bound in q.possible_in)
    whole = _numbers(max(1, low), min(99, high))
    if high >= 100:
        hundreds = alt("a", _numbers(1, high // 100))
        whole = alt(whole, HUNDREDS.said(hundreds=hundreds))
    if high >= 200:  # "two fifteen" of pedal height in a metric shop
        whole = alt(whole, _hundreds(1, high // 100))
    return alt(
        amount("seq", unit, seq=whole),
        amount("dec", unit, before_point=whole, places=seq(FIGURE, opt(FIGURE))),
        amount("mixed", unit, unit_and=None, whole=whole, inch=None, part="a half", **_AND),
    )


_SOME = alt(seq(opt("a"), alt("half", "quarter")), "three quarters")


def _count(q: Quantity) -> Rule:
    """Lugs, turns or flats, within what a job can show."""
    one = q.unit.removesuffix("s")
    noun = alt(q.unit, one)
    few = _numbers(1, {LUGS: 20, RING_LEFT: 20, FLATS: 60}.get(q.name, 30))
    plain = alt(amount("seq", opt(noun), seq=few), amount("one", one))
    if q.name == RING_LEFT:
        return plain
    if q.name != TURNS:
        return seq(plain, opt(alt("tighter", "looser")))
    turns = amount("seq", noun, seq=few)
    flats = amount("seq", alt("flat", "flats"), seq=_numbers(1, 5))
    return alt(
        plain,
        *(amount("frac", "turn", frac=part) for part in ("a half", "a quarter", "three quarters")),
        amount("frac", "a turn", frac="half"),
        amount("frac", "of a turn", frac="three quarters"),
        amount("mixed", unit_and=seq(opt(alt("a", "one")), "turn and"), whole=None, part=_SOME),
        amount("mixed", opt(noun), unit_and=None, whole=few, inch=None, part=_SOME, **_AND),
        relations("join", turns=turns, flats=flats),
        relations("join", turns=alt(turns, seq("a", noun)), flats=amount("one", "flat")),
    )


def _odometer() -> Rule:
    hundreds = HUNDREDS.said(hundreds=ONE_TO_9.said())
    pair = seq(ONE_TO_9.said(), alt(_TWO_PLACES, seq("oh", ONE_TO_9.said())))
    below = alt(hundreds, SMALL, pair)
    thousands = WHOLE.said(thousands=below, rest=below, below=None)
    million = WHOLE.said(thousands=alt("one", "a"), large="million", rest=thousands, below=None)
    figures = seq(ONE_TO_9.said(), FIGURE, FIGURE, FIGURE, opt(FIGURE), opt(FIGURE))
    whole = alt(thousands, million, figures, seq(pair, pair), seq(SMALL, pair))
    return amount("seq", opt(alt("miles", "kilometres", "kilometers")), seq=whole)


# --- a reading as it is called out: an amount with what stands around it

_UH = alt("uh", "okay", "yeah", "right")
_LEAD = alt(
    "it's", "it is", "that's", "i've got", "i got", "we've got", "i have", "reads", "it reads",
    "i read", "i'm reading", "it's reading", "call it", "looks like", "i'm getting", "showing",
    "measures", _UH, seq(_UH, "it's"),
)  # fmt: skip
_TRAIL = alt("boss", "mate", "chief", "buddy", "on the money", "dead on", "i'd say", "now")
_REPAIR = alt(
    "no", "nope", "correction", "sorry", "scratch that", "i mean", "make that", "wait no", "no wait"
)
_MOVED = alt("moved it", "gave it", "i gave it", "went", "i went", "turned it", "backed it off")
_SLIVER = alt(
    "a thirty second", "a sixty fourth", "a sixteenth", "an eighth",
    seq(alt("two", "three", "five", "ten", "fifteen", "twenty"), _THOU),
)  # fmt: skip
"""What is taken off or put on: "half minus a thirty second"."""
_SHADES = ("shy", "fat", "about", "one", "within", "under", "beyond", "sum")


@cache
def reading(name: str, metric: bool = False, short: bool = False) -> Rule:
    """What may be called out when the quantity `name` is asked for: the amount, qualified or not;
    bare numbers are millimetres if `metric`, and `short` leaves out leads, ranges and repairs."""
    q = QUANTITIES[name]
    if q.unit != "in":
        plain = _odometer() if name == ODOMETER else _count(q)
        lead = _LEAD if name == ODOMETER else alt(_LEAD, _MOVED)
        said = seq(opt(lead), plain, opt(_REPAIR, plain))
        return plain if short else seq(said, opt(_TRAIL))
    one = _length(q, metric)
    if short:
        return seq(one, opt(alt(SHY.said(), FAT.said())))
    bare = alt(one, "eighth", "sixteenth") if q.small else one
    said = weighted(
        (8, seq(one, opt(_REPAIR, one))),
        (2, relations(*_SHADES, amount=one, bare=bare, sliver=_SLIVER)),
        (1, relations("gauge", "between", amount=one)),
    )
    spoken = opt(opt("the"), q.spoken, opt(alt("is", "reads")))
    return seq(opt(alt(_LEAD, spoken)), said, opt(_TRAIL))


@cache
def reading_grammar(name: str, metric: bool = False) -> Grammar:
    """The grammar for one quantity alone, as `lugcall hear --for` uses it."""
    return Grammar(name, reading(name, metric))


# --- what may be said at this moment of a dialogue

KEPT = 8
"""Grammars kept: a job goes to and fro between few, and one takes several megabytes."""
_BEFORE_COMMAND = ("okay", "yes", "right", "all right")
_SIGNS, _SAYS_WHO = ("sign off", "signing off"), ("code", "my code", "my code is")
"""What comes before a code."""
_CHOICES = ("the first", "first", "the second", "second", "neither", "first one", "second one")
_ANSWER_UNITS = ("inches", "inch", "thousandths", "thou", "millimetres", "millimeters",
                 "sixteenths", "thirty seconds", "sixty fourths")  # fmt: skip


def expected(dialogue: Dialogue, who: str = "", asked: Question | None = None) -> Grammar:
    """The grammar of this moment, for a microphone of `who` ("" when it is shared), with the
    question about a reading that waits for its answer, if any."""
    phrases = frozenset(_phrases(dialogue, who))
    quantity = dialogue.expects()
    last = quantity or dialogue.last_quantity()
    codes = _SIGNS if "sign_off" in dialogue.allowed() else ()
    if dialogue.handing and who in ("", dialogue.handing):
        codes = (*codes, *_SAYS_WHO)
    metric = dialogue.units == "mm"
    taken_back = dialogue.pending is not None or "no" in dialogue.allowed()
    breath = dialogue.breath() if who in ("", dialogue.whose()) else Breath()
    return _grammar(phrases, quantity, last, metric, codes, asked is not None, taken_back, breath)


def _phrases(dialogue: Dialogue, who: str) -> set[str]:
    known, allowed, danger = dialogue.dialogs.words, dialogue.allowed(), dialogue.danger()
    found = {*dialogue.answers()}
    found.update(map(denial, dialogue.answers()))
    for key, meaning in known.items():
        mine = not who or meaning.who in ("any", who)
        if mine and (key in allowed or meaning.anytime or key in _ALWAYS):
            found.update(meaning.phrases)
    found.update(known["stop"].anywhere)
    if danger.pedal or danger.key:
        found.update(known["stop"].in_hold)
        if who != "tech":
            found.update(known["lost"].anywhere)
    if danger.pressing and who != "tech":
        found.update(known["holding"].anywhere)
    return found


# Out of order they are refused aloud, which is what the person who says them needs to hear.
_ALWAYS = ("holding", "released", "clear", "done", "check", "no")


@lru_cache(maxsize=KEPT)
def _grammar(
    phrases: frozenset[str],
    quantity: str,
    last: str,
    metric: bool,
    codes: tuple[str, ...],
    asked: bool,
    taken_back: bool,
    breath: Breath,
) -> Grammar:
    commands = alt(*sorted(words for p in phrases if (words := _sayable(p))))
    command = seq(opt(alt(*_BEFORE_COMMAND)), commands)
    named = alt(*(q.spoken for q in QUANTITIES.values()))
    said: list[tuple[float, Rule]] = [(1.0, command), (0.1, seq("correct the", named))]
    if codes:
        code = alt(seq(FIGURE, opt(FIGURE, opt(FIGURE, opt(FIGURE)))), SMALL)
        said.append((1.0, seq(alt(*codes), opt(alt("code", "by")), code)))
    if asked:
        said.append((1.0, alt(*_CHOICES, *_ANSWER_UNITS)))
    if quantity:
        said.append((1.0, reading(quantity, metric)))
    if last:
        wrong = ["no"] if taken_back else []  # "no" with the value, where it takes one back
        again = seq(alt("correction", "correct that to", "make it", *wrong), opt("it's"))
        said.append((0.3, seq(again, reading(last, metric, True))))
    if breath.items:
        said.append((0.5, _one_breath(breath)))
    now = (phrases, quantity, last, metric, codes, asked, taken_back, breath)
    name = f"now_{abs(hash(now)):x}"
    return Grammar(name, weighted(*said))


def _one_breath(breath: Breath) -> Rule:
    """One item after another, as many as there are at most; in any order unless in theirs."""
    each = []
    for _, phrases in breath.items:
        said_so, denied = ([_sayable(p) for p in some] for some in (phrases, map(denial, phrases)))
        each.append(weighted((0.9, alt(*said_so)), (0.1, alt(*denied))))
    said, *before = reversed(each if breath.in_order else [alt(*each)] * len(each))
    for item in before:
        said = seq(item, opt(opt("and"), said))
    return said


_DENIALS = tuple((re.compile(said), denied) for said, denied in (
    (r"\b(are|is)\b", r"\1n't"), (r"'s (?!no\b)", "'s not "), (r"^i'm\b", "i'm not"),
    (r"\b(move|release|squeeze)s\b", r"doesn't \1"), (r"\bhas\b", "doesn't have"),
    (r"^(?:i've )?got\b", "i haven't got"), (r"\bhave\b", "don't have"),
    (r"^(\w+(?: \w+)?) (set|chocked|in|on|off|out)$", r"\1 not \2"),
    (r"^(?=(?:in|on|out|chocked)\b)", "not "),
))  # fmt: skip


def denial(phrase: str) -> str:
    """A phrase that says that something is so, denied: ears that know both tell "are" from
    "aren't". The phrase itself where it has no such form."""
    if negated(phrase) or "nothing" in phrase:
        return phrase
    denied = (expression.sub(no, phrase, 1) for expression, no in _DENIALS)
    return next((one for one in denied if one != phrase), phrase)


def _sayable(phrase: str) -> str:
    """A phrase as it is said, or "" for one that is only ever typed."""
    try:
        return " ".join(words_of(normal(phrase)))
    except ValueError:
        return ""
