"""When the next check is asked for, what the truck's own wear says of it. Moves nothing."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.act import Act, Said
from assistant.conversation import report
from assistant.job.job import Job
from assistant.record import Journal

if TYPE_CHECKING:
    from assistant.wear.recall import Recall


class Due:
    """Follows one job; the records are read once free travel is read as left."""

    def __init__(self) -> None:
        self._recall: Recall | None = None

    def add(
        self, said: list[Said], act: Act, came_from: str, job: Job, journal: Journal
    ) -> list[Said]:
        """The replies, with when it is due before the question for it, and the reasons for "why".

        Args:
            said: the replies of this turn.
            act: the act of this turn.
            came_from: the step before it.
            job, journal: as they are after it.
        """
        if not job.facts.card.unit or job.facts.staged("free-travel", "final") is None:
            return said
        step = job.step
        asks = step is not None and step.kind == "read" and step.stage == "due"
        if self._recall is None or (asks and self._changed(job)):
            self._recall = _begun(job, journal)
        if not asks:
            return said
        if act.meaning == "why":
            return [*said, *self._why(act.who)]
        if came_from != job.step_id or act.meaning in ("resumed", "repeat"):
            return [*said[:-1], *self._told(job), *said[-1:]]
        return said

    def _changed(self, job: Job) -> bool:
        """Whether free travel was read anew since."""
        assert self._recall is not None
        left = report.closing(job)["as_left"].get("free-travel")
        return bool(left != self._recall.left)

    def _told(self, job: Job) -> list[Said]:
        from assistant.wear.say import dates_text, lugs_text, reply_of

        look = self._recall.look() if self._recall is not None else None
        reply = reply_of(look) if look is not None else None
        if look is None:
            return []
        told = []
        if reply is not None:
            key, blanks = reply
            told.append(Said("tech", job.dialogs.say(key, **blanks), f"reply:{key}"))
            if dates := dates_text(look.dates):
                text = job.dialogs.say("due_dates", dates=dates)
                told.append(Said("tech", text, "reply:due_dates"))
        if lugs := lugs_text(look):
            told.append(Said("tech", job.dialogs.say("due_lugs", lugs=lugs), "reply:due_lugs"))
        return told

    def _why(self, who: str) -> list[Said]:
        from assistant.wear.say import lugs_text, reply_of, why

        look = self._recall.look() if self._recall is not None else None
        if look is None or (reply_of(look) is None and not lugs_text(look)):
            return []
        return [Said(who, line, "reply:due_why") for line in why(look)]


def _begun(job: Job, journal: Journal) -> Recall:
    from assistant.wear.recall import Recall

    events = journal.events
    return Recall(journal.path.parent, events[0].data, report.closing(job), events[-1].time)
