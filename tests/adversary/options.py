"""Command lines of random options and odd files, in odd surroundings: each ends, in one line."""

import os
import random
import subprocess
from pathlib import Path

from tests.adversary import terms
from tests.adversary.commands import COMMAND, LIMIT_S, Run, Violation, environment, verdict

RECORD = next((terms.ROOT / "demo_sessions").rglob("*.jsonl"))
CARD = terms.ROOT / "demo_sessions" / "truck_t104.toml"
NEEDS_A_FILE = (
    "transcript {}", "page {}", "verify {}", "resume {}", "card {}", "chat --card {}",
    "cause --record {}", "picture --record {}", "plan --gap 1/2 --clearance 1/8 --card {}",
    "card --new cards --from {}", "lead reviewed {} --by L7", "cause --card {} it slips",
)  # fmt: skip
FREE = (
    "demo", "review {}", "due {}", "pages {} --out {}", "retention {} --days 9", "devices",
    "reading half --for gap", "reading - --json", "plan --gap 1/2", "plan", "card", "resume",
    f"page {RECORD} --out {{}}", f"picture --record {RECORD} --svg {{}}", "demo --records {}",
    f"transcript {RECORD}", f"verify {RECORD}", "chat --records {}", "--version", "cause",
    "review {} --csv {}", "hear {} --for gap", "--help", "chat --help", "due {} --why --json", "",
)  # fmt: skip
OPTIONS = (
    "--json", "--why", "--unit", "--unit=T-1", "--records", "--days=-1", "--days=nan", "--by=",
    "--for=gap", "--ring-lugs=0", "--ring-lugs=" + "9" * 400, "--ask=\x1b[2K", "--out=/dev/full",
    "--", "-", "--patience=inf", "--seal=0000-0000", "--gap=nan", "--gap=1e999", "--joint==",
    "--card=/dev/zero", "--csv=/proc/1", "--svg=/", "--help", "--afresh", "--on=spark", "-h",
)  # fmt: skip
ODD = ("fifo", "folder", "empty", "huge", "unreadable", "link", "loop", "missing", "/dev/zero",
    "/dev/null", "/dev/full", "/dev/stdin", "/proc/self/mem", "socket", "\u202ename", "x" * 300, "",
    ".", "-", "binary", "/proc/self/environ", "missing/missing", "fifo/x")  # fmt: skip
CHANGES: tuple[dict[str, str | None], ...] = (
    {}, {"HOME": None}, {"HOME": "/nowhere/at all"}, {"HOME": "", "XDG_DATA_HOME": None},
    {"LANG": "C", "LC_ALL": "C"}, {"LC_ALL": "xx_XX.bad"}, {"MPLBACKEND": "bad"},
    {"PYTHONIOENCODING": "ascii"}, {"PYTHONIOENCODING": "latin-1"}, {"COLUMNS": "0"},
    {"TERM": "dumb"}, {"TZ": "No/Where"},
    {"COLUMNS": "-5"}, {"TMPDIR": "/nowhere"}, {"LUGCALL_RECORDS": ""}, {"LUGCALL_RECORDS": "fifo"},
    {"LUGCALL_RECORDS": "/proc/1"}, {"XDG_CACHE_HOME": "empty"}, {"XDG_CACHE_HOME": "/proc"},
    {"PATH": None}, {"MPLCONFIGDIR": "/nowhere"}, {"NO_COLOR": "1"},
    {"PYTHONUTF8": "0", "LANG": "C"},
    {"XDG_DATA_HOME": "unreadable"}, {"LUGCALL_TRACE": ""}, {"OMP_NUM_THREADS": "x"},
)  # fmt: skip
STREAMS = ("pipe", "pipe", "pipe", "full", "closed", "gone", "in closed")


def odd_files(folder: Path) -> None:
    """One of each kind of odd file, named for what it is."""
    folder.mkdir()
    os.mkfifo(folder / "fifo")
    (folder / "folder").mkdir()
    (folder / "empty").touch()
    with (folder / "huge").open("wb") as huge:
        huge.truncate(1 << 36)
    (folder / "binary").write_bytes(bytes(range(256)) * 99)
    (folder / "unreadable").mkdir(mode=0o000)
    (folder / "link").symlink_to("fifo")
    (folder / "loop").symlink_to("loop")
    os.mknod(folder / "socket", 0o140600)


def ends(rng: random.Random, folder: Path, args: list[str], change: dict[str, str | None],
         stream: str) -> tuple[int, str, str]:  # fmt: skip
    """One command line, its streams as named: exit code, output, errors."""
    shell = {
        "full": 'exec "$@" > /dev/full', "closed": 'exec "$@" >&-', "in closed": 'exec "$@" <&-',
    }.get(stream, 'exec "$@"')  # fmt: skip
    env = environment(folder, **change)
    read_end, write_end = os.pipe()
    os.close(read_end)
    try:
        done = subprocess.run(
            ["/bin/sh", "-c", shell, "lugcall", *COMMAND, *args], cwd=folder, env=env,
            input=rng.choice((b"", b"done\n", b"\xff\x00\n", b"stop\nhelper: holding\n")),
            stdout=write_end if stream == "gone" else subprocess.PIPE, stderr=subprocess.PIPE,
            timeout=LIMIT_S, check=False,
        )  # fmt: skip
    except subprocess.TimeoutExpired:
        return -1000, "", ""
    finally:
        os.close(write_end)
    out, err = (s.decode("utf-8", "backslashreplace") for s in (done.stdout or b"", done.stderr))
    return done.returncode, out, err


def attack(run: Run, most: int) -> None:
    rng = run.rng
    folder = run.folder / "odd"
    odd_files(folder)
    while run.counts["command lines"] < most and not run.over():
        must_fail = rng.random() < 0.5
        base = rng.choice(NEEDS_A_FILE if must_fail else FREE).split()
        args = [rng.choice(ODD) if part == "{}" else part for part in base]
        if not must_fail:
            for _ in range(rng.choice((0, 0, 1, 1, 2, 3))):
                args.insert(rng.randrange(len(args) + 1), rng.choice((*OPTIONS, *ODD)))
        change, stream = rng.choice(CHANGES), rng.choice(STREAMS)
        # A folder may be one of cards, an empty file a card with nothing on it, and "-" or no file
        # at all means another thing.
        must_fail = must_fail and not {"", ".", "-", "folder", "empty"} & set(args)
        bad = verdict(
            *ends(rng, folder, args, change, stream),
            must_fail,
            unheard=stream in ("closed", "gone"),
        )
        run.counts["command lines"] += 1
        if bad:
            line = f"{change} {stream}: lugcall {' '.join(map(repr, args))}"
            run.report(
                Violation(f"{(args or ['none'])[0][:12]!r}: {bad.split(':')[0][:40]}", bad, [line])
            )
