"""Many turns by both speakers: mostly what leads on, else anything, by anybody."""

import random
import re
import shutil
from collections.abc import Sequence
from pathlib import Path
from time import monotonic

from tests.adversary import terms
from tests.adversary.commands import Run, Violation, hostile
from tests.adversary.oracle import Oracle
from tests.adversary.talk import Silent, Talk, replies

FOUND = {
    "gap": ("21/32", "11/16", "17/32", "half inch", "5/8 shy", "fifteen thirty seconds"),
    "clearance": ("forty thou", "0.040", "1/8", "3/32"),
    "free-travel": ("9/16", "1-1/2", "half inch"), "pedal-height": ("8-1/2", "8 1/4"),
    "total-travel": ("8-1/4",), "brake-contact": ("5/8", "1/32"), "odometer": ("412350", "skip"),
}  # fmt: skip
ANY = ("skip", "1/2 inch", "5", "no", "done")
"""What may answer a reading that was not there when this was written."""
LATER = {**FOUND, "gap": ("17/32", "0.525", "21/32"), "clearance": ("1/8", "11/64")}
SAID = {
    "sound": "sound", "clear": "clear", "hold": "holding", "release": "released", "plan": "check",
    "maker": "done", "rod": "done", "stop_bolt": "done", "act": "done", "sign": "sign off 12",
}  # fmt: skip
LINES_A_JOB = 400


FIRST = {
    "Who goes on? Say code, and your code.": "code 12",
    "Helper: still there, in the seat?": "helper: foot off",
    "Engine off, key on you? Say done.": "done",
}
"""What is asked after a new start -> its answer."""


def leading_on(rng: random.Random, said: Sequence[tuple[str, str]]) -> str:
    """A line that answers what was asked last."""
    for who, text in reversed(said):
        speaker = "helper: " if who == "HELPER" else ""
        if text in FIRST:
            return FIRST[text]
        if text.endswith("Check?"):
            return speaker + rng.choice(("check", "check", "check", "yes", "no"))
        for prompt, _ in terms.prompts_in(text)[:1]:
            return _answer(rng, prompt, text)
        if terms.TURN_AGAIN.search(text):
            return re.findall(r"\d+", text)[0]
        if re.search(r"\baccept\b", text):
            return speaker + rng.choice(("accept it is worn", "back", "measure again"))
        hints = re.findall(r"[Ss]ay ((?:let it up|carry on|sign off|foot off|[a-z]+))", text)
        if hints:
            return speaker + rng.choice(hints)
    return "carry on"


def _answer(rng: random.Random, prompt: terms.Prompt, text: str) -> str:
    speaker = "helper: " if prompt.who == "helper" else ""
    if prompt.reading:
        known = (FOUND if prompt.stage == "found" else LATER).get(prompt.reading, ANY)
        return (
            speaker
            + rng.choice(known)
            + rng.choice(("", " inch") if prompt.reading != "odometer" else ("",))
        )
    if prompt.kind == "turn":
        count = re.search(r"\d+", text)
        return rng.choice((count[0] if count else "four", "four", "3 lugs"))
    if prompt.kind == "hold":
        return speaker + rng.choice(terms.WORDS["holding"])
    if prompt.kind in ("clear", "release"):
        return speaker + rng.choice([*terms.WORDS[{"clear": "clear"}.get(prompt.kind, "released")],
                                     SAID[prompt.kind]])  # fmt: skip
    if prompt.answers and rng.random() < 0.3:
        return speaker + rng.choice(prompt.answers)
    hint = re.search(r"[Ss]ay ([a-z]+)\.$", text)
    return speaker + SAID.get(prompt.kind, hint[1] if hint else "done")


def anything(rng: random.Random) -> str:
    """A line of anybody that nobody asked for."""
    speaker = rng.choice(("", "helper: ", "tech: ", "h:", "HELPER :"))
    kind = rng.randrange(12)
    if kind < 4:
        return speaker + rng.choice(rng.choice(list(terms.WORDS.values())))
    if kind == 4:
        return speaker + rng.choice(terms.ANSWERS)
    if kind == 5:
        return rng.choice(("", "helper: ")) + rng.choice(terms.NOT_CLEAR + terms.HANDS)
    if kind == 6:
        return "helper: " + rng.choice(terms.NOT_HELD + terms.NOT_RELEASED + terms.STILL_DOWN)
    if kind == 7:
        return speaker + rng.choice(("stop", "stop", "carry on", "clear", "holding", "released"))
    if kind == 8:
        return speaker + hostile(rng)
    if kind == 9:
        return "helper: " + rng.choice(terms.WORDS["holding"] + terms.WORDS["released"])
    if kind == 10:
        words = list(rng.choice(rng.choice(list(terms.WORDS.values()))))
        words[rng.randrange(len(words))] = rng.choice("abcxyz ")
        return "note " + "".join(words)
    return speaker + rng.choice(terms.CHATTER)


def next_line(rng: random.Random, said: Sequence[tuple[str, str]]) -> str:
    return leading_on(rng, said) if rng.random() < 0.75 else anything(rng)


CUT = "#CUT"
"""Stands in lines for: the process is killed, and the job resumed."""


class Job:
    """One job driven by lines, with the oracle beside it."""

    def __init__(self, folder: Path, card: Path) -> None:
        self.folder, self.oracle = folder, Oracle()
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir(parents=True)
        self.talk = Talk(folder, "chat", "--card", str(card), "--records", str(folder / "records"))
        self.said = self._see(self.talk.opening, False)

    def _see(self, printed: str, echoed: bool) -> list[tuple[str, str]]:
        self.oracle.see(printed, echoed)
        return replies(printed)

    def say(self, line: str) -> None:
        """One line, or the cut, and the oracle's eyes on its answer."""
        if line == CUT:
            self.talk.kill()
            self.talk = Talk(self.folder, "resume", str(self.talk.record))
            self.said = self._see(self.talk.opening, False)
            return
        self.oracle.hear(line)
        printed = self.talk.say(line)
        signed = self.talk.ended
        self.said = (
            self._see(printed, not signed and line.strip() != "" and line[:1] != "#") or self.said
        )

    def end(self) -> None:
        if not self.talk.ended:
            self.talk.kill()


def play(folder: Path, card: Path, lines: Sequence[str]) -> Oracle:
    """The lines again in a new job, up to the first thing that is wrong."""
    job = Job(folder, card)
    try:
        for line in lines:
            if job.talk.ended or job.oracle.wrong:
                break
            job.say(line)
    except Silent as silent:
        job.oracle.wrong.append(Violation("time", str(silent)))
    finally:
        job.end()
    return job.oracle


def shortest(run: Run, card: Path, lines: list[str], rule: str) -> list[str]:
    """Fewer lines that break the same rule, found by leaving parts out."""
    until, size = monotonic() + run.shorten_s, max(len(lines) // 2, 1)
    while size:
        at = 0
        while at < len(lines) and monotonic() < until:
            fewer = lines[:at] + lines[at + size :]
            wrong = play(run.folder / "shorter", card, fewer).wrong
            if any(violation.rule == rule for violation in wrong):
                lines = fewer
            else:
                at += size
        size = 0 if monotonic() > until else size // 2
    return lines


def attack(run: Run, most: int) -> None:
    """`most` turns, or as many as the time lets."""
    rng = run.rng
    while run.counts["turns"] < most and not run.over():
        card = rng.choice([terms.CARDS[-1], rng.choice(terms.CARDS)])
        card = next(c for c in terms.CARDS if "t104" in c.name) if rng.random() < 0.6 else card
        lines: list[str] = []
        run.counts["jobs"] += 1
        try:
            job = Job(run.folder / "turns", card)
            while len(lines) < LINES_A_JOB and not job.talk.ended and not run.over():
                line = CUT if rng.random() < 0.001 else next_line(rng, job.said)
                lines.append(line)
                run.counts["turns"] += 1
                run.counts["resumes"] += line == CUT
                job.say(line)
                new = [v for v in job.oracle.wrong if run.report(v)]
                job.oracle.wrong.clear()
                for violation in new:
                    job.end()
                    violation.lines = [card.name, *shortest(run, card, lines, violation.rule)]
        except Silent as silent:
            run.report(Violation("time", str(silent), [card.name, *lines]))
        else:
            job.end()
