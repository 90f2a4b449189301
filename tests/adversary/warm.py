"""Commands begun by a fork of a process that has loaded the program: a start costs 20 ms, not 600.

For the long walks. What runs is the command itself, with its own pipes, folder and surroundings;
only Python's start, and the reading of the dialogs, are not done anew each time.
"""

import faulthandler
import gc
import importlib
import io
import os
import signal
import sys
import threading
import time
from contextlib import redirect_stderr, redirect_stdout, suppress
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory, TemporaryFile
from typing import NoReturn

PROGRAM = "assistant.cli.main"
on = False
"""Whether commands begin so."""


class Forked:
    """A command under way; as much of `subprocess.Popen` as a talk needs."""

    def __init__(self, args: tuple[str, ...], folder: Path, env: dict[str, str]) -> None:
        loaded()
        (typed, to), (back, printed) = os.pipe(), os.pipe()
        self.pid = os.fork()
        if not self.pid:
            _become(args, folder, env, typed, printed, printed)
        os.close(typed)
        os.close(printed)
        self.stdin, self.stdout = open(to, "wb", 0), open(back, "rb", 0)  # noqa: SIM115

    def send_signal(self, number: int) -> None:
        """As `kill` does."""
        os.kill(self.pid, number)

    def wait(self, timeout: float | None = None) -> int:
        """Its exit code; the talk has its own time-out."""
        return os.waitstatus_to_exitcode(os.waitpid(self.pid, 0)[1])


def called(
    args: tuple[str, ...], folder: Path, env: dict[str, str], typed: bytes, limit_s: float
) -> tuple[int, bytes, bytes] | None:
    """A whole command: exit code, standard output and standard error; None past its time."""
    loaded()
    with TemporaryFile() as given, TemporaryFile() as out, TemporaryFile() as err:
        given.write(typed)
        given.seek(0)
        pid = os.fork()
        if not pid:
            _become(args, folder, env, given.fileno(), out.fileno(), err.fileno())
        until = time.monotonic() + limit_s
        while not (ended := os.waitpid(pid, os.WNOHANG))[0]:
            if time.monotonic() > until:
                os.kill(pid, signal.SIGKILL)
                os.waitpid(pid, 0)
                return None
            time.sleep(0.005)
        out.seek(0)
        err.seek(0)
        return os.waitstatus_to_exitcode(ended[1]), out.read(), err.read()


@cache
def loaded() -> None:
    """Load the program, by its own demo job, whose words go nowhere."""
    argv, interrupt = sys.argv, signal.getsignal(signal.SIGINT)
    with (
        TemporaryDirectory() as folder,
        redirect_stdout(io.StringIO()),
        redirect_stderr(io.StringIO()),
        suppress(SystemExit),
    ):
        sys.argv = ["lugcall", "demo", "--records", folder]
        importlib.import_module(PROGRAM).run()
    for thread in set(threading.enumerate()) - {threading.current_thread()}:
        thread.join(30.0)  # what it holds would never be given back in a fork
    sys.argv = argv
    signal.signal(signal.SIGINT, interrupt)
    gc.collect()
    gc.freeze()


def _become(
    args: tuple[str, ...], folder: Path, env: dict[str, str], typed: int, out: int, err: int
) -> NoReturn:
    code = 70
    try:
        for end, stream in ((typed, 0), (out, 1), (err, 2)):
            os.dup2(end, stream)
        os.closerange(3, 256)
        os.environ.clear()
        os.environ.update(env)
        os.chdir(folder)
        signal.signal(signal.SIGINT, signal.SIG_DFL)
        sys.argv = ["lugcall", *args]
        sys.stdin = open(0, encoding="utf-8", closefd=False)  # noqa: SIM115
        sys.stdout = open(1, "w", encoding="utf-8", closefd=False)  # noqa: SIM115
        sys.stderr = open(2, "w", encoding="utf-8", closefd=False)  # noqa: SIM115
        faulthandler.enable(file=2)
        importlib.import_module(PROGRAM).run()
    except SystemExit as error:
        code = error.code if isinstance(error.code, int) else 1
    finally:
        os._exit(code)
