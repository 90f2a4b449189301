"""One chat or resume in a process of its own, a line at a time."""

import fcntl
import os
import re
import select
import signal
import struct
import subprocess
import termios
import time
from pathlib import Path

from tests import warm
from tests.adversary.commands import COMMAND, environment
from tests.warm import Forked

LINE = re.compile(r"^ *(TECH|HELPER|BOTH) < (.*)$")
TURN_LIMIT_S, LONG_LIMIT_S = 20.0, 180.0
"""Longest turn; in a long walk beside other work, which may be kept waiting for the processor."""


class Silent(Exception):
    """No end of a turn was seen within the limit."""


class Talk:
    """Lines go in, replies come out. A blank line, which lugcall passes over, is taken from the
    pipe only when the turn before it is at its end: by that a turn's end is known."""

    def __init__(self, folder: Path, *args: str) -> None:
        env = environment(folder, PYTHONFAULTHANDLER="1")
        self.process: subprocess.Popen[bytes] | Forked = Forked(args, folder, env) if warm.on else (
            subprocess.Popen(
                [*COMMAND, *args], cwd=folder, env=env, stdin=subprocess.PIPE,
                stdout=subprocess.PIPE, stderr=subprocess.STDOUT, bufsize=0,
            )
        )  # fmt: skip
        assert self.process.stdin and self.process.stdout
        self.to, self.back = self.process.stdin.fileno(), self.process.stdout.fileno()
        self.ended = False
        self.opening = self._turn(b"")
        found = re.search(r"^Record: (.*)$", self.opening, re.M)
        self.record = Path(found[1]) if found else None

    def say(self, line: str) -> str:
        """All that was printed in answer to one line, its echo included."""
        return self._turn(line.encode("utf-8", "surrogateescape") + b"\n")

    def send(self, line: str) -> None:
        """Type a line and wait for nothing."""
        os.write(self.to, line.encode("utf-8", "surrogateescape") + b"\n")

    def kill(self) -> str:
        """SIGKILL, and what had been printed until then."""
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()
        left = b""
        while block := os.read(self.back, 65536):
            left += block
        self._close()
        return left.decode("utf-8", "backslashreplace")

    def close(self) -> str:
        """End of the script; what was printed last, with what went to standard error."""
        os.close(self.to)
        left = b""
        while not self.ended:
            left += self._read(TURN_LIMIT_S)
        self.process.wait(TURN_LIMIT_S)
        self._close()
        return left.decode("utf-8", "backslashreplace")

    def _close(self) -> None:
        self.ended = True
        for pipe in (self.process.stdin, self.process.stdout):
            try:
                pipe.close()  # type: ignore[union-attr]
            except OSError:
                continue

    def _waiting(self) -> int:
        """Bytes typed that were not yet taken."""
        return struct.unpack("i", fcntl.ioctl(self.to, termios.FIONREAD, b"\0" * 4))[0]

    def _read(self, wait_s: float) -> bytes:
        if not select.select([self.back], [], [], wait_s)[0]:
            return b""
        block = os.read(self.back, 65536)
        self.ended = not block
        return block

    def _where(self) -> str:
        """Where a silent process stands; it ends by that."""
        self.process.send_signal(signal.SIGABRT)
        left, until = b"", time.monotonic() + 2.0
        while not self.ended and time.monotonic() < until:
            left += self._read(0.1)
        return left.decode("utf-8", "backslashreplace")

    def _turn(self, typed: bytes) -> str:
        said, until = b"", time.monotonic() + (LONG_LIMIT_S if warm.on else TURN_LIMIT_S)
        for piece in (typed, b"\n"):
            view = memoryview(piece)
            while not self.ended and (view or self._waiting()):
                if view and select.select([], [self.to], [], 0)[1]:
                    try:
                        view = view[os.write(self.to, view[:4096]) :]
                    except BrokenPipeError:
                        view = view[:0]
                said += self._read(0.0 if view else 0.0005 if said else 0.003)
                if time.monotonic() > until:
                    raise Silent(said.decode("utf-8", "backslashreplace")[-500:] + self._where())
        while not self.ended and select.select([self.back], [], [], 0)[0]:
            said += self._read(0)
        return said.decode("utf-8", "backslashreplace")


def replies(printed: str) -> list[tuple[str, str]]:
    """Each reply of a turn: to whom, and its words."""
    return [(m[1], m[2]) for line in printed.split("\n") if (m := LINE.match(line))]
