"""The job as it stands at every step: the demo's script played, with two detours."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from assistant.act import Act
from assistant.card import Card
from assistant.conversation import split_speaker
from assistant.conversation.understand import understand
from assistant.job.job import Job
from assistant.texts.dialogs import Dialogs

_SCRIPT = Path(__file__).parents[2] / "demo_sessions" / "first_job.txt"
_DETOURS = {
    "chain_loose": ["tech: not sound", "tech: repaired", "helper: sound", "tech: sound"],
    "ring_show": ["tech: stop", "tech: carry on"],
}


def moments(card: Card, dialogs: Dialogs) -> dict[tuple[str, bool], Job]:
    """A job of its own for each step, by the step and whether a reading waits to be checked."""
    found: dict[tuple[str, bool], Job] = {}
    for job in _walk(card, dialogs):
        found.setdefault((job.at, job.pending is not None), job)
    return found


def _walk(card: Card, dialogs: Dialogs) -> Iterator[Job]:
    said = [line for line in _SCRIPT.read_text(encoding="utf-8").splitlines() if line[:1] > "#"]
    detours = dict(_DETOURS)
    acts: list[Act] = []
    while said:
        job = Job(card, dialogs)
        for act in acts:
            job.apply(act)
        yield job
        said = detours.pop(job.at, []) + said
        who, words = split_speaker(said.pop(0))
        act = understand(words, who, job)
        if not isinstance(act, Act):
            raise ValueError(f"the script says {words!r} at {job.at}, which asks back: {act}")
        acts.append(act)
