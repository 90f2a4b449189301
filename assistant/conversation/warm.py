"""What a job needs late is loaded beside its first steps, so that no turn waits for it."""

from __future__ import annotations

import contextlib
import threading

from assistant.procedure.dialog import DialogError

_warm = False


def warm() -> None:
    """Load the table of causes and the arithmetic of wear, once, on a thread of its own."""
    global _warm
    if _warm:
        return
    _warm = True
    threading.Thread(target=_load, name="warm", daemon=True).start()


def _load() -> None:
    import assistant.causes.case
    import assistant.causes.evidence
    import assistant.wear.recall
    import assistant.wear.say  # noqa: F401
    from assistant.causes.load import load_table

    with contextlib.suppress(DialogError):  # said when it is asked for
        load_table()
