"""What is said and asked, loaded from `dialogs/` and checked before a word of it is used.

A shop edits texts; it cannot edit safety. The steps named in `interlocks.REQUIRED` must be there,
in their order and of their kind, and the guards hang on the kinds, in code.
"""

from __future__ import annotations

import os
from hashlib import sha256
from pathlib import Path
from typing import Any

from assistant.shipped import shipped

from . import interlocks, variants, vocabulary
from .dialog_read import (
    cautions_of,
    meaning_of,
    others_of,
    phase_of,
    replies_of,
    step_of,
    toml_of,
)
from .dialog_types import (
    PLACEHOLDERS,
    SIGNALS,
    Caution,
    DialogError,
    Dialogs,
    Meaning,
    Phase,
    Pieces,
    Step,
)

__all__ = [
    "PLACEHOLDERS",
    "SIGNALS",
    "Caution",
    "DialogError",
    "Dialogs",
    "Meaning",
    "Phase",
    "Step",
    "dialogs_folder",
    "load_dialogs",
]


def dialogs_folder() -> Path:
    """Where the dialogs are: $LUGCALL_DIALOGS, the checkout's `dialogs`, or the installed copy."""
    chosen = os.environ.get("LUGCALL_DIALOGS")
    if chosen:
        return Path(chosen)
    return shipped("dialogs", "en/steps.toml")


def load_dialogs(folder: Path | None = None, language: str = "en") -> Dialogs:
    """Load and check one language; the job is that of the usual truck, see `Dialogs.for_truck`.

    Raises:
        DialogError: one line naming the file and the entry to mend.
    """
    base = (folder or dialogs_folder()) / language
    raw: dict[str, dict[str, Any]] = {}
    digest = sha256()
    for name in ("steps", "cautions", "words", "replies"):
        raw[name] = toml_of(base / f"{name}.toml", digest)
    cautions = cautions_of(raw["cautions"])
    for key in ("phase", "step"):
        entries = raw["steps"].get(key, [])
        if not isinstance(entries, list) or not all(isinstance(e, dict) for e in entries):
            raise DialogError(f"dialogs: steps.toml: write each {key} under [[{key}]]")
    phases = tuple(phase_of(p) for p in raw["steps"].get("phase", []))
    steps = tuple(
        step_of(s, i, {p.id for p in phases}, cautions)
        for i, s in enumerate(raw["steps"].get("step", []), 1)
    )
    words = {key: meaning_of(key, value) for key, value in raw["words"].items()}
    others = others_of(raw["replies"].pop("truck", {}))
    replies = replies_of(raw["replies"])
    _check_whole(steps, words)
    return Dialogs(
        str(raw["steps"].get("language", language)),
        (),
        (),
        cautions,
        words,
        replies,
        digest.hexdigest()[:16],
        Pieces(phases, steps, replies, others),
    ).for_truck(variants.USUAL)


def _check_whole(steps: tuple[Step, ...], words: dict[str, Meaning]) -> None:
    for traits in variants.kinds(steps):
        composed = tuple(s for s in steps if variants.fits(s.when, traits))
        ids = [s.id for s in composed]
        for step_id in ids:
            if ids.count(step_id) > 1:
                raise DialogError(f"dialogs: steps.toml: step {step_id} stands twice; rename one")
        problem = interlocks.order_problem(composed, traits)
        if problem:
            kind = "" if traits == variants.USUAL else f" ({variants.named(traits)})"
            raise DialogError(f"dialogs: steps.toml: {problem}{kind}")
    for key, who in vocabulary.MEANINGS.items():
        if key not in words:
            raise DialogError(f"dialogs: words.toml: [{key}] is missing; add it")
        if who and words[key].who != who:
            raise DialogError(
                f"dialogs: words.toml, {key}: who must stay {who}: a life hangs on who says it"
            )
    for key in words:
        if key not in vocabulary.MEANINGS:
            raise DialogError(f"dialogs: words.toml: [{key}] means nothing to lugcall; remove it")
    if "stop" not in words["stop"].anywhere:
        raise DialogError('dialogs: words.toml, stop: anywhere must hold "stop"')
    heard = set(words["stop"].anywhere) & set(words["stop"].excepted)
    if heard:
        raise DialogError(f"dialogs: words.toml, stop: except must not hold {sorted(heard)[0]!r}")
    for phrase in vocabulary.LOST:
        if phrase not in words["lost"].anywhere:
            raise DialogError(f"dialogs: words.toml, lost: anywhere must hold {phrase!r}")
    for key in vocabulary.EXACT:
        if not words[key].exact:
            raise DialogError(f"dialogs: words.toml, {key}: exact must stay true")
    _no_clash(steps, words)


def _no_clash(steps: tuple[Step, ...], words: dict[str, Meaning]) -> None:
    """No phrase of a life-and-limb meaning may mean anything else as well."""
    for key in vocabulary.EXACT:
        for step in steps:
            for phrase in (*step.answers, *(a for o in step.instead for a in o.answers or ())):
                if phrase in words[key].phrases:
                    raise DialogError(
                        f"dialogs: steps.toml, step {step.id}: {phrase!r} already means {key}"
                    )
        for phrase in words[key].phrases:
            for other, meaning in words.items():
                if other != key and phrase in meaning.phrases:
                    raise DialogError(
                        f"dialogs: words.toml: {phrase!r} means {key} and {other}; keep one"
                    )
