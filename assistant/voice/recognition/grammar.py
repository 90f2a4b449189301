"""What may be said at one moment, as an automaton that every recognizer can walk.

A rule of `readings.language` becomes a deterministic automaton over words, and one over a model's
tokens, both built as they are walked: no sentence list, however many sentences there are.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, Generic, TypeVar

from assistant.readings.language import Alt, Opt, Rule, Seq

Symbol = TypeVar("Symbol", str, int)
"""What leads from one state to the next: a word, or a token of a model."""


@dataclass(slots=True, eq=False)
class State(Generic[Symbol]):
    """A state of an automaton: the places that what was said so far can have led to. It is made
    when first reached, and kept (the subset construction, lazily)."""

    within: Automaton[Symbol]
    places: frozenset[Any]
    final: bool
    _next: dict[Symbol, State[Symbol]] | None = None

    @property
    def next(self) -> dict[Symbol, State[Symbol]]:
        """What may come now, ascending, and where each leads."""
        if self._next is None:
            reached: dict[Symbol, set[Any]] = {}
            for place in self.places:
                for symbol, to in self.within.moves(place):
                    reached.setdefault(symbol, set()).add(to)
            self._next = {s: self.within.state(reached[s]) for s in sorted(reached)}
        return self._next


@dataclass(slots=True, eq=False)
class Automaton(Generic[Symbol]):
    """Places, moves between them, and the deterministic states that stand for sets of places.

    Attributes:
        moves: what may come at a place, and the place that each leads to.
        ends: whether what was said may end at a place.
        silent: places, and all that are reached from them without a symbol.
        states: those reached so far.
    """

    moves: Callable[[Any], Iterable[tuple[Symbol, Any]]]
    ends: Callable[[Any], bool]
    silent: Callable[[Iterable[Any]], frozenset[Any]] = frozenset
    states: dict[frozenset[Any], State[Symbol]] = field(default_factory=dict)

    def state(self, places: Iterable[Any]) -> State[Symbol]:
        """The one state for these places."""
        key = self.silent(places)
        if key not in self.states:
            self.states[key] = State(self, key, any(map(self.ends, key)))
        return self.states[key]


def over_tokens(start: State[str], spell: Callable[[str], tuple[int, ...]]) -> State[int]:
    """The first state of the same automaton over a model's tokens.

    A token is a word or a piece of one, and one word's tokens may begin another's ("six",
    "sixteenth"): a place is a state over words, and the tokens still to come of the word that
    leads to it. `spell` gives a word's tokens, as it is written after a space.
    """

    def moves(place: tuple[State[str], tuple[int, ...]]) -> Iterator[tuple[int, Any]]:
        state, rest = place
        if rest:
            yield rest[0], (state, rest[1:])
            return
        for word, after in state.next.items():
            first, *more = spell(word)
            yield first, (after, tuple(more))

    return Automaton(moves, lambda place: place[0].final and not place[1]).state({(start, ())})


class Grammar:
    """A root rule under a name, which is for messages; `start` is the first state of its automaton,
    by Thompson's construction: numbered places, arcs with a word or with None."""

    def __init__(self, name: str, root: Rule) -> None:
        self.name, self.root = name, root
        self._arcs: list[list[tuple[str | None, int]]] = [[]]
        end = self._add(root, 0)
        self.start = Automaton[str](self._moves, end.__eq__, self._silent).state({0})

    @cached_property
    def vocabulary(self) -> tuple[str, ...]:
        """All words, sorted: what a recognizer must be able to spell."""
        return tuple(sorted({word for arcs in self._arcs for word, _ in arcs if word}))

    def accepts(self, words: str) -> bool:
        """Whether `words` may be said, whole."""
        state: State[str] | None = self.start
        for word in words.lower().replace("-", " ").split():
            state = state.next.get(word) if state else None
        return state is not None and state.final

    def sentences(self, n: int, rng: random.Random) -> list[str]:
        """`n` sentences, each alternative taken by chance."""
        return [" ".join(_sample(self.root, rng)) for _ in range(n)]

    def _moves(self, place: int) -> Iterator[tuple[str, int]]:
        return ((word, to) for word, to in self._arcs[place] if word is not None)

    def _silent(self, places: Iterable[int]) -> frozenset[int]:
        closed = set(places)
        todo = list(closed)
        while todo:
            for word, to in self._arcs[todo.pop()]:
                if word is None and to not in closed:
                    closed.add(to)
                    todo.append(to)
        return frozenset(closed)

    def _add(self, rule: Rule, start: int) -> int:
        """The place where a rule ends that begins at `start`."""
        if isinstance(rule, Seq):
            for item in rule.items:
                start = self._add(item, start)
            return start
        end = len(self._arcs)
        self._arcs.append([])
        if isinstance(rule, str):
            self._arcs[start].append((rule, end))
            return end
        for item in (rule.item,) if isinstance(rule, Opt) else rule.items:
            self._arcs[self._add(item, start)].append((None, end))
        if isinstance(rule, Opt):
            self._arcs[start].append((None, end))
        return end


def _sample(rule: Rule, rng: random.Random) -> Iterator[str]:
    if isinstance(rule, str):
        yield rule
    elif isinstance(rule, Seq):
        for item in rule.items:
            yield from _sample(item, rng)
    elif isinstance(rule, Alt):
        weights = rule.weights or [1.0] * len(rule.items)
        yield from _sample(rng.choices(rule.items, weights)[0], rng)
    elif rng.random() < 0.5:
        yield from _sample(rule.item, rng)
