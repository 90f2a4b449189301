"""What words most likely mean: a linear classifier over the words and letters of an utterance, and
a network beside it that reads them in their order (`network.py`).

It was fitted (`tests/benchmarks/fit_meanings.py`) on what independent writers said that people
would say at each step. Its weights lie beside this file: a row for each piece of an utterance, a
column for each meaning. It moves nothing: `understand` decides what its figures are good for, and
words that matter need more than a high figure (`safety`).
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache, lru_cache
from itertools import pairwise
from math import exp, log
from pathlib import Path
from typing import TYPE_CHECKING, Any

from assistant.conversation.network import network
from assistant.texts.normal import normal

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    from assistant.dialogue import Dialogue

_READS = re.compile(r"(?:found|set|final|ring|next)_(height|total|free|contact|gap|clearance|due)$")
_RING = re.compile(r"(?:fork|free|contact)_rod$|(?:height|total)_stop$")
_SAME = {
    "fork_clearance": "clearance", "found_clearance": "clearance", "found_odometer": "odometer",
    "key_back": "key", "reopen_cover": "cover_off", "chain_cable": "chain_loose",
    "chain_fluid": "chain_loose", "final_fluid": "lubricate",
    "function_release": "function", "function_brake": "function", "function_slip": "function",
    "engine_off": "key", "new_cover": "cover_off", "new_wedges": "look_inside",
    "new_brake": "look_inside", "new_ready": "ring_ready", "new_seat": "chain_pedal",
}  # fmt: skip
NUMBERS = frozenset(
    """zero oh one two three four five six seven eight nine ten eleven twelve thirteen fourteen
    fifteen sixteen seventeen eighteen nineteen twenty thirty forty fifty sixty seventy eighty
    ninety hundred thousand""".split()
)
PARTS = frozenset(
    """half halves quarter quarters eighth eighths sixteenth sixteenths thirtysecond second seconds
    sixtyfourth fourths thirds point thou thousandths mil mils millimetre millimetres millimeter
    millimeters mm inch inches""".split()
)
_WORD = re.compile(r"[a-z]+(?:'[a-z]+)?|\d+(?:[./]\d+)*|[½¼¾⅛⅜⅝⅞]|\?")


def place(dialogue: Dialogue) -> str:
    """Where it stands, as far as it matters for what words mean there."""
    if dialogue.stopped:
        return "halted"
    if dialogue.pending is not None:
        return "pending"
    at, danger = dialogue.at, dialogue.danger()
    if danger.foot:
        return "foot"
    if danger.pedal and not (danger.held or danger.releasing or "holding" in dialogue.allowed()):
        return "doubted"
    if dialogue.choosing or (at == "ring_plan" and "accept" in dialogue.allowed()):
        return "choice" if dialogue.choosing else "plan"
    m = _READS.match(at)
    if m:
        return m[1]
    return _SAME.get(at) or ("rod" if _RING.match(at) else at)


def spoken(words: str) -> str:
    """Normal words, with "?" at the end where they ask."""
    return normal(words) + (" ?" if "?" in words else "")


def tokens(words: str) -> list[str]:
    """The words of an utterance; "?" where it asks. "goin'" is "goin"."""
    text = spoken(words)
    text = re.sub(r"\b(\w{2,}[^aeiou\W]?)in'?(?=\s|$)", r"\1in", text)
    return _WORD.findall(text)


def _kind(word: str) -> str:
    """A word, or what stands for all like it: a number, a part of an inch."""
    if word in NUMBERS or word[0].isdigit():
        return "#"
    return "/#" if word in PARTS or word[0] in "½¼¾⅛⅜⅝⅞" else word


def pieces(words: str, who: str, at: str) -> Iterator[str]:
    """All that the classifier looks at in an utterance, each with the kind of piece before it.

    Args:
        words: as typed or recognized.
        who: "tech" or "helper".
        at: see `place`.
    """
    said = tokens(words)
    kinds = [_kind(w) for w in said]
    ends = ["^", *kinds, "$"]
    for word in dict.fromkeys([*said, *kinds]):
        yield f"w {word}"
        yield f"p {at} {word}"
        yield f"s {who} {word}"
    for a, b in pairwise(ends):
        yield f"w {a} {b}"
        yield f"p {at} {a} {b}"
    for a, b, c in zip(ends, ends[1:], ends[2:], strict=False):
        yield f"w {a} {b} {c}"
        yield f"k {a} {c}"
    for word in dict.fromkeys(said):
        if word not in NUMBERS and word.isalpha():
            edged = f"<{word}>"
            for n in (3, 4, 5):
                for i in range(len(edged) - n + 1):
                    yield f"c {edged[i : i + n]}"
    yield f"@ {at}"
    yield f"@ {at} {who}"
    yield f"@ {at} {who} {min(len(said), 6)}"


_WEIGHT = {"w": 1.4, "p": 1.0, "s": 0.5, "k": 0.6, "c": 0.5, "@": 0.6}
"""How much a kind of piece counts."""


def weigh(pieces_of: Iterator[str]) -> dict[str, float]:
    """Pieces and their values: each kind of them has the same length, whatever is said."""
    found: dict[str, set[str]] = {}
    for piece in pieces_of:
        found.setdefault(piece[0], set()).add(piece)
    return {piece: _WEIGHT[kind] / len(of) ** 0.5 for kind, of in found.items() for piece in of}


@dataclass(frozen=True, slots=True)
class Likely:
    """What an utterance may mean.

    Attributes:
        shares: meaning -> its share, of all 1; "nothing" is what needs no answer.
        harm: 0 to 1: somebody may be hurt, or something moves.
        waits: 0 to 1: where it is "nothing", a moment is asked for.
        by_words: meaning -> how much its words speak for it, whatever the step expects.
        known: share of its words that the writers used.
    """

    shares: dict[str, float]
    harm: float
    waits: float
    by_words: dict[str, float]
    known: float

    @property
    def best(self) -> str:
        """The likeliest meaning."""
        return max(self.shares, key=lambda label: self.shares[label])


SHARPNESS = 4.0
"""Margins of the classifier to shares, by `exp`: fitted so that a share of 0.8 is right in 8 of 10
by the writers left out."""


@dataclass(frozen=True, slots=True)
class Weights:
    """The fitted figures.

    Attributes:
        rows: piece -> its row.
        table: pieces by meanings.
        bias: one for each meaning.
        labels: the meanings; the last two are "harm" and "waits", both logistic.
    """

    rows: dict[str, int]
    table: npt.NDArray[np.float32]
    bias: npt.NDArray[np.float32]
    labels: tuple[str, ...]

    @classmethod
    def of(cls, data: Any) -> Weights:
        """From the arrays of the file."""
        import numpy as np  # when words are first understood, not when a command starts

        pieces = bytes(data["pieces"]).decode().split("\n")
        return cls(
            {piece: row for row, piece in enumerate(pieces)},
            data["weights"].astype(np.float32) * data["scale"],
            data["bias"],
            tuple(bytes(data["labels"]).decode().split("\n")),
        )

    def knows(self, word: str) -> bool:
        """Whether a writer used the word, in lower case."""
        return f"w {word}" in self.rows

    def likely(self, words: str, who: str, at: str) -> Likely:
        """What `words` may mean; see `pieces` for the arguments."""
        import numpy as np

        values = weigh(pieces(words, who, at))
        found = [(self.rows[p], v, p) for p, v in values.items() if p in self.rows]
        rows = np.array([row for row, _, _ in found], int)
        parts = self.table[rows] * np.array([v for _, v, _ in found], np.float32)[:, None]
        total = parts.sum(0) + self.bias
        of_words = np.array([p[0] in "wpsk" for _, _, p in found], bool)
        spoken = parts[of_words].sum(0)
        most = len(self.labels) - 2
        shares = np.exp(SHARPNESS * (total[:most] - total[:most].max()))
        shares /= shares.sum()
        harm, waits = 1 / (1 + np.exp(-total[most:]))
        said = set(tokens(words))
        known = sum(self.knows(w) for w in said) / max(len(said), 1)
        return Likely(
            dict(zip(self.labels, shares.tolist(), strict=False)),
            float(harm),
            float(waits),
            dict(zip(self.labels, spoken.tolist(), strict=False)),
            known,
        )


WEIGHTS = Path(__file__).parent / "meaning.npz"


@cache
def weights() -> Weights:
    """The fitted figures, read once."""
    import numpy as np

    with np.load(WEIGHTS) as data:
        return Weights.of(data)


PIECES_COUNT = 0.15
"""How much the pieces of words count beside the network, which counts 1."""
EVEN = 1.2
"""How much shares are drawn apart: with the count above, near the least log loss on the lines of
writers who were not fitted on (`bars`)."""
HARM_OF = (0.53, 0.15, 0.29, -0.06)
"""Of the odds of harm: how much the network's count, the pieces', the logarithm of the share of
danger, and what is added: by logistic regression on lines in a hold of writers not fitted on."""


def joined(pieces: Likely, scores: npt.NDArray[np.float32], labels: tuple[str, ...]) -> Likely:
    """What the pieces of words say and what the network says, in one."""
    import numpy as np

    own = np.array([pieces.shares[label] for label in labels])
    both = EVEN * (scores[: len(labels)] + PIECES_COUNT * np.log(own + 1e-9))
    shares = np.exp(both - both.max())
    shares /= shares.sum()
    net, more, danger, base = HARM_OF
    harm = net * float(scores[-2]) + more * logit(pieces.harm) + base
    harm += danger * log(float(shares[labels.index("danger")]) + 1e-9)
    waits = (float(scores[-1]) + logit(pieces.waits)) / 2
    return replace(
        pieces,
        shares=dict(zip(labels, shares.tolist(), strict=True)),
        harm=share_of(harm),
        waits=share_of(waits),
    )


def logit(share: float) -> float:
    """The logarithm of a share's odds."""
    share = min(max(share, 1e-6), 1 - 1e-6)
    return log(share / (1 - share))


def share_of(odds: float) -> float:
    """The share whose odds have this logarithm."""
    return 1 / (1 + exp(-odds))


PLAIN, NO_HARM, ALL_HARM = 0.97, 0.004, 0.999
"""Share of a meaning, and of harm below or above which, from which the pieces of words that are all
known say enough: no network is asked, and an answer comes sooner."""


def plain(pieces: Likely) -> bool:
    """Whether the pieces of words leave no doubt."""
    sure = pieces.known == 1 and pieces.shares[pieces.best] >= PLAIN
    return sure and not NO_HARM < pieces.harm < ALL_HARM


@lru_cache(maxsize=4096)
def likely(words: str, who: str, at: str) -> Likely:
    """What words may mean, by the fitted weights of both."""
    found = weights().likely(words, who, at)
    if plain(found):
        return found
    net = network()
    return joined(found, net.scores(spoken(words), who, at), net.labels)
