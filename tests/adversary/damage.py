"""Records with bits flipped, bytes cut, lines swapped, repeated, left out: never GOOD."""

import json
import random
import shutil
from pathlib import Path

from tests.adversary import terms
from tests.adversary.commands import Run, Violation, call, shown_badly, verdict

A_CALL = 60
READERS = (
    ("transcript", "{}"), ("page", "{}", "--out", "page.html"), ("resume", "{}"),
    ("cause", "--record", "{}", "--json"), ("picture", "stroke", "--record", "{}"),
    ("card", "--new", "cards", "--from", "{}"), ("due", "one", "--why"), ("review", "one"),
    ("lead", "reviewed", "{}", "--by", "L7"),
)  # fmt: skip


def records(run: Run) -> list[Path]:
    """A signed-off record, one left in mid-job, and the shipped ones."""
    folder = run.folder / "good"
    call(run.folder, "demo", "--records", str(folder))
    script = (terms.ROOT / "demo_sessions" / "first_job.txt").read_bytes().splitlines(True)[:40]
    card = terms.ROOT / "demo_sessions" / "truck_t104.toml"
    call(run.folder, "chat", "--card", str(card), "--records", str(folder), typed=b"".join(script))
    return sorted([*folder.glob("*.jsonl"), *(terms.ROOT / "demo_sessions").rglob("*.jsonl")])


def damaged(rng: random.Random, whole: bytes) -> tuple[str, bytes]:
    """What was done, and the bytes after it."""
    lines = whole.splitlines(True)
    i = rng.randrange(len(lines) - 1)
    j = rng.choice([k for k in range(len(lines)) if k != i])
    at = rng.randrange(len(whole))
    kind = rng.choice(
        ("bit", "bit", "byte", "cut", "gone", "swap", "repeat", "line gone", "NUL", "put")
    )
    if kind == "bit":
        return f"bit of byte {at}", whole[:at] + bytes([whole[at] ^ 1 << rng.randrange(8)]) + whole[
            at + 1 :
        ]
    if kind == "byte":
        new = bytes([rng.choice([b for b in range(256) if b != whole[at]])])
        return f"byte {at} is {new!r}", whole[:at] + new + whole[at + 1 :]
    if kind == "cut":  # at a line's end only the seal can tell
        at = at if not whole[:at].endswith(b"\n") else at + 1
        return f"cut at {at}", whole[: max(at, 1)] if at < len(whole) - 1 else whole[:-2]
    if kind == "gone":
        size = rng.randrange(1, 50)
        at = min(at, len(whole) - size - 1)
        return f"{size} bytes gone at {at}", whole[:at] + whole[at + size :]
    if kind == "swap":
        lines[i], lines[j] = lines[j], lines[i]
    elif kind == "repeat":
        lines.insert(j, lines[i])
    elif kind == "line gone":
        del lines[i]
    elif kind == "NUL":
        lines.insert(i, b"\x00" * 64)
    else:
        lines.insert(
            i + 1,
            rng.choice((b"{}\n", b"\n", b"[1]\n", b"x\n", b"\xff\xfe\n", lines[i][:-1] + b" \n")),
        )
    return f"{kind} {i}, {j}", b"".join(lines)


def attack(run: Run, most: int) -> None:
    rng = run.rng
    wholes = records(run)
    seals = {p: json.loads(call(run.folder, "verify", "--json", str(p))[1])["seal"] for p in wholes}
    while run.counts["damaged records"] < most and not run.over():
        folder = run.folder / "bad"
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir()
        done = {}
        for n in range(A_CALL):
            source = rng.choice(wholes)
            what, left = damaged(rng, source.read_bytes())
            if left != source.read_bytes():
                (folder / f"{n}.jsonl").write_bytes(left)
                done[f"{n}.jsonl"] = f"{source.name}: {what}"
        run.counts["damaged records"] += len(done)
        _verified(run, folder, done)
        _read_by_all(run, folder / rng.choice(sorted(done)), done)
        source = rng.choice(wholes)
        _cut_short(run, source, seals[source])


def _verified(run: Run, folder: Path, done: dict[str, str]) -> None:
    as_json = run.rng.random() < 0.5
    code, out, err = call(folder, "verify", *(("--json",) if as_json else ()), *done)
    bad = shown_badly(out) or shown_badly(err)
    if bad or code != 1:
        run.report(
            Violation("verify of damage", bad or f"exit code {code}: {err}", list(done.values()))
        )
    for line in out.splitlines():
        good = json.loads(line)["ok"] if as_json else line.startswith("GOOD")
        if good:
            name = json.loads(line)["file"] if as_json else line.split()[1].rstrip(":")
            run.report(Violation("damage is GOOD", line, [done.get(name, name)]))


def _read_by_all(run: Run, path: Path, done: dict[str, str]) -> None:
    """Other readers of a damaged record: whatever they say, they end, and say it well."""
    one = path.parent / "one"
    one.mkdir()
    shutil.copy(path, one)
    args = [a.format(path) for a in run.rng.choice(READERS)]
    bad = verdict(
        *call(path.parent, *args),
        must_fail=args[0] == "lead",
        most_lines=2 if args[0] == "due" else 1,
    )  # which record is left out
    run.counts["reads of damage"] += 1
    if bad:
        run.report(Violation("damage read", bad, [" ".join(args), done[path.name]]))


def _cut_short(run: Run, source: Path, seal: str) -> None:
    """Whole lines gone from the end: the seal on paper tells."""
    lines = source.read_bytes().splitlines(True)
    path = run.folder / "bad" / "short.jsonl"
    path.write_bytes(b"".join(lines[: run.rng.randrange(1, len(lines))]))
    code, out, _ = call(run.folder, "verify", "--seal", seal, str(path))
    run.counts["cut short, with seal"] += 1
    if code != 1 or out.startswith("GOOD"):
        run.report(Violation("seal of a short record", out, [source.name]))
