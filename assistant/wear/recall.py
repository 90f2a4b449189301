"""The outlook at sign-off, worked out beside the job while it is being finished.

Reading a year of records takes longer than a turn may, so it is done on a thread of its own, which
only reads. Whatever goes wrong there costs the outlook and nothing else.
"""

from __future__ import annotations

import threading
from datetime import datetime
from pathlib import Path
from typing import Any

from assistant.quantity import FREE_TRAVEL
from assistant.record import Event, RecordError
from assistant.record.events import stamp
from assistant.record.history import line_of
from assistant.toml_file import TomlError
from assistant.wear.outlook import Outlook, outlook
from assistant.wear.visits import say, visit_of, visits_in

PAUSE_S = 0.004
"""Rest after each record read: the job's own turns come first."""
PATIENCE_S = 2.0
"""Longest wait for the thread: a script may be at its end before the records are read."""


class Recall:
    """The outlook with this job as the last visit, begun at once in the background.

    `opened` and `closing` are the data of this record's opening line, and of its closing line as it
    would be now, `at` the last turn; the job must not change them afterwards.
    """

    def __init__(
        self, folder: Path, opened: dict[str, Any], closing: dict[str, Any], at: datetime
    ) -> None:
        self._given = folder, opened, closing, at
        self.left = closing["as_left"].get(FREE_TRAVEL)
        """Free travel as left, as the record has it: what the outlook stands on."""
        self._look: Outlook | None = None
        self._thread = threading.Thread(target=self._work, name="wear", daemon=True)
        self._thread.start()

    def _work(self) -> None:
        folder, opened, closing, at = self._given
        try:
            first = line_of(Event(0, stamp(at), "opened", opened, "", ""), [])
            last = line_of(Event(1, stamp(at), "closed", closing, "", ""), [])
            visit = visit_of(first, last, say("say.this_job"))
            if visit.unit:
                self._look = outlook([*visits_in(folder, PAUSE_S)[0], visit], visit.unit)
        except (RecordError, TomlError, OSError, TypeError, ValueError, AttributeError):
            self._look = None

    def look(self) -> Outlook | None:
        """The outlook; None when there is none, or it is not there in time."""
        self._thread.join(PATIENCE_S)
        return None if self._thread.is_alive() else self._look
