"""Values of a record as the index can hold them: whatever is of another type becomes nothing.

A record may hold anything its chain allows; one odd value must not cost the folder its index.
"""

from __future__ import annotations

from datetime import UTC, datetime
from functools import lru_cache
from typing import Any

_INT = 1 << 62
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def number(value: Any) -> float | None:
    """A finite number, or None."""
    return float(value) if type(value) in (int, float) and abs(value) < 1e300 else None


def whole(value: Any) -> int | None:
    """A whole number that fits in 64 bits, or None."""
    return value if type(value) is int and abs(value) < _INT else None


def text(value: Any) -> str:
    """Text, or ""."""
    return value if isinstance(value, str) else ""


def table(value: Any) -> dict[str, Any]:
    """A JSON object, or an empty one."""
    return value if isinstance(value, dict) else {}


def rows(value: Any) -> list[dict[str, Any]]:
    """The JSON objects of a list."""
    return [v for v in value if isinstance(v, dict)] if isinstance(value, list) else []


def micros(at: str) -> int:
    """Microseconds since 1970 in UTC of a time as records write it.

    Raises:
        ValueError: there is no such day or offset.
    """
    hours, minutes, seconds = int(at[11:13]), int(at[14:16]), int(at[17:19])
    of_day = (hours * 3600 + minutes * 60 + seconds) * 1_000_000 + int(at[20:23]) * 1000
    return _midnight(at[:10], at[23:]) + of_day


@lru_cache(maxsize=4096)
def _midnight(day: str, offset: str) -> int:
    since = datetime.fromisoformat(f"{day}T00:00:00.000{offset}") - _EPOCH
    return (since.days * 86_400 + since.seconds) * 1_000_000


@lru_cache(maxsize=16_384)
def truck(card_text: str, name: str) -> tuple[str, str, str, float | None, int | None]:
    """Transmission, linkage and clutch of a card, and if it says so, bearing travel a lug in inches
    and the lugs of the ring from new to its end.

    Kept by the card's text: a fleet has far fewer cards than jobs.
    """
    from assistant.card import CardError, card_from_text

    if not card_text:
        return "non-synchronized", "rod", "manual", None, None
    try:
        card = card_from_text(card_text, name)
    except (CardError, ValueError):
        return "", "", "", None, None
    traits = card.traits
    lug_in = card.lug_in if "ring.lug" not in card.defaulted else None
    return traits["transmission"], traits["linkage"], traits["clutch"], lug_in, card.ring_lugs
