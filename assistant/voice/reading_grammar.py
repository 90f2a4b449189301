"""A reading as it is called out: an amount with what stands around it."""

from __future__ import annotations

from functools import cache

from assistant.readings.lexicon import LEXICON
from assistant.readings.quantity import QUANTITIES

from . import numbers
from .grammar import Grammar, Ref, Rule, alt, opt, seq, weighted


def _kind(kind: str, *words: str) -> Rule:
    """Words of the lexicon, checked to be of `kind`: the ear knows no word the reader does not."""
    strangers = [word for word in words if LEXICON.get(word, ("", 0))[0] != kind]
    if strangers:
        raise ValueError(f"the lexicon does not read {strangers} as kind {kind!r}")
    return alt(*words)


SHY = _kind("S", "shy", "scant", "light")
FAT = _kind("R", "fat", "heavy", "strong")
_LEAD = alt(
    "it's",
    "that's",
    "i've got",
    "i got",
    "reads",
    "i read",
    "call it",
    "looks like",
    "it is",
)
_NEAR = alt(
    "just under",
    "just over",
    "a hair under",
    "a hair over",
    "about",
    "exactly",
    "a bit over",
    "a bit under",
    "just shy of",
    "a little over",
    "a little under",
)


@cache
def reading(name: str, metric: bool = False) -> Rule:
    """What may be called out when `name` is asked for: the amount, qualified or not."""
    q = QUANTITIES[name]
    plain = numbers.amount(name, metric)
    if q.unit != "in":
        return seq(opt(_LEAD), plain)
    one = Ref("amount", plain)
    limits = alt(
        seq("between", one, "and", one),
        seq(
            "goes on", opt(alt("the", "a")), one, opt("and"), "no go on", opt(alt("the", "a")), one
        ),
        seq("goes", one, "no go", one),
    )
    shaded = alt(
        seq(one, opt(alt("a hair", "a bit", "just", "a little")), alt(SHY, FAT)),
        seq(opt(alt("a", "just a")), alt(SHY, FAT), one),
        seq(_NEAR, one),
        seq(one, alt("minus", "plus", "less"), numbers.SLIVER),
        seq(one, "or so"),
    )
    spoken = opt(opt("the"), q.spoken, opt(alt("is", "reads")))
    said = weighted((8, one), (2, shaded), (1, limits))
    return seq(opt(alt(_LEAD, spoken)), said)


def reading_grammar(name: str, metric: bool = False) -> Grammar:
    """The grammar for one quantity alone, as `lugcall hear --for` uses it.

    Raises:
        KeyError: there is no such quantity.
    """
    return Grammar(name.replace("-", "_"), reading(name, metric))
