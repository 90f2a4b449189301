"""A grammar's automaton made whole and minimal, for engines that want all of it at once."""

from __future__ import annotations

from typing import NamedTuple

from assistant.voice.recognition.grammar import Grammar, State


class Arc(NamedTuple):
    """One word from one state to another, by number."""

    start: int
    end: int
    word: str


class Automaton(NamedTuple):
    """Deterministic, minimal; state 0 is the first.

    Attributes:
        arcs: every transition.
        finals: states in which what was said may end, ascending.
        states: how many there are.
    """

    arcs: tuple[Arc, ...]
    finals: tuple[int, ...]
    states: int


def minimal(grammar: Grammar) -> Automaton:
    """The smallest automaton that takes the same sentences.

    Partition refinement as in Moore, "Gedanken-experiments on sequential machines" (1956): states
    stay in one class as long as they end alike and lead to the same classes by the same words.
    """
    states = _reached(grammar.start)
    classes = {state: int(state.final) for state in states}
    count = 0
    while True:
        ids: dict[tuple[int, tuple[tuple[str, int], ...]], int] = {}
        refined = {}
        for state in states:  # the first state comes first, so its class is number 0
            leads = tuple((word, classes[to]) for word, to in state.next.items())
            refined[state] = ids.setdefault((classes[state], leads), len(ids))
        classes = refined
        if len(ids) == count:
            break
        count = len(ids)
    arcs = dict.fromkeys(
        Arc(classes[state], classes[to], word)
        for state in states
        for word, to in state.next.items()
    )
    finals = sorted({classes[state] for state in states if state.final})
    return Automaton(tuple(arcs), tuple(finals), count)


def _reached(start: State) -> list[State]:
    found = {start: None}
    todo = [start]
    while todo:
        for state in todo.pop().next.values():
            if state not in found:
                found[state] = None
                todo.append(state)
    return list(found)
