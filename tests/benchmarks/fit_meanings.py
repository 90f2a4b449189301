"""Fit the weights by which words are understood, on the tuning writers alone.

    python -m tests.benchmarks.fit_meanings             # write assistant/conversation/meaning.npz
    python -m tests.benchmarks.fit_meanings --check     # each writer by what the others said
    python -m tests.benchmarks.fit_meanings --without a d --to weights.npz

A linear classifier, one against the rest (scikit-learn's LinearSVC), over the pieces of
`conversation.meaning`. Needs scikit-learn. The writers in `heldout` are never read here.
"""

from __future__ import annotations

import argparse
import re
from pathlib import Path

import numpy as np
from sklearn.feature_extraction import DictVectorizer
from sklearn.linear_model import LogisticRegression
from sklearn.svm import LinearSVC

from assistant.conversation import meaning
from tests.conversation import strangers
from tests.conversation.strangers import ALARMS, HAZARD, NOTHING, Line

HARM = "harm"
WAITS = "waits"
_AS_MEANING = {
    "good": "sound", "bad": "not_sound", "yes": "check", "again": "repeat", "options": "help",
    "stop": "danger", "value": "reading",
}  # fmt: skip
MOST_PIECES = 45_000
_HOLDS = HAZARD | {"S43", "S44", "S36", "S39", "S49", "S50", "S51"}
LATER = ("S47", "S50", "S51")
"""Situations of `later` that the job has now."""


def lines_to_fit() -> list[Line]:
    """The lines of the tuning writers, those for steps that came later too."""
    found = list(strangers.lines("tuning"))
    writers = {line.writer for line in found}
    later = strangers.lines("later")
    return found + [x for x in later if x.writer in writers and x.situation in LATER]


def meaning_of(label: str) -> str:
    """The meaning that a writer's label stands for; all that moves nothing is "nothing"."""
    if label in NOTHING:
        return "nothing"
    label = re.split(r"[ :]", label)[0] if not label.startswith("ask") else label.replace(" ", "_")
    return _AS_MEANING.get(label, label)


def main_meaning(line: Line) -> str:
    """The one meaning that a line is fitted to: the gravest of the first way to take it."""
    found = [meaning_of(label) for label in line.meant[0]]
    if "danger" in found:
        return "danger"
    return next((m for m in found if m != "nothing"), "nothing")


def fit(lines: list[Line]) -> dict[str, np.ndarray]:
    """The weights, as `meaning.Weights` reads them."""
    places = {s: meaning.place(strangers.talk_at(s).dialogue) for s in {x.situation for x in lines}}
    values = [meaning.weigh(meaning.pieces(x.words, x.who, places[x.situation])) for x in lines]
    vectors = DictVectorizer(dtype=np.float32)
    table = vectors.fit_transform(values).tocsr()
    often = np.asarray((table > 0).sum(0)).ravel() >= 2
    table, names = table[:, often], np.array(vectors.get_feature_names_out())[often]
    classifier = LinearSVC(C=0.6).fit(table, [main_meaning(x) for x in lines])
    weights = [classifier.coef_.T]
    biases = [classifier.intercept_]
    labels = list(classifier.classes_)
    for label, wanted, among in (
        (HARM, lambda x: any(set(way) & ALARMS for way in x.meant), lambda x: True),
        (WAITS, lambda x: x.meant[0][0] in ("wait", "progress"), _is_nothing),
    ):
        rows = [i for i, x in enumerate(lines) if among(x)]
        heavy = [4.0 if lines[i].situation in _HOLDS else 1.0 for i in rows]
        binary = LogisticRegression(C=8.0, max_iter=500)
        binary.fit(table[rows], [wanted(lines[i]) for i in rows], sample_weight=heavy)
        weights.append(binary.coef_.T)
        biases.append(binary.intercept_)
        labels.append(label)
    matrix, bias = np.hstack(weights), np.concatenate(biases)
    strength = np.abs(matrix).max(axis=1)
    words = names.astype(str)  # all single ones are kept: they tell which words are known
    whole = np.char.startswith(words, "w ") & (np.char.count(words, " ") == 1)
    kept = np.sort(np.argsort(-(strength + whole * strength.max()))[:MOST_PIECES])
    matrix, names = matrix[kept], names[kept]
    scale = np.abs(matrix).max(axis=0) / 127
    return {
        "pieces": np.frombuffer("\n".join(names).encode(), np.uint8),
        "weights": np.round(matrix / scale).astype(np.int8),
        "scale": scale.astype(np.float32),
        "bias": bias.astype(np.float32),
        "labels": np.frombuffer("\n".join(labels).encode(), np.uint8),
    }


def _is_nothing(line: Line) -> bool:
    return main_meaning(line) == "nothing"


def main() -> None:
    """The command."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--check", action="store_true")
    parser.add_argument("--without", nargs="*", default=[])
    parser.add_argument("--to", type=Path, default=meaning.WEIGHTS)
    chosen = parser.parse_args()
    lines = lines_to_fit()
    writers = sorted({x.writer for x in lines})
    if not chosen.check:
        use = [x for x in lines if x.writer not in chosen.without]
        np.savez_compressed(chosen.to, **fit(use))
        print(f"{len(use)} lines, {chosen.to.stat().st_size / 1e6:.2f} MB")
        return
    for third in range(3):
        out = writers[third::3]
        weights = meaning.Weights.of(fit([x for x in lines if x.writer not in out]))
        right = []
        for x in (x for x in lines if x.writer in out):
            at = meaning.place(strangers.kept(x.situation).dialogue)
            best = weights.likely(x.words, x.who, at).best
            right.append(best in {meaning_of(label) for way in x.meant for label in way})
        print(f"without {' '.join(out)}: {np.mean(right):.3f} of {len(right)} by the first meaning")


if __name__ == "__main__":
    main()
