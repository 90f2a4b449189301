"""One truck's job: acts in, replies out. The same acts always give the same job.

`Job.apply` is the only way to change anything; the record keeps the acts, and resuming applies
them again. The order lives in `machine`, the rules nobody can talk away in `interlocks`. The acts
stand in layers, each a module of its own: `base`, `holding`, `correcting`, `taking`, `answering`,
`talking`.
"""

from __future__ import annotations

from collections.abc import Callable

from assistant.act import Act
from assistant.job.base import Replies
from assistant.job.machine import SIGNED
from assistant.job.talking import Talking


class Job(Talking):
    """The procedure for one truck, at one step, knowing what it knows.

    Args:
        card: the truck's card.
        dialogs: checked dialogs.
    """

    def apply(self, act: Act) -> Replies:
        """Take one act; returns everything said in answer, most urgent first."""
        if self.state == SIGNED:
            return [self._say("both", "closed")]
        handler: Callable[[Act], Replies] | None = getattr(self, f"_on_{act.meaning}", None)
        if handler is None:
            raise ValueError(f"there is no act {act.meaning!r}; use a key of vocabulary.MEANINGS")
        wrong = self._wrong_person(act)
        return wrong if wrong is not None else handler(act)

    def _wrong_person(self, act: Act) -> Replies | None:
        meaning = self.dialogs.words.get(act.meaning)
        if meaning is None or meaning.who in ("any", act.who):
            return None
        return self._only(act, meaning.who, meaning.phrases[0])
