"""The language of readings, written once: what the reader understands and the recognizer hears.

Words become kinds, one character each ("nine sixteenths" is `dG`; `words.txt` says which). Over
kinds stand expressions, `Part`: each is a regular expression that finds a piece of a reading in a
string of kinds, and at the same time a rule that gives the words it can be said in. Most of what is
understood is never listened for: typed figures, words that only sound like numbers, odd orders.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from assistant.readings.speak import DENOMINATORS, SMALL, TENS
from assistant.readings.written import STRANGE, plain

Value = Any
"""int for words, text for typed whole numbers, (float, places) for decimals, (num, den)."""


def _lexicon() -> dict[str, tuple[str, Value]]:
    """Every word of `words.txt`: its kind and its value."""
    found: dict[str, tuple[str, Value]] = {}
    kind = ""
    for line in Path(__file__).with_name("words.txt").read_text(encoding="utf-8").splitlines():
        if not line.startswith(" "):
            kind = line[:1]
            continue
        for entry in line.split():
            word, _, value = entry.partition("=")
            found[word] = kind, int(value or 0)
    return found


LEXICON = _lexicon()

# --- words, spoken or typed, into kinds and values

_TOKEN = re.compile(
    r"\+/-|\+-"
    r"|\d+\s*/\s*\d+"
    r"|[1-9]\d{0,2}(?:,\d{3})+(?![\d,])|[1-9]\d{0,2}(?: \d{3})+(?![\d/.,])"
    r"|\d*[.,]\d+|\d+k(?![a-z])|\d+"
    r"|[a-z]+(?:'[a-z]+)*"
    r"|''|[\"'+\-_%$#&]"
    r"|(?<![a-z])/|/(?![a-z])|[^\s\w.,:;!?()\[\]{}=/]|[^\W\da-z]+"  # not understood
)
_GROUPED = re.compile(r"[1-9]\d{0,2}(?:[, ]\d{3})+")
_MIXED = re.compile(r"(?<![\d/.,])(\d+)\s?-(\d+\s*/\s*\d)")
_LETTER_HYPHEN = re.compile(r"(?<=[a-z])-(?=[a-z])|(?<=\d)-(?=[a-z])|(?<=[a-z])-(?=\d)")
_LOOSE_DASH = re.compile(r"(?<![+/])-(?=\s|$)|--+")
_WITH_LETTERS = re.compile(
    r"(?<!\S)[(\[{]*(?P<word>[a-z]+(?:'[a-z]+)*)(?P<sign>[=:]?)(?P<rest>(?!-)\S*\d\S*)"
)
_UNKNOWN_WORD = "\\"
"""In the place of letters and figures in one that are no words of a reading: `M8`, `l.5`."""


def tokenize(words: str) -> tuple[str, list[Value]]:
    """The kinds of `words`, one character a token, and each token's value."""
    text = words.lower()
    tokens = None
    if text.isascii():
        # Most of what is said is plain words, some joined by hyphens: no need for the full split.
        letters = text.replace(" ", "")
        if letters.isalpha():
            tokens = text.split()
        elif letters.replace("-", "").isalpha() and " -" not in text and "- " not in text:
            tokens = text.replace("-", " ").split()
    if tokens is None:
        tokens = _split(text)
    lookup = LEXICON.get
    hits = [lookup(token) or _other(token) for token in tokens]
    return "".join([hit[0] for hit in hits]), [hit[1] for hit in hits]


def _split(text: str) -> list[str]:
    text = _WITH_LETTERS.sub(_apart, plain(text).replace("_", _UNKNOWN_WORD))
    if "-" in text:
        # "1-5/8" is one and five eighths; "thirty-second" is two words; a dash between two
        # readings with spaces around it may be a minus, so it stays a token of its own.
        if "/" in text:
            text = _MIXED.sub(r"\1 \2", text)
        text = _LETTER_HYPHEN.sub(" ", text)
        text = _LOOSE_DASH.sub(" _ ", text)
    return _TOKEN.findall(text)


def _apart(m: re.Match[str]) -> str:
    """`gap9/16` as a word and a number, `M8` as one unknown word."""
    word, rest = m["word"], m["rest"]
    known = word in LEXICON and (len(word) > 1 or word in "oa")
    return f"{word} {plain(rest)}" if known and rest[0] in "0123456789.," else _UNKNOWN_WORD


def _other(token: str) -> tuple[str, Value]:
    first = token[0]
    if token == STRANGE:
        return STRANGE, token
    if first.isdecimal() or first in ".,":
        if "/" in token:
            top, bottom = token.split("/")
            return "q", (int(top), int(bottom))
        if token[-1] == "k":
            return "n", int(token[:-1]) * 1000
        if token.isdigit():
            return "n", token
        if _GROUPED.fullmatch(token):  # `412,350`, not `12,7`, not `0,485`
            return "n", int(token.replace(" ", "").replace(",", ""))
        token = token.replace(",", ".")
        return "x", (float(token), len(token) - token.index(".") - 1)
    if token.endswith(("'s", "s'")):
        return LEXICON.get(token[:-2]) or ("?", token)
    return "?", token


# --- rules: what may be said, in words (the concepts of W3C SRGS 1.0)

_WORD = re.compile(r"[a-z][a-z']*")


@dataclass(frozen=True, slots=True)
class Seq:
    """Items said one after the other; none is silence."""

    items: tuple[Rule, ...]


@dataclass(frozen=True, slots=True)
class Alt:
    """One of several items; `weights` (SRGS: relative likelihood) may be empty."""

    items: tuple[Rule, ...]
    weights: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Opt:
    """An item that may be left out."""

    item: Rule


Rule = str | Seq | Alt | Opt


def words_of(text: str) -> list[str]:
    """The words of a phrase as rules spell them: lower case, hyphens apart.

    Raises ValueError where it holds no word, or something that is not said (digits, signs).
    """
    words = text.lower().replace("-", " ").replace("’", "'").split()
    if not words or not all(_WORD.fullmatch(word) for word in words):
        raise ValueError(f"{text!r} cannot stand in a grammar; write it in words")
    return words


def seq(*items: Rule) -> Rule:
    """`items` in this order; a text of several words counts as that many items."""
    flat: list[Rule] = []
    for item in items:
        if isinstance(item, str):
            flat.extend(words_of(item))
        elif isinstance(item, Seq):
            flat.extend(item.items)
        else:
            flat.append(item)
    return flat[0] if len(flat) == 1 else Seq(tuple(flat))


def alt(*items: Rule) -> Rule:
    """One of `items`."""
    made = tuple(dict.fromkeys(seq(item) for item in items))
    return made[0] if len(made) == 1 else Alt(made)


def weighted(*pairs: tuple[float, Rule]) -> Rule:
    """One of the rules, each with its weight."""
    return Alt(tuple(seq(rule) for _, rule in pairs), tuple(weight for weight, _ in pairs))


def opt(*items: Rule) -> Rule:
    """`items` in this order, or nothing."""
    return Opt(seq(*items))


SILENCE = Seq(())

# --- expressions: found in kinds, and said in words

Narrower = Mapping[str, Rule | None]
"""What is listened for in the place of some pieces, by their names: what is likely there, or None
for nothing."""


@dataclass(frozen=True, slots=True)
class Part:
    """A piece of the language.

    Attributes:
        pattern: a regular expression over kinds.
        parts: what it is made of; none for words.
        how: how the parts make it up: "row", "either" or "maybe".
        words: the words of a piece without parts; None where it is understood but not listened for.
        name: under which it may be narrowed.
    """

    pattern: str
    parts: tuple[Part, ...] = ()
    how: str = "row"
    words: Rule | None = None
    name: str = ""

    def rule(self, narrower: Narrower) -> Rule | None:
        """The words it is said in; None where nothing of it is listened for."""
        if self.name in narrower:
            return narrower[self.name]
        if not self.parts:
            return self.words
        rules = [part.rule(narrower) for part in self.parts]
        said = [rule for rule in rules if rule is not None]
        if self.how == "either":
            return alt(*said) if said else None
        whole = seq(*said) if len(said) == len(rules) else None
        if self.how == "maybe":
            return SILENCE if whole is None else opt(whole)
        return whole

    def said(self, narrower: Narrower | None = None, **more: Rule | None) -> Rule:
        """The rule for the words, with the pieces so named narrowed.

        Raises ValueError where nothing of it is listened for.
        """
        rule = self.rule({**(narrower or {}), **more})
        if rule is None:
            raise ValueError(f"{self.pattern!r} is not listened for; narrow what has no words")
        return rule


def words(pattern: str, *phrases: str) -> Part:
    """Kinds that match `pattern`; of the words they stand for, `phrases` are listened for."""
    return Part(pattern, words=alt(*phrases) if phrases else None)


def around(*phrases: str) -> Part:
    """Words that say nothing and may stand here: no kind of theirs is left when it is matched."""
    return Part("", words=opt(alt(*phrases)))


def unsaid(pattern: str) -> Part:
    """What may stand here, and is not listened for; the pattern matches nothing as well."""
    return Part(pattern, words=SILENCE)


def row(*parts: Part) -> Part:
    """All parts, one after the other."""
    return Part("".join(part.pattern for part in parts), parts)


def either(*parts: Part) -> Part:
    """One of the parts; those without words are left out of the rule."""
    return Part(f"(?:{'|'.join(part.pattern for part in parts)})", parts, "either")


def maybe(*parts: Part) -> Part:
    """The parts, or nothing."""
    return Part(f"(?:{row(*parts).pattern})?", parts, "maybe")


def atomic(part: Part) -> Part:
    """Taken whole or not at all: no long run of number words is cut up in every possible way."""
    return replace(part, pattern=f"(?>{part.pattern})")


def named(name: str, part: Part) -> Part:
    """A piece that may be narrowed under its name."""
    return Part(part.pattern, (part,), name=name)


def group(name: str, part: Part) -> Part:
    """A piece that is found under its name in a match."""
    return replace(part, pattern=f"(?P<{name}>{part.pattern})")


def listening(understood: str, part: Part) -> Part:
    """Understood by a wider pattern than that of `part`, whose words alone are listened for."""
    return replace(part, pattern=understood)


# --- numbers

ONES, TEENS, TENS_ = SMALL[1:10], SMALL[10:], TENS[2:]
AND, A = words("A", "and"), words("a", "a", "an")
ONE_TO_9 = words("[d6]", *ONES)
TEN = words("[yTX]", *TENS_)
TEEN = words("t", *TEENS)
OH = words("[0o]", "oh", "zero")
NUMBER = atomic(
    # "thirty to thousandths" is thirty-two of them.
    either(
        row(TEN, maybe(either(ONE_TO_9, words("[2s7](?=[kMFGWQ]|Te|X4)")))),
        ONE_TO_9,
        TEEN,
        words("[n7]"),
    )
)
"""1 to 99."""
HUNDREDS = atomic(
    row(
        named("hundreds", maybe(either(NUMBER, A))),
        words("C", "hundred"),
        maybe(maybe(AND), NUMBER),
    )
)
_BELOW = atomic(either(HUNDREDS, NUMBER, words("[0]")))
WHOLE = atomic(
    either(
        row(
            named("thousands", maybe(either(_BELOW, A))),
            named("large", words("K", "thousand")),
            unsaid(f"(?:A?(?:{_BELOW.pattern}|a)?K)*"),
            maybe(maybe(AND), named("rest", _BELOW)),
        ),
        named("below", _BELOW),
    )
)
"""A whole number: "four hundred twelve thousand", "zero"."""
TWO_FIGURES = either(TEEN, row(TEN, maybe(ONE_TO_9)), row(OH, either(OH, ONE_TO_9)),
                     row(ONE_TO_9, either(OH, ONE_TO_9)))  # fmt: skip
IN_A_ROW = listening(
    f"(?>o*{WHOLE.pattern}(?:{WHOLE.pattern}|o)*)",
    either(row(named("hundreds", ONE_TO_9), TWO_FIGURES), HUNDREDS),
)
"""Numbers in a row, as figures are called: "four eighty five", "four oh five"."""
FIGURE = either(HUNDREDS, NUMBER, OH, words("7"))


# --- fractions, units, amounts

PARTS = {den: (one, one + "s") for den, one in DENOMINATORS.items() if den > 2}
"""One and several of the parts that are on a rule."""
_PARTS = either(
    words("Te", *PARTS[32]),
    words("X4", *PARTS[64]),
    words("nz|ne|6E|[Tt](?:[d2s])?z|X[d]z"),
    words("[FGWQ4Hcb]", *PARTS[4], *PARTS[8], *PARTS[16]),
    words("[dt](?=Oai)"),
)


def _fraction(n: str) -> Part:
    """The groups end in `n`, since an expression that holds two fractions needs other names."""
    top = group(f"num{n}", named("top", either(NUMBER, words("[as2]", "a", "an"))))
    return either(
        words("qz?"),
        named("over", row(top, group(f"den{n}", named("parts", _PARTS)))),
        row(group(f"top{n}", NUMBER), words("v"), group(f"bot{n}", NUMBER)),
        row(maybe(group(f"halfof{n}", words("[ad7sn]", "a", "one"))), words("h", "half")),
        group(f"bare{n}", words("[cF]|Te(?=[uvSg+])", "quarter")),
    )


FRACTION = _fraction("1")
_JOINED = either(AND, words("I(?=a)"))  # a recognizer writes "an inch in a half"
_WHOLE_AND = either(
    named("unit_and", row(around("an"), group("wi1", words("[iNMV]", "inch")), _JOINED)),
    row(
        group("w", named("whole", either(HUNDREDS, NUMBER, words("a(?=[iNV])"), words("[s2]")))),
        maybe(group("wi2", named("inch", words("[iNV]|I(?!a)", "inch", "inches")))),
        named("and", maybe(_JOINED)),
    ),
)
_PLACES = f"(?:[s2](?={FIGURE.pattern}))?{FIGURE.pattern}+"
_BEFORE_POINT = group("dw", either(IN_A_ROW, words("[s27]"), words("a?iA?")))
_NO_FRACTION = re.sub(r"\?P<\w+>", "?:", maybe(_WHOLE_AND).pattern + FRACTION.pattern)
_FORMS = {
    "frac": FRACTION,
    "mixed": row(_WHOLE_AND, named("part", _fraction("2"))),
    "dec": either(
        row(
            named("before_point", maybe(_BEFORE_POINT)),
            words("P", "point"),
            group("dp", named("places", listening(_PLACES, FIGURE))),
        ),
        words("n?x"),
    ),
    # "to" and "for" before figures are two and four, unless a fraction follows.
    "seq": row(unsaid(f"(?P<pre>[s2](?=[dtyTX6n])(?!{_NO_FRACTION}))?"), IN_A_ROW),
    "one": either(words("(?<!O)a(?=[iLNVkMmrwZjYD])", "a"), words("[s2](?=[LNV])")),
}
"""Fraction, mixed number, decimal, numbers in a row, and the "a" of "a turn"."""
_UNIT = listening(
    r"(?P<unit>(?:Oa?|a)?(?:k(?:Oa?i)?|r(?:Oa?i)?|w(?:Oa?i)?|[iNLVlpMmZjY]|DY?)|>[LNV]|I(?![af]))",
    words("i", "inch", "inches", "of an inch", "an inch"),
)
AMOUNT = row(
    either(*(named(k, group(k, p)) for k, p in _FORMS.items())), named("unit", maybe(_UNIT))
)
"""One amount: a number in one of its forms, and its unit."""


def amount(form: str, unit: Rule = SILENCE, **narrower: Rule | None) -> Rule:
    """What is listened for of amounts in one of the `_FORMS`, with a unit said as `unit`."""
    others = dict.fromkeys(name for name in _FORMS if name != form)
    return AMOUNT.said(others | {"unit": unit} | narrower)


# --- relations: amounts and what stands around them, with & for an amount


def _amount(in_match: str, narrowed: str = "amount") -> Part:
    return group(in_match, named(narrowed, words("&")))


_A, _B, _GOES, _NOT = _amount("a"), _amount("b"), _amount("g"), _amount("n")
_ONE, _BARE = named("amount", words("&")), named("bare", words("&"))
_MAYBE_AND, _MAYBE_ABOUT, _THE = unsaid("A?"), unsaid("[@J]*"), around("the", "a")
SHY, FAT = words("S", "shy", "scant", "light", "short"), words("R", "fat", "heavy", "strong")
_TOUCH = words("J", "just", "a hair", "a bit", "a touch", "a tad", "a little")
_LITTLE = either(_TOUCH, words("J", "hair", "bit", "touch", "tad"))
_NO_GO = words("[!|]%?", "no go on", "no go at", "no go", "not", "won't take")
_STAYS_OUT = words("[!|]%?", "doesn't", "won't", "no go", "does not")
_GOES_ON = words("%", "goes on", "goes", "go on", "go at", "fits", "takes")
_GOES_IN = words("%", "goes", "goes in", "slides in", "fits")
_LESS_OR_MORE = words("[g+\\-_]", "minus", "less", "plus")

RELATIONS: tuple[tuple[str, Part], ...] = (
    # two gauges: the one that goes (g) and the one that does not (n)
    ("gauge", row(_GOES_ON, _THE, _GOES, _MAYBE_AND, around("and", "but"), _NO_GO, _THE, _NOT,
                  unsaid("%?"))),
    ("gauge", row(around("the"), _GOES, around("gauge"), _GOES_IN, _MAYBE_AND, around("but the"),
                  _NOT, _STAYS_OUT)),
    ("gauge", row(words("[!|]%", "no go on"), _THE, _NOT, _MAYBE_AND, words("%?", "go on"), _THE,
                  _GOES)),
    ("gauge", row(_NOT, words("[!|]%?A?"), _GOES, words("%"))),
    ("gauge", row(_GOES, words("%A?[!|]%?"), _NOT)),
    ("gauge", row(words("%"), _GOES, _MAYBE_AND, _NOT, words("[!|]%?"))),
    ("below", words("[!|]%&|&[!|]%")),
    ("goes", words("%&|&%")),
    ("one-sided", words("[!|]?%[!|]?&|&[!|]?%|&!")),
    ("between", row(around("somewhere"), _MAYBE_ABOUT, words("B", "between"), _A,
                    words(r"[A2\-_U]?", "and"), _B)),
    ("between", row(around("from"), _MAYBE_ABOUT, _A, words("2", "to"), _B)),
    ("dash-", row(_MAYBE_ABOUT, _A, words("-"), _B)),
    ("dash_", row(_MAYBE_ABOUT, _A, words("_"), _B)),
    ("between", row(words("J?(?:>|v)"), _A, words("A?!?(?:<|u)"), _B)),
    ("between", row(words("(?:<|u)"), _B, words("A?!?(?:>|v)"), _A)),
    # a sliver more or less than an amount
    ("within", row(unsaid("@*"), group("a", _BARE), words("~", "give or take", "plus or minus"),
                   _amount("b", "sliver"))),
    ("under", row(unsaid("J?"), _amount("a", "sliver"),
                  words("J?[Su]", "under", "short of", "shy of"), _B)),
    ("beyond", row(unsaid("J?"), _amount("a", "sliver"), words("J?v", "over"), _B)),
    ("sum", row(group("a", _BARE), unsaid("J?"),
                group("rest", listening(r"(?:[g+\-_]&)+",
                                        row(_LESS_OR_MORE, named("sliver", words("&"))))))),
    ("or", words("@?&U&")),
    ("negative", words(r"[A@]?[g\-]&")),
    ("below", words("[<u]&|![>v]&|&U?[<u]")),
    ("above", words("[>v]&|![<u]&|&U?>|&Uv")),
    ("one-sided", words("!?(?:>|<|v|u|!)&|&U?[<>vu]?[<>]|&U[vu]")),
    # one amount, and which side of it
    ("shy", row(listening("[@!]?J*[Su<g]J?", either(
        row(around("a", "just a"), SHY), row(_TOUCH, words("[uS]", "under", "shy of")),
        words("S", "almost", "nearly"))), _BARE)),
    ("shy", words("!J&")),
    ("shy", row(_ONE, listening(r"(?:J?[Su]|[g\-_]J?|A?J[Su])",
                                either(row(maybe(_LITTLE), SHY), words("S", "bare"))))),
    ("fat", row(listening(r"@?J*[Rv>+]J?", either(
        row(around("a", "just a"), FAT), row(_TOUCH, words("v", "over")),
        words("J?R", "a good", "just a good"))), _BARE)),
    ("fat", row(_ONE, listening(r"(?:A?J?R|A?J|\+J?|J?v)",
                                either(row(maybe(_LITTLE), FAT), words("AJ", "and a hair"))))),
    ("about", row(words("@+J?", "about", "around", "roughly", "somewhere around"), _BARE)),
    ("about", row(_ONE, words("U?@", "or so", "ish"))),
    ("about", words("&~|@J?&@")),
    ("one", row(words(r"[A2J+_\-|]*", "exactly", "good"), _BARE, unsaid("[A2J|_]*"))),
    ("join", row(group("a", named("turns", words("&"))), unsaid("A?"), around("and"),
                 group("b", named("flats", words("&"))))),
    ("many", words(".*&.*&.*")),
    ("odd", words(".*&.*")),
)  # fmt: skip
"""What amounts can stand in, by what it makes of them; the first that matches counts."""


def relations(*operations: str, **narrower: Rule | None) -> Rule:
    """What is listened for of the relations that make `operations`."""
    rules = [part.rule(narrower) for name, part in RELATIONS if name in operations]
    return alt(*(rule for rule in rules if rule is not None))
