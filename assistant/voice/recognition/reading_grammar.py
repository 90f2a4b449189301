"""Numbers, lengths and counts as people call them out, as grammar rules.

Spelled from the same lexicon that reads them back (`readings.lexicon`), within what the quantity
can be (`readings.quantity`): a narrower grammar is a better ear. Everything these rules generate
is read as a value; `tests/test_voice_grammar.py` holds that against `readings.read`.
"""

from __future__ import annotations

from functools import cache

from assistant.quantity import QUANTITIES, Quantity
from assistant.readings.lexicon import LEXICON, TEENS, TENS, UNITS
from assistant.readings.units import MM_PER_IN
from assistant.voice.recognition.grammar import Grammar, Rule, alt, opt, seq, weighted

ONE_TO_9 = alt(*UNITS)
TEEN = alt(*TEENS)
TEN = alt(*TENS)
SMALL = seq(alt(ONE_TO_9, TEEN, seq(TEN, opt(ONE_TO_9))))
"""1 to 99."""
DIGIT = seq(alt("zero", "oh", ONE_TO_9))

_PLURALS = {8: "eighths", 16: "sixteenths", 32: "thirty seconds", 64: "sixty fourths"}
_SINGULARS = {8: "eighth", 16: "sixteenth", 32: "thirty second", 64: "sixty fourth"}

_WAYS = ("tighter", "looser")


def number(n: int) -> str:
    """1 to 99 in words."""
    if n < 10:
        return UNITS[n - 1]
    if n < 20:
        return TEENS[n - 10]
    tens, unit = divmod(n, 10)
    return TENS[tens - 2] + (f" {UNITS[unit - 1]}" if unit else "")


def _numerators(den: int) -> Rule:
    """What can stand over `den`: mostly odd, since a rule is read in lowest terms."""
    odd = alt(*(number(n) for n in range(3, den, 2)))
    even = alt(*(number(n) for n in range(2, den, 2)))
    return weighted((0.97, odd), (0.03, even)) if den in (16, 32) else odd


SLIVER = alt("a thirty second", "a sixty fourth", "a sixteenth", "an eighth")
"""What is taken off or put on: "half minus a thirty second"."""


@cache
def fraction() -> Rule:
    """Below one, to 64ths: "nine sixteenths", "a half", "a thirty second"."""
    one = alt("a", "an", "one")
    halves = alt(seq(opt(alt("a", "one")), "half"), seq(opt(alt("a", "one")), "quarter"))
    singles = alt(
        seq(alt("an", "one"), _SINGULARS[8]),
        *(seq(one if den == 8 else alt("a", "one"), _SINGULARS[den]) for den in (16, 32, 64)),
    )
    many = (seq(seq(_numerators(den)), _PLURALS[den]) for den in (8, 16, 32, 64))
    return seq(alt(halves, "three quarters", singles, *many))


def _hundreds(low: int, high: int) -> Rule:
    """Thousandths of three figures, hundreds digit `low` to `high`: "four eighty five"."""
    first = alt(*(UNITS[n - 1] for n in range(max(low, 1), min(high, 9) + 1)))
    tail = alt(
        TEEN,
        seq(TEN, opt(ONE_TO_9)),
        seq(alt("oh", "zero"), alt("oh", "zero", ONE_TO_9)),
        seq(ONE_TO_9, alt("oh", "zero", ONE_TO_9)),
    )
    return alt(seq(first, tail), seq(first, "hundred", opt(opt("and"), SMALL)))


def length(q: Quantity, metric: bool = False) -> Rule:
    """One length within what `q` can be, with or without its unit."""
    low, high = q.plausible_in
    top = int(min(high, q.possible_in[1]))
    whole = alt(*(number(n) for n in range(max(1, int(low)), top + 1))) if top else None
    kinds: list[tuple[float, Rule]] = []
    inch = opt(alt("inch", "inches"))
    if q.small:
        kinds.append((4, seq(fraction(), opt(alt("inch", "of an inch", "an inch")))))
        kinds.append((4, _thousandths(high)))
    elif q.possible_in[0] < 1:
        kinds.append((1, seq(fraction(), opt(alt("inch", "of an inch")))))
    if whole is not None:
        kinds.append((4, seq(whole, opt(alt("inch", "inches")), opt("and"), fraction(), inch)))
        kinds.append((2, seq(whole, inch)))
        if low <= 1:
            kinds.append((1, seq(opt("an"), "inch", "and", fraction())))
    kinds.append((2, _decimal(whole, q)))
    kinds.append((2, _millimetres(q, bare=metric)))
    return seq(weighted(*kinds))


def _thousandths(high: float) -> Rule:
    unit = alt("thou", "thousandths")
    three = seq(_hundreds(1, int(high * 10)))
    return alt(
        seq(three, opt(unit)),
        seq(SMALL, unit),
        seq(opt("a"), "hundred", opt(opt("and"), SMALL), unit),
    )


def _decimal(whole: Rule | None, q: Quantity) -> Rule:
    places = alt(seq(DIGIT, opt(DIGIT), opt(DIGIT)), seq(TEN, opt(ONE_TO_9)), TEEN)
    if q.small:
        places = alt(places, seq(_hundreds(1, 9)))
    before: list[Rule] = []
    if q.plausible_in[0] < 1:
        before.append(opt(alt("zero", "oh")))
    if whole is not None:
        before.append(whole)
    return seq(alt(*before), "point", places, opt(alt("inch", "inches")))


def _millimetres(q: Quantity, bare: bool) -> Rule:
    low, high = q.plausible_mm
    if not high:
        low, high = (bound * MM_PER_IN for bound in q.possible_in)
    unit: Rule = alt("millimetres", "millimeters")
    hundred = seq(
        alt("a", *(UNITS[n - 1] for n in range(1, int(high) // 100 + 1))),
        "hundred",
        opt(opt("and"), SMALL),
    )
    short = alt(*(number(n) for n in range(max(1, int(low)), min(99, int(high)) + 1)))
    wholes: Rule = alt(short, hundred) if high >= 100 else short
    if high >= 200:  # "two fifteen" of pedal height in a metric shop
        wholes = alt(wholes, seq(_hundreds(1, int(high) // 100)))
    part = opt(alt(seq("point", DIGIT, opt(DIGIT)), "and a half"))
    return seq(wholes, part, opt(unit) if bare else unit)


def count(name: str) -> Rule:
    """A count: lugs, turns, flats or the odometer, within what a job can show."""
    if name == "odometer":
        return _odometer()
    noun = alt(name, name.removesuffix("s"))
    if name == "lugs":
        few = alt(*(number(n) for n in range(1, 21)))
        return seq(alt(seq(few, opt(noun)), seq("a", noun)), opt(alt(*_WAYS)))
    if name == "flats":
        few = alt(*(number(n) for n in range(1, 61)))
        return alt(seq(few, opt(noun), opt(alt(*_WAYS))), "a flat")
    part = alt(seq(opt("a"), alt("half", "quarter")), "three quarters")
    few = alt(*(number(n) for n in range(1, 31)))
    return alt(
        seq(few, opt(noun)),
        "a turn",
        seq(alt("a half", "half a", "a quarter", "three quarters"), "turn"),
        seq(alt("one turn", "a turn", "turn"), "and", part),
        seq(few, "and", part, opt(noun)),
        seq("three quarters of a turn"),
        seq(few, noun, opt("and"), alt(*(number(n) for n in range(1, 6))), alt("flat", "flats")),
        seq(alt(few, "a"), noun, "and a flat"),
    )


def _odometer() -> Rule:
    hundreds = seq(seq(ONE_TO_9, "hundred", opt(opt("and"), SMALL)))
    pair = seq(seq(ONE_TO_9, alt(TEEN, seq(TEN, opt(ONE_TO_9)), seq("oh", ONE_TO_9))))
    below = alt(hundreds, SMALL, pair)
    thousands = seq(below, "thousand", opt(opt("and"), below))
    million = seq(alt("one", "a"), "million", opt(opt("and"), thousands))
    digits = seq(ONE_TO_9, DIGIT, DIGIT, DIGIT, opt(DIGIT), opt(DIGIT))
    unit = opt(alt("miles", "kilometres", "kilometers"))
    return seq(alt(thousands, million, digits, seq(pair, pair), seq(SMALL, pair)), unit)


def amount(name: str, metric: bool = False) -> Rule:
    """One amount of the quantity called `name`, without words around it.

    Raises:
        KeyError: there is no such quantity.
    """
    q = QUANTITIES[name]
    return length(q, metric) if q.unit == "in" else count(name)


# --- A reading as it is called out: an amount with what stands around it.


def _kind(kind: str, *words: str) -> Rule:
    """Words of the lexicon, checked to be of `kind`: the ear knows no word the reader does not."""
    strangers = [word for word in words if LEXICON.get(word, ("", 0))[0] != kind]
    if strangers:
        raise ValueError(f"the lexicon does not read {strangers} as kind {kind!r}")
    return alt(*words)


SHY = _kind("S", "shy", "scant", "light", "short")
FAT = _kind("R", "fat", "heavy", "strong")
_TOUCH = _kind("J", "hair", "bit", "touch", "tad")
_UH = alt("uh", "okay", "yeah", "right")
_LEAD = alt(
    "it's", "it is", "that's", "i've got", "i got", "we've got", "i have", "reads", "it reads",
    "i read", "i'm reading", "it's reading", "call it", "looks like", "i'm getting", "showing",
    "measures", _UH, seq(_UH, "it's"),
)  # fmt: skip
_TRAIL = alt("boss", "mate", "chief", "buddy", "on the money", "dead on", "i'd say", "now")
_NEAR = alt(
    seq("just", alt("under", "over", "shy of")),
    seq("a", alt(_TOUCH, "little"), alt("under", "over")),
    alt("about", "around", "roughly", "exactly", "somewhere around", "almost", "nearly"),
)
_REPAIR = alt(
    "no", "nope", "correction", "sorry", "scratch that", "i mean", "make that", "wait no", "no wait"
)
_MOVED = alt("moved it", "gave it", "i gave it", "went", "i went", "turned it", "backed it off")


@cache
def reading(name: str, metric: bool = False, core: bool = False) -> Rule:
    """What may be called out when `name` is asked for: the amount, qualified or not.

    Args:
        name: a key of `QUANTITIES`.
        metric: whether bare numbers are millimetres.
        core: leave out what is seldom said. An engine without a language model of its own takes
            any of it for likely.
    """
    q = QUANTITIES[name]
    plain = amount(name, metric)
    if q.unit != "in":
        lead = _LEAD if name == "odometer" else alt(_LEAD, _MOVED)
        whole = seq(opt(lead), plain)
        return plain if core else seq(whole, opt(_repair(plain)), opt(_TRAIL))
    one = seq(plain)
    spoken = opt(opt("the"), q.spoken, opt(alt("is", "reads")))
    lead = opt(alt(_LEAD, spoken))
    if core:
        return seq(one, opt(alt(SHY, FAT)))
    said = weighted((8, seq(one, opt(_repair(one)))), (2, _shaded(one, q)), (1, _limits(one)))
    return seq(lead, said, opt(_TRAIL))


def _repair(one: Rule) -> Rule:
    return seq(_REPAIR, one)


def _shaded(one: Rule, q: Quantity) -> Rule:
    """One amount and which side of it: shy, fat, near, a sliver more or less."""
    bare = alt(one, "eighth", "sixteenth") if q.small else one
    sliver = alt(
        SLIVER,
        seq(alt("two", "three", "five", "ten", "fifteen", "twenty"), alt("thou", "thousandths")),
    )
    return alt(
        seq(one, opt(alt(seq(opt("a"), _TOUCH), "just", "a little")), alt(SHY, FAT)),
        seq(one, alt("bare", "and a hair", "or so", "ish")),
        seq(opt(alt("a", "just a")), alt(SHY, FAT, "good"), bare),
        seq(_NEAR, bare),
        seq(bare, alt("minus", "plus", "less", "give or take", "plus or minus"), sliver),
        seq(sliver, alt("over", "under", "short of", "shy of"), one),
    )


def _limits(one: Rule) -> Rule:
    """Two amounts: a range, or what goes and what does not."""
    the = opt(alt("the", "a"))
    not_on = alt("no go on", "no go at", "no go", "not", "won't take")
    return alt(
        seq(opt("somewhere"), "between", one, "and", one),
        seq(opt("from"), one, "to", one),
        seq(alt("goes on", "goes", "go on", "go at", "fits", "takes"), the, one,
            opt(alt("and", "but")), not_on, the, one),
        seq(opt("the"), one, opt("gauge"), alt("goes", "goes in", "slides in", "fits"),
            opt("but the"), one, alt("doesn't", "won't", "no go", "does not")),
        seq("no go on", the, one, "go on", the, one),
    )  # fmt: skip


@cache
def reading_grammar(name: str, metric: bool = False) -> Grammar:
    """The grammar for one quantity alone, as `lugcall hear --for` uses it.

    Raises:
        KeyError: there is no such quantity.
    """
    return Grammar(name, reading(name, metric))
