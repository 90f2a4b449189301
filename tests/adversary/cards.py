"""Mutated truck cards: each is taken, or refused in one line."""

import random
import re
import shutil

from tests.adversary import terms
from tests.adversary.commands import BREAKS, MARK, Run, Violation, call, verdict

VALUES = (
    "0", "-1", "1e999", "nan", "inf", "true", '""', '"1/0 in"', '"-3 in"', '"1e400 in"', "[]", "{}",
    "1979-05-27", "[[[[1]]]]", '"\\u0661\\u0662 in"', '"\\u202eni 1"', f'"a\\nTECH < {MARK}"',
    f'"\\r  BOTH < {MARK} x"', f'"\\u2028HELPER < {MARK}"', '"' + "9" * 5000 + ' in"', '"M0x0"',
    '"1/2-0"', '"\\u0000"', "0x" + "f" * 400, "9" * 400, '"0.0000000001 in"', '"1e9 in"', "\x00",
    '"in"', '"\\ud800"', "'\x1b[2K'", '"5 mm"', '"99999999 furlongs"',
)  # fmt: skip


def mutated(rng: random.Random) -> bytes:
    """A shipped card after one to four blows."""
    text = rng.choice(terms.CARDS).read_bytes()
    for _ in range(rng.randrange(1, 5)):
        lines = text.split(b"\n")
        i, kind = rng.randrange(len(lines)), rng.randrange(9)
        if kind < 3 and b"=" in lines[i]:
            key = lines[i].split(b"=")[0]
            lines[i] = key + b"= " + rng.choice(VALUES).encode()
        elif kind == 3 and (found := re.search(rb'"[^"]*"', lines[i])):
            lines[i] = lines[i].replace(found[0], rng.choice(VALUES).encode())
        elif kind == 4:
            lines.insert(i, lines[rng.randrange(len(lines))])
        elif kind == 5:
            del lines[i]
        elif kind == 6:
            lines[i] = lines[i].replace(b"=", b"\xff=") + rng.choice([*BREAKS, "\x00"]).encode()
        elif kind == 7:
            lines.insert(i, b"[" * rng.choice((1, 3000)) + b"x]")
        elif text:
            at = rng.randrange(len(text))
            lines = (text[:at] + bytes([rng.randrange(256)]) + text[at + 1 :]).split(b"\n")
        text = b"\n".join(lines)
    return text


USES = (
    ("card", "{}"), ("card", "{}", "--json"), ("card", "cards"), ("chat", "--card", "{}"),
    ("plan", "--gap", "21/32", "--clearance", "40 thou", "--free-travel", "9/16", "--card", "{}"),
    ("cause", "it", "slips", "--json", "--card", "{}"),
    ("plan", "--gap", "21/32", "--clearance", "1/8", "--brake-contact", "1/4", "--card", "{}"),
    ("card", "cards", "--unit", "T-104"),
)  # fmt: skip


def attack(run: Run, most: int) -> None:
    folder = run.folder / "cards"
    while run.counts["cards"] < most and not run.over():
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir()
        paths = []
        for n in range(8):
            path = folder / f"{n}.toml"
            path.write_bytes(mutated(run.rng))
            paths.append(path)
        run.counts["cards"] += len(paths)
        for path in paths:
            if run.over():
                return
            args = [part.format(path) for part in run.rng.choice(USES)]
            script = b"stop\nwhere are we\ncarry on\ndone\nwhy\n"
            bad = verdict(
                *call(run.folder, *args, typed=script),
                must_fail=False,
                most_lines=len(paths) + 1 if "cards" in args else 1,
            )  # a line a card, and how many
            run.counts["uses of cards"] += 1
            if bad:
                rule = f"card: {bad.split(':')[0][:40]}"
                run.report(Violation(rule, bad, [" ".join(args), repr(path.read_bytes())]))
