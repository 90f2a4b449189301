"""The one interface that every recognizer stands behind."""

from __future__ import annotations

from typing import Protocol

from .audio import Samples
from .grammar import Grammar
from .heard import Hearing


class EngineError(Exception):
    """One clear line on why an engine cannot be used, and what to do."""


class Engine(Protocol):
    """A recognizer: told what may be said, fed frames, asked what it heard.

    An engine that works on whole utterances keeps the frames and does its work in `finish`;
    its `feed` then returns "".
    """

    name: str

    def expect(self, grammar: Grammar) -> None:
        """Narrow recognition to `grammar` from the next utterance on."""

    def feed(self, frame: Samples) -> str:
        """Take the next frame (any length); returns the words heard so far, or ""."""

    def finish(self) -> Hearing:
        """End the utterance: what was heard. The engine is ready for the next one."""

    def reset(self) -> None:
        """Forget the utterance begun."""
