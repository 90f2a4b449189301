"""What people make of a value read back: whether it is what they meant."""

from __future__ import annotations

import re

from assistant.readings import Reading

from .callouts import Line


def figure(text: str) -> float | None:
    """The length in inches that figures begin with: "1-5/8 in", "0.485 in", "12.7 mm"."""
    found = re.match(r"(?:(\d+)-)?(\d+(?:\.\d+)?|\d+/\d+)(?:/(\d+))? (in|mm)\b", text)
    if found is None:
        return None
    whole, top, bottom, unit = found.groups()
    value = float(whole or 0) + float(top) / float(bottom or 1)
    return value / 25.4 if unit == "mm" else value


def lugs_in(text: str) -> int:
    """ "5 lugs tighter. Turn the ring." as a signed count."""
    found = re.match(r"(\d+) lugs?(?: (tighter|looser))?", text)
    if found is None:
        return 0
    return int(found[1]) * (-1 if found[2] == "looser" else 1)


def same(text: str, line: Line) -> bool:
    """Whether the figures that a reply begins with are what was meant.

    The same value in other figures will do ("0.5 in" for a half), a shade or a range only as it
    was said.
    """
    meant = line.meant
    assert meant is not None
    if text.startswith((f"{meant.figures}.", f"{meant.figures}:", f"{meant.figures} ")):
        return not text.startswith(f"{meant.figures} to ")
    shaded = re.match(r"just|\S+ in to", meant.figures) or re.match(r"just|\S+ in to", text)
    value = figure(text)
    if shaded or value is None or meant.value_in is None:
        return False
    return abs(value - meant.value_in) < 1e-6


def fits(reading: Reading, line: Line) -> bool:
    """Whether a reading offered is what was meant."""
    assert line.meant is not None
    if reading.count is not None or line.meant.count is not None:
        return reading.count == line.meant.count
    if reading.value_in is None or line.meant.value_in is None:
        return False
    return abs(reading.value_in - line.meant.value_in) < 1e-6
