"""What goes in and what comes out of the procedure: plain data, as the record keeps it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class Act:
    """One understood utterance.

    Attributes:
        meaning: a key of `vocabulary.MEANINGS`, or "reading", "unclear", "resumed".
        who: "tech" or "helper".
        reading: the fields of a reading (see `facts.Taken.of`), when there is one.
        quantity: which quantity a correction names, or "".
        text: free words: a note, a reason, a sign-off code, what was not understood.
        way: "tighter" or "looser" when a lug count came with its direction.
        doubt: the words were not heard well enough to be kept without being read back.
    """

    meaning: str
    who: str
    reading: dict[str, Any] | None = None
    quantity: str = ""
    text: str = ""
    way: str = ""
    doubt: bool = False

    def as_data(self) -> dict[str, Any]:
        """As the record keeps it: empty fields left out."""
        data: dict[str, Any] = {"meaning": self.meaning, "who": self.who}
        for key in ("reading", "quantity", "text", "way", "doubt"):
            value = getattr(self, key)
            if value:
                data[key] = value
        return data

    @classmethod
    def from_data(cls, data: dict[str, Any]) -> Act:
        """Back from the record."""
        return cls(
            str(data["meaning"]),
            str(data["who"]),
            data.get("reading"),
            str(data.get("quantity", "")),
            str(data.get("text", "")),
            str(data.get("way", "")),
            bool(data.get("doubt", False)),
        )


@dataclass(frozen=True, slots=True)
class Said:
    """One thing lugcall says.

    Attributes:
        to: "tech", "helper" or "both".
        text: the words, figures first.
        key: which prompt or reply it is: "prompt:ring_hold", "reply:confirm", "caution:hole".
        signal: DANGER, WARNING, CAUTION, NOTICE or "".
        cue: the one word the helper acts on: "HOLD", "RELEASE", "STOP" or "".
    """

    to: str
    text: str
    key: str
    signal: str = ""
    cue: str = ""

    def as_data(self) -> dict[str, str]:
        """As the record keeps it."""
        data = {"to": self.to, "text": self.text, "key": self.key}
        if self.signal:
            data["signal"] = self.signal
        if self.cue:
            data["cue"] = self.cue
        return data
