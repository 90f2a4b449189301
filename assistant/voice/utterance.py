"""One thing to be said, its rank among the others, and how a turn's talk is put in order."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from assistant.procedure.said import Said

from .playing import Chunk
from .spoken_text import sentences, spoken

STOP, CUE, PROMPT, REST = range(4)
"""Ranks, the most urgent first."""


@dataclass(slots=True, eq=False)
class Utterance:
    """A part of a reply on its way to one output.

    Attributes:
        rank: `STOP` to `REST`.
        order: position among all that was ever said; earlier first within a rank.
        said: what it is of.
        voice: "tech" or "helper".
        earcon: the signal before the words, or "".
        parts: sentences still to be synthesized.
        chunks: what was handed to the output.
        first: whether its first sound was told of.
    """

    rank: int
    order: int
    said: Said
    voice: str
    earcon: str
    parts: list[str]
    chunks: list[Chunk] = field(default_factory=list)
    first: bool = False

    def fresh(self) -> Utterance:
        """The same, to be said from its beginning."""
        earcon, parts = _shape(self.said)
        if self.rank == PROMPT and self.said.cue == "STOP":
            earcon, parts = "", parts[HEAD:]
        return Utterance(self.rank, self.order, self.said, self.voice, earcon, parts)


HEAD = 2
"""Sentences of a stop that both must hear before either hears more: `STOP. Everything out.`"""
_EARCON = {"HOLD": "hold", "RELEASE": "release", "STOP": "danger"}


def rank_of(said: Said) -> int:
    """A stop or an alarm, a cue to the helper, a prompt or caution, or the rest."""
    if said.cue == "STOP" or (said.signal == "DANGER" and said.key.startswith("reply:")):
        return STOP
    if said.cue:
        return CUE
    if said.signal or said.key.partition(":")[0] in ("prompt", "helper", "caution"):
        return PROMPT
    return REST


def ranked(turn: Sequence[Said]) -> list[tuple[int, Said]]:
    """A turn's parts with their ranks, in the order they are to be said.

    Stops come first. Otherwise a turn keeps its order: what leads up to a cue or a prompt shares
    its rank, for a caution comes before the act, and a verdict before the next question.
    """
    out: list[tuple[int, Said]] = []
    lead = REST
    for said in reversed(turn):
        rank = rank_of(said)
        if rank != STOP:
            rank = lead = min(rank, lead)
        out.append((rank, said))
    out.reverse()
    return sorted(out, key=lambda pair: pair[0] != STOP)


def utterances(rank: int, order: int, said: Said, voice: str) -> list[Utterance]:
    """The utterance, or two: what is long in a stop waits until the other has heard his."""
    earcon, parts = _shape(said)
    if rank != STOP or len(parts) <= HEAD:
        return [Utterance(rank, order, said, voice, earcon, parts)]
    return [
        Utterance(STOP, order, said, voice, earcon, parts[:HEAD]),
        Utterance(PROMPT, order, said, voice, "", parts[HEAD:]),
    ]


def _shape(said: Said) -> tuple[str, list[str]]:
    parts = sentences(spoken(said.text))
    if said.signal and not said.cue and rank_of(said) != STOP:
        parts.insert(0, f"{said.signal.capitalize()}.")
    return _EARCON.get(said.cue, ""), parts
