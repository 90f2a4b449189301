"""However a command ends, it ends in one line and an exit code: broken off, its output full or
closed, a library missing, the calendar at its end, a home that takes nothing."""

import json
import os
import re
import signal
import subprocess
import sys
import time
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from tests.demo import DEMO, ROOT
from tests.records import events_of, sealed
from tests.review.jobs import Job, tell

pytestmark = pytest.mark.long
RECORD = DEMO / "records" / "hard_day.jsonl"
COMMAND = [sys.executable, "-m", "assistant"]
PLAN = ("plan", "--gap", "21/32", "--clearance", "forty thou")
EVERY = (
    (), ("--help",), ("--version",), ("demo",), ("chat",), PLAN, ("verify", str(RECORD)),
    ("transcript", str(RECORD)), ("card", str(DEMO / "truck_t104.toml")), ("reading", "half"),
    ("cause", "it", "slips"), ("picture", "--record", str(RECORD)), ("card", "--new", "cards"),
    ("review", str(DEMO / "records")), ("due", str(DEMO / "records")), ("page", str(RECORD)),
)  # fmt: skip


def surroundings(folder: Path, **env: str) -> dict[str, str]:
    return {**os.environ, "PYTHONPATH": str(ROOT), **own(folder), **env}


def own(folder: Path) -> dict[str, str]:
    """Where a command's records and index are."""
    return {"LUGCALL_RECORDS": str(folder / "records"), "LUGCALL_INDEX": str(folder / "index")}


def run_anew(folder: Path, *args: str, limit_s: float = 40.0, **env: str) -> Any:
    done = subprocess.run(
        [*COMMAND, *args], cwd=folder, stdin=subprocess.DEVNULL, capture_output=True, text=True,
        timeout=limit_s, env=surroundings(folder, **env),
    )  # fmt: skip
    assert "Traceback" not in done.stderr and "Exception ignored" not in done.stderr, done.stderr
    return done


def one_line(done: Any, code: int = 1) -> str:
    assert done.returncode == code and done.stderr.count("\n") == 1, done.stderr
    return str(done.stderr)


# --- Ctrl-C

STRIKES = """
import os, signal, sys
class Counter:
    left = int(os.environ["STRIKE"])
    def find_spec(self, name, path=None, target=None):
        if name == "assistant.cli" or Counter.begun:
            Counter.begun = True
            Counter.left -= 1
            if Counter.left == 0:
                os.kill(os.getpid(), signal.SIGINT)
    begun = False
sys.meta_path.insert(0, Counter())
"""
"""Ctrl-C at the import of a module of that number."""


def default_signals() -> None:
    """A test may be run where Ctrl-C is ignored, as in the background of a shell."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


@pytest.mark.parametrize("at", [1, 2, 5, 15, 40, 100, 160, 230, 300, 420])
@pytest.mark.parametrize("args", [PLAN, ("demo",), ("page", str(RECORD))], ids=lambda a: a[0])
def test_ctrl_c_while_it_loads(tmp_path: Path, at: int, args: tuple[str, ...]) -> None:
    (tmp_path / "sitecustomize.py").write_text(STRIKES)
    path = f"{tmp_path}{os.pathsep}{ROOT}"
    child = subprocess.Popen(
        [*COMMAND, *args], cwd=tmp_path, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
        stderr=subprocess.PIPE, text=True, preexec_fn=default_signals,
        env=surroundings(tmp_path, PYTHONPATH=path, STRIKE=str(at)),
    )  # fmt: skip
    _, told = child.communicate(timeout=40)
    assert "Traceback" not in told and told.strip().count("\n") == 0, told
    assert child.returncode in (130, -signal.SIGINT, 0)
    assert child.returncode or at > 100, "it was over before"


@pytest.mark.parametrize("args", [("demo",), ("chat",), ("review", "."), ("card", "--new", ".")])
def test_ctrl_c_at_any_time(tmp_path: Path, args: tuple[str, ...]) -> None:
    for after_ms in (30, 50, 80, 120, 200, 350, 600):
        child = subprocess.Popen(
            [*COMMAND, *args], cwd=tmp_path, stdin=subprocess.PIPE, stdout=subprocess.PIPE,
            stderr=subprocess.PIPE, text=True, preexec_fn=default_signals,
            env=surroundings(tmp_path),
        )  # fmt: skip
        time.sleep(after_ms / 1000)
        child.send_signal(signal.SIGINT)
        _, told = child.communicate(timeout=40)
        # Before its first line of ours, Python itself tells of it, and nobody can help it.
        assert "Traceback" not in told or str(ROOT) not in told, (after_ms, told)
        assert child.returncode in (130, -signal.SIGINT, 0, 1)


@pytest.mark.parametrize("args", [("demo",), ("chat",), ("chat", "--records", "elsewhere")])
def test_what_is_left_off_says_how_it_goes_on(tmp_path: Path, args: tuple[str, ...]) -> None:
    """Also in the demo's own folder, where plain `lugcall resume` does not look."""
    child = subprocess.Popen(
        [*COMMAND, *args], cwd=tmp_path, stdin=subprocess.PIPE, stdout=subprocess.PIPE,
        stderr=subprocess.PIPE, text=True, preexec_fn=default_signals, pipesize=4096,
        env=surroundings(tmp_path),
    )  # fmt: skip
    assert child.stdin and child.stdout
    if args[0] == "chat":
        child.stdin.write("skip\n")
        child.stdin.flush()
    while "Chock the wheels" not in (line := child.stdout.readline()):  # the rest fills the pipe
        assert line, "it ended before it came so far"
    child.send_signal(signal.SIGINT)
    _, told = child.communicate(timeout=40)
    named = re.search(r"lugcall resume (\S+) carries on", told)
    assert child.returncode == 130 and named, told
    again = run_anew(tmp_path, "resume", named[1])
    assert again.returncode == 0 and "Resumed" in again.stdout


# --- where the output goes


@pytest.mark.parametrize("args", EVERY, ids=lambda args: (args or ("none",))[0])
def test_an_output_that_is_full_or_closed(tmp_path: Path, args: tuple[str, ...]) -> None:
    how: Any = {"cwd": tmp_path, "stdin": subprocess.DEVNULL, "env": surroundings(tmp_path)}
    with open("/dev/full", "w") as full:
        done = subprocess.run([*COMMAND, *args], **how, stdout=full, stderr=subprocess.PIPE,
                              text=True, timeout=40)  # fmt: skip
        told = one_line(done)
        assert "no space left" in told and "Traceback" not in told
        mute = subprocess.run([*COMMAND, *args], **how, stdout=full, stderr=full, timeout=40)
        assert mute.returncode == 1
    closed, wide = os.pipe()
    os.close(closed)
    done = subprocess.run([*COMMAND, *args], **how, stdout=wide, stderr=subprocess.PIPE,
                          text=True, timeout=40)  # fmt: skip
    os.close(wide)
    assert done.returncode == 1 and done.stderr.count("\n") <= 1
    assert "Traceback" not in done.stderr and "ignored" not in done.stderr


# --- what is around it


def test_another_programs_way_to_draw_is_no_matter(tmp_path: Path) -> None:
    where = ("pages", str(DEMO / "records"), "--out", "pages")
    done = run_anew(tmp_path, *where, MPLBACKEND="no-such", HOME="/proc/nobody", XDG_CACHE_HOME="")
    assert done.returncode == 0 and not done.stderr
    assert "<svg" in (tmp_path / "pages" / "fleet.html").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    "library, args",
    [
        ("click", ("demo",)), ("msgspec", ("demo",)), ("duckdb", ("review", ".")),
        ("ibis", ("pages", str(DEMO / "records"), "--out", "pages")),
        ("jinja2", ("page", str(RECORD))), ("soundfile", ("hear", "a.wav", "--for", "gap")),
        ("ctranslate2", ("hear", "a.wav", "--for", "gap")),
        ("pyspark", ("review", str(DEMO / "records"), "--on", "spark")),
    ],
)  # fmt: skip
def test_a_library_that_is_missing(tmp_path: Path, library: str, args: tuple[str, ...]) -> None:
    (tmp_path / f"{library}.py").write_text(
        f"raise ModuleNotFoundError('No module named {library}', name='{library}')\n"
    )
    done = run_anew(tmp_path, *args, PYTHONPATH=f"{tmp_path}{os.pathsep}{ROOT}")
    told = one_line(done)
    assert "pip install" in told and (library in told or library == "pyspark")


NOWHERE = ("/proc/nobody", "/dev/null", str(RECORD))


@pytest.mark.parametrize("home", NOWHERE)
@pytest.mark.parametrize(
    "args",
    [("demo",), ("chat",), ("resume",), ("review",), ("due",), ("retention", "--days", "9"),
     ("card", "--new", "{}/cards"), ("page", str(RECORD), "--out", "{}/page.html"),
     ("picture", "--record", str(RECORD), "--svg", "{}/a.svg"),
     ("pages", str(DEMO / "records"), "--out", "{}/pages"),
     ("review", str(DEMO / "records"), "--csv", "{}/csv")],
    ids=lambda args: args[0],
)  # fmt: skip
def test_a_home_that_takes_nothing(tmp_path: Path, home: str, args: tuple[str, ...]) -> None:
    none = dict.fromkeys(
        ("LUGCALL_RECORDS", "LUGCALL_INDEX", "XDG_DATA_HOME", "XDG_CACHE_HOME"), ""
    )
    done = run_anew(tmp_path, *(part.format(home) for part in args), **none, HOME=home)
    assert done.returncode != 0 and done.stderr.count("\n") == 1
    assert home in done.stderr, "which folder it is"


# --- what comes in


def test_a_line_of_fifty_megabytes(tmp_path: Path) -> None:
    long = b"x" * 50_000_000
    for args in (("chat",), ("reading", "-"), ("cause",), ("card", "--new", "cards")):
        done = subprocess.run(
            [*COMMAND, *args], cwd=tmp_path, input=b"half\n" + long + b"\n", capture_output=True,
            timeout=40, env=surroundings(tmp_path),
        )  # fmt: skip
        assert done.returncode == 2 and len(done.stdout) < 5000 and len(done.stderr) < 500
        assert b"line 2" in done.stderr and done.stderr.count(b"\n") == 1
    done = subprocess.run(
        [*COMMAND, "chat"], cwd=tmp_path, input=b"note " + long[:60_000] + b"\n",
        capture_output=True, timeout=40, env=surroundings(tmp_path),
    )  # fmt: skip
    assert done.returncode == 0 and len(done.stdout) < 10_000
    assert len(one_line(run_anew(tmp_path, "card", "z" * 100_000))) < 1500


def test_an_input_without_end(tmp_path: Path) -> None:
    with open("/dev/zero", "rb") as zeros:
        done = subprocess.run([*COMMAND, "chat"], cwd=tmp_path, stdin=zeros, capture_output=True,
                              timeout=40, env=surroundings(tmp_path))  # fmt: skip
    assert done.returncode == 2 and done.stderr.count(b"\n") == 1


@pytest.mark.parametrize("year", [1, 9999])
def test_the_calendars_ends(tmp_path: Path, year: int) -> None:
    """Of clocks that are set wrong: the first and the last year, and hours beyond them in UTC."""
    month = {1: 1, 9999: 12}[year]
    jobs = [Job("T-1", datetime(year, month, 3 + 9 * n, 8, tzinfo=UTC), miles=100_000 + 20_000 * n,
                found=1.5 - n / 10, due=150_000) for n in range(3)]  # fmt: skip
    shop = tmp_path / "shop"
    tell(shop, jobs)
    at = {1: "0001-01-01T00:00:00.000+12:00", 9999: "9999-12-31T23:59:59.999-12:00"}[year]
    lines = [(at, event["kind"], event["data"]) for event in events_of(RECORD)]
    (shop / "beyond.jsonl").write_bytes(sealed(lines))
    for args in (
        ("due", "shop", "--why"), ("review", "shop"), ("retention", "shop", "--days", "90"),
        ("pages", "shop", "--out", "pages"), ("page", "shop/beyond.jsonl"),
        ("transcript", "shop/beyond.jsonl"), ("verify", "shop/beyond.jsonl"),
        ("picture", "--record", "shop/beyond.jsonl"), ("review", "shop", "--csv", "csv"),
        *(("review", "shop", "--ask", asked) for asked in ("units", "needs_eyes")),
    ):  # fmt: skip
        done = run_anew(tmp_path, *args)
        assert done.returncode == 0 and not done.stderr, (args, done.stderr)


@pytest.mark.parametrize(
    "args",
    [("retention", ".", "--days", "99999999999"), ("retention", ".", "--days", "999999"),
     ("review", ".", "--patience", "nan"), ("review", ".", "--patience", "1e400"),
     ("pages", ".", "--out", "p", "--since", "10000-01-01"), ("devices", "--seconds", "nan"),
     ("pages", ".", "--out", "p", "--ring-lugs", "9" * 30), ("devices", "--seconds", "1e30")],
    ids=lambda args: " ".join(args)[:40],
)  # fmt: skip
def test_numbers_that_no_option_takes(tmp_path: Path, args: tuple[str, ...]) -> None:
    assert "--help shows how" in one_line(run_anew(tmp_path, *args), 2)


def test_the_last_day_as_an_option(tmp_path: Path) -> None:
    tell(tmp_path / "shop", [Job("T-1", datetime(2026, 1, 5, tzinfo=UTC))])
    for day, code in (("9999-12-31", 1), ("0001-01-01", 0)):
        done = run_anew(tmp_path, "pages", "shop", "--out", "pages", "--since", day)
        assert done.returncode == code


def test_a_fault_of_its_own_is_one_line_too(tmp_path: Path) -> None:
    """It names the place, so that it can be reported; LUGCALL_TRACE shows all of it."""
    (tmp_path / "sitecustomize.py").write_text(
        "import assistant.cli.plan as p\ndef wrong(*a): raise KeyError('odd')\n"
        "p.plan_report = wrong\n"
    )
    env = {"PYTHONPATH": f"{tmp_path}{os.pathsep}{ROOT}"}
    told = one_line(run_anew(tmp_path, *PLAN, **env), 70)
    assert "KeyError" in told and "sitecustomize.py, line 2" in told
    with pytest.raises(AssertionError, match="Traceback"):
        run_anew(tmp_path, *PLAN, **env, LUGCALL_TRACE="1")


def test_json_stays_whole(tmp_path: Path) -> None:
    """Shortening is for what is told, never for what programs read."""
    long = "half inch shy " * 500
    done = run_anew(tmp_path, "reading", long, "--json")
    assert json.loads(done.stdout)["status"] == "none"


NOT_UTF8 = "T-1\udcb2"
"""As an argument of bytes in no encoding comes to a program."""


@pytest.mark.parametrize(
    "args",
    [("due", str(DEMO / "records"), "--unit", NOT_UTF8),
     ("pages", str(DEMO / "records"), "--out", "pages", "--unit", NOT_UTF8),
     ("chat", "--card", str(DEMO), "--unit", NOT_UTF8),
     ("card", "--new", "cards", "--unit", NOT_UTF8)],
    ids=lambda args: args[0],
)  # fmt: skip
def test_a_unit_in_no_encoding(tmp_path: Path, args: tuple[str, ...]) -> None:
    assert "is not UTF-8" in one_line(run_anew(tmp_path, *args), 2)
