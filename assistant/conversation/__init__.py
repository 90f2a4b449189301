"""One turn: words and who spoke, their meaning, the machine, the replies, the record."""

from .replay import SessionError
from .session import Session
from .speaker import split_speaker

__all__ = ["Session", "SessionError", "split_speaker"]
