"""The sound that carried a reading, held in memory until the reading is confirmed, or dropped."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from assistant.procedure.facts import Taken
from assistant.procedure.job import Job
from assistant.procedure.said import Act
from assistant.record import Journal
from assistant.record.clips import ClipError, keep

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    Samples = npt.NDArray[np.float32]

KEPT = ("taken", "corrected", "ring")
"""What a turn's event says when a reading or a count was kept in it."""


class Carried:
    """Which sound belongs to the reading that is read back. Nothing else is kept of any sound."""

    def __init__(self) -> None:
        self._asked: list[Samples] = []
        self._of: Taken | None = None
        self._sound: list[Samples] = []

    def ask(self, sound: Samples | None, goes_on: bool) -> None:
        """A question was asked back; if it `goes_on`, its answer completes what was said."""
        if not goes_on:
            self._asked = []
        elif sound is not None:
            self._asked = [*self._asked, sound]

    def take(
        self, act: Act, sound: Samples | None, changes: dict[str, Any], job: Job
    ) -> list[Samples]:
        """The sounds of the reading that this turn kept, in order; mostly one, or none.

        Args:
            act: the turn's, already applied to `job`.
            sound: the turn's own sound, if it was spoken.
            changes: what the turn changed, as the record keeps it.
            job: how it stands now.
        """
        now = [*self._asked, *([] if sound is None else [sound])]
        self._asked = []
        kept: list[Samples] = []
        if any(name in changes for name in KEPT):
            kept = now if act.reading is not None else self._sound
        if job.pending is None:
            self._of, self._sound = None, []
        elif job.pending is not self._of:
            self._of, self._sound = job.pending, now
        return kept


def clip_of(journal: Journal, sounds: list[Samples]) -> dict[str, Any]:
    """Put the sounds beside the record as one; gives what the turn's event holds of them."""
    import numpy as np

    try:
        return keep(journal.path.parent, journal.path.name, np.concatenate(sounds))
    except ClipError as error:
        return {"lost": str(error)}  # a reading is not given up for its sound
