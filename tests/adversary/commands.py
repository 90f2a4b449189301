"""How a command is run, and what no output of any command may hold."""

import os
import random
import re
import subprocess
import sys
import unicodedata
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from time import monotonic

from tests import warm
from tests.adversary.terms import BREAKS, ROOT

COMMAND = (sys.executable, "-m", "assistant")
LIMIT_S = 40.0
MARK = "zq7"
"""Stands in every text that imitates lugcall, so that it is known again in an output."""
FORGED = re.compile(rf"^\W*(?:TECH|HELPER|BOTH|GOOD|DAMAGED|lugcall|Record)\b\W*{MARK}")
OURS = ("TECH < ", "HELPER < ", "BOTH < ", "lugcall: ", "GOOD ", "Record: ")


@dataclass
class Violation:
    """What broke a rule, and the shortest lines known that lead to it."""

    rule: str
    what: str
    lines: list[str] = field(default_factory=list)

    def __str__(self) -> str:
        lines = self.lines if len(self.lines) <= 60 else ["...", *self.lines[-60:]]
        return "\n    ".join((f"{self.rule}: {self.what}", *lines))


@dataclass
class Run:
    """One run of the adversary: its dice, folder, counts, what it found, and for how long."""

    seed: int
    folder: Path
    until: float
    shorten_s: float = 60.0
    counts: Counter[str] = field(default_factory=Counter)
    found: dict[str, Violation] = field(default_factory=dict)

    @property
    def rng(self) -> random.Random:
        return self._rng

    def __post_init__(self) -> None:
        self._rng = random.Random(self.seed)

    def over(self) -> bool:
        return monotonic() > self.until

    def report(self, violation: Violation) -> bool:
        """Keep the first of each rule; whether it is new."""
        self.counts[f"violations of {violation.rule}"] += 1
        if violation.rule in self.found:
            return False
        self.found[violation.rule] = violation
        return True


def environment(folder: Path, **changes: str | None) -> dict[str, str]:
    """What a command sees: records, cache and home in `folder`; None takes a variable away."""
    env = {
        **os.environ, "PYTHONPATH": str(ROOT), "LUGCALL_RECORDS": str(folder / "records"),
        "HOME": str(folder), "XDG_CACHE_HOME": str(folder / "cache"),
        "XDG_DATA_HOME": str(folder / "data"),
    }  # fmt: skip
    env.update({k: v for k, v in changes.items() if v is not None})
    return {k: v for k, v in env.items() if changes.get(k, "") is not None}


def call(
    folder: Path, *args: str, typed: bytes = b"", env: dict[str, str] | None = None,
    limit_s: float = LIMIT_S,
) -> tuple[int, str, str]:  # fmt: skip
    """A whole command: exit code (-1000 past its time), standard output and standard error."""
    env = env or environment(folder)
    if warm.on:
        ended = warm.called(args, folder, env, typed, limit_s)
        if ended is None:
            return -1000, "", ""
        code, *printed = ended
        out, err = (text.decode("utf-8", "backslashreplace") for text in printed)
        return code, out, err
    try:
        done = subprocess.run(
            [*COMMAND, *args], cwd=folder, input=typed, capture_output=True, timeout=limit_s,
            env=env, check=False,
        )  # fmt: skip
    except subprocess.TimeoutExpired:
        return -1000, "", ""
    out = done.stdout.decode("utf-8", "backslashreplace")
    return done.returncode, out, done.stderr.decode("utf-8", "backslashreplace")


def shown_badly(text: str) -> str:
    """Why this output may mislead a reader or a terminal; empty when it may not."""
    if "Traceback (most recent call last)" in text:
        return "a traceback: " + text[-600:]
    for line in text.splitlines():
        if FORGED.match(line):
            return f"a forged line: {line!r}"
    for sign in text:
        kind = unicodedata.category(sign)
        if (kind == "Cc" and sign not in "\n\t") or sign in BREAKS or sign in _BIDI:
            return f"U+{ord(sign):04X} stands raw in the output"
    return ""


_BIDI = "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\u200e\u200f"


def hostile(rng: random.Random) -> str:
    """A line that imitates lugcall behind some sign that a reader may take for a new line."""
    sign = rng.choice(
        [*BREAKS, "\x00", "\x1b[2K\x1b[1G", "\x1b]0;", "\x08" * 40, *_BIDI, "\t", "\x7f"]
    )
    forged = rng.choice(OURS) + MARK + rng.choice((" RELEASE: let the pedal up", " Pedal up.", ""))
    head = rng.choice(("", "note ", "accept ", "done ", "clear", "five ", "sign off ", "x" * 5000))
    tail = rng.choice(
        ("", "\u0661\u0662", "\U0001f600" * 9, "\ud7a3", "\u0300" * 50, "\x00", "\x9b31m")
    )
    return head + sign + " " * rng.randrange(9) + forged + tail


def verdict(
    code: int, out: str, err: str, must_fail: bool, most_lines: int = 1, unheard: bool = False
) -> str:
    """Why such an end of a command is wrong; empty when it is right.

    `unheard`: whoever called it had closed its output, as a pager does, and asked for no word.
    """
    if code == -1000:
        return f"it ran past {LIMIT_S:.0f} s"
    bad = shown_badly(out) or shown_badly(err)
    if bad:
        return bad
    if code < 0 or code == 70:
        return f"exit code {code}: {err[-300:]!r}"
    if must_fail and code == 0:
        return "it ended with 0"
    if code and len(err.strip().splitlines()) > most_lines:
        return f"its error has {len(err.strip().splitlines())} lines: {err[:400]!r}"
    if code and not (err.strip() or out.strip() or unheard):
        return f"exit code {code} without a word"
    return ""
