"""Commands begun by a fork of a process that has loaded the program: a start costs 20 ms, not 600.

What runs is the command itself, with its own pipes, folder and surroundings; only Python's start,
and what is read once, are not done anew each time. The long walks fork from their own process; the
tests, which have threads and changes of their own, from one that does nothing else (`asked`).
"""

import base64
import faulthandler
import gc
import importlib
import io
import json
import os
import select
import signal
import subprocess
import sys
import threading
from contextlib import redirect_stderr, redirect_stdout, suppress
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory, TemporaryFile
from typing import NoReturn

from assistant.conversation.network import Network, network

ROOT = Path(__file__).parents[1]
PROGRAM = "assistant.cli.main"
on = False
"""Whether commands begin so."""
_left_behind: list[Network] = []


def in_a_fork() -> None:
    """The network's threads do not come along into a fork: it reads another there, and never ends
    this one, which would wait for them."""
    if network.cache_info().currsize:
        _left_behind.append(network())
        network.cache_clear()


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
        end = os.pidfd_open(pid)
        in_time = select.select([end], [], [], limit_s)[0]
        os.close(end)
        if not in_time:
            os.kill(pid, signal.SIGKILL)
        code = os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1])
        out.seek(0)
        err.seek(0)
        return (code, out.read(), err.read()) if in_time else None


def asked(
    args: tuple[str, ...], folder: Path, env: dict[str, str], typed: bytes, limit_s: float
) -> subprocess.CompletedProcess[str]:
    """The same, of a process that only waits to be forked.

    Raises:
        subprocess.TimeoutExpired: the command was killed past its time.
    """
    if env.keys() & OF_THE_START or not hasattr(os, "pidfd_open"):  # not Linux
        done = subprocess.run(
            [sys.executable, "-m", "assistant", *args], input=typed, capture_output=True,
            cwd=folder, env=env, timeout=limit_s,
        )  # fmt: skip
        told = done.stdout.decode(), done.stderr.decode()
        return subprocess.CompletedProcess(done.args, done.returncode, *told)
    server = _server()
    assert server.stdin and server.stdout
    given = base64.b64encode(typed).decode()
    server.stdin.write(json.dumps([args, str(folder), env, given, limit_s]).encode() + b"\n")
    server.stdin.flush()
    ended = json.loads(server.stdout.readline())
    if ended is None:
        raise subprocess.TimeoutExpired(args, limit_s)
    told = (base64.b64decode(text).decode() for text in ended[1:])
    return subprocess.CompletedProcess(args, ended[0], *told)


OF_THE_START = {"LUGCALL_DIALOGS"}
"""What is looked at once, as a process begins: where one of these is set, it begins anew."""


@cache
def _server() -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        [sys.executable, "-m", "tests.warm"], cwd=ROOT, stdin=subprocess.PIPE,
        stdout=subprocess.PIPE, start_new_session=True,  # Ctrl-C is for the tests
    )  # fmt: skip


def _serve() -> None:
    loaded()
    for line in sys.stdin:
        args, folder, env, typed, limit_s = json.loads(line)
        ended = called(tuple(args), Path(folder), env, base64.b64decode(typed), limit_s)
        told = ended and (ended[0], *(base64.b64encode(text).decode() for text in ended[1:]))
        print(json.dumps(told), flush=True)


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
    in_a_fork()
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


if __name__ == "__main__":
    _serve()
