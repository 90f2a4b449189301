"""The synthesizer's process: started, asked, and started again when it fails."""

from __future__ import annotations

import contextlib
import json
import subprocess
import sys
import tempfile
import threading
from pathlib import Path
from typing import Any

from .audio import AudioError

PATIENCE_S = 10.0
"""A sentence takes some 10 ms; a synthesizer silent for this long hangs, and is started again."""
WORKER = Path(__file__).with_name("espeak_worker.py")


class SpeechError(AudioError):
    """One clear line on why nothing can be spoken."""


class Synthesizer:
    """One `espeak_worker`, shared by threads.

    Attributes:
        restarts: how often it had to be started again.
    """

    def __init__(self) -> None:
        """Start it in the background.

        Raises:
            SpeechError: no process can be started.
        """
        self.restarts = 0
        self._lock = threading.Lock()
        self._ready = False
        self._never: SpeechError | None = None
        # Kept here and not there: it is cleared away even when that process is killed.
        self._folder = tempfile.TemporaryDirectory(prefix="lugcall-", ignore_cleanup_errors=True)
        self._worker = self._start()

    @property
    def pid(self) -> int:
        """The process at present."""
        return self._worker.pid

    def ask(self, ask: dict[str, Any]) -> tuple[int, bytes]:
        """Sample rate and 16-bit samples for `text`, `voice`, `rate` and `pitch`.

        Raises:
            SpeechError: it cannot speak at all, or failed twice over this text.
        """
        with self._lock:
            if self._never is not None:
                raise self._never
            try:
                return self._exchange(ask)
            except (OSError, EOFError, ValueError):
                self._end()
                self._worker = self._start()
                self.restarts += 1
            try:
                return self._exchange(ask)
            except (OSError, EOFError, ValueError):
                raise SpeechError(
                    "the speech synthesizer failed twice over one sentence; "
                    "read the screen, or use lugcall chat"
                ) from None

    def _exchange(self, ask: dict[str, Any]) -> tuple[int, bytes]:
        stdin, stdout = self._worker.stdin, self._worker.stdout
        assert stdin is not None and stdout is not None
        watchdog = threading.Timer(PATIENCE_S, self._worker.kill)
        watchdog.daemon = True
        watchdog.start()
        try:
            if not self._ready:
                why = self._head(stdout).get("error")
                if why is not None:  # nor will it be otherwise the next time
                    do = "install espeakng-loader, or use lugcall chat"
                    self._never = SpeechError(f"nothing can be spoken ({why}); {do}")
                    raise self._never
                self._ready = True
            stdin.write(json.dumps(ask).encode() + b"\n")
            stdin.flush()
            head = self._head(stdout)
            if "error" in head:
                raise ValueError(head["error"])
            data = stdout.read(head["bytes"])
        finally:
            watchdog.cancel()
        if len(data) != head["bytes"]:
            raise EOFError
        return head["rate"], data

    def _head(self, stdout: Any) -> dict[str, Any]:
        line = stdout.readline()
        if not line:
            raise EOFError
        head: dict[str, Any] = json.loads(line)
        return head

    def close(self) -> None:
        """End the process."""
        with self._lock:
            self._end()
            self._folder.cleanup()

    def _start(self) -> subprocess.Popen[bytes]:
        self._ready = False
        try:
            return subprocess.Popen(
                # -P: its neighbours here are no libraries of its own
                [sys.executable, "-P", str(WORKER), self._folder.name],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
            )
        except OSError as error:
            raise SpeechError(
                f"the speech synthesizer cannot be started ({error.strerror}); "
                "close other programs, or use lugcall chat"
            ) from None

    def _end(self) -> None:
        stdin, stdout = self._worker.stdin, self._worker.stdout
        assert stdin is not None and stdout is not None
        with contextlib.suppress(OSError):  # what was still to be written goes nowhere
            stdin.close()
        try:
            self._worker.wait(timeout=1.0)
        except subprocess.TimeoutExpired:
            self._worker.kill()
            self._worker.wait()
        stdout.close()
