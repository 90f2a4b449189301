"""SIGKILL at random moments, then resume: what was answered is in the record, and is told right."""

import json
import re
import shutil
import time
from pathlib import Path

from tests.adversary import terms
from tests.adversary.commands import Run, Violation, call
from tests.adversary.oracle import split
from tests.adversary.talk import Silent, replies
from tests.adversary.turns import Job, next_line

WHERE = "tech: where are we"
RING = re.compile(r"Ring [^.]*\.")
LINES_A_JOB = 250
MOST_KEPT = 1_500
"""Signs of a line that are compared: of a very long one the record keeps the beginning."""


def told_words(record: Path) -> list[str]:
    """The words of each turn that stands whole in the record."""
    words = []
    for line in record.read_bytes().split(b"\n"):
        try:
            event = json.loads(line)
        except ValueError:
            continue
        if event.get("kind") == "turn":
            words.append(event["data"].get("words", ""))
    return words


def facts(printed: str) -> tuple[str, ...]:
    """What "where are we" tells of ring and readings; of the pedal the oracle knows."""
    said = [text for _, text in replies(printed)]
    ring = [m[0] for text in said[:1] if (m := RING.search(text))]
    readings = [text for text in said[1:2] if re.search(r"\d (?:in|mm|miles|km)", text)]
    return (*ring, *readings)


def attack(run: Run, most: int) -> None:
    rng = run.rng
    while run.counts["kills"] < most and not run.over():
        card = next(c for c in terms.CARDS if "t104" in c.name)
        job, lines, answered = Job(run.folder / "kills", card), [], []
        while len(lines) < LINES_A_JOB and not job.talk.ended and not run.over():
            for _ in range(rng.randrange(4, 30)):
                line = WHERE if rng.random() < 0.05 else next_line(rng, job.said)
                if job.talk.ended or not line.strip():
                    break
                lines.append(line)
                job.say(line)
                answered.append(line)
                run.counts["turns"] += 1
                for violation in job.oracle.wrong:
                    if run.report(violation):
                        violation.lines = [card.name, *lines]
                job.oracle.wrong.clear()
            if job.talk.ended or not _kill(run, job, lines, answered):
                break
        job.end()


def _kill(run: Run, job: Job, lines: list[str], answered: list[str]) -> bool:
    """One kill and what comes after; whether the job can go on."""
    before = facts(job.talk.say(WHERE))
    answered.append(WHERE)
    before_it = len(answered)
    in_flight = run.rng.choice((WHERE, WHERE, next_line(run.rng, job.said)))
    lines += [WHERE, in_flight, "#KILL"]
    if job.talk.ended:
        return False
    job.talk.send(in_flight)
    time.sleep(run.rng.uniform(0, 0.02))
    left = job.talk.kill()
    run.counts["kills"] += 1
    run.counts["in mid-turn"] += not replies(left)
    record = job.talk.record
    assert record is not None
    if replies(left):
        answered.append(in_flight)
    _compare(run, record, answered, lines)
    if run.rng.random() < 0.1:
        copy = run.folder / "copy.jsonl"
        shutil.copy(record, copy)
        code, out, err = call(run.folder, "verify", str(copy))
        torn = not record.read_bytes().endswith(b"\n")
        if (code != 0) != torn:
            run.report(Violation("killed record", f"verify {code}: {out}{err}", list(lines)))
    landed = told_words(record)
    if len(landed) > before_it:
        job.oracle.hear(in_flight)
        job.oracle.stopped = job.oracle.stopped and not job.oracle.carry  # its answer may be unseen
    if in_flight != WHERE:
        job.oracle.see(left, False)
        if len(landed) > len(answered) - 1:  # it counted, whether its answer was seen or not
            answered[:] = landed
    try:
        job.talk = type(job.talk)(job.folder, "resume", str(record))
    except Silent as silent:
        run.report(Violation("resume in time", str(silent), list(lines)))
        return False
    if job.talk.ended:
        if "signed off" not in job.talk.opening:
            run.report(Violation("resume", job.talk.opening[-300:], list(lines)))
        return False
    job.oracle.see(job.talk.opening, False)
    after = facts(job.talk.say(WHERE))
    answered[:] = told_words(record)
    if in_flight == WHERE and after != before:
        run.report(Violation("state after a kill", f"{before} became {after}", list(lines)))
    job.said = replies(job.talk.opening)
    return True


def _compare(run: Run, record: Path, answered: list[str], lines: list[str]) -> None:
    """Every answered line's words stand in the record, in order, and at most one more."""
    kept = [terms.plain(words[:MOST_KEPT]) for words in told_words(record)]
    said = [terms.plain(split(line)[1].strip()[:MOST_KEPT]) for line in answered]
    if kept[: len(said)] != said or len(kept) > len(said) + 1:
        same = sum(1 for a, b in zip(said, kept, strict=False) if a == b)
        what = f"{len(said)} answered, {len(kept)} kept, {same} the same; {said[-3:]}, {kept[-3:]}"
        run.report(Violation("answered and not kept", what, list(lines)))
