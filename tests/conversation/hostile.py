"""Words that sound like an act that matters, and do not say it: denied, asked, planned, reported.

    python -m tests.conversation.hostile 100000      # makes so many, prints what passed

Made from the phrases of dialogs/ and from what the tuning writers said, by rules of its own.
"""

from __future__ import annotations

import random
import sys
from collections.abc import Iterator

from assistant.act import Act
from assistant.texts.normal import negated
from tests.conversation import strangers

ACTS = {
    "S01": ("tech", "done"), "S04": ("tech", "done"), "S07": ("helper", "ready"),
    "S08": ("helper", "sound"), "S10": ("tech", "sound"), "S17": ("tech", "done"),
    "S20": ("tech", "check"), "S21": ("tech", "check"), "S23": ("tech", "done"),
    "S24": ("tech", "clear"), "S25": ("helper", "holding"), "S28": ("tech", "done"),
    "S29": ("tech", "done"), "S30": ("tech", "clear"), "S31": ("helper", "released"),
    "S34": ("tech", "accept"), "S40": ("tech", "skip"), "S41": ("tech", "sign_off"),
    "S43": ("tech", "let_up"),
}  # fmt: skip
"""Situation -> who speaks, and the act that matters there."""
_LABELS = {
    "done": "done", "ready": "ready", "sound": "good", "check": "yes", "clear": "clear",
    "holding": "holding", "released": "released", "accept": "accept", "skip": "skip",
    "sign_off": "sign_off", "let_up": "let_up",
}  # fmt: skip

CLAIMS = frozenset(
    "done in out on off up down floor floored clear ready set sound tight clean good smooth free"
    " yes yep yup yeah check right correct hands got nothing no none not okay fine holding hold"
    " code walt torqued clicked".split()
)
"""Words that say it of themselves: where one is left, another misheard takes nothing away."""
DENIED = (
    "not {}", "{} not", "it's not {}", "i'm not {}", "no way it's {}", "never {}", "isn't {}",
    "ain't {}", "don't say {}", "i didn't say {}", "cannot say {}", "not {} yet", "not yet {}",
    "that is not {}", "nobody said {}", "far from {}", "anything but {}", "hardly {}",
    "no longer {}", "{} my foot, not at all", "it was never {}", "can't call it {}",
)  # fmt: skip
ASKED = (
    "{}?", "is it {}?", "are you {}?", "did you say {}?", "is that {}", "do i say {}",
    "you mean {}?", "should i say {}", "when do i say {}", "what if i say {}",
    "does {} mean i can go", "{}, right?", "who said {}", "how do you know it's {}", "am i {}",
    "can i say {} now",
)  # fmt: skip
LATER = (
    "almost {}", "nearly {}", "about to be {}", "i'll be {} in a minute", "soon {}",
    "{} in a minute", "{} in a second", "gonna be {}", "i'll say {} when it is", "until {}",
    "before {}", "wait for {}", "when it's {} i tell you", "if {} then go", "half {}",
    "trying to get {}", "once it's {}", "let me get {}", "i want {}", "it should be {}",
    "it will be {}", "{} after this one", "just about {}", "as soon as {}", "tomorrow {}",
    "not quite {}",
)  # fmt: skip
REPORTED = (
    "he said {}", "she says {}", "he thinks it's {}", "somebody said {}", "they told me {}",
    "he'd say {} anyway", "you said {}", "last time it was {}", "it used to be {}",
    "i thought {}", "the book says say {}", "maybe {}", "i guess {}", "probably {}",
    "could be {}", "might be {}", "pretend {}", "i would say {} but", "i forgot to say {}",
    "remember to say {}", "supposed to be {}",
)  # fmt: skip
_SOUNDS = (
    ("done", "dun"), ("done", "dumb"), ("clear", "cheer"), ("clear", "clearly not"),
    ("check", "chalk"), ("holding", "folding"), ("holding", "old thing"), ("released", "least"),
    ("ready", "reddy"), ("sound", "found"), ("sound", "around"), ("in", "tin"), ("it's", "hits"),
    ("off", "cough"), ("out", "pout"), ("down", "town"), ("up", "cup"), ("on", "con"),
    ("floor", "four"), ("let", "wet"), ("skip", "ship"), ("accept", "except"), ("sign", "shine"),
    ("tight", "kite"),
)  # fmt: skip


def seeds(situation: str) -> list[str]:
    """Ways to say the act that matters there: phrases, and the writers' own words."""
    _, meaning = ACTS[situation]
    dialogue = strangers.kept(situation).dialogue
    said = list(dialogue.dialogs.words[meaning].phrases)
    said += [phrase for phrase, means in dialogue.answers().items() if means == meaning]
    label = _LABELS[meaning]
    said += [
        line.words.rstrip(".!")
        for line in strangers.lines("tuning")
        if line.situation == situation and line.meant == ((label,),) and _plain(line.words)
    ]
    return list(dict.fromkeys(said))


def _plain(words: str) -> bool:
    """One short claim: of a longer story a twisted word may leave the claim as it was."""
    return len(words.split()) <= 5 and not set(",.;:?!-").intersection(words.rstrip(".!"))


def variants(rng: random.Random) -> Iterator[tuple[str, str, str]]:
    """Without end: situation, kind of variant, words."""
    of = {situation: seeds(situation) for situation in ACTS}
    forms = {"denied": DENIED, "asked": ASKED, "later": LATER, "reported": REPORTED}
    while True:
        situation = rng.choice(list(ACTS))
        words = rng.choice(of[situation])
        kind = rng.choice([*forms, "homophone", "cut off"])
        if kind in forms:
            yield situation, kind, rng.choice(forms[kind]).format(words)
        elif kind == "homophone":
            found = [(a, b) for a, b in _SOUNDS if a in words.split()]
            a, b = rng.choice(found) if found else ("", "")
            if found and not (set(words.split()) - {a}) & CLAIMS:
                yield situation, kind, " ".join(b if w == a else w for w in words.split())
        elif len(words.split()) > 2:
            some = words.split()
            start = " ".join(some[: rng.randrange(1, len(some) - 1)])
            if start not in of[situation] and not negated(start):
                yield situation, kind, f"{start}..."


def passed(situation: str, words: str) -> Act | None:
    """The act that matters, if the words were taken for it."""
    who, meaning = ACTS[situation]
    got = strangers.kept(situation).understood(words, who)
    same = {"done", "check", "ready", "sound"} if meaning in ("done", "check") else {meaning}
    return got if isinstance(got, Act) and got.meaning in same else None


def main() -> None:
    """The command."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000
    rng, tried, wrong = random.Random(7), dict.fromkeys(("denied", "asked", "later"), 0), []
    made = variants(rng)
    for _ in range(count):
        situation, kind, words = next(made)
        tried[kind] = tried.get(kind, 0) + 1
        if passed(situation, words) is not None:
            wrong.append((kind, situation, words))
    print(f"{count} variants: {tried}; taken for the act: {len(wrong)}")
    for kind, situation, words in wrong[:60]:
        print(f"  {kind} {situation} {words!r}")


if __name__ == "__main__":
    main()
