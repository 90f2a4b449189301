"""What an utterance was understood as."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from assistant.quantity import Quantity
from assistant.readings import speak
from assistant.readings.speak import Form
from assistant.sentences import sentences


@dataclass(slots=True, eq=False)
class Reading:
    """The outcome of reading one utterance.

    Attributes:
        status: "read", "ask", "refused" or "none".
        quantity: what was asked for, or "".
        value_in, low_in, high_in: best value and the interval it lies in, inches (lengths only); a
            reading that tells one side only has no value, and no high end where it is above.
        count: number of lugs, turns, flats, miles or kilometres (counts only).
        kind: "length", "lugs", "turns", "flats", "miles", "kilometres", or "" when not read.
        why: one line: what to ask, or why it was refused.
        parts: its amounts as they were said, with their form (lengths only).
        qualifier: how they make up the reading: a key of `_SPOKEN`.
        choices: the meanings to choose between, when status is "ask".
    """

    status: str
    quantity: str = ""
    value_in: float | None = None
    low_in: float | None = None
    high_in: float | None = None
    count: float | None = None
    kind: str = ""
    why: str = ""
    parts: tuple[tuple[float, Form], ...] = ()
    qualifier: str = ""
    choices: tuple[Reading, ...] = ()

    @property
    def readback(self) -> str:
        """The reading in trade words; saying them again gives the same reading."""
        return self._render(speak.length_words, speak.count_words, _SPOKEN)

    @property
    def figures(self) -> str:
        """The reading in figures, for a screen."""
        return self._render(speak.length_figures, speak.count_figures, _WRITTEN)

    def _render(self, length, count, patterns) -> str:  # type: ignore[no-untyped-def]
        if self.status != "read":
            return ""
        if self.count is not None:
            return str(count(self.count, self.kind))
        pattern = patterns[self.qualifier]
        return str(pattern.format(*(length(value, form) for value, form in self.parts)))

    @property
    def form(self) -> Form:
        """How finely it was said: see `speak.Form`."""
        return self.parts[0][1]

    def as_data(self) -> dict[str, Any]:
        """The fields that the record keeps, as `Act.reading` holds them."""
        return {
            "value_in": self.value_in,
            "low_in": self.low_in,
            "high_in": self.high_in,
            "count": self.count,
            "kind": self.kind,
            "readback": self.readback,
            "figures": self.figures,
        }

    def as_json(self) -> dict[str, object]:
        """The keys that `lugcall reading --json` prints."""
        out: dict[str, object] = {"status": self.status, **self.as_data(), "why": self.why}
        del out["figures"]
        if self.choices:
            out["choices"] = [c.readback for c in self.choices]
        return out


_SPOKEN = {
    "": "{0}",
    "shy": "just under {0}",
    "fat": "just over {0}",
    "about": "about {0}",
    "between": "between {0} and {1}",
    "within": "{0} plus or minus {1}",
    "under": "under {0}",
    "below": "less than {0}",
    "above": "more than {0}",
    "never": "never touches",
}
_WRITTEN = {**_SPOKEN, "between": "{0} to {1}", "within": "{0} +/- {1}"}


def asked(q: Quantity, key: str, choices: tuple[Reading, ...] = (), **fields: str) -> Reading:
    """A question in place of a reading, by its name in `dialogs/en/readings.toml`."""
    return Reading("ask", q.name, why=_say(q, key, fields), choices=choices)


def refused(q: Quantity, key: str, **fields: str) -> Reading:
    """No reading, since what was said cannot be."""
    return Reading("refused", q.name, why=_say(q, key, fields))


def nothing(q: Quantity, key: str = "nothing") -> Reading:
    """No reading in the words."""
    return Reading("none", q.name, why=_say(q, key, {}))


def _say(q: Quantity, key: str, fields: dict[str, str]) -> str:
    return sentences("readings").texts[key].format(spoken=q.spoken, **fields)
