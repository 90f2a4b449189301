"""The conversation about a complaint: a line in, lines out."""

from __future__ import annotations

from collections.abc import Mapping

from assistant.card import Card
from assistant.causes.case import NO, YES, Case, findings_of
from assistant.causes.table import Finding, Table
from assistant.clutch.conformity import Measured
from assistant.readings import QUANTITIES, read
from assistant.texts.dialogs import Dialogs
from assistant.texts.normal import denied, normal, without_lead

_END = frozenset({"quit", "exit", "end", "that's all", "enough"})


class CauseTalk:
    """Asks for the next most telling reading until the cause is clear. `over` when it is."""

    def __init__(
        self, table: Table, card: Card, dialogs: Dialogs, known: Mapping[str, Measured]
    ) -> None:
        self.case = Case(table.of(card))
        self.card = card
        self.dialogs = dialogs
        self.known = dict(known)
        self.asked: Finding | None = None
        self.over = False
        self.case.found.update(findings_of(self.case.table, card, self.known))

    def complain(self, words: str) -> bool:
        """Take the complaints named in the words; whether there were any."""
        text = normal(words)
        named = [c for c in self.case.table.heard_in(text) if c not in self.case.complaints]
        if not named or denied(text):
            return False
        self.case.complaints += named
        return True

    def begin(self) -> list[str]:
        if self.case.complaints or self.case.found:
            return self._next()
        complaints = list(self.case.table.complaints.values())
        examples = ", ".join(c.name for c in complaints[:3])
        return [self.case.table.say("which", examples=examples)]

    def hear(self, words: str) -> list[str]:
        text = without_lead(normal(words))
        aside = self._aside(text)
        return aside if aside is not None else self._taken(words, text)

    def _aside(self, text: str) -> list[str] | None:
        """What is answered to words that ask or end; None when they are others."""
        heard = self.dialogs.words
        if text in heard["stop"].phrases or text in _END:
            self.over = True
            return [self.case.table.say("ended")]
        if text in heard["why"].phrases or text in self.case.table.reasons:
            return [*self.case.why(), *self._ask_again()]
        if not text or text in heard["repeat"].phrases:
            return self._ask_again()
        return None

    def _taken(self, words: str, text: str) -> list[str]:
        """What a reading, an answer or another complaint leads to."""
        named = [n for n, q in QUANTITIES.items() if q.spoken in text and q.unit == "in"]
        if len(named) == 1:  # "the gap is 21/32", whatever was asked
            answer = self._read(words, named[0])
        else:
            answer = self._answer(words, text, self.asked) if self.asked is not None else None
        if answer is not None:
            return answer
        if self.complain(words):
            return self._next()
        if self.asked is None and not self.case.complaints:
            return self.begin()
        how = "answer_yes" if self.asked is not None and not self.asked.readings else "answer_how"
        return [self.case.table.say(how), *self._ask_again()]

    def _answer(self, words: str, text: str, asked: Finding) -> list[str] | None:
        """What the answer leads to, or None when it is none."""
        heard = self.dialogs.words
        if text in heard["skip"].phrases:
            self.case.skipped.add(asked.id)
            return self._next()
        if not asked.readings:
            if text in heard["check"].phrases or text.startswith("yes "):
                self.case.found[asked.id] = YES
            elif text in heard["no"].phrases or text.startswith("no "):
                self.case.found[asked.id] = NO
            else:
                return None
            return self._next()
        if text in asked.states:  # judged by whoever read it
            self.case.found[asked.id] = tuple(float(text == state) for state in asked.states)
            return self._next()
        limited = (q for q in asked.readings if self.card.figures.get(q) is not None)
        return self._read(words, next(limited))

    def _read(self, words: str, quantity: str) -> list[str] | None:
        """Take a reading in; None when there is none in the words."""
        got = read(words, quantity, self.card.units, self.card.distance)
        if got.status == "none":
            return None
        if got.value_in is None or got.low_in is None or got.high_in is None:
            return [got.why]
        self.known[quantity] = Measured.from_interval(got.value_in, got.low_in, got.high_in)
        self.case.found.update(findings_of(self.case.table, self.card, self.known))
        return [f"{got.figures}.", *self._next()]

    def _next(self) -> list[str]:
        """Where it stands, and the next question; or that nothing more would tell."""
        telling = self.case.telling()
        if not telling:
            self.asked, self.over = None, True
            return [*self.case.why(), self.case.sentence()]
        self.asked = telling[0][0]
        return [self.case.sentence(), self.asked.ask]

    def _ask_again(self) -> list[str]:
        return self.begin() if self.asked is None else [self.asked.ask]
