"""One turn: words and who spoke, their meaning, the machine, the replies, the record."""

from assistant.conversation.session import Session, SessionError
from assistant.conversation.understand import split_speaker

__all__ = ["Session", "SessionError", "split_speaker"]
