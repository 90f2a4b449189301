"""What may be said now: from where a dialogue stands to one grammar.

The same sources that the text is understood by: the phrases of dialogs/, the answers of the step,
and the reading rules for the quantity asked.
"""

from __future__ import annotations

from functools import lru_cache

from assistant.dialogue import Dialogue, Question
from assistant.quantity import QUANTITIES
from assistant.readings.language import Rule, alt, opt, seq, weighted, words_of
from assistant.texts.normal import normal
from assistant.voice.recognition.grammar import Grammar
from assistant.voice.recognition.reading_grammar import FIGURE, SMALL, reading

KEPT = 8
"""Grammars kept: a job goes to and fro between few, and one takes several megabytes."""
_LEAD = ("okay", "yes", "right", "all right")
_CHOICES = ("the first", "first", "the second", "second", "neither", "first one", "second one")
_ANSWER_UNITS = ("inches", "inch", "thousandths", "thou", "millimetres", "millimeters",
                 "sixteenths", "thirty seconds", "sixty fourths")  # fmt: skip


def expected(dialogue: Dialogue, who: str = "", asked: Question | None = None) -> Grammar:
    """The grammar of this moment.

    Args:
        dialogue: where it stands.
        who: "tech" or "helper" when the microphone is one person's; "" when it is shared.
        asked: the question about a reading that waits for its answer, if any.
    """
    phrases = frozenset(_phrases(dialogue, who))
    quantity = dialogue.expects()
    last = quantity or dialogue.last_quantity()
    signs = "sign_off" in dialogue.allowed()
    metric = dialogue.units == "mm"
    return _grammar(phrases, quantity, last, metric, signs, asked is not None)


def _phrases(dialogue: Dialogue, who: str) -> set[str]:
    known, allowed, danger = dialogue.dialogs.words, dialogue.allowed(), dialogue.danger()
    found = {*dialogue.answers()}
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
    phrases: frozenset[str], quantity: str, last: str, metric: bool, signs: bool, asked: bool
) -> Grammar:
    commands = alt(*sorted(" ".join(words) for p in phrases if (words := _spoken(p))))
    command = seq(opt(alt(*_LEAD)), commands)
    said: list[tuple[float, Rule]] = [(1.0, command)]
    named = alt(*(q.spoken for q in QUANTITIES.values()))
    said.append((0.1, seq("correct the", named)))
    if signs:
        code = alt(seq(FIGURE, opt(FIGURE, opt(FIGURE, opt(FIGURE)))), SMALL)
        said.append((1.0, seq(alt("sign off", "signing off"), opt(alt("code", "by")), code)))
    if asked:
        said.append((1.0, alt(*_CHOICES, *_ANSWER_UNITS)))
    if quantity:
        said.append((1.0, reading(quantity, metric)))
    if last:
        again = seq(alt("correction", "correct that to", "make it", "no"), opt("it's"))
        said.append((0.3, seq(again, reading(last, metric, True))))
    name = f"now_{abs(hash((phrases, quantity, last, metric, signs, asked))):x}"
    return Grammar(name, weighted(*said))


def _spoken(phrase: str) -> list[str]:
    """A phrase as it is said, or [] for one that is only ever typed."""
    try:
        return words_of(normal(phrase))
    except ValueError:
        return []
