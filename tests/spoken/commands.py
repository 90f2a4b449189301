"""Commands for the test, taken from the shipped dialogs, each where the job can hear it."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

from assistant.act import Act
from assistant.card import Card
from assistant.conversation import split_speaker
from assistant.conversation.understand import understand
from assistant.job.job import Job
from assistant.texts.dialogs import Dialogs
from tests.demo import script, shipped

_MOST = 8
"""Phrases of one meaning at one step, a split."""

_AT = tuple(
    tuple(row.split("/"))
    for row in """
    done/tech/cover_off ready/helper/helper_ready sound/helper/chain_pedal
    not_sound/tech/chain_loose repaired/tech/repair skip/tech/found_odometer
    repeat/tech/found_free stop/tech/found_gap where/tech/found_gap back/tech/found_gap
    why/tech/found_gap check/tech/found_gap? no/tech/found_gap? correct/tech/found_clearance
    how_long/helper/found_clearance check/tech/ring_plan pause/tech/ring_show
    help/helper/ring_show clear/tech/ring_ready holding/helper/ring_hold lost/helper/ring_turn
    stop/helper/ring_turn let_up/tech/ring_turn released/helper/ring_release carry_on/tech/halted
""".split()
)
"""Meaning, who says it, and the step it is said at; "?" while a reading waits to be checked."""


@dataclass(frozen=True, slots=True)
class Command:
    """One phrase that is no reading.

    Attributes:
        step: the step it is said at; "repair" and "halted" are the job's states of that name.
        pending: whether a reading has been read back and waits.
        who: "tech" or "helper".
        words: plain, lower case.
        meaning: a key of words.toml.
    """

    step: str
    pending: bool
    who: str
    words: str
    meaning: str


@cache
def commands(split: str) -> tuple[Command, ...]:
    """The commands of "tuning" or "test": each meaning's first phrase is in both, the rest is
    dealt out in turn."""
    dialogs = shipped()
    out = []
    for meaning, who, at in _AT:
        for words in _dealt(dialogs.words[meaning].phrases, split):
            out.append(Command(at.removesuffix("?"), at.endswith("?"), who, words, meaning))
    out += _answers(dialogs, split)
    code = {"tuning": "sign off four one", "test": "sign off twelve"}[split]
    return (*out, Command("sign_off", False, "tech", code, "sign_off"))


def _dealt(phrases: tuple[str, ...], split: str) -> list[str]:
    """The shop's own words only: no spellings without their apostrophe, no hyphens."""
    said = [p for p in phrases if p.replace(" ", "").replace("'", "").isalpha()]
    said = [p for p in said if not {"dont", "cant", "doesnt"} & set(p.split())]
    rest = said[1:][("tuning", "test").index(split) :: 2]
    return [said[0], *rest][:_MOST]


def _answers(dialogs: Dialogs, split: str) -> list[Command]:
    """Each step's own answers, one or two a split: "chocks are in"."""
    out = []
    for step in dialogs.steps:
        if step.kind not in ("act", "sound") or step.id in ("key_back", "reopen_cover"):
            continue
        meaning = "ready" if step.id == "helper_ready" else _MEANING[step.kind]
        own = [a for a in step.answers if "," not in a][("tuning", "test").index(split) :: 2]
        out += [Command(step.id, False, step.who, words, meaning) for words in own[:2]]
    return out


_MEANING = {"act": "done", "sound": "sound"}


_DETOURS = {
    "chain_loose": [
        *("helper: foot off", "tech: not sound", "tech: repaired", "helper: sound", "tech: sound")
    ],
    "ring_show": ["tech: stop", "tech: carry on"],
}


def put(job: Job, step: str) -> Job:
    """The job at `step`, however it came there."""
    job.at = step
    job.stand()
    return job


def moments(card: Card, dialogs: Dialogs) -> dict[tuple[str, bool], Job]:
    """A job of its own for each step, by the step and whether a reading waits to be checked."""
    found: dict[tuple[str, bool], Job] = {}
    for job in _walk(card, dialogs):
        if job.foot_wanted:
            continue  # only the foot is spoken of there
        found.setdefault((job.at, job.pending is not None), job)
    return found


def _walk(card: Card, dialogs: Dialogs) -> Iterator[Job]:
    # What is said of several steps in one breath, one by one: each step has its moment.
    said = [f"{line.split(': ')[0]}: {part}" for line in script("first_job")
            for part in line.split(": ", 1)[1].split(", ")]  # fmt: skip
    detours = dict(_DETOURS)
    acts: list[Act] = []
    while said:
        job = Job(card, dialogs)
        for act in acts:
            job.apply(act)
        yield job
        said = detours.pop(job.at, []) + said
        who, words = split_speaker(said.pop(0))
        act = understand(words, who, job)
        if not isinstance(act, Act):
            raise ValueError(f"the script says {words!r} at {job.at}, which asks back: {act}")
        acts.append(act)
