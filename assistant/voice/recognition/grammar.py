"""What may be said at one moment, as a regular grammar that every recognizer can be given.

The concepts are those of W3C SRGS 1.0 (a rule expands to words, sequences, alternatives, optional
parts; one root rule). `Grammar.start` gives a deterministic automaton over words, built as it is
walked: no sentence list, however many sentences there are.
"""

from __future__ import annotations

import random
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property

from assistant.readings.language import Opt, Rule, Seq


@dataclass(frozen=True)
class Grammar:
    """A root rule under a name.

    Attributes:
        name: for JSGF and for messages.
        root: what may be said.
    """

    name: str
    root: Rule

    @cached_property
    def _net(self) -> _Net:
        return _Net(self.root)

    @cached_property
    def vocabulary(self) -> tuple[str, ...]:
        """All words, sorted: what a recognizer must be able to spell."""
        return tuple(sorted({word for arcs in self._net.arcs for word, _ in arcs if word}))

    @property
    def start(self) -> State:
        """The automaton's first state."""
        return self._net.start

    def accepts(self, words: str) -> bool:
        """Whether `words` may be said, whole."""
        state: State | None = self.start
        for word in words.lower().replace("-", " ").split():
            state = state.after(word) if state else None
        return state is not None and state.final

    def sentences(self, n: int, rng: random.Random) -> list[str]:
        """`n` sentences, each alternative taken by chance."""
        return [" ".join(_sample(self.root, rng)) for _ in range(n)]


def _sample(rule: Rule, rng: random.Random) -> Iterator[str]:
    if isinstance(rule, str):
        yield rule
    elif isinstance(rule, Seq):
        for item in rule.items:
            yield from _sample(item, rng)
    elif isinstance(rule, Opt):
        if rng.random() < 0.5:
            yield from _sample(rule.item, rng)
    else:
        weights = rule.weights or [1.0] * len(rule.items)
        yield from _sample(rng.choices(rule.items, weights)[0], rng)


class _Net:
    """Thompson's construction: numbered nodes, arcs with a word or with None."""

    def __init__(self, root: Rule) -> None:
        self.arcs: list[list[tuple[str | None, int]]] = [[]]
        self.end = self._add(root, 0)
        self.states: dict[frozenset[int], State] = {}
        self.start = self.state({0})

    def _node(self) -> int:
        self.arcs.append([])
        return len(self.arcs) - 1

    def _add(self, rule: Rule, start: int) -> int:
        if isinstance(rule, str):
            end = self._node()
            self.arcs[start].append((rule, end))
            return end
        if isinstance(rule, Seq):
            for item in rule.items:
                start = self._add(item, start)
            return start
        end = self._node()
        items = (rule.item,) if isinstance(rule, Opt) else rule.items
        for item in items:
            self.arcs[self._add(item, start)].append((None, end))
        if isinstance(rule, Opt):
            self.arcs[start].append((None, end))
        return end

    def state(self, nodes: Iterable[int]) -> State:
        closed = set(nodes)
        todo = list(closed)
        while todo:
            for word, to in self.arcs[todo.pop()]:
                if word is None and to not in closed:
                    closed.add(to)
                    todo.append(to)
        key = frozenset(closed)
        if key not in self.states:
            self.states[key] = State(self, key)
        return self.states[key]


class State:
    """A state of the automaton; states are made when first reached, and kept."""

    __slots__ = ("_net", "_next", "final", "nodes")

    def __init__(self, net: _Net, nodes: frozenset[int]) -> None:
        self._net = net
        self.nodes = nodes
        self.final = net.end in nodes
        self._next: dict[str, State] | None = None

    @property
    def next(self) -> dict[str, State]:
        """The words that may come now, and where each leads."""
        if self._next is None:
            reached: dict[str, set[int]] = {}
            for node in self.nodes:
                for word, to in self._net.arcs[node]:
                    if word is not None:
                        reached.setdefault(word, set()).add(to)
            self._next = {word: self._net.state(to) for word, to in sorted(reached.items())}
        return self._next

    def after(self, word: str) -> State | None:
        """Where `word` leads, or None."""
        return self.next.get(word)
