"""One turn: words and who spoke, their meaning, the machine, the replies, the record."""

from .session import Session, SessionError
from .speaker import split_speaker

__all__ = ["Session", "SessionError", "split_speaker"]
