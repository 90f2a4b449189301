"""A word automaton walked by a model's tokens.

A token is a word or a piece of one, and one word's tokens may begin another's ("six", "sixteenth"),
so a node stands for every place that the tokens so far can have led to.
"""

from __future__ import annotations

from collections.abc import Callable

from .grammar import State

Spell = Callable[[str], tuple[int, ...]]
"""A word to its tokens, as it is written after a space."""

_Place = tuple[State, tuple[int, ...]]
"""A state of the word automaton, and the tokens still to come of the word that leads to it."""


class Node:
    """Where some tokens lead. Nodes are made when first reached, and kept."""

    __slots__ = ("_net", "_next", "final", "places")

    def __init__(self, net: TokenNet, places: frozenset[_Place]) -> None:
        self._net = net
        self._next: dict[int, Node] | None = None
        self.places = places
        self.final = any(not rest and state.final for state, rest in places)

    @property
    def next(self) -> dict[int, Node]:
        """The tokens that may come now, and where each leads."""
        if self._next is None:
            reached: dict[int, set[_Place]] = {}
            for state, rest in self.places:
                if rest:
                    reached.setdefault(rest[0], set()).add((state, rest[1:]))
                    continue
                for word, after in state.next.items():
                    first, *more = self._net.spell(word)
                    reached.setdefault(first, set()).add((after, tuple(more)))
            self._next = {t: self._net.node(frozenset(p)) for t, p in reached.items()}
        return self._next


class TokenNet:
    """The automaton of one grammar over tokens.

    Args:
        start: first state of the word automaton.
        spell: gives a word's tokens.
    """

    def __init__(self, start: State, spell: Spell) -> None:
        self.spell = spell
        self._nodes: dict[frozenset[_Place], Node] = {}
        self.start = self.node(frozenset({(start, ())}))

    def node(self, places: frozenset[_Place]) -> Node:
        """The one node for these places."""
        if places not in self._nodes:
            self._nodes[places] = Node(self, places)
        return self._nodes[places]
