"""Act and Said: what goes into a dialogue and what comes out of it.

Ears, keyboard and screens all make an `Act`; a `Dialogue` takes it and answers with `Said`s. Both
are plain data. What the record keeps of them is `as_data`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    Samples = npt.NDArray[np.float32]

REASONS = "long"
"""Text of a "complaint" that asks for the reasons instead of the answer."""


@dataclass(frozen=True, slots=True)
class Evidence:
    """What an act rests on: who was heard, what, and how surely.

    Attributes:
        words: as typed or recognized.
        ear: how a spoken act was recognized, for the record: plain JSON data (engine, decision,
            probability, alternatives); None for one that was typed.
        sound: the utterance, 16 kHz, full scale -1 to 1, shape (n,); None when there is none. It
            reaches the disk only if audio is kept, and once the reading in it is confirmed.
    """

    words: str = ""
    ear: dict[str, Any] | None = None
    sound: Samples | None = None


@dataclass(frozen=True, slots=True)
class Act:
    """One understood utterance.

    Attributes:
        meaning: a key of `interlocks.MEANINGS`, or "reading", "unclear", "resumed".
        who: "tech" or "helper".
        reading: the fields of a reading that the record keeps, when there is one.
        quantity: which quantity a correction names, or "".
        text: free words: a note, a reason, a sign-off code, what was not understood.
        way: "tighter" or "looser" when a lug count came with its direction.
        doubt: the words were not heard well enough to be kept without being read back.
        evidence: what it rests on. Two acts that mean the same are equal whatever they rest on.
    """

    meaning: str
    who: str
    reading: dict[str, Any] | None = None
    quantity: str = ""
    text: str = ""
    way: str = ""
    doubt: bool = False
    evidence: Evidence = field(default_factory=Evidence, compare=False, repr=False)

    def as_data(self) -> dict[str, Any]:
        """As the record keeps it: empty fields left out."""
        data: dict[str, Any] = {"meaning": self.meaning, "who": self.who}
        for key in ("reading", "quantity", "text", "way", "doubt"):
            value = getattr(self, key)
            if value:
                data[key] = value
        return data


@dataclass(frozen=True, slots=True)
class Said:
    """One thing lugcall says.

    Attributes:
        to: "tech", "helper" or "both".
        text: the words as they are shown, figures first.
        key: which prompt or reply it is: "prompt:ring_hold", "reply:confirm", "caution:hole".
        signal: DANGER, WARNING, CAUTION, NOTICE or "".
        cue: the one word the helper acts on: "HOLD", "RELEASE", "STOP" or "".
        spoken: the words as they are spoken, where they differ from `text`; else "".
    """

    to: str
    text: str
    key: str
    signal: str = ""
    cue: str = ""
    spoken: str = field(default="", compare=False)

    @property
    def aloud(self) -> str:
        """The words for a voice."""
        return self.spoken or self.text

    def as_data(self) -> dict[str, str]:
        """As the record keeps it."""
        data = {"to": self.to, "text": self.text, "key": self.key}
        if self.signal:
            data["signal"] = self.signal
        if self.cue:
            data["cue"] = self.cue
        return data
