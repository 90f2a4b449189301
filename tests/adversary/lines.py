"""Hostile lines: typed in a chat, then read in every output that shows what was typed."""

from pathlib import Path

from tests.adversary import terms
from tests.adversary.commands import (
    MARK,
    Run,
    Violation,
    call,
    environment,
    hostile,
    shown_badly,
    verdict,
)
from tests.adversary.talk import Silent
from tests.adversary.turns import Job

READERS = (
    ("transcript", "{}"), ("page", "{}", "--out", "-"), ("verify", "{}"), ("review", "one"),
    ("page", "{}", "--out", "page.html"), ("lead", "question", "{}", "{}", "--by", "L7"),
    ("card", "--new", "made", "--unit", "{}"), ("cause", "{}"), ("reading", "{}", "--for", "gap"),
    ("plan", "--gap", "{}", "--clearance", "{}"), ("review", "--ask", "{}"), ("{}",), ("--{}",),
    ("chat", "--card", "{}"), ("chat", "--unit", "{}", "--card", "."), ("due", ".", "--unit", "{}"),
)  # fmt: skip


def wild(run: Run) -> str:
    """A hostile line; now and then bytes of no encoding."""
    line = hostile(run.rng)
    if run.rng.random() < 0.2:
        line += bytes(run.rng.randrange(128, 256) for _ in range(9)).decode(
            "utf-8", "surrogateescape"
        )
    return line.replace("\n", " ")


def attack(run: Run, most: int) -> None:
    card = terms.ROOT / "demo_sessions" / "truck_t104.toml"
    while run.counts["hostile lines"] < most and not run.over():
        job, lines = Job(run.folder / "lines", card), []
        try:
            while len(lines) < 300 and not job.talk.ended and not run.over():
                lines.append(run.rng.choice(("", "helper: ", "note ", "helper: note ")) + wild(run))
                run.counts["hostile lines"] += 1
                job.say(lines[-1])
                for violation in job.oracle.wrong:
                    if run.report(violation):
                        violation.lines = [card.name, repr(lines[-1])]
                job.oracle.wrong.clear()
        except Silent as silent:
            run.report(Violation("time", str(silent), [card.name, *map(repr, lines)]))
        _too_long(run, job)
        job.end()
        assert job.talk.record
        for _ in range(6):
            _read(run, job.talk.record)


def _too_long(run: Run, job: Job) -> None:
    """A line of a megabyte, and one of NULs: a word of what to do, and nothing lost."""
    if job.talk.ended:
        return
    line = run.rng.choice(("done ", "\x00", "note " + MARK, "1/2 ", "\u0661")) * 250_000
    try:
        said = job.talk.say(line)
    except Silent as silent:
        run.report(Violation("time of a long line", str(silent), [repr(line[:20])]))
        return
    run.counts["lines of a megabyte"] += 1
    if not said.strip() or shown_badly(said) or len(said) > 100_000:
        run.report(Violation("long line", shown_badly(said) or repr(said[:300]), [repr(line[:20])]))


def _read(run: Run, record: Path) -> None:
    """What was typed, in an output; hostile words and file names as arguments."""
    words = wild(run).replace("\x00", "")[:2000]
    name = words.replace("/", "_")[:60]
    folder = run.folder / "read"
    (folder / "one").mkdir(parents=True, exist_ok=True)
    path = folder / f"{name}.jsonl"
    path.write_bytes(record.read_bytes())
    (folder / "one" / path.name).write_bytes(record.read_bytes())
    which = run.rng.choice(READERS)
    fills = [str(path) if which[0] in ("transcript", "page", "verify", "lead") else words]
    args = [part.format(fills[0] if n < 3 or which[0] != "lead" else words)
            for n, part in enumerate(which)]  # fmt: skip
    bad = verdict(
        *call(folder, *args, env=environment(run.folder, COLUMNS="80")),
        must_fail=False,
        most_lines=2 if which[0] == "due" else 1,
    )  # which record is no longer there
    run.counts["outputs"] += 1
    for made in (path, folder / "one" / path.name):
        made.unlink()
    if bad:
        rule = f"{which[0].strip('-{}') or 'words'}: {bad.split(':')[0][:40]}"
        run.report(Violation(rule, bad, [repr(args)]))
