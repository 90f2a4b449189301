"""Whole sessions from recordings; `live.py` has those with microphones and loudspeakers."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Executor, Future
from typing import Any

import numpy as np

from assistant.conversation import Session
from assistant.terminal import show

from .attend import Attendant, Turn
from .audio import FRAME, FRAME_S, Samples
from .ears import Ears

TAIL_S = 1.5
"""Silence put after a recording, so that its last words end."""

Named = tuple[str, Samples]
"""A recording's file name and its sound."""


class AtOnce(Executor):
    """Runs a job when it is given: recordings have no clock to keep up with."""

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        """Run `fn` now; the future given back is done."""
        future: Future[Any] = Future()
        try:
            future.set_result(fn(*args, **kwargs))
        except Exception as error:  # as every executor: it is for whoever asks for the result
            future.set_exception(error)
        return future


def listen_files(
    session: Session,
    ears: Ears,
    tech: Named,
    helper: Named | None = None,
    told: Callable[[Turn], None] = lambda turn: None,
) -> Attendant:
    """Play recordings into a session: the technician's, and the helper's made at the same time.

    With one recording both people are in it. Nothing is spoken: a recording cannot listen.

    Args:
        told: called for every turn, after it was printed.
    """

    def answer(turn: Turn) -> None:
        print_turn(turn)
        told(turn)

    attendant = Attendant(session, ears, AtOnce(), answer)
    sounds = [(attendant.add("tech" if helper else "", tech[0]), tech[1])]
    if helper is not None:
        sounds.append((attendant.add("helper", helper[0]), helper[1]))
    attendant.warm()
    longest = max(len(samples) for _, samples in sounds) + round(TAIL_S / FRAME_S) * FRAME
    try:
        for start in range(0, longest - FRAME, FRAME):
            for channel, samples in sounds:
                frame = samples[start : start + FRAME]
                if len(frame) < FRAME:
                    faint = np.random.default_rng(start).standard_normal(FRAME) * 1e-4
                    frame = np.concatenate([frame, faint[len(frame) :].astype(np.float32)])
                channel.feed(frame, start / FRAME * FRAME_S)
            attendant.pump()
            if session.job.signed_off:
                break
    finally:
        session.close()
    return attendant


def print_turn(turn: Turn) -> None:
    """Show a turn as the typed session shows its own."""
    if not turn.said:
        return
    print(f"{turn.role}: {turn.heard}  [{turn.kind} {turn.decision.probability:.2f}]")
    show(turn.said)
