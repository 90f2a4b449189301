"""Turns as ears give them: understood, then taken with how they were heard."""

from dataclasses import replace
from typing import Any

from assistant.act import Act, Evidence, Said
from assistant.dialogue import Conversation


def heard(
    talk: Conversation, who: str, words: str, ear: dict[str, Any] | None = None, sound: Any = None
) -> list[Said]:
    """One turn by voice; with a true `doubt` in `ear`, a value is read back before it counts."""
    meant = talk.understood(words, who)
    if isinstance(meant, Act) and ear is not None and ear.get("doubt"):
        meant = replace(meant, doubt=True)
    return list(talk.take(replace(meant, evidence=Evidence(words, ear, sound))))


def unheard(talk: Conversation, who: str, ear: dict[str, Any], sound: Any = None) -> list[Said]:
    """Speech that was not taken; its `alternatives` are texts, or objects with `words`."""
    texts = [a["words"] if isinstance(a, dict) else a for a in ear.get("alternatives", ())]
    among = [(words, talk.understood(words, who)) for words in texts]
    return list(talk.unheard(who, ear, sound, among))
