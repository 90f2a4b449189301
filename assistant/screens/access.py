"""Who may see and say what: pairing codes that work once, passes, and limits of tries.

On the machine itself (loopback) nobody is asked who he is. On a shop's network each page is let in
by a code of one role, shown by the server, and carries a pass in a cookie from then on: for a
shift, and through a new start of the server, since a cab must not wait for a code in a hold.
"""

from __future__ import annotations

import contextlib
import dataclasses
import hashlib
import secrets
import time
from collections import deque
from collections.abc import Callable
from pathlib import Path

import msgspec

from assistant import named_file
from assistant.record import disk

ROLES = ("tech", "helper", "lead")
MAY_SEE = {"tech": ("tech", "helper"), "helper": ("helper",), "lead": ("lead",)}
"""Role of a pass -> the pages that it opens: the technician may turn the phone round."""
CODE_S = 600.0
"""A code is good for ten minutes, and once."""
_TRIES, _PER_S = 5, 60.0
PASS_S = 16 * 3600.0
"""A pass is good for a long shift."""
MOST_PASSES = 500
_MOST_BYTES = 1 << 18
"""Of the file of passes."""


@dataclasses.dataclass(frozen=True, slots=True)
class Pass:
    """What one page may do: its role, and the one bay, or "" for any; it `ends`, s since 1970."""

    role: str
    bay: str = ""
    ends: float = 0.0


@dataclasses.dataclass(eq=False, slots=True)
class Limit:
    """At most `most` in any `within_s` seconds."""

    most: int
    within_s: float
    clock: Callable[[], float] = time.monotonic
    _at: deque[float] = dataclasses.field(default_factory=deque)

    def allows(self) -> bool:
        """Whether one more is let through; it then counts."""
        now = self.clock()
        while self._at and now - self._at[0] > self.within_s:
            self._at.popleft()
        if len(self._at) >= self.most:
            return False
        self._at.append(now)
        return True


class AccessDenied(Exception):
    """A code that is wrong or used ("wrong"), or one try too many ("slow")."""


class Access:
    """The codes that wait, and the passes given out.

    Args:
        paired: whether pages must be let in by a code; False on loopback.
        kept: the file that keeps the passes' hashes for the next start; None keeps none.
        clock: seconds, monotonic.
        today: seconds since 1970.
    """

    def __init__(
        self,
        paired: bool,
        kept: Path | None = None,
        clock: Callable[[], float] = time.monotonic,
        today: Callable[[], float] = time.time,
    ) -> None:
        self.paired = paired
        self._kept = kept
        self._clock, self._today = clock, today
        self._codes: dict[str, tuple[Pass, float]] = {}
        self._passes = self._read()
        self._tries: dict[str, Limit] = {}
        self._all_tries = Limit(10 * _TRIES, _PER_S, clock)

    def code(self, role: str, bay: str = "") -> str:
        """A new code of eight digits for one page of this role; it replaces an older one."""
        given = Pass(role, bay)
        self._codes = {c: kept for c, kept in self._codes.items() if kept[0] != given}
        code = f"{secrets.randbelow(10**8):08d}"
        self._codes[code] = (given, self._clock() + CODE_S)
        return code

    def join(self, code: str, address: str) -> tuple[str, Pass]:
        """A code for a pass: the cookie's text, and what it opens.

        Raises:
            AccessDenied: "wrong", or "slow" after too many tries from one address or from all.
        """
        tries = self._tries.setdefault(address, Limit(_TRIES, _PER_S, self._clock))
        if len(self._tries) > 10_000:
            self._tries.clear()
        if not (tries.allows() and self._all_tries.allows()):
            raise AccessDenied("slow")
        typed = "".join(filter(str.isdecimal, code))
        kept = self._codes.pop(typed, None)
        if kept is None or kept[1] < self._clock() or len(self._passes) >= MOST_PASSES:
            raise AccessDenied("wrong")
        token = secrets.token_urlsafe(32)
        given = dataclasses.replace(kept[0], ends=self._today() + PASS_S)
        self._passes[_hash(token)] = given
        self._write()
        return token, given

    def allows(self, token: str, role: str, bay: str = "") -> bool:
        """Whether a page with this cookie may be the `role` of the `bay`."""
        if not self.paired:
            return role in ROLES
        held = self._passes.get(_hash(token)) if token else None
        if held is None or held.ends < self._today():
            return False
        return role in MAY_SEE[held.role] and held.bay in ("", bay)

    def _read(self) -> dict[str, Pass]:
        """The passes of the life before; none where the file is not what we wrote."""
        if self._kept is None:
            return {}
        try:
            told = named_file.whole(self._kept, _MOST_BYTES)
            passes = msgspec.json.decode(told, type=dict[str, Pass])
        except (OSError, msgspec.MsgspecError):
            return {}
        now = self._today()
        good = {h: p for h, p in passes.items() if now < p.ends <= now + PASS_S and p.role in ROLES}
        return dict(list(good.items())[:MOST_PASSES])

    def _write(self) -> None:
        if self._kept is None:
            return
        now = self._today()
        self._passes = {held: given for held, given in self._passes.items() if given.ends > now}
        with contextlib.suppress(OSError):  # good till this server ends, then
            disk.write_whole(self._kept, msgspec.json.encode(self._passes))


def _hash(token: str) -> str:
    return hashlib.sha256(token.encode("utf-8", "replace")).hexdigest()
