"""What words are taken for: exact phrases, misheard ones, denials, readings and corrections."""

from __future__ import annotations

from collections.abc import Callable
from itertools import product

import pytest

from assistant.act import Act, Said
from assistant.conversation import Session
from assistant.conversation.understand import understand
from assistant.dialogue import Question
from assistant.texts.dialogs import Dialogs
from tests.job.test_hold import HOLE
from tests.tables import rows_of

Play = Callable[[Session, str], list[Said]]

SAFE = "skip / done / done / done / done / done / done / h: ready"
CHAIN = f"{SAFE} / h: sound / sound / h: foot off / sound / sound"
FOUND = f"{CHAIN} / h: 8.5 in / h: 8.25 in / h: 5/8 in / h: 3/4 in / h: foot off / {HOLE}"
PLAN = f"{FOUND} / 0.660 / check / forty thou / check"
UNLOCK = f"{PLAN} / check / done / done"
HOLD = f"{UNLOCK} / clear"
TURN = f"{HOLD} / h: holding"
CLEAR = f"{TURN} / five lugs / check / done / done"
RELEASE = f"{CLEAR} / clear"
CLOSE = f"{FOUND} / nine sixteenths / check / forty thou / check"
AT = {
    "act": "skip",
    "ready": "skip / done / done / done / done / done / done",
    "sound": SAFE,
    "sound tech": f"{SAFE} / h: sound",
    "read": CHAIN,
    "free": f"{CHAIN} / h: 8.5 in / h: 8.25 in",
    "odometer": "",
    "gap": FOUND,
    "pending": f"{FOUND} / 0.660",
    "clearance": f"{FOUND} / 0.660 / check",
    "plan": PLAN,
    "close plan": CLOSE,
    "ring ready": UNLOCK,
    "hold": HOLD,
    "turn": TURN,
    "ring clear": CLEAR,
    "release": RELEASE,
    "halted held": f"{TURN} / stop",
    "repair": f"{SAFE} / h: not sound",
}


def meant(session: Session, play: Play, at: str, line: str) -> str:
    """The meaning of a line at a place in the job; "?name" for a question asked back."""
    play(session, AT[at])
    who, _, words = line.partition(": ")
    got = understand(words, who, session.job, session.asked)
    return f"?{got.reply}" if isinstance(got, Question) else got.meaning


rows = rows_of("meanings.txt", "at", "line", "wanted")


@rows("exact")
def test_exact(session: Session, play: Play, at: str, line: str, wanted: str) -> None:
    assert meant(session, play, at, line) == wanted


SHOUTS = [
    *("stop", "STOP!", "stop stop stop", "stop the truck", "don't stop", "please stop now"),
    *("whoa there", "woah", "halt", "stopp", "stooop", "s t o p", "okay stop"),
    *("stop, stop bolt", "pedal, stop!", "pedal stop", "hit the stop!", "stop it"),
    *("note stop", "the stop bolt, stop", "five lugs stop"),
]


@pytest.mark.parametrize("who", ["tech", "helper"])
@pytest.mark.parametrize("at", ["turn", "release", "gap"])
def test_stop(session: Session, play: Play, at: str, who: str) -> None:
    play(session, AT[at])
    for words in SHOUTS:
        got = understand(words, who, session.job)
        assert isinstance(got, Act) and got.meaning == "stop", words


@pytest.mark.parametrize(
    "words", ["the stop bolt is rusty", "note the stop bolt is rusty", "unstoppable", "it stopped"]
)
def test_no_stop(session: Session, play: Play, words: str) -> None:
    assert meant(session, play, "gap", f"tech: {words}") != "stop"


@rows("misheard")
def test_misheard(session: Session, play: Play, at: str, line: str, wanted: str) -> None:
    """Likeness answers plain things, and only asks about what moves a pedal."""
    got = meant(session, play, at, line)
    assert got == wanted or (wanted.startswith("?") and got[:4] in ("?did", "uncl", "unsu"))


LIFE = [
    pytest.param("hold", "helper", "holding", marks=pytest.mark.long),
    ("ring ready", "tech", "clear"),
    pytest.param("ring clear", "tech", "clear", marks=pytest.mark.long),
    pytest.param("release", "helper", "released", marks=pytest.mark.long),
    ("halted held", "tech", "let_up"),
]
SPOILERS = [
    *("not {}", "no {}", "isn't {}", "isnt {}", "ain't {}", "un{}", "not yet {}", "{} not", "{}?x"),
    *("un {}", "never {}", "almost {}", "nearly {}", "{} in a minute", "don't say {}", "x{}"),
    *("{}s", "{}ed", "is it {}", "when you say {}", "dont {}", "cannot {}", "wait not {}"),
]


@pytest.mark.parametrize(("at", "who", "meaning"), LIFE)
def test_life_and_limb_only_word_for_word(
    session: Session, play: Play, dialogs: Dialogs, at: str, who: str, meaning: str
) -> None:
    """Every phrase of these meanings, spoiled in any way, does not count."""
    play(session, AT[at])
    every = {p for m in dialogs.words.values() for p in m.phrases}
    for phrase, spoiler in product(dialogs.words[meaning].phrases, SPOILERS):
        words = spoiler.format(phrase)
        if words in every or words.endswith(("floored", "cleared")):  # a word of its own
            continue
        got = understand(words, who, session.job)
        assert not (isinstance(got, Act) and got.meaning == meaning), words


@rows("not this")
def test_a_denial_is_not_its_opposite(
    session: Session, play: Play, at: str, line: str, wanted: str
) -> None:
    assert meant(session, play, at, line) != wanted


@pytest.mark.parametrize(
    "words",
    [
        *("lost it", "i lost it", "cant hold it", "can't hold it", "i cannot hold it"),
        *("it's slipping", "slipping", "i'm losing it", "losing it", "it slipped", "coming up"),
        *("it is coming up", "pedal's coming up", "my foot came off", "lost the pedal"),
    ],
)
@pytest.mark.parametrize("at", ["turn", "ring clear"])
def test_lost_is_heard_generously(session: Session, play: Play, at: str, words: str) -> None:
    """A pedal that comes up under the technician's hands is no time to ask back."""
    play(session, AT[at])
    play(session, f"h: {words}")
    assert session.job.at == "halted"


@rows("wrong person")
def test_wrong_person(session: Session, play: Play, at: str, line: str, wanted: str) -> None:
    play(session, AT[at])
    waiting = session.job.pending
    said = play(session, line)
    assert session.job.at == wanted and session.job.pending is waiting
    assert not any(s.key == "reply:confirm_count" for s in said)


@rows("read back")
def test_readings_and_homophones(
    session: Session, play: Play, at: str, line: str, wanted: str
) -> None:
    play(session, AT[at])
    play(session, line)
    job = session.job
    taken = job.pending or job.facts.readings[-1]  # finely read and in, a gap waits for no check
    assert taken.figures == wanted


@pytest.mark.parametrize(
    ("at", "first", "answer", "value_in"),
    [
        ("clearance", "fifteen mil", "thousandths", 0.015),
        ("clearance", "fifteen mil", "thou", 0.015),
        ("clearance", "fifteen mil", "millimetres", 15 / 25.4),
        ("clearance", "fifteen", "thousandths", 0.015),
    ],
)
def test_the_unit_answers_the_question(
    session: Session, play: Play, at: str, first: str, answer: str, value_in: float
) -> None:
    """An ambiguous unit is asked for, and the answer joins the number said before."""
    play(session, AT[at])
    said = play(session, first)
    if session.job.pending is None:
        assert said[0].key == "reply:ask_reading"
        play(session, answer)
    assert session.job.pending is not None
    assert session.job.pending.value_in == pytest.approx(value_in)


def test_a_question_is_forgotten_after_another_answer(session: Session, play: Play) -> None:
    """ "thousandths" after something else was said belongs to nothing."""
    play(session, f"{AT['clearance']} / fifteen mil / where are we / thousandths")
    assert session.job.pending is None


@pytest.mark.parametrize(
    ("words", "figures"),
    [
        ("check", None),
        ("no", None),
        ("0.655", "0.655 in"),
        ("correction nine sixteenths", "9/16 in"),
        ("correction, nine sixteenths", "9/16 in"),
        ("make it nine sixteenths", "9/16 in"),
        ("no, nine sixteenths", "9/16 in"),
        ("sorry, nine sixteenths", "9/16 in"),
    ],
)
def test_pending_readback(session: Session, play: Play, words: str, figures: str | None) -> None:
    play(session, AT["pending"])
    play(session, words)
    pending = session.job.pending
    assert (pending.figures if pending else None) == figures
    assert len([t for t in session.job.facts.readings if t.quantity == "gap"]) == (words == "check")


@pytest.mark.parametrize(
    ("at", "words"),
    [
        ("gap", "clearance is forty thou"),
        ("gap", "free travel one and a half"),
        ("clearance", "the gap is five eighths"),
    ],
)
def test_another_quantity_than_asked(session: Session, play: Play, at: str, words: str) -> None:
    play(session, AT[at])
    said = play(session, words)
    assert session.job.pending is None and said[0].key == "reply:other_quantity"


@pytest.mark.parametrize(
    ("words", "quantity", "value_in"),
    [
        ("correct gap 0.530", "gap", 0.530),
        ("correct the gap to 0.530", "gap", 0.530),
        ("correction: fork clearance fifty thou", "clearance", 0.050),
        ("change the free travel to one and a half", "free-travel", 1.5),
        ("correct that, forty five thou", "clearance", 0.045),
        ("correct pedal height eight and a quarter", "pedal-height", 8.25),
        ("correct total travel eight", "total-travel", 8.0),
        ("correct brake contact seven eighths", "brake-contact", 0.875),
    ],
)
def test_correct_by_name(
    session: Session, play: Play, words: str, quantity: str, value_in: float
) -> None:
    play(session, AT["plan"])
    before = len(session.job.facts.readings)
    play(session, words)
    assert session.job.pending is not None, "the correction is not read back"
    play(session, "check")
    newest = [t for t in session.job.facts.readings if t.quantity == quantity][-1]
    assert newest.value_in == pytest.approx(value_in)
    assert len(session.job.facts.readings) == before


@pytest.mark.parametrize("quantity", ["gap", "fork clearance", "free travel", "pedal height"])
def test_correct_asks_for_the_value(session: Session, play: Play, quantity: str) -> None:
    play(session, AT["plan"])
    said = play(session, f"correct the {quantity}")
    assert said[-1].key == "reply:what_correct" and quantity in said[-1].text


@pytest.mark.parametrize(
    ("words", "note"),
    [
        ("note grease fitting replaced", "grease fitting replaced"),
        ("Note: Rear main SEAL weeps", "Rear main SEAL weeps"),
        ("make a note, the boot is torn", "the boot is torn"),
        ("note five lugs is a lot", "five lugs is a lot"),
    ],
)
@pytest.mark.parametrize("at", ["act", "turn", "pending", "gap"])
def test_note(session: Session, play: Play, at: str, words: str, note: str) -> None:
    """A note keeps its words as said and changes nothing else."""
    play(session, AT[at])
    state, waiting = session.job.at, session.job.pending
    play(session, words)
    assert session.job.facts.notes[-1] == ("tech", note)
    assert (session.job.at, session.job.pending) == (state, waiting)


def test_note_without_words(session: Session, play: Play) -> None:
    assert play(session, "note")[0].key == "reply:note_empty"
    assert not session.job.facts.notes


@pytest.mark.parametrize(
    ("words", "code"),
    [
        ("sign off 12", "12"),
        ("sign off twelve", "12"),
        ("sign off one two", "12"),
        ("sign off code 12", "12"),
        ("Sign off, JD", "JD"),
        ("signing off 007", "007"),
        ("sign off 12k", "12K"),
        ("sign off", ""),
    ],
)
def test_sign_off_codes(session: Session, words: str, code: str) -> None:
    """In words or figures, kept as it is written on the wall."""
    got = understand(words, "tech", session.job)
    assert isinstance(got, Act) and got.meaning == "sign_off" and got.text == code


@pytest.mark.parametrize("at", ["act", "turn", "gap", "halted held"])
def test_noise_is_never_an_answer(session: Session, play: Play, at: str) -> None:
    play(session, AT[at])
    state = session.job.at
    for words in ("", " ", "...", "?!", "\u2014", "🙂", "\x00", "a" * 5000, "é" * 9):
        assert session.hear("tech", words)
        assert session.job.at == state and session.job.pending is None
