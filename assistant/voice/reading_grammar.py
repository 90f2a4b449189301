"""A reading as it is called out: an amount with what stands around it."""

from __future__ import annotations

from functools import cache

from assistant.readings.lexicon import LEXICON
from assistant.readings.quantity import QUANTITIES, Quantity

from . import numbers
from .grammar import Grammar, Ref, Rule, alt, opt, seq, weighted


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
    plain = numbers.amount(name, metric)
    if q.unit != "in":
        lead = _LEAD if name == "odometer" else alt(_LEAD, _MOVED)
        whole = seq(opt(lead), plain)
        return plain if core else seq(whole, opt(_repair(plain)), opt(_TRAIL))
    one = Ref("amount", plain)
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
        numbers.SLIVER,
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
    name_ = name.replace("-", "_")
    core = Grammar(f"{name_}_core", reading(name, metric, core=True))
    return Grammar(name_, reading(name, metric), core)
