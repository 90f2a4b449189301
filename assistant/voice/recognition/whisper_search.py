"""Beam search through a grammar with Whisper's decoder, beside the same decoder left free.

One beam runs free and takes the likeliest token each time; the others stay inside the grammar. How
much likelier the free one comes out says how well the grammar fits the sound at all.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from assistant.voice.recognition.grammar import State
from assistant.voice.recognition.whisper_model import Array, Decoder, Sound

BEAMS = 8
PRUNE = 9.0
"""Natural-log units below the best at which a hypothesis is given up."""
LENGTH = 1.0
"""Natural-log units a token is worth while hypotheses of different lengths compete: without it a
short phrase wins over a long one that was said less clearly. Set on the tuning voices."""
MAX_TOKENS = 44
"""Of things done, said in one breath; all else is shorter."""
FREE_TOKENS = 40

Scored = list[tuple[list[int], float]]
"""Token lists with their log probabilities."""


class Ends(NamedTuple):
    """Positions among the kept tokens: the end itself, signs that can end a phrase, and the token
    for "this is no speech"."""

    last: int
    soft: tuple[int, ...]
    no_speech: int


@dataclass(slots=True)
class _Beam:
    tokens: list[int]
    score: float
    state: State[int] | None  # None: the free one


@dataclass(slots=True)
class SearchResult:
    """What the search gives: inside the grammar, best first for their length, and free."""

    inside: Scored = field(default_factory=list)
    free: list[int] = field(default_factory=list)
    free_score: float = 0.0
    no_speech: float = 0.0
    """Log probability of the token for no speech, before anything else."""


class Search:
    """Searches with one decoder."""

    def __init__(self, decoder: Decoder, ends: Ends) -> None:
        self.decoder = decoder
        self.ends = ends
        self.position = {int(token): at for at, token in enumerate(decoder.kept)}

    def run(self, sound: Sound, prompt: list[int], start: State[int]) -> SearchResult:
        """Search `sound` after `prompt`, inside the grammar that begins at `start`."""
        found = SearchResult()
        logs, memory = self.decoder.start(sound, prompt)
        found.no_speech = float(logs[0, self.ends.no_speech])
        logs[:, self.ends.no_speech] = -np.inf
        beams = [_Beam([], 0.0, None), _Beam([], 0.0, start)]
        memory = memory.taken([0, 0])
        logs = np.repeat(logs, 2, axis=0)
        best = -np.inf
        for _ in range(MAX_TOKENS):
            beams, parents, best = self._advance(beams, logs, found, best)
            if not beams:
                break
            tokens = [beam.tokens[-1] for beam in beams]
            logs, memory = self.decoder.step(sound, tokens, memory.taken(parents))
        found.inside.sort(key=lambda pair: -(pair[1] + LENGTH * len(pair[0])))
        return found

    def _advance(
        self, beams: list[_Beam], logs: Array, found: SearchResult, best: float
    ) -> tuple[list[_Beam], list[int], float]:
        """Every beam by one token: those kept, the beam each came from, the best finished score."""
        ended = np.logaddexp.reduce(logs[:, [self.ends.last, *self.ends.soft]], axis=1)
        grown: list[tuple[float, int, int, State[int]]] = []
        free: list[_Beam] = []
        for at, beam in enumerate(beams):
            if beam.state is None:  # always the first
                free = self._free(beam, logs[at], float(ended[at]), found)
                continue
            if beam.state.final:
                score = beam.score + float(ended[at])
                found.inside.append((beam.tokens, score))
                best = max(best, score + LENGTH * len(beam.tokens))
            for token, state in beam.state.next.items():
                grown.append((beam.score + float(logs[at, self.position[token]]), at, token, state))
        # All have the same length here: what is worth its length decides only against the ended.
        grown.sort(key=lambda g: -g[0])
        length = LENGTH * (max(len(b.tokens) for b in beams) + 1)
        kept, parents = free, [0] * len(free)
        top = max(best, grown[0][0] + length) if grown else best
        for score, at, token, state in grown[:BEAMS]:
            if score + length < top - PRUNE:
                break
            kept.append(_Beam([*beams[at].tokens, token], score, state))
            parents.append(at)
        return kept, parents, best

    def _free(self, beam: _Beam, logs: Array, ended: float, found: SearchResult) -> list[_Beam]:
        """The free beam by one token, or none when it is over."""
        choice = int(np.argmax(logs))
        last = beam.tokens[-6:]
        stuck = len(last) == 6 and last[:3] == last[3:]  # the model is going round
        if choice == self.ends.last or len(beam.tokens) >= FREE_TOKENS or stuck:
            found.free, found.free_score = beam.tokens, beam.score + ended
            return []
        token = int(self.decoder.kept[choice])
        grown = _Beam([*beam.tokens, token], beam.score + float(logs[choice]), None)
        found.free, found.free_score = grown.tokens, grown.score
        return [grown]
